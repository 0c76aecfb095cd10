"""What of a plan is solved together, and many engines of one crew."""

from __future__ import annotations

from datetime import date, timedelta

from intervals.questions.plan.job_models import Job
from intervals.questions.plan.part_models import CrewHours, Group, Part, Slot
from intervals.questions.plan.parts import crew_loads, parts_of, solve_whole
from intervals.questions.plan.solve_part import solve_part

MONDAY = date(2026, 11, 2)


def whole_of(count: int, hours_per_week: float, *, groups: tuple[Group, ...] = ()) -> Part:
    """Return a plan of so many engines, each with 8 h of work due in week 4, done by one crew, in eight weeks."""
    days = [MONDAY + timedelta(weeks=number) for number in range(8)]
    slots = tuple(Slot(day, day) for day in days)
    jobs = tuple(Job(f"E{number}", "oil", "Oil", MONDAY + timedelta(weeks=4), 300, hours=8.0) for number in range(count))
    crew = CrewHours("own", hours_per_week, frozenset((job.engine, "oil") for job in jobs))
    return Part(jobs, {job.engine: slots for job in jobs}, MONDAY + timedelta(weeks=8, days=-1), 40.0, groups, (crew,))


def engines_of(parts: list[Part]) -> list[list[str]]:
    """Return the engines of each part."""
    return [sorted({job.engine for job in part.jobs}) for part in parts]


def test_engines_that_share_nothing_are_apart() -> None:
    """A group binds its engines; a crew binds all only where one week could be too short for them."""
    group = (Group(("E0", "E1"), 1),)
    assert engines_of(parts_of(whole_of(4, 40.0, groups=group), by_crew=True)) == [["E0", "E1"], ["E2"], ["E3"]]
    assert engines_of(parts_of(whole_of(4, 20.0, groups=group), by_crew=True)) == [["E0", "E1", "E2", "E3"]]


def test_many_engines_of_one_crew_keep_to_its_hours() -> None:
    """Ten engines of 8 h each by a crew of 16 h a week: 80 h fit into weeks 0 to 4, two engines in each; it is not called proved."""
    whole = whole_of(10, 16.0)
    solved = solve_whole(whole, solve_part, jobs=1)
    loads: dict[date, float] = {}
    for _, week, hours in crew_loads(whole, solved.done):
        loads[week] = loads.get(week, 0.0) + hours
    assert loads == {MONDAY + timedelta(weeks=number): 16.0 for number in range(5)}
    assert (solved.status, solved.reached[0].value) == ("best so far", 0)


def test_a_crew_that_is_never_short_leaves_a_proof() -> None:
    """Ten engines of which the crew could do all in one week are solved apart, and proved."""
    solved = solve_whole(whole_of(10, 80.0), solve_part, jobs=2)
    assert solved.status == "optimal"
    assert {each.start for each in solved.done} == {MONDAY + timedelta(weeks=4)}
