"""Statements and amendments as files: JSON that carries the digest of its own content.

In: a `Statement`, an `Amendment`, or the text of one. Out: JSON text; `Stated` and `StatedAmendment`. Refuses (code CLI123) a file that is
neither, and one in which a key stands twice.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import ValidationError

from intervals.documents import json_text
from intervals.problems import Problem, RequestProblemError
from intervals.questions.check.findings_document import findings_document
from intervals.questions.statement.stated import Stated, StatedAmendment
from intervals.questions.statement.statement_changes import Changes
from intervals.questions.statement.statements import STATEMENT_SCHEMA, Previous, Statement

AMENDMENT_SCHEMA: Literal["intervals.amendment/1"] = "intervals.amendment/1"
SEAL = "sha256"
"""The last key of a document: the digest of all others."""


@dataclass(frozen=True)
class Amendment:
    """An amendment that is to be written.

    Attributes:
        number: from 1.
        reason: why.
        by: who amends.
        at: when, ISO 8601 with offset.
        amends: the statement, or the amendment before.
        previous: what was stated or amended last in the chain.
        follows_from: file of the amendment of an earlier month that the same change was taken in with, or None.
        changes: what differs.
        statement: the month as it is now.
    """

    number: int
    reason: str
    by: str
    at: str
    amends: Previous
    previous: Previous
    follows_from: str | None
    changes: Changes
    statement: Statement


@dataclass(frozen=True)
class Written:
    """What a statement's file holds.

    Attributes:
        stated: the statement, or the one that an amendment holds.
        amendment: the amendment, where it is one.
        is_sealed: whether it carries the digest of its content; those of former versions carry none.
        is_whole: whether that digest fits.
    """

    stated: Stated
    amendment: StatedAmendment | None
    is_sealed: bool
    is_whole: bool

    @property
    def previous(self) -> Previous | None:
        """What was stated or amended last when it was written."""
        return self.stated.previous if self.amendment is None else self.amendment.previous


def statement_text(statement: Statement) -> str:
    """Return a statement as it is written to its file: JSON, keys in a fixed order, its own digest last."""
    return json_text(_sealed(_statement_body(statement)))


def amendment_text(amendment: Amendment) -> str:
    """Return an amendment as it is written to its file: JSON, keys in a fixed order, its own digest last."""
    statement = amendment.statement
    body = {
        "schema": AMENDMENT_SCHEMA,
        "site": statement.site,
        "month": statement.month,
        "ruleset": statement.ruleset,
        "number": amendment.number,
        "version": statement.version,
        "reason": amendment.reason,
        "by": amendment.by,
        "at": amendment.at,
        "amends": _link(amendment.amends),
        "previous": _link(amendment.previous),
        "follows_from": amendment.follows_from,
        "changes": amendment.changes.model_dump(mode="json"),
        "statement": _statement_body(statement),
    }
    return json_text(_sealed(body))


def as_stated(statement: Statement) -> Stated:
    """Return a statement that was just made as its file would say it."""
    return _stated(json.loads(json_text(_statement_body(statement))))


def read_written(text: str, shown: str) -> Written:
    """Return what a statement's or amendment's file holds.

    Args:
        text: the file's content.
        shown: its path, as it is shown in a problem.

    Raises:
        RequestProblemError: it is neither, or of another make, or a key stands twice (code CLI123).
    """
    try:
        body = json.loads(text, object_pairs_hook=_without_doubles, parse_constant=_refuse_constant)
    except ValueError as error:
        raise _refused(shown, f"not JSON: {error}") from None
    schema = body.get("schema") if isinstance(body, dict) else None
    if not isinstance(body, dict) or schema not in (STATEMENT_SCHEMA, AMENDMENT_SCHEMA):
        raise _refused(shown, f"not a statement: its schema is neither {STATEMENT_SCHEMA} nor {AMENDMENT_SCHEMA}")
    seal = body.pop(SEAL, None)
    is_whole = seal is None or seal == digest_of(body)
    try:
        amendment = StatedAmendment.model_validate(body) if schema == AMENDMENT_SCHEMA else None
        stated = _stated(body) if amendment is None else amendment.statement
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise _refused(shown, f"not a statement as this version reads them: {place}: {first['msg']}") from None
    return Written(stated, amendment, is_sealed=seal is not None, is_whole=is_whole)


def digest_of(body: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a document's content, whatever the order of its keys and the line ends of its file.

    Args:
        body: the document without its digest.
    """
    canonical = json.dumps(body, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(canonical.encode("ascii")).hexdigest()


def _statement_body(statement: Statement) -> dict[str, Any]:
    """Return the document of a statement, without its digest."""
    body: dict[str, Any] = statement.model_dump(mode="json", exclude={"findings", "previous"})
    previous = None if statement.previous is None else _link(statement.previous)
    head = {key: body.pop(key) for key in ("site", "month", "as_of", "version", "ruleset", "ruleset_from", "engines")}
    return {"schema": STATEMENT_SCHEMA, **head, "previous": previous, **body, "findings": findings_document(statement.findings)}


def _link(link: Previous) -> dict[str, Any]:
    """Return what a document says of another one."""
    return link.model_dump(mode="json", exclude_none=True)


def _sealed(body: dict[str, Any]) -> dict[str, Any]:
    """Return a document with the digest of its content as it is read back."""
    return {**body, SEAL: digest_of(json.loads(json_text(body)))}


def _stated(body: Mapping[str, Any]) -> Stated:
    """Return a statement's document as it is compared."""
    return Stated.model_validate(body)


def _without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return the keys of an object; refuse one that stands twice, of which only the last would be read."""
    found = dict(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        twice = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
        message = f'the key "{twice}" is written twice in one object'
        raise ValueError(message)
    return found


def _refuse_constant(word: str) -> float:
    """Refuse NaN and Infinity, which are no JSON."""
    message = f"{word} is no figure"
    raise ValueError(message)


def _refused(shown: str, text: str) -> RequestProblemError:
    """Return the error for a file that is no statement."""
    return RequestProblemError([Problem("CLI123", shown, None, None, text, "move the file away, or put the statement back as it was")])
