"""A job card as a document: what one stop of one engine is for, what to bring, and every step in order.

In: plain values from `make_card`. Out: frozen models, `intervals.card/1`; `card_code` gives a card the code that it proves itself by, and
`reports/card/` draws it. What was handed in carries the whole card, so the models read it again.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from intervals.documents import Frozen
from intervals.findings import RuleSetUsed, StandingWord
from intervals.rules.procedure_steps import EvidenceNeed, Phase, StepKind

CARD_SCHEMA: Literal["intervals.card/1"] = "intervals.card/1"
LimitWord = Literal["above", "at_least", "below", "at_most"]


class CardStop(Frozen):
    """When the work is planned for, out of which plan, and the code of the card that it completes where one was left in part."""

    on: str
    plan: str | None
    completes: str | None


class CardTask(Frozen):
    """A task of the stop, and why it is due.

    `task` is its name as it differs from the others of its engine: with its rule set where several judge the engine. `because` is the
    finding's sentence, `due_on` the day on which its line is or was reached, `meter_h_expected` the hour meter as the log has it on the day
    judged (h). `procedure` is the part before the dot in the ids of its steps; None where the rule set has no procedure for it, and one
    step of its own name stands for it.
    """

    task: str
    ruleset: str
    title: str
    standing: StandingWord
    because: str
    due_on: str | None
    procedure: str | None
    meter_h_expected: float | None


class CardPart(Frozen):
    """A part to bring; the count is None where the engine does not state it."""

    part: str
    title: str | None
    count: float | None


class CardOil(Frozen):
    """Oil to bring, L; None where the engine does not state how much."""

    grade: str
    litres: float | None


class CardWaste(Frozen):
    """What is left over and has to be accounted for, such as `oil_l`; the value is None where the engine does not state it."""

    name: str
    value: float | None


class LastResult(Frozen):
    """An earlier result of the same measure: when, the value in the step's unit, and the code of its card."""

    at: str
    value: float
    card: str


class TrendCaution(Frozen):
    """A limit that a measure reaches before its task is next due, at the robust slope of its last results.

    `results` make the slope: the median of the slopes between each two of them (Theil and Sen), in the step's unit per year of 365 days.
    `reached_on` is the day on which that slope, laid on the last result, meets `bound`. `due_on` is the day on which the task is due, or of
    one that is overdue the day of the stop. `text` says all that in the card's language.
    """

    results: tuple[LastResult, ...]
    slope_per_year: float
    limit: LimitWord
    bound: float
    reached_on: str
    due_on: str
    text: str


class StepLine(Frozen):
    """One step as it stands on the card, with everything that its evidence is judged by.

    `id` is `PROCEDURE.STEP`, at the third of several places `PROCEDURE.STEP.3`, with `.restore` behind it where something is put back.
    `tasks` are those that it is done for, `procedures` those that share it. `lang` is the language that the words are in, empty where the
    rule set does not say. `minutes` (min) and `limits` (in `unit`) hold numbers; None where the engine does not state them, and
    `unstated` names what it would have to state. `needs` are ids of steps of this card. `last` are the last three results, `trend` is None
    where no limit is near; a card that was made without that key is read, and keeps its code.
    """

    id: str
    kind: StepKind
    phase: Phase
    tasks: tuple[str, ...]
    procedures: tuple[str, ...]
    text: str
    lang: str
    of: str | None
    to: str | None
    before: str | None
    place: int | None
    minutes: float | None
    minutes_source: str | None
    value: str | None
    unit: str | None
    limits: dict[LimitWord, float | None] | None
    limits_text: str | None
    unstated: tuple[str, ...]
    needs: tuple[str, ...]
    evidence: EvidenceNeed
    is_restore: bool
    is_certain: bool
    last: tuple[LastResult, ...]
    trend: TrendCaution | None = None


class Card(Frozen):
    """The job card of one stop of one engine or component; `code` is the digest of all the rest, as `card_code.code_of` makes it."""

    schema_name: Literal["intervals.card/1"] = Field(alias="schema")
    code: str
    site: str
    site_title: str
    engine: str
    engine_title: str
    made_on: str
    made_by_version: str
    rulesets: tuple[RuleSetUsed, ...]
    language: str
    stop: CardStop
    tasks: tuple[CardTask, ...]
    people: int
    hours: float | None
    parts: tuple[CardPart, ...]
    oil: tuple[CardOil, ...]
    waste: tuple[CardWaste, ...]
    tools: tuple[str, ...]
    steps: tuple[StepLine, ...]
    releases: str
    remarks: tuple[str, ...]
