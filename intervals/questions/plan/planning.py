"""What a plan is asked for, and what it rests on while it is made.

In: plain values from `make_plan`. Out: frozen values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from intervals.findings import Findings
from intervals.history.inputs import Inputs
from intervals.questions.plan.jobs import Planned
from intervals.questions.plan.oil_use import OilUse
from intervals.questions.plan.part_models import AIMS, Aim, Part
from intervals.questions.plan.plan_file import PlanBefore
from intervals.questions.plan.plan_models import PlannedStop
from intervals.questions.plan.stock import InStock
from intervals.questions.plan.stop_slots import Grain


@dataclass(frozen=True)
class PlanAsked:
    """What plan is asked for.

    Attributes:
        until: the last day; None: a year from the day of judging.
        slots: by weeks or by days.
        engines: ids; none means all.
        tasks: ids; none means all.
        before: the plan before, or None.
        keeps: whether as little as possible is to move against it; what a person fixed stays in any case.
        aims: what is aimed at, the first first.
        jobs: how many processes share the work; None: as many as processors.
    """

    until: date | None = None
    slots: Grain = "week"
    engines: tuple[str, ...] = ()
    tasks: tuple[str, ...] = ()
    before: PlanBefore | None = None
    keeps: bool = False
    aims: tuple[Aim, ...] = AIMS
    jobs: int | None = None


@dataclass(frozen=True)
class Planning:
    """A plan while it is made: what it rests on.

    Attributes:
        inputs: what the findings rest on.
        findings: what was found.
        planned: the jobs, and what belongs to them.
        whole: everything that is planned.
        closed: engine -> days on which it is not stopped, each with its reason.
        asked: what was asked for.
        uses: engine -> the oil that it uses up between changes.
        stock: what lies in stock; None where the site does not say.
        carried: stops of the plan before that stay as they are.
        lost: stops that a person fixed and that cannot stay, sentences.
    """

    inputs: Inputs
    findings: Findings
    planned: Planned
    whole: Part
    closed: Mapping[str, Mapping[date, str]]
    asked: PlanAsked
    uses: Mapping[str, OilUse]
    stock: Mapping[str, InStock] | None
    carried: tuple[PlannedStop, ...]
    lost: tuple[str, ...]
