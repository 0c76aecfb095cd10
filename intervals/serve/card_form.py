"""A card as a plain form, and what was typed into it as a card that was handed in.

In: a card, and the fields of a form. Out: the lines of the form, and a document `intervals.handed-in/1`. Refuses nothing: what cannot be
read as a time or a number is said beside its field, and the form is shown again with all that was typed.

Only fields that the form has are looked at, and the card in the document is the one that the site keeps, whatever came back.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any, NamedTuple, get_args

from intervals.documents import json_text
from intervals.questions.card.card_code import card_document
from intervals.questions.card.card_models import Card, StepLine
from intervals.questions.card.card_words import words_in
from intervals.rules.procedure_steps import Phase, StepKind

HANDED_IN_SCHEMA = "intervals.handed-in/1"
MOST_TEXT = 1000
"""So many characters are taken of one field."""
_NUMBER = re.compile(r"[+-]?\d{1,12}(?:[.,]\d{1,9})?", re.ASCII)
_YEARS = range(1971, 2200)

GRADES = ("good", "worn", "at_limit", "failed")
_ANSWERS: dict[StepKind, tuple[str, ...]] = {
    "caution": ("done", "left_out"),
    "check": ("yes", "no", "not_applicable", "left_out"),
    "set": ("done", "not_applicable", "left_out"),
    "wait": ("done", "not_applicable", "left_out"),
    "do": ("done", "not_applicable", "left_out"),
    "measure": ("done", "not_applicable", "left_out"),
    "sample": ("done", "not_applicable", "left_out"),
}
_CAUTIONS = "caution"


class FormField(NamedTuple):
    """One field of the form: its name, what stands beside it, the kind of input, and what it holds."""

    name: str
    label: str
    kind: str
    value: str
    problem: str | None


class Choice(NamedTuple):
    """One answer that can be ticked."""

    word: str
    label: str
    is_chosen: bool


class FormStep(NamedTuple):
    """One step of the form: the step of the card, its number, its answers, the fields of its evidence, and those that few need."""

    step: StepLine
    number: int
    name: str
    choices: tuple[Choice, ...]
    fields: tuple[FormField, ...]
    more: tuple[FormField, ...]

    @property
    def has_more(self) -> bool:
        """Whether something stands in the fields that few need."""
        return any(field.value for field in self.more)


class FormTask(NamedTuple):
    """What is asked of one task: how the part was found, and whether the task was not done at all."""

    title: str
    found_name: str
    found: str
    left_name: str
    is_left: bool


class CardForm(NamedTuple):
    """The form of a card: head, steps by phase, what is asked of each task, and the foot."""

    head: tuple[FormField, ...]
    phases: tuple[tuple[str, tuple[FormStep, ...]], ...]
    tasks: tuple[FormTask, ...]
    foot: tuple[FormField, ...]
    problems: int


class TypedCard:
    """What was typed into the form of a card.

    Args:
        card: the card that the site keeps.
        fields: the fields that came back; those that the form does not have are passed over.
    """

    def __init__(self, card: Card, fields: Mapping[str, str]) -> None:
        self._card = card
        self._words = words_in(card.language)
        self._typed = {name: text for name in _names(card) if (text := _shortened(fields.get(name, ""))) and _is_offered(name, text)}
        self._problems = dict(self._wrong())

    @property
    def typed(self) -> dict[str, str]:
        """The fields that were taken."""
        return dict(self._typed)

    @property
    def has_problems(self) -> bool:
        """Whether something cannot be read as what it has to be."""
        return bool(self._problems)

    @property
    def by(self) -> str:
        """Who hands in."""
        return self._typed.get("by", "")

    def form(self) -> CardForm:
        """Return the form with what was typed."""
        groups: dict[str, list[FormStep]] = {group: [] for group in (_CAUTIONS, *get_args(Phase))}
        for number, step in enumerate(self._card.steps):
            groups[_CAUTIONS if step.kind == "caution" else step.phase].append(self._step(number, step))
        return CardForm(
            head=tuple(self._field(*each) for each in _HEAD),
            phases=tuple((self._words[f"phase_{group}"], tuple(steps)) for group, steps in groups.items() if steps),
            tasks=tuple(self._task(at, task.title) for at, task in enumerate(self._card.tasks)),
            foot=tuple(self._field(*each) for each in _FOOT),
            problems=len(self._problems),
        )

    def document(self) -> dict[str, Any]:
        """Return what is handed in, as plain data; only where nothing is wrong with it."""
        tasks = list(enumerate(self._card.tasks))
        return {
            "schema": HANDED_IN_SCHEMA,
            "card": card_document(self._card),
            **{name: _value_of(kind, self._typed.get(name)) for name, _, kind in (*_HEAD, *_FOOT)},
            "as_found": {task.task: self._typed[f"found-{at}"] for at, task in tasks if f"found-{at}" in self._typed},
            "not_done": [task.task for at, task in tasks if f"left-{at}" in self._typed],
            "steps": {step.id: given for number, step in enumerate(self._card.steps) if (given := self._given(number, step))},
        }

    def handed_in(self) -> bytes:
        """Return what is handed in as the bytes of a `.card.json`."""
        return json_text(self.document()).encode("utf-8")

    def _given(self, number: int, step: StepLine) -> dict[str, Any]:
        """Return what was typed of one step; nothing where nothing was."""
        given: dict[str, Any] = {}
        answer = self._typed.get(f"s{number}-answer")
        if answer in _ANSWERS[step.kind]:
            given["answer"] = answer
        for word, _, kind in (*_evidence_of(step), *_MORE):
            typed = self._typed.get(f"s{number}-{word}")
            if typed is not None:
                given[word] = _value_of(kind, typed)
        return given

    def _step(self, number: int, step: StepLine) -> FormStep:
        """Return one step of the form."""
        name = f"s{number}-answer"
        first = {"done": "kind_restore" if step.is_restore else "read" if step.kind == "caution" else "done"}
        choices = tuple(Choice(word, self._words[first.get(word, word)], self._typed.get(name) == word) for word in _ANSWERS[step.kind])
        fields = tuple(
            self._field(f"s{number}-{word}", label, kind, f", {step.unit}" if word == "value" and step.unit else "")
            for word, label, kind in _evidence_of(step)
        )
        more = tuple(self._field(f"s{number}-{word}", label, kind) for word, label, kind in _MORE)
        return FormStep(step, number + 1, name, choices, fields, more)

    def _task(self, at: int, title: str) -> FormTask:
        """Return what is asked of one task of the card."""
        found, left = f"found-{at}", f"left-{at}"
        return FormTask(title, found, self._typed.get(found, ""), left, left in self._typed)

    def _field(self, name: str, label: str, kind: str, unit: str = "") -> FormField:
        """Return one field of the form, with its label in the language of the card."""
        label = self._card.releases if label == "releases" else self._words[label] + unit
        return FormField(name, label, kind, self._typed.get(name, ""), self._problems.get(name))

    def _wrong(self) -> Iterator[tuple[str, str]]:
        """Yield the name of each field that cannot be read, with what is expected in it."""
        evidence = [
            (f"s{number}-{word}", label, kind) for number, step in enumerate(self._card.steps) for word, label, kind in _evidence_of(step)
        ]
        for name, _, kind in (*_HEAD, *_FOOT, *evidence):
            typed = self._typed.get(name)
            if typed is None:
                continue
            if kind == "number" and not _NUMBER.fullmatch(typed):
                yield name, "not a number; write for example 18210.4"
            elif kind == "datetime-local" and not _is_time(typed):
                yield name, "not a time; write for example 2026-11-03T07:10"


_Field = tuple[str, str, str]
_HEAD: tuple[_Field, ...] = (
    ("by", "by", "text"),
    ("started_at", "began", "datetime-local"),
    ("ended_at", "ended", "datetime-local"),
    ("hour_meter_h", "meter", "number"),
)
_FOOT: tuple[_Field, ...] = (("released_by", "releases", "text"), ("remarks", "remarks", "area"))

_MORE: tuple[_Field, ...] = (("reason", "reason", "text"), ("initials", "initials", "text"), ("remark", "remark", "text"))


def _evidence_of(step: StepLine) -> tuple[_Field, ...]:
    """Return the fields of the evidence of a step: each with its name in the document, the word for it on cards and the kind of input."""
    if step.kind == "caution":
        return ()
    if step.kind == "wait":
        return (("started_at", "start", "datetime-local"), ("ended_at", "end", "datetime-local"))
    first: dict[str, _Field] = {"measure": ("value", "value", "number"), "sample": ("label", "label", "text")}
    return (*filter(None, [first.get(step.kind)]), ("at", "time", "datetime-local"))


def _names(card: Card) -> Iterable[str]:
    """Yield the name of every field that the form of a card has."""
    yield from (name for name, _, _ in (*_HEAD, *_FOOT))
    for at in range(len(card.tasks)):
        yield from (f"found-{at}", f"left-{at}")
    for number, step in enumerate(card.steps):
        yield f"s{number}-answer"
        yield from (f"s{number}-{word}" for word, _, _ in (*_evidence_of(step), *_MORE))


def _is_offered(name: str, typed: str) -> bool:
    """Tell whether a field can hold a text: how a part was found is one of a few words."""
    return not name.startswith("found-") or typed in GRADES


def _value_of(kind: str, typed: str | None) -> str | float | None:
    """Return what a field holds, as it stands in the document."""
    if typed is None:
        return None
    return float(typed.replace(",", ".")) if kind == "number" else typed


def _shortened(typed: str) -> str:
    """Return what was typed, without blanks around it and no longer than what is taken; no character that a file cannot hold."""
    return typed.strip()[:MOST_TEXT].replace("\r\n", "\n").replace("\x00", "").encode("utf-8", "replace").decode("utf-8")


def _is_time(typed: str) -> bool:
    """Tell whether a text is a date with a time of day."""
    try:
        return "T" in typed and datetime.fromisoformat(typed).year in _YEARS
    except ValueError:
        return False
