"""What was stated, what became of statements, and what was amended, as text.

In: the answers of `questions/statement/`. Out: lines. It computes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from intervals.questions.month.month_wording import month_name
from intervals.questions.statement.stated import StatedAmendment
from intervals.questions.statement.statement_answers import StatedMonth, Verified
from intervals.questions.statement.statement_changes import Changes
from intervals.questions.statement.statement_check import StatementCheck
from intervals.questions.statement.statement_writing import Amended, digest_of_text
from intervals.reports.folding import fold_lines
from intervals.reports.lines import Line, Span, line_of, printable
from intervals.reports.sections import warning_lines
from intervals.reports.text_columns import SET_IN
from intervals.shown_numbers import count_of

_MOST_SHOWN = 12


def stated_lines(stated: StatedMonth, *, width: int | None = None) -> list[Line]:
    """Return what was stated: what is doubtful in what was read, then a line for each rule set.

    Args:
        stated: what was done.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    return fold_lines([*warning_lines(stated.warnings), *(line_of(printable(line)) for line in stated.lines)], width)


def check_lines(verified: Verified, amend_with: Callable[[str], str], *, width: int | None = None) -> list[Line]:
    """Return what became of each statement: one line where it holds, and what changed where it does not.

    Args:
        verified: what became of the statements.
        amend_with: yields the command that amends a month.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    lines: list[Line] = []
    chains = verified.chains
    for chain in chains:
        if len(chains) > 1 or chain.is_joint:
            lines.append(line_of(printable(chain.title), "bold"))
        for check in chain.checks:
            lines += _check_lines(check)
    for name in verified.strays:
        lines.append(line_of(printable(f"{name}  is not a statement of this site, by its name or its folder; it was not checked")))
    lines += [line_of(printable(f"{lost} are gone"), "red") for lost in verified.lost]
    lines += [line for code, file in verified.codes for line in _code_lines(code, file)]
    every = [check for chain in chains for check in chain.checks]
    broken = [
        month_name(check.month) + (f" by {', '.join(chain.rulesets)}" if len(chains) > 1 else "")
        for chain in chains
        for check in chain.checks
        if not check.holds
    ]
    heading = f"{count_of(len(every), 'statement')}: " + (
        f"no longer matching: {', '.join(broken)}" if broken else "everything is as it was stated" + _amended_too(every)
    )
    if not broken and not verified.holds:
        heading = f"{count_of(len(every), 'statement')}: each is as it was stated, and some are missing"
    lines += [line_of(""), line_of(printable(heading), "bold")]
    if any(not check.holds and not check.chain for check in every):
        lines.append(line_of(f"to take in a record that came late or was corrected honestly: {printable(amend_with(verified.amend))}"))
    for chain in chains:
        if chain.code is not None:
            by = f" by {', '.join(chain.rulesets)}" if len(chains) > 1 else ""
            lines.append(line_of(printable(f"check code of all that was stated{by}: {chain.code}")))
    # what is said of a statement is set in already: what it goes on with is set in twice
    return fold_lines(lines, width, set_in=2 * SET_IN)


def amended_lines(done: Sequence[Amended], month: str, amend_with: Callable[[str], str], *, width: int | None = None) -> list[Line]:
    """Return what was amended in each chain: each file with its digest and what changed, then the months that are left as they are.

    Args:
        done: the chains, amended.
        month: the month that was asked for, `YYYY-MM`.
        amend_with: yields the command that amends a month.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    lines = [line for each in done for line in _amended_lines(each, month, amend_with, several=len(done) > 1)]
    return fold_lines(lines, width)


def _amended_lines(done: Amended, asked_month: str, amend_with: Callable[[str], str], *, several: bool) -> Iterator[Line]:
    """Yield what was amended in one chain."""
    by = f" by {', '.join(done.chain.rulesets)}" if several else ""
    if not done.texts:
        yield line_of(printable(f"nothing to amend: the statement of {month_name(asked_month)}{by} holds"))
    for month, (path, text) in done.texts.items():
        number = done.chain.of_month(month)[-1].number + 1
        follows = "" if month == asked_month else ", affected by the same change"
        heading = f"{path}: amendment {number} of {month_name(month)}{by}{follows}, SHA-256 {digest_of_text(text)}"
        yield line_of(printable(heading))
        yield from change_lines("", done.checks[month].changes)
    for month in done.left():
        heading = f"{month}{by} does not match either, and is not amended by this; see --verify, or: {amend_with(month)}"
        yield line_of(printable(heading))


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
        ("site", changes.site),
        ("findings", changes.findings),
    )
    return [line for kind, entries in kinds for line in _part(f"{heading}{kind}", entries)]


def _code_lines(code: str, file: str | None) -> Iterator[Line]:
    """Yield what became of a check code that was written down."""
    if file is None:
        text = f"check code {code}  no statement has it: what was stated when it was written down was changed, removed or made anew"
        yield line_of(printable(text), "red")
    else:
        text = f"check code {code}  is that of {file}: it is the same file as then"
        yield line_of(printable(f"{text}, and so are those before it unless a line above says otherwise"))


def _check_lines(check: StatementCheck) -> Iterator[Line]:
    """Yield the lines of one statement."""
    holds = "holds as amended" if check.amendments else "holds"
    word, style = (holds, "green") if check.holds else ("no longer matches", "red")
    yield Span(f"{check.month}  "), Span(word, style)
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
