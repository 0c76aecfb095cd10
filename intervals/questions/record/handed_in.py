"""What was handed in of a card, `intervals.handed-in/1`, and the files that it comes in.

In: bytes of a `.card.json`, or plain values typed. Out: `HandedIn`, and its evidence by step with every time as an instant. Refuses
(CLI160) what is no such document, saying where; whether it is true is judged elsewhere.
"""

from __future__ import annotations

import codecs
import json
from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, ValidationInfo, field_validator

from intervals.documents import json_text, plain_data
from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.card_code import card_document
from intervals.questions.card.card_models import Card
from intervals.questions.record.evidence import Answer, StepEvidence

HANDED_IN_SCHEMA: Literal["intervals.handed-in/1"] = "intervals.handed-in/1"
CANNOT_BE_READ = "CLI160"
CARD_SUFFIX = ".card.json"
MOST_BYTES = 8_000_000
"""A card that was handed in is no larger than this."""
MOST_TEXT = 2000
MOST_H = 1_000_000.0
"""No hour meter shows more: it is a hundred years without a stop."""
_MOST_VALUE = 1e9
"""What is measured is no more than this, in whatever unit."""
_YEARS = range(1971, 2200)
"""What the log's own times are bounded by."""
_WHOLE_FIX = "hand in the file that the card saved, as it is"

AsFound = Literal["good", "worn", "at_limit", "failed"]
"""How the part was found before the work."""
Words = Annotated[str, Field(max_length=MOST_TEXT)]


def _no_truth(value: object) -> object:
    """Return a figure as it was stated; a ValueError of yes or no."""
    if isinstance(value, bool):
        message = "a number is needed"
        raise ValueError(message)  # noqa: TRY004 - pydantic makes its refusal out of a ValueError alone
    return value


MeterHours = Annotated[float, BeforeValidator(_no_truth), Field(ge=0, le=MOST_H)]
Value = Annotated[float, BeforeValidator(_no_truth), Field(ge=-_MOST_VALUE, le=_MOST_VALUE)]


class _Handed(BaseModel):
    """Base of what is handed in: frozen; keys that a later program adds are passed over."""

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False, populate_by_name=True)


class HandedStep(_Handed):
    """What was handed in of one step; times are local to the site, or carry their offset."""

    answer: Literal["done", "yes", "no", "not_applicable", "left_out"] | None = None
    reason: Words | None = None
    at: str | None = None
    started_at: str | None = None
    ended_at: str | None = None
    value: Value | None = None
    label: Words | None = None
    initials: Words | None = None
    confirmed_outside: bool | None = None
    remark: Words | None = None

    @field_validator("value", mode="before")
    @classmethod
    def _check_value(cls, value: object) -> object:
        """Refuse a truth value, which is no figure."""
        return checked_figure(value)

    @field_validator("at", "started_at", "ended_at")
    @classmethod
    def _check_time(cls, value: str | None) -> str | None:
        """Refuse what is no time."""
        return checked_time(value)


class HandedIn(_Handed):
    """A card as it came back: the card itself, and what was filled in."""

    schema_name: Annotated[Literal["intervals.handed-in/1"], Field(alias="schema")]
    card: Card
    started_at: str | None = None
    ended_at: str | None = None
    by: Words | None = None
    released_by: Words | None = None
    hour_meter_h: MeterHours | None = None
    remarks: Words | None = None
    as_found: dict[str, AsFound] = {}
    not_done: tuple[str, ...] = ()
    steps: dict[str, HandedStep] = {}

    @field_validator("hour_meter_h", mode="before")
    @classmethod
    def _check_meter(cls, value: object) -> object:
        """Refuse a truth value, which is no reading."""
        return checked_figure(value)

    @field_validator("started_at", "ended_at")
    @classmethod
    def _check_time(cls, value: str | None) -> str | None:
        """Refuse what is no time."""
        return checked_time(value)

    @field_validator("as_found", "not_done")
    @classmethod
    def _check_tasks(cls, value: Any, info: ValidationInfo) -> Any:  # noqa: ANN401 - words by task, or tasks alone
        """Refuse what is stated of a task that the card does not have."""
        card = info.data.get("card")
        other = sorted(set(value) - {task.task for task in card.tasks}) if card is not None else []
        if other:
            message = f"the card does not have the task {', '.join(other)}"
            raise ValueError(message)
        return value

    @property
    def code(self) -> str:
        """The code of the card."""
        return self.card.code

    def instant(self, text: str | None, zone: ZoneInfo) -> datetime | None:
        """Return a time of it as an instant; a local time that comes twice is the first of the two."""
        return None if not text else instant_of(text, zone)

    def evidence(self, zone: ZoneInfo) -> dict[str, StepEvidence]:
        """Return the evidence by step, times as instants, of the steps that were not left out."""
        return {step: _evidence_of(given, zone) for step, given in self.steps.items() if given.answer != "left_out"}

    def step_times(self, zone: ZoneInfo) -> list[datetime]:
        """Return every time that a step tells, as an instant, in order."""
        stated = (text for step in self.steps.values() for text in (step.at, step.started_at, step.ended_at))
        return sorted(instant_of(text, zone) for text in stated if text)

    def ends_at(self, zone: ZoneInfo) -> datetime | None:
        """Return when the work counts as done: at its end, else at the last time that is stated; None where none is."""
        return self.instant(self.ended_at, zone) or max(self.times(zone), default=None)

    def times(self, zone: ZoneInfo) -> Iterator[datetime]:
        """Yield every time that is stated, as an instant."""
        yield from (instant_of(text, zone) for text in (self.started_at, self.ended_at) if text)
        yield from self.step_times(zone)


