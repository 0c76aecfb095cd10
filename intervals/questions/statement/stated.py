"""A statement as its file says it: what was found stays plain data, so that a version whose findings have other keys can still be compared.

In: the JSON of a statement or an amendment. Out: `Stated`, `StatedAmendment`. Refuses (pydantic's error) what lacks a part of it; keys
that a later version added are passed over.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict

from intervals.findings import RuleSetUsed
from intervals.questions.input_digests import InputFile
from intervals.questions.statement.site_parts import SiteParts
from intervals.questions.statement.statement_changes import Changes
from intervals.questions.statement.statements import Previous, RecordLine

Entry = dict[str, Any]
"""A finding, a skipped occurrence or a figure, as its document has it."""


class _Stated(BaseModel):
    """Base of what is read from statements."""

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False, defer_build=True)


def _with(*keys: str) -> Callable[[Entry], Entry]:
    """Return a check that an entry has some keys, each with text."""

    def check(entry: Entry) -> Entry:
        missing = [key for key in keys if not isinstance(entry.get(key), str)]
        if missing:
            message = f"lacks {', '.join(missing)}"
            raise ValueError(message)
        return entry

    return check


def _with_leg(entry: Entry) -> Entry:
    """Check that the governing leg of a finding can be shown."""
    legs = entry.get("legs")
    is_listed = isinstance(legs, list) and all(isinstance(leg, dict) and {"leg", "unit", "used", "allowed"} <= leg.keys() for leg in legs)
    if not is_listed or "governing" not in entry:
        message = "its legs do not say what was used and allowed"
        raise ValueError(message)
    return entry


class StatedFindings(_Stated):
    """The findings of a statement."""

    rulesets: tuple[RuleSetUsed, ...]
    findings: tuple[Annotated[Entry, AfterValidator(_with("engine", "task", "standing")), AfterValidator(_with_leg)], ...]
    skipped: tuple[Annotated[Entry, AfterValidator(_with("engine", "task", "kind", "at", "text"))], ...]
    totals: Entry
    compliance: Entry | None = None


class Stated(_Stated):
    """A statement as its file says it; what statements of former versions do not say is None."""

    site: str
    month: str
    as_of: str
    version: str
    ruleset: str | None = None
    ruleset_from: str | None = None
    engines: tuple[str, ...] | None = None
    previous: Previous | None
    inputs: tuple[InputFile, ...]
    records: tuple[RecordLine, ...]
    rows: dict[str, dict[str, str]]
    site_parts: SiteParts | None = None
    findings: StatedFindings

    @property
    def is_listed(self) -> bool:
        """Whether it was written by a version that lists what was stated last beside the statements."""
        return self.site_parts is not None

    @property
    def ruleset_ids(self) -> tuple[str, ...]:
        """Ids of the rule sets that judged: one, or several in a statement of a former version."""
        return (self.ruleset,) if self.ruleset is not None else tuple(sorted({entry.ruleset for entry in self.findings.rulesets}))


class StatedAmendment(_Stated):
    """An amendment: what takes the place of a month's statement, why, by whom and when, and what differs.

    Attributes:
        site: site id.
        month: `YYYY-MM`.
        number: from 1.
        version: of the program.
        reason: why.
        by: who amended.
        at: when, by the clock.
        amends: the statement, or the amendment before.
        previous: what was stated or amended last in the chain when this was written.
        follows_from: file of the amendment of an earlier month that the same change was taken in with; None where this is the month itself.
        changes: what differs from what it amends.
        statement: the month as it is now.
    """

    site: str
    month: str
    number: int
    version: str
    reason: str
    by: str
    at: str
    amends: Previous
    previous: Previous
    follows_from: str | None
    changes: Changes
    statement: Stated
