"""What lies in stock: `stock.csv` in the site's folder, with the columns part, on_hand, lead_days and pack.

In: the file. Out: a row for each part, and for oil each grade in litres. Refuses (CLI159) a file that cannot be read, with its lines.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import NamedTuple

from intervals.problems import Problem, RequestProblemError

STOCK_FILE = "stock.csv"
CODE = "CLI159"
_COLUMNS = ("part", "on_hand", "lead_days", "pack")
_FIX = "write for example part,on_hand,lead_days,pack and below it oil-filter,3,14,2"


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
    rows = csv.DictReader(text.splitlines(), delimiter=max(",;\t", key=heading.count))
    missing = [name for name in _COLUMNS[:2] if name not in (rows.fieldnames or ())]
    if missing:
        raise RequestProblemError([Problem(CODE, str(file), 1, None, f"no column {', '.join(missing)}", _FIX)])
    found: dict[str, InStock] = {}
    problems: list[Problem] = []
    for row in rows:
        try:
            found[(row["part"] or "").strip()] = _in_stock(row)
        except ValueError:
            said = f"numbers from zero are needed, and a pack above it; got {', '.join(str(row.get(name)) for name in _COLUMNS)}"
            problems.append(Problem(CODE, str(file), rows.line_num, None, said, _FIX))
    if problems:
        raise RequestProblemError(problems)
    return found


def _in_stock(row: dict[str, str | None]) -> InStock:
    """Return one row; a ValueError where it holds no numbers, or such as cannot be."""
    on_hand, pack = float(row.get("on_hand") or 0), float(row.get("pack") or 1)
    lead_days = int(row.get("lead_days") or 0)
    if not (on_hand >= 0 and lead_days >= 0 and 0 < pack < float("inf")):
        raise ValueError(row)
    return InStock(on_hand, lead_days, pack)
