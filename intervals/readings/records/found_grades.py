"""How parts were found before the work, as the records of a site keep it: a word by the card that told it.

In: `records/measures.csv` below the site's folder, where it is. Out: grades by engine, card and task. Refuses nothing: a file that is none
of ours has no grade, and `intervals record` says so.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path

from intervals.language.result_measures import FOUND_GRADES

MEASURES_FILE = Path("records") / "measures.csv"
AS_FOUND = "as_found"
"""The measure under which is kept how a part was found before the work; its value is a word."""
MEASURE_COLUMNS = ("at", "engine", "task", "measure", "value", "unit", "card")
FoundGrades = Mapping[tuple[str, str, str], str]
"""Engine, code of the card, task as the card spells it -> the grade."""


def read_found_grades(folder: Path) -> FoundGrades:
    """Return how parts were found, by engine, card and task; the last line of a part counts.

    Args:
        folder: the site's folder.

    Returns:
        One of `FOUND_GRADES` each; nothing where there is no file.
    """
    file = folder / MEASURES_FILE
    if not file.is_file():
        return {}
    with file.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row.get("measure") == AS_FOUND and row.get("value") in FOUND_GRADES]
    return {(row["engine"] or "", row["card"] or "", row["task"] or ""): row["value"] or "" for row in rows}
