"""Statements as files, and what became of them as text.

In: a `Statement`, or the text of one; `StatementCheck` values. Out: JSON text, a `Statement`, lines. Refuses a file that is no statement.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError

from intervals.figures import count_of
from intervals.judge.month_wording import month_name
from intervals.judge.statement_check import StatementCheck
from intervals.judge.statements import STATEMENT_SCHEMA, Statement
from intervals.problems import Problem, RequestProblemError
from intervals.reports.columns import SET_IN
from intervals.reports.document import findings_document, json_text
from intervals.reports.folding import fold_lines
from intervals.reports.lines import Line, Piece, line_of, printable

_MOST_SHOWN = 12
_HEADINGS = (("chain", "the row of statements"), ("rules", "rules"), ("records", "records"), ("rows", "log"), ("findings", "findings"))


def statement_text(statement: Statement) -> str:
    """Return a statement as it is written to its file: JSON, keys in a fixed order."""
    body: dict[str, Any] = statement.model_dump(mode="json", exclude={"findings"})
    return json_text({"schema": STATEMENT_SCHEMA, **body, "findings": findings_document(statement.findings)})


def read_statement(text: str, shown: str) -> Statement:
    """Return the statement of a file.

    Args:
        text: the file's content.
        shown: its path, as it is told in a problem.

    Raises:
        RequestProblemError: it is no statement, or one of another make (code CLI123).
    """
    try:
        body = json.loads(text)
        if not isinstance(body, dict) or body.pop("schema", None) != STATEMENT_SCHEMA:
            raise _refused(shown, f"not a statement: its schema is not {STATEMENT_SCHEMA}")
        if isinstance(body.get("findings"), dict):
            _bring_up_to_date(body["findings"])
        return Statement.model_validate_json(json.dumps(body))
    except json.JSONDecodeError as error:
        raise _refused(shown, f"not JSON: {error}") from None
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise _refused(shown, f"not a statement as this version writes them: {place}: {first['msg']}") from None


def _bring_up_to_date(findings: dict[str, Any]) -> None:
    """Put findings as they were stated into today's keys: before `intervals.findings/2` late, missed and open were told side by side."""
    compliance = findings.get("compliance")
    if findings.pop("schema", None) != "intervals.findings/1" or not isinstance(compliance, dict):
        return
    missed, still_open = compliance.get("missed", 0), compliance.get("open", 0)
    compliance |= {"late": compliance.get("late", 0) + missed + still_open, "deferred": 0, "early": 0, "by_weight": {}}
    for entry in compliance.get("occurrences", ()):
        met = entry.get("met")
        entry |= {"weight": "engine", "open": met == "open", "decided_on": None}
        entry["met"] = "late" if met == "open" else met


def check_lines(checks: Sequence[StatementCheck], *, width: int | None = None) -> list[Line]:
    """Return what became of each statement: one line where it holds, and what changed where it does not.

    Args:
        checks: one for each statement.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    lines: list[Line] = []
    for check in checks:
        word, style = ("holds", "green") if check.holds else ("no longer matches", "red")
        lines.append((Piece(f"{check.month}  "), Piece(word, style)))
        for name, heading in _HEADINGS:
            lines += _part(heading, getattr(check, name))
        lines += _part("besides", check.notes)
    broken = [check.month for check in checks if not check.holds]
    told = f"{count_of(len(checks), 'statement')}: " + (
        f"no longer matching: {', '.join(month_name(month) for month in broken)}" if broken else "everything is as it was stated"
    )
    # what is said of a statement is set in already: what it goes on with is set in twice
    return fold_lines([*lines, line_of(""), line_of(told, "bold")], width, set_in=2 * SET_IN)


def _part(heading: str, entries: Sequence[str]) -> list[Line]:
    """Return one kind of change, cut where it is long."""
    lines = [line_of(f"    {heading}: {printable(entry)}") for entry in entries[:_MOST_SHOWN]]
    if len(entries) > _MOST_SHOWN:
        lines.append(line_of(f"    {heading}: showing {_MOST_SHOWN} of {len(entries):,}"))
    return lines


def _refused(shown: str, text: str) -> RequestProblemError:
    """Return the error for a file that is no statement."""
    return RequestProblemError([Problem("CLI123", shown, None, None, text, "move the file away, or put the statement back as it was")])
