"""What lies in stock: `stock.csv` in the site's folder, with the columns part, on_hand, lead_days and pack.

In: the file. Out: a row for each part, and for oil each grade in litres. Refuses (CLI159) a file that cannot be read, with its lines.
"""

from __future__ import annotations

import csv
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from intervals.problems import Problem, RequestProblemError

STOCK_FILE = "stock.csv"
CODE = "CLI159"
_COLUMNS = ("part", "on_hand", "lead_days", "pack")
_LONGEST_LEAD_D = 3652
_FIX = "write for example part,on_hand,lead_days,pack and below it oil-filter,3,14,2"
_FIX_NUMBERS = f"{_FIX}; decimals have a point"


class InStock(NamedTuple):
    """One part, or one grade of oil in litres.

    Attributes:
        on_hand: how many there are.
        lead_days: how many days an order takes, d.
        pack: how many come in one pack.
    """

    on_hand: float
    lead_days: int
    pack: float


def read_stock(folder: Path) -> dict[str, InStock] | None:
    """Return what lies in stock by part, or None where the site does not say.

    Args:
        folder: the site's folder.

    Raises:
        RequestProblemError: the file cannot be read (code CLI159), every row of it at once.
    """
    file = folder / STOCK_FILE
    if not file.is_file():
        return None
    try:
        text = file.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        said = f"cannot be read: {getattr(error, 'strerror', None) or error}"
        raise RequestProblemError([Problem(CODE, str(file), None, None, said, "write a CSV file in UTF-8")]) from None
    heading = text.split("\n", 1)[0]
    rows = csv.DictReader(text.splitlines(), delimiter=max(",;\t", key=heading.count), skipinitialspace=True)
    names = [name.strip() for name in rows.fieldnames or ()]
    wrong = _wrong_with(names)
    if wrong:
        raise RequestProblemError([Problem(CODE, str(file), 1, None, wrong, _FIX)])
    rows.fieldnames = names
    found: dict[str, InStock] = {}
    problems: list[Problem] = []
    for row in rows:
        part = (row["part"] or "").strip()
        try:
            _refuse_twice(part, found)
            found[part] = _in_stock(row)
        except ValueError as error:
            problems.append(Problem(CODE, str(file), rows.line_num, None, str(error), _FIX_NUMBERS))
    if problems:
        raise RequestProblemError(problems)
    return found


def _wrong_with(names: Sequence[str]) -> str | None:
    """Return what is wrong with the heading."""
    missing = [name for name in _COLUMNS[:2] if name not in names]
    if missing:
        return f"no column {', '.join(missing)}"
    twice = [name for name, count in Counter(names).items() if count > 1 and name in _COLUMNS]
    return f"two columns {', '.join(twice)}" if twice else None


def _refuse_twice(part: str, found: Mapping[str, InStock]) -> None:
    """Refuse with a ValueError a row that names no part, or one that an earlier row names."""
    if not part:
        message = "the row names no part"
        raise ValueError(message)
    if part in found:
        message = f"{part} is listed twice"
        raise ValueError(message)


def _in_stock(row: Mapping[str | None, Any]) -> InStock:
    """Return one row; a ValueError where it holds no numbers, such as cannot be, or more cells than there are columns."""
    got = ", ".join([*(str(row.get(name) or "").strip() for name in _COLUMNS), *row.get(None, ())])
    if None in row:
        message = f"more cells than there are columns; got {got}"
        raise ValueError(message)
    try:
        on_hand, pack = float(row["on_hand"] or ""), float(row.get("pack") or 1)
        lead_days = int(row.get("lead_days") or 0)
    except ValueError:
        on_hand, pack, lead_days = math.nan, math.nan, 0
    if not (0 <= on_hand < math.inf and 0 <= lead_days <= _LONGEST_LEAD_D and 0 < pack < math.inf):
        message = f"numbers from zero are needed, a pack above it, at most ten years of lead time; got {got}"
        raise ValueError(message)
    return InStock(on_hand, lead_days, pack)
