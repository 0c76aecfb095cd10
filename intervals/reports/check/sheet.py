"""The findings as a sheet: CSV, one row a finding, safe to open in a spreadsheet.

In: `Findings`. Out: CSV text. Numbers stay numbers; a text that a spreadsheet would
run as a formula gets an apostrophe in front.
"""

from __future__ import annotations

from collections import Counter
from io import StringIO
from typing import TYPE_CHECKING

from intervals.findings import Findings
from intervals.safe_cells import defused

if TYPE_CHECKING:
    import pandas as pd


def findings_csv(findings: Findings) -> str:
    """Return one row a finding, in the order given.

    Args:
        findings: what was found.

    Returns:
        A header and rows: the columns of `Findings.frame`, then `skipped_open`, the count of skipped occurrences of that task that
        are still open; where there are warnings, they stand in each row as `warning`: whoever reads one row reads them;
        where a planned stop lies beyond its line, `planned_late` says so in the row of its task. Unknown figures are blank; lines end
        with a line feed.
    """
    return csv_of(findings_frame(findings))


def findings_frame(findings: Findings) -> pd.DataFrame:
    """Return the rows of `findings_csv`.

    Args:
        findings: what was found.
    """
    frame = findings.frame()
    still_open = Counter((each.engine, each.ruleset, each.task) for each in findings.skipped if each.open)
    frame["skipped_open"] = [still_open[finding.engine, finding.ruleset, finding.task] for finding in findings.findings]
    if findings.warnings:
        frame["warning"] = "; ".join(each.text for each in findings.warnings)
    if findings.planned_late:
        planned = {(each.engine, each.ruleset, each.task): each.text for each in findings.planned_late}
        frame["planned_late"] = [planned.get((finding.engine, finding.ruleset, finding.task)) for finding in findings.findings]
    return frame


def csv_of(frame: pd.DataFrame) -> str:
    """Return rows as CSV that is safe to open in a spreadsheet.

    Args:
        frame: the rows.
    """
    for column in frame.columns:
        frame[column] = frame[column].map(defused, na_action="ignore")
    text = StringIO()
    frame.to_csv(text, index=False, lineterminator="\n")
    return text.getvalue()
