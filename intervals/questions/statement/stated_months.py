"""Which months of a site were stated, by the names of the files, and whether a month can be stated, verified or amended at all.

In: the site's folder. Out: months. Refuses (`RequestProblemError`, codes CLI120, CLI122) before anything is read that takes long.
"""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

from intervals.language.months import last_day_of
from intervals.problems import Problem, RequestProblemError
from intervals.site.model import Site
from intervals.site.sources import HEADS_FILE, STATEMENTS_FOLDER

_STATEMENT = "[0-9][0-9][0-9][0-9]-[0-1][0-9]*.json"
_LISTED = re.compile(r'"last": "(?:[^"/]+/)?([0-9]{4}-[0-1][0-9])[^"/]*\.json"')
_MONTH_LENGTH = 7


def months_stated(folder: Path) -> list[str]:
    """Return the months of all statements of a site, as `YYYY-MM`, in no order; one that was amended comes several times.

    Those that the list of statements names are among them, whether or not their files are there.

    Args:
        folder: the site's folder.
    """
    statements = folder / STATEMENTS_FOLDER
    listed = statements / HEADS_FILE
    named = _LISTED.findall(listed.read_text("utf-8", "replace")) if listed.is_file() else []
    return [*named, *(path.name[:_MONTH_LENGTH] for path in (*statements.glob(_STATEMENT), *statements.glob(f"*/{_STATEMENT}")))]


def refuse_month(site: Site, month: str, now_us: int, *, verify: bool, amend: bool) -> None:
    """Refuse to state a month that has not ended, and to verify or amend where nothing was stated.

    Args:
        site: the site.
        month: `YYYY-MM`; with `verify` the last one to look at.
        now_us: the clock, UTC microseconds.
        verify: whether statements are to be verified.
        amend: whether the month is to be amended.

    Raises:
        RequestProblemError: the month has not ended (code CLI120), or there is no statement (code CLI122).
    """
    folder = site.folder / STATEMENTS_FOLDER
    names = months_stated(site.folder)
    if verify and not any(name <= month for name in names):
        text = f"there is no statement up to {month} in {folder}"
        raise RequestProblemError([Problem("CLI122", "--verify", None, None, text, "state a month first: leave --verify out")])
    if amend and month not in names:
        text = f"there is no statement of {month} in {folder}"
        raise RequestProblemError([Problem("CLI122", "--amend", None, None, text, "state the month first: leave --amend out")])
    if not verify and not amend and site.instant_us(last_day_of(month) + timedelta(days=1)) > now_us:
        raise RequestProblemError([Problem("CLI120", "--month", None, None, f"{month} has not ended", "state a month once it is over")])
