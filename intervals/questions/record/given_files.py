"""The files that hand something in, by what their names say they are.

In: a path. Out: `Given`. Refuses (CLI160) a file of another kind.
"""

from __future__ import annotations

from pathlib import Path

from intervals.questions.record.handed_in import handed_in_of, read_bytes, refused
from intervals.questions.record.record_site import Given
from intervals.site.model import Site

SHEETS = (".csv", ".xlsx")


def read_given(site: Site, path: Path, card: Path | None) -> Given:
    """Return what a file hands in.

    Args:
        site: the site, in whose folder the card of a sheet is looked for.
        path: the file.
        card: the card of a sheet, where it was named.

    Raises:
        RequestProblemError: it cannot be read (CLI160), or its card is not there (CLI162).
    """
    suffix = path.suffix.lower()
    if suffix == ".json":
        data = read_bytes(path)
        return Given(handed_in_of(data, str(path)), data)
    if suffix in SHEETS:
        from intervals.questions.record.handed_in_sheet import read_sheet  # noqa: PLC0415 - only for sheets

        return Given(read_sheet(site, path, card))
    raise refused(
        path, f"a file of the kind {suffix or 'without an ending'} hands nothing in", "hand in a .card.json, or a sheet: .csv, .xlsx"
    )