def checked_figure(value: object) -> object:
    """Return a figure as it was written; a ValueError of a truth value, which would be read as 0 or 1."""
    if isinstance(value, bool):
        message = "true or false is no figure"
        raise ValueError(message)  # noqa: TRY004 - the model turns a ValueError into a refusal
    return value


def checked_time(value: str | None) -> str | None:
    """Return a time as it was written; a ValueError of what is none; nothing is None."""
    if not value:
        return None
    at = datetime.fromisoformat(value)
    if not is_year(at):
        message = f"the year {at.year} cannot be"
        raise ValueError(message)
    return value


def is_year(at: datetime) -> bool:
    """Tell whether work can have been done in the year of a time."""
    return at.year in _YEARS


def is_meter_reading(hours: float) -> bool:
    """Tell whether an hour meter can show a figure, h; what is no number it cannot."""
    return 0 <= hours <= MOST_H


def instant_of(text: str, zone: ZoneInfo) -> datetime:
    """Return a time as an instant with the site's offset."""
    at = datetime.fromisoformat(text)
    return (at.replace(tzinfo=zone) if at.tzinfo is None else at).astimezone(zone)


def read_handed_in(path: Path) -> HandedIn:
    """Return what a `.card.json` holds.

    Raises:
        RequestProblemError: there is no such file, it is too large, or it is no card that was handed in (CLI160).
    """
    return handed_in_of(read_bytes(path), str(path))


def read_bytes(path: Path) -> bytes:
    """Return the bytes of a file that hands something in.

    Raises:
        RequestProblemError: there is no such file, or it is too large (CLI160).
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise refused(path, f"it is larger than {MOST_BYTES // 1_000_000} MB; what is handed in is far smaller")
        return path.read_bytes()
    except OSError as error:
        raise refused(path, f"cannot be read: {error.strerror or error}", "name a file that was handed in") from None


def handed_in_of(data: bytes, name: str) -> HandedIn:
    """Return what the bytes of a `.card.json` hold.

    Args:
        data: the file.
        name: how the file is called where it is refused.

    Raises:
        RequestProblemError: it is no card that was handed in (CLI160).
    """
    plain = data.removeprefix(codecs.BOM_UTF8)
    try:
        handed = HandedIn.model_validate_json(plain)
    except ValidationError as error:
        raise _not_handed_in(error, name) from None
    twice = _keys_stated_twice(plain)
    if twice:
        raise refused(name, f"not a card that was handed in: it states {', '.join(twice)} twice")
    return handed


def _keys_stated_twice(data: bytes) -> list[str]:
    """Return the keys that some object of a JSON text has more than once: readers differ in which of the two counts."""
    twice: set[str] = set()

    def note(pairs: list[tuple[str, object]]) -> dict[str, object]:
        twice.update(key for key, count in Counter(key for key, _ in pairs).items() if count > 1)
        return dict(pairs)

    json.loads(data, object_pairs_hook=note)
    return sorted(twice)


def _not_handed_in(error: ValidationError, name: str) -> RequestProblemError:
    """Return the refusal of a document, with where it is wrong."""
    problems = []
    for each in error.errors(include_url=False)[:5]:
        place = "$" + "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in each["loc"])
        problems.append(Problem(CANNOT_BE_READ, name, None, place, f"not a card that was handed in: {each['msg']}", _WHOLE_FIX))
    return RequestProblemError(problems)


def refused(path: Path | str, text: str, fix: str | None = _WHOLE_FIX) -> RequestProblemError:
    """Return the refusal of a file that cannot be used as a card that was handed in."""
    return RequestProblemError([Problem(CANNOT_BE_READ, str(path), None, None, text, fix)])


def handed_in_document(handed: HandedIn) -> dict[str, Any]:
    """Return what was handed in as plain data, `schema` first."""
    document: dict[str, Any] = plain_data({**handed.model_dump(mode="json", by_alias=True), "card": card_document(handed.card)})
    return document


def handed_in_text(handed: HandedIn) -> str:
    """Return what was handed in as it is kept: JSON text, the same bytes for the same content."""
    return json_text(handed_in_document(handed))


def digest_of(handed: HandedIn) -> str:
    """Return the SHA-256 of what is kept of it."""
    return sha256(handed_in_text(handed).encode("utf-8")).hexdigest()


def _evidence_of(given: HandedStep, zone: ZoneInfo) -> StepEvidence:
    """Return what was handed in of a step as the rules ask for it."""
    answers: Mapping[str | None, Answer | None] = {"done": "done", "yes": "yes", "no": "no", "not_applicable": "not_applicable"}
    at, started_at, ended_at = (instant_of(text, zone) if text else None for text in (given.at, given.started_at, given.ended_at))
    return StepEvidence(
        answer=answers.get(given.answer),
        reason=given.reason,
        value=given.value,
        label=given.label,
        started_at=started_at,
        ended_at=ended_at,
        at=at,
        by=given.initials,
        remark=given.remark,
    )
