"""Why readings, service records or analyses are refused: the codes, each with its meaning, and the errors that carry them.

In: a code, a place and what was found. Out: `ReadingsProblemError`. What one row or cell has wrong is a fault and not here.
"""

from __future__ import annotations

from intervals.problems import Problem, ReadingsProblemError

READINGS_CODES: dict[str, str] = {
    "REA001": "no file below the site folder matches",
    "REA002": "the file cannot be opened, or is not what its name says",
    "REA003": "a column that the site names is not in the file",
    "REA004": "a column that the site names is in the file twice",
    "REA005": "a kind of file that is not read here",
    "REA006": "the file is not text in the encoding that the site states",
    "REA007": "it is not clear whether the day or the month comes first",
    "REA008": "it is not clear whether a comma or a point marks the decimals",
    "REA009": "the file name does not say which engine it is of",
    "REA012": "a timestamp.format that cannot be used",
    "REA013": "the workbook has no such sheet",
    "REA014": "no row is accepted: nothing to judge",
    "REA015": "a column that holds no numbers where numbers are needed, or no times where times are needed",
    "REA016": "an address that cannot be read",
    "REA017": "a file that changed while it was read",
    "SVC001": "the file of service records is missing",
    "SVC002": "the file of service records cannot be opened, or is not what its name says",
    "SVC003": "a column of the service records is missing",
    "SVC004": "a column of the service records is in the file twice",
    "SVC005": "a kind of file that service records are not read from",
    "SVC006": "the file of service records is not text in the encoding that the site states",
    "SVC007": "it is not clear whether the day or the month comes first",
    "SVC012": "a time format that cannot be used",
    "SVC013": "the workbook of service records has no such sheet",
    "SVC015": "a column of the service records holds no times where times are needed",
    "LAB001": "the file of analyses is missing",
    "LAB002": "the file of analyses cannot be opened, or is not what its name says",
    "LAB003": "a column of the analyses is missing",
    "LAB004": "a column of the analyses is in the file twice",
    "LAB005": "a kind of file that analyses are not read from",
    "LAB006": "the file of analyses is not text in the encoding that the site states",
    "LAB007": "it is not clear whether the day or the month comes first",
    "LAB012": "a time format that cannot be used",
    "LAB013": "the workbook of analyses has no such sheet",
    "LAB015": "a column of the analyses holds no numbers where numbers are needed, or no times where times are needed",
}
"""Meaning of each code of this stage; service records (SVC) and analyses (LAB) share their numbers with readings (REA) where they
share a cause."""


def refusal(file: str, code: str, text: str, *, path: str | None = None, fix: str | None = None) -> ReadingsProblemError:
    """Return the error for one problem, ready to be raised.

    Args:
        file: path below the site folder, or the site file itself.
        code: a key of `READINGS_CODES`.
        text: what was found and what was expected, in one line.
        path: place in the site file, such as `$.readings[0].timestamp`.
        fix: what to do, in one line.

    Returns:
        An error that holds this one problem.
    """
    return ReadingsProblemError([Problem(code, file, None, path, text, fix)])


def folder_refusal(file: str, code: str, key: str) -> ReadingsProblemError:
    """Return the error for a folder that stands where a file of rows is needed.

    Args:
        file: its path below the site folder.
        code: a key of `READINGS_CODES`.
        key: the key of the site file that names such files, such as `services`.
    """
    return refusal(file, code, "cannot be read: it is a folder, not a file", fix=f"name the file in site.yaml: {key}: {{file: ..}}")
