"""What a part leaves open, as variables of the solver, and what binds them.

In: a `Part`. Out: a model of `ortools` with its variables: what is done when, which engine stands when, what is late, overtime. Nothing
that a plant can bring about makes it infeasible: a job may be late or left undone, a crew may work longer, at a price.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from datetime import date

from ortools.sat.python import cp_model

from intervals.questions.plan.job_models import Job
from intervals.questions.plan.job_slots import Span, early_before, ends_possible, spans_of, taken_in
from intervals.questions.plan.part_early import bind_early, early_in
from intervals.questions.plan.part_models import Part

TENTHS = 10
"""Hours go in as tenths."""


class PartVariables:
    """The variables of a part.

    Args:
        part: the part.
        is_bound: whether engines bind one another, by groups and crews; False: each as if it were alone.
        may_be_early: whether a job may be done long before its first limit; where nothing presses it need not be, and is not.

    Attributes:
        part: the part.
        model: the solver's model.
        ends: for each job, slot in which it is finished -> variable.
        taken: for each job, how many slots it takes.
        covered: for each job, slot -> variables of what does it then: itself, and jobs that do it too.
        stopped: engine and slot -> whether the engine stands.
        visited: engine and slot -> whether somebody comes while it runs.
        late: for each job, its spans and whether each was let pass.
        early: for each job, slot -> whether it is done then too early.
        overtime: crew and week -> tenths of hours beyond its own.
        loads: the same -> what may be done then, each with its tenths of hours, and the tenths that the crew has.
    """

    def __init__(self, part: Part, *, is_bound: bool = True, may_be_early: bool = True) -> None:
        self.part, self._may_be_early = part, may_be_early
        self.model = cp_model.CpModel()
        self.taken = [taken_in(part, job) for job in part.jobs]
        self.ends: list[dict[int, cp_model.IntVar]] = []
        self.covered: list[dict[int, list[cp_model.IntVar]]] = []
        self.stopped: dict[tuple[str, int], cp_model.IntVar] = {}
        self.visited: dict[tuple[str, int], cp_model.IntVar] = {}
        self.late: list[list[tuple[Span, cp_model.IntVar]]] = []
        self.early: list[dict[int, cp_model.IntVar]] = []
        self.overtime: dict[tuple[str, date], cp_model.IntVar] = {}
        self.loads: dict[tuple[str, date], tuple[list[tuple[cp_model.IntVar, int]], int]] = {}
        self._make_ends()
        self._make_stops()
        self._make_late()
        self._make_early()
        if is_bound:
            self._bind_groups()
            self._bind_crews()

    def slot_of(self, engine: str, day: date) -> int:
        """Return the slot of an engine that begins on a day."""
        return next(index for index, slot in enumerate(self.part.slots[engine]) if slot.day == day)

    def fixed_ends(self, place: int) -> set[int]:
        """Return the slots in which a job is finished that a person has fixed: a fixed day is the one on which the work begins."""
        job = self.part.jobs[place]
        begins = (self.slot_of(job.engine, day) for day in self.part.fixed.get((job.engine, job.name), ()))
        return {min(slot + self.taken[place] - 1, len(self.part.slots[job.engine]) - 1) for slot in begins}

    def _make_ends(self) -> None:
        """Make the variables of what is done when; what a person fixed is done."""
        for place, job in enumerate(self.part.jobs):
            fixed_ends = self.fixed_ends(place)
            slots = self.part.slots[job.engine]
            possible = ends_possible(job, slots, self.taken[place])
            first = possible.start if self._may_be_early else early_before(job, slots, self.taken[place])
            allowed = {*range(first, possible.stop), *fixed_ends}
            self.ends.append({slot: self.model.new_bool_var(f"does {job.engine} {job.name} {slot}") for slot in sorted(allowed)})
            for slot in fixed_ends:
                self.model.add(self.ends[place][slot] == 1)
        names = {(job.engine, job.name): place for place, job in enumerate(self.part.jobs)}
        self.covered = [{slot: [variable] for slot, variable in ends.items()} for ends in self.ends]
        for place, job in enumerate(self.part.jobs):
            for target in (names[job.engine, other] for other in job.covers if (job.engine, other) in names):
                for slot, variable in self.ends[place].items():
                    self.covered[target].setdefault(slot, []).append(variable)

    def values_of(self, done: Mapping[tuple[str, str], Collection[int]]) -> dict[str, int]:
        """Return what variables are where something is done: by their names, those of stops, visits and what is late among them.

        Args:
            done: engine and job name -> the slots in which it is finished.
        """
        values: dict[str, int] = {}
        stands: set[tuple[str, int]] = set()
        comes: set[tuple[str, int]] = set()
        for place, job in enumerate(self.part.jobs):
            own = done.get((job.engine, job.name), ())
            for end, variable in self.ends[place].items():
                values[variable.name] = int(end in own)
                if end in own:
                    (stands if job.stops else comes).update((job.engine, slot) for slot in self.slots_during(place, end))
        values |= {variable.name: int(key in stands) for key, variable in self.stopped.items()}
        values |= {variable.name: int(key in comes - stands) for key, variable in self.visited.items()}
        for place, rows in enumerate(self.late):
            slots = [slot for slot, all_of in self.covered[place].items() if any(values[each.name] for each in all_of)]
            values |= {is_late.name: int(not any(span.first <= slot <= span.last for slot in slots)) for span, is_late in rows}
            values |= self._early_values(place, slots)
        for key, (load, has) in self.loads.items():
            values[self.overtime[key].name] = max(0, sum(values[variable.name] * tenths for variable, tenths in load) - has)
        return values

    def without_needless(self, values: Mapping[str, int]) -> dict[str, int]:
        """Return values of which what is done is left out where nothing becomes late by it.

        Args:
            values: of the variables, by their names.
        """
        kept = dict(values)
        for place, job in enumerate(self.part.jobs):
            fixed = {self.slot_of(job.engine, day) for day in self.part.fixed.get((job.engine, job.name), ())}
            for end, variable in self.ends[place].items():
                if job.covers or not kept.get(variable.name) or self.slots_during(place, end)[0] in fixed:
                    continue
                others = [
                    slot for slot, all_of in self.covered[place].items() if any(kept.get(e.name) for e in all_of if e is not variable)
                ]
                spans = [span for span, is_late in self.late[place] if span.first <= end <= span.last and not kept.get(is_late.name)]
                if all(any(span.first <= slot <= span.last for slot in others) for span in spans):
                    kept[variable.name] = 0
            kept |= self._early_values(
                place, [slot for slot, all_of in self.covered[place].items() if any(kept.get(e.name) for e in all_of)]
            )
        return kept

    def _early_values(self, place: int, done: Collection[int]) -> dict[str, int]:
        """Return what the variables of a job are that say whether it is done too early, where it is done in some slots."""
        return early_in(self.part, self.part.jobs[place], done, self.early[place])

    def values_of_last(self, values: Mapping[str, int]) -> dict[str, int]:
        """Return what the variables of last completions are, which the aim of life asks for: by their names.

        Args:
            values: the other variables, by their names.
        """
        found: dict[str, int] = {}
        for place, job in enumerate(self.part.jobs):
            slots = [slot for slot, all_of in self.covered[place].items() if any(values.get(each.name) for each in all_of)]
            found |= {last_name(job, slot): int(slot == max(slots, default=None)) for slot in self.covered[place]}
            found[last_name(job, None)] = int(not slots)
        return found

    def slots_during(self, place: int, end: int) -> range:
        """Return the slots that a job takes which is finished in one."""
        return range(max(0, end - self.taken[place] + 1), end + 1)

    def _make_stops(self) -> None:
        """Make the variables of stops and visits, and bind what is done to them."""
        for place, job in enumerate(self.part.jobs):
            for end, variable in self.ends[place].items():
                for slot in self.slots_during(place, end):
                    key = (job.engine, slot)
                    if job.stops:
                        self.model.add_implication(variable, self._made(self.stopped, key, "stops"))
                    else:
                        self.model.add_bool_or([self._made(self.stopped, key, "stops"), self._made(self.visited, key, "visits"), ~variable])

    def _made(self, made: dict[tuple[str, int], cp_model.IntVar], key: tuple[str, int], word: str) -> cp_model.IntVar:
        """Return a variable, made when it is first asked for."""
        if key not in made:
            made[key] = self.model.new_bool_var(f"{word} {key[0]} {key[1]}")
        return made[key]

    def _make_late(self) -> None:
        """Make the variables of what is late: a span in which a job was not done."""
        for place, job in enumerate(self.part.jobs):
            rows: list[tuple[Span, cp_model.IntVar]] = []
            for span in spans_of(job, self.part.slots[job.engine], self.part.until):
                within = [each for slot, all_of in self.covered[place].items() if span.first <= slot <= span.last for each in all_of]
                is_late = self.model.new_bool_var(f"late {job.engine} {job.name} {span.first} {span.last}")
                self.model.add(sum(within) + is_late >= 1)
                rows.append((span, is_late))
            self.late.append(rows)

    def _make_early(self) -> None:
        """Make the variables of what is done long before it is due."""
        for place, job in enumerate(self.part.jobs):
            fixed = self.fixed_ends(place)
            free = {end: variable for end, variable in self.ends[place].items() if end not in fixed}
            self.early.append(bind_early(self.model, self.part, job, self.taken[place], free, self.covered[place]))

    def _bind_groups(self) -> None:
        """Let no more engines of a group stand at once than may, or than a person has fixed."""
        for group in self.part.groups:
            periods: dict[date, dict[str, list[cp_model.IntVar]]] = defaultdict(lambda: defaultdict(list))
            for (engine, slot), variable in self.stopped.items():
                if engine in group.engines:
                    periods[self.part.slots[engine][slot].period][engine].append(variable)
            fixed = self._fixed_in_periods(group.engines)
            for period, engines in periods.items():
                at_most = max(group.left_in(period), len(fixed.get(period, ())))
                if len(engines) > at_most:
                    self.model.add(sum(self._any_of(engine, period, many) for engine, many in engines.items()) <= at_most)

    def _any_of(self, engine: str, period: date, many: list[cp_model.IntVar]) -> cp_model.IntVar:
        """Return a variable that holds where any of several do."""
        if len(many) == 1:
            return many[0]
        one = self.model.new_bool_var(f"within {engine} {period}")
        self.model.add_max_equality(one, many)
        return one

    def _fixed_in_periods(self, engines: tuple[str, ...]) -> dict[date, set[str]]:
        """Return the engines that a person has fixed a stop of, by period."""
        stops = {(job.engine, job.name) for job in self.part.jobs if job.stops}
        found: dict[date, set[str]] = defaultdict(set)
        for (engine, name), days in self.part.fixed.items():
            for day in days if engine in engines and (engine, name) in stops else ():
                found[self.part.slots[engine][self.slot_of(engine, day)].period].add(engine)
        return found

    def _bind_crews(self) -> None:
        """Let each crew do in a week what it has hours for, and the rest as overtime."""
        for crew in self.part.crews:
            loads: dict[date, list[tuple[cp_model.IntVar, int]]] = defaultdict(list)
            for place, job in enumerate(self.part.jobs):
                if (job.engine, job.name) not in crew.jobs:
                    continue
                tenths = round(job.person_hours * TENTHS / self.taken[place])
                for end, variable in self.ends[place].items():
                    for slot in self.slots_during(place, end):
                        loads[self.part.slots[job.engine][slot].week].append((variable, tenths))
            for week, load in sorted(loads.items()):
                has = round(crew.hours_in(week) * TENTHS)
                most = sum(tenths for _, tenths in load)
                if most > has:
                    self.loads[crew.name, week] = (load, has)
                    over = self.overtime[crew.name, week] = self.model.new_int_var(0, most - has, f"over {crew.name} {week}")
                    self.model.add(sum(variable * tenths for variable, tenths in load) <= has + over)


def last_name(job: Job, slot: int | None) -> str:
    """Return the name of the variable that says that a job's last completion is in a slot; of none at all where the slot is None.

    Args:
        job: the job.
        slot: the slot.
    """
    return f"last {job.engine} {job.name} {'none' if slot is None else slot}"
