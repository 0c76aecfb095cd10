"""What became of statements, as text.

In: `StatementCheck` values by chain. Out: lines. It computes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from intervals.questions.month.month_wording import month_name
from intervals.questions.statement.stated import StatedAmendment
from intervals.questions.statement.statement_changes import Changes
from intervals.questions.statement.statement_check import StatementCheck
from intervals.reports.columns import SET_IN
from intervals.reports.folding import fold_lines
from intervals.reports.lines import Line, Piece, line_of, printable
from intervals.shown_numbers import count_of

_MOST_SHOWN = 12


class CheckedChain(NamedTuple):
    """The checks of one chain, with the rule sets that its statements are by."""

    rulesets: tuple[str, ...]
    checks: Sequence[StatementCheck]

    @property
    def is_joint(self) -> bool:
        """Whether a former version stated several rule sets together."""
        return len(self.rulesets) > 1

    @property
    def title(self) -> str:
        """What the chain is called."""
        named = ", ".join(self.rulesets)
        return f"rule sets {named} (stated together by a former version)" if self.is_joint else f"rule set {named}"


def check_lines(chains: Sequence[CheckedChain], strays: Sequence[str], amend_with: str, *, width: int | None = None) -> list[Line]:
    """Return what became of each statement: one line where it holds, and what changed where it does not.

    Args:
        chains: the checks of each chain.
        strays: files beside the statements that are none.
        amend_with: the command that takes in a record that came late.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    lines: list[Line] = []
    for chain in chains:
        if len(chains) > 1 or chain.is_joint:
            lines.append(line_of(printable(chain.title), "bold"))
        for check in chain.checks:
            lines += _check_lines(check)
    lines += [
        line_of(printable(f"{name}  is not a statement of this site, by its name or its folder; it was not checked")) for name in strays
    ]
    every = [check for chain in chains for check in chain.checks]
    broken = [
        month_name(check.month) + (f" by {', '.join(chain.rulesets)}" if len(chains) > 1 else "")
        for chain in chains
        for check in chain.checks
        if not check.holds
    ]
    told = f"{count_of(len(every), 'statement')}: " + (
        f"no longer matching: {', '.join(broken)}" if broken else "everything is as it was stated" + _amended_too(every)
    )
    lines += [line_of(""), line_of(printable(told), "bold")]
    if any(not check.holds and not check.chain for check in every):
        lines.append(line_of(f"to take in a record that came late or was corrected honestly: {printable(amend_with)}"))
    # what is said of a statement is set in already: what it goes on with is set in twice
    return fold_lines(lines, width, set_in=2 * SET_IN)


def change_lines(heading: str, changes: Changes) -> list[Line]:
    """Return what differs, each kind cut where it is long.

    Args:
        heading: what each line begins with, before the kind of change; it may be empty.
        changes: what differs.
    """
    kinds = (
        ("rules", changes.rules),
        ("records", [change.text for change in changes.records]),
        ("log", [change.text for change in changes.rows]),
        ("findings", changes.findings),
    )
    return [line for kind, entries in kinds for line in _part(f"{heading}{kind}", entries)]


def _check_lines(check: StatementCheck) -> Iterator[Line]:
    """Yield the lines of one statement."""
    holds = "holds as amended" if check.amendments else "holds"
    word, style = (holds, "green") if check.holds else ("no longer matches", "red")
    yield Piece(f"{check.month}  "), Piece(word, style)
    for amendment in check.amendments:
        yield from amendment_lines(amendment)
    yield from _part("the row of statements", check.chain)
    yield from change_lines("", check.changes)
    yield from _part("also", check.notes)


def amendment_lines(amendment: StatedAmendment) -> Iterator[Line]:
    """Yield what an amendment took in: by whom, when and why, then what differed."""
    name = f"amendment {amendment.number}"
    follows = "" if amendment.follows_from is None else f" (follows from {amendment.follows_from})"
    yield line_of(printable(f"    {name}: by {amendment.by} at {amendment.at}: {amendment.reason}{follows}"))
    yield from change_lines(f"{name}, ", amendment.changes)


def _amended_too(checks: Sequence[StatementCheck]) -> str:
    """Return what to say of the amended ones where all hold."""
    return ", or amended since" if any(check.amendments for check in checks) else ""


def _part(heading: str, entries: Sequence[str]) -> list[Line]:
    """Return one kind of change, cut where it is long."""
    lines = [line_of(f"    {heading}: {printable(entry)}") for entry in entries[:_MOST_SHOWN]]
    if len(entries) > _MOST_SHOWN:
        lines.append(line_of(f"    {heading}: showing {_MOST_SHOWN} of {len(entries):,}"))
    return lines
