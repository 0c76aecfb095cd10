"""The plan of a part is the best there is: held against all assignments, and against a second solver."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations, pairwise, product
from random import Random

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from intervals.questions.plan.first_plan import first_plan
from intervals.questions.plan.job_models import Job
from intervals.questions.plan.part_models import CrewHours, Group, Part, Slot
from intervals.questions.plan.solve_part import solve_part

MONDAY = date(2026, 11, 2)


def weeks(count: int) -> tuple[Slot, ...]:
    """Return so many Mondays."""
    days = [MONDAY + timedelta(weeks=number) for number in range(count)]
    return tuple(Slot(day, day) for day in days)


def part_of(jobs: list[Job], count: int, **keys: object) -> Part:
    """Return a part by weeks of 40 h whose last day is the Sunday of its last week."""
    slots = {job.engine: weeks(count) for job in jobs}
    return Part(tuple(jobs), slots, MONDAY + timedelta(weeks=count, days=-1), 40.0, **keys)  # type: ignore[arg-type]  # as a test names them


def job(engine: str, name: str, limit_d: int, interval_d: int | None = None, **keys: object) -> Job:
    """Return a job whose limit is so many days after the first Monday."""
    return Job(engine, name, name, MONDAY + timedelta(days=limit_d), interval_d, **keys)  # type: ignore[arg-type]  # as a test names them


def starts(part: Part) -> list[tuple[str, str, int]]:
    """Return what is planned: engine, job, week."""
    return sorted((each.engine, each.job, (each.start - MONDAY).days // 7) for each in solve_part(part).done)


def late_days(each: Job, done: tuple[int, ...], count: int) -> int:
    """Walk through the weeks and add up the days on which a job is late; undone at the end counts a thousand."""
    found = 0
    for week in range(count):
        following = 7 * (week + 1)
        limit = (each.limit - MONDAY).days
        since = [7 * slot for slot in done if slot <= week]
        due = limit if not since or each.interval_d is None else max(limit, since[-1] + each.interval_d)
        if (not since or each.interval_d is not None) and due < following:
            found += following - max(7 * week, due) + (1000 if week == count - 1 else 0)
    return found


def first_early(each: Job, count: int) -> int:
    """Return the week before which a first completion leaves more than three tenths of the interval, though a later week is in time."""
    limit, interval = (each.limit - MONDAY).days, each.interval_d
    earliest = -(10**6) if interval is None else limit - int(0.3 * interval)
    in_time = sum(7 * week <= limit for week in range(count))
    return min(sum(7 * week < earliest for week in range(count)), max(in_time - 1, 0) if in_time else 10**6)


def too_early(each: Job, done: tuple[int, ...], count: int) -> int:
    """Return how many completions come before the last three tenths of the interval, though a later week, or none here, is in time."""
    interval, found = each.interval_d or 0, sum(week < first_early(each, count) for week in done)
    for before, week in pairwise(done):
        earliest, due = 7 * before + interval - int(0.3 * interval), 7 * before + interval
        found += week >= first_early(each, count) and 7 * week < earliest and (7 * (week + 1) <= due or due >= 7 * count)
    return found


def all_of(count: int) -> Iterator[tuple[int, ...]]:
    """Yield every way to do a job."""
    for size in range(count + 1):
        yield from combinations(range(count), size)


@pytest.mark.parametrize("seed", range(12))
def test_no_assignment_is_better(seed: int) -> None:
    """Of all assignments of two engines in five weeks none has fewer late days, or as many and less done early, or then fewer stops."""
    random = Random(seed)
    count = 5
    jobs = [
        job(engine, name, random.randrange(30), random.choice([14, 21, 28, None]), hours=random.choice([4.0, 8.0, 16.0]))
        for engine, name in [("A", "oil"), ("A", "plugs"), ("B", "oil")]
    ]
    crew = CrewHours("own", 16.0, frozenset((each.engine, each.name) for each in jobs))
    part = part_of(jobs, count, groups=(Group(("A", "B"), 1),), crews=(crew,))
    best: tuple[float, int, int] = (1e9, 10**9, 10**9)
    for done in product(*(list(all_of(count)) for each in jobs)):
        stops = {(each.engine, week) for each, own in zip(jobs, done, strict=True) for week in own}
        if any(("A", week) in stops and ("B", week) in stops for week in range(count)):
            continue
        loads = [sum(each.hours for each, own in zip(jobs, done, strict=True) if week in own) for week in range(count)]
        late = sum(late_days(each, own, count) for each, own in zip(jobs, done, strict=True))
        early = sum(too_early(each, own, count) for each, own in zip(jobs, done, strict=True))
        best = min(best, (late + sum(max(0.0, load - 16.0) for load in loads), early, len(stops)))
    solved = solve_part(part)
    assert solved.status == "optimal"
    assert [each.value for each in solved.reached[:2]] == [pytest.approx(best[0]), pytest.approx(best[2])]


def test_a_second_solver_finds_the_same() -> None:
    """Three engines of five jobs each, 26 weeks, one standing at a time: late days and stops are those of another solver."""
    random, count = Random(7), 26
    jobs = [job(engine, f"j{number}", random.randrange(120), random.randrange(50, 160)) for engine in "ABC" for number in range(5)]
    solved = solve_part(part_of(jobs, count, groups=(Group(("A", "B", "C"), 1),)))
    late, stops = _by_milp(jobs, count)
    assert solved.status == "optimal"
    assert solved.reached[0].value == pytest.approx(late)
    assert solved.reached[1].value == pytest.approx(stops)


def _by_milp(jobs: list[Job], count: int) -> tuple[float, float]:
    """Return late days and stops by scipy, on a matrix of its own.

    x of each job and week, y of each engine and week, s of the last days of each week on which a job is late and of those before, and e of
    each job and week in which it is done too early: a row for each pair of weeks of which the later one is.
    """
    engines = sorted({each.engine for each in jobs})
    n_x, n_y = len(jobs) * count, len(engines) * count
    size = 4 * n_x + n_y
    rows: list[np.ndarray] = []
    low: list[float] = []
    upper = np.ones(size)
    cost = np.zeros(size)
    cost[2 * n_x + n_y : 3 * n_x + n_y] = 0.001
    for place, each in enumerate(jobs):
        limit, interval = (each.limit - MONDAY).days, each.interval_d or 0
        for week in range(first_early(each, count)):
            cost[place * count + week] = 0.001
        for week in range(count):
            row = np.zeros(size)
            row[n_x + engines.index(each.engine) * count + week], row[place * count + week] = 1, -1
            rows.append(row)
            low.append(0)
            for before in (other for other in range(week) if too_early(each, (other, week), count) - too_early(each, (other,), count)):
                row = np.zeros(size)
                row[[place * count + before, place * count + week]] = -1
                row[2 * n_x + n_y + place * count + week] = 1
                rows.append(row)
                low.append(-1)
            windows: dict[tuple[int, ...], int] = {}
            for day in range(max(7 * week, limit) + 1, 7 * (week + 1) + 1):
                # the weeks in which it is to be done, or it is late on that day
                window = tuple(other for other in range(week + 1) if 7 * other >= day - interval or other == week)
                windows[window] = windows.get(window, 0) + 1
            for part, (window, late_d) in zip((1, 3), windows.items(), strict=False):
                row = np.zeros(size)
                row[[place * count + other for other in window]] = 1
                column = part * n_x + n_y + place * count + week
                row[column] = 1
                rows.append(row)
                low.append(1)
                cost[column] = late_d + (1000 if week == count - 1 and window == [*windows][-1] else 0)
    for week in range(count):
        row = np.zeros(size)
        row[[n_x + number * count + week for number in range(len(engines))]] = -1
        rows.append(row)
        low.append(-1)
    bounds = Bounds(np.zeros(size), upper)
    first = milp(cost, constraints=LinearConstraint(np.array(rows), np.array(low)), integrality=np.ones(size), bounds=bounds)
    stops = np.zeros(size)
    stops[n_x : n_x + n_y] = 1
    held = LinearConstraint(np.array([*rows, -cost]), np.array([*low, -round(first.fun, 3) - 1e-6]))
    second = milp(stops, constraints=held, integrality=np.ones(size), bounds=bounds)
    columns = [*range(n_x + n_y, 2 * n_x + n_y), *range(3 * n_x + n_y, size)]
    late = cost[columns] @ first.x[columns]
    return float(round(late)), float(round(second.fun))


def test_jobs_of_one_engine_are_done_at_one_stop() -> None:
    """Two jobs due four and five weeks ahead, each once in the plan: one stop, in the week of the first one's limit."""
    assert starts(part_of([job("A", "oil", 28, 300), job("A", "plugs", 35, 300)], 8)) == [("A", "oil", 4), ("A", "plugs", 4)]


def test_what_is_late_already_is_done_first() -> None:
    """All jobs past their limit are done in the first week, and later only because another engine stands then."""
    jobs = [job("A", "oil", -2, 300), job("B", "oil", -2, 300)]
    assert starts(part_of(jobs, 4)) == [("A", "oil", 0), ("B", "oil", 0)]
    assert {week for _, _, week in starts(part_of(jobs, 4, groups=(Group(("A", "B"), 1),)))} == {0, 1}


def test_a_job_larger_than_a_crew_week_goes_on_in_the_next() -> None:
    """80 h of work by a crew of 40 h a week take two weeks, and end in time."""
    big = job("A", "overhaul", 28, None, hours=40.0, people=2)
    solved = solve_part(part_of([big], 6, crews=(CrewHours("own", 40.0, frozenset({("A", "overhaul")})),)))
    assert [(each.end - each.start).days for each in solved.done] == [7]
    assert solved.done[0].end <= big.limit
    assert solved.reached[0].value == 0


def test_what_another_job_does_too_needs_no_visit_of_its_own() -> None:
    """An overhaul that renews the plugs in the week of their limit is their completion."""
    jobs = [job("A", "overhaul", 21, 3000, covers=("plugs",)), job("A", "plugs", 21, 300)]
    assert starts(part_of(jobs, 6)) == [("A", "overhaul", 3)]


def test_a_fixed_stop_stays_and_others_join_it() -> None:
    """Fixed in week 2, the oil is changed then; the plugs, due in week 4, come along."""
    jobs = [job("A", "oil", 28, 300), job("A", "plugs", 28, 300)]
    part = part_of(jobs, 8, fixed={("A", "oil"): (MONDAY + timedelta(weeks=2),)})
    assert starts(part) == [("A", "oil", 2), ("A", "plugs", 2)]


def test_a_plan_that_is_kept_moves_nothing_that_is_not_late() -> None:
    """Planned for week 3 and due in week 4, the job stays there, though less life would be thrown away a week later."""
    jobs = [job("A", "oil", 28, 300)]
    kept = {("A", "oil"): (MONDAY + timedelta(weeks=3),)}
    assert starts(part_of(jobs, 8)) == [("A", "oil", 4)]
    assert starts(part_of(jobs, 8, before=kept)) == [("A", "oil", 3)]


def test_nothing_due_and_one_slot() -> None:
    """Without jobs there is nothing to do; with one slot everything is done in it."""
    assert solve_part(part_of([], 1)).done == ()
    assert starts(part_of([job("A", "oil", 3, 300), job("A", "plugs", -3, 5)], 1)) == [("A", "oil", 0), ("A", "plugs", 0)]


def test_a_visit_beside_a_stop_is_none() -> None:
    """A sample that needs no stop is taken when the engine stands anyway."""
    jobs = [job("A", "oil", 21, 300), job("A", "sample", 28, 300, stops=False)]
    assert starts(part_of(jobs, 6)) == [("A", "oil", 3), ("A", "sample", 3)]


def test_the_same_part_gives_the_same_plan() -> None:
    """Twice solved, a part gives the same answer."""
    random = Random(3)
    jobs = [job(engine, f"j{number}", random.randrange(90), random.randrange(40, 120)) for engine in "AB" for number in range(4)]
    part = part_of(jobs, 20, groups=(Group(("A", "B"), 1),))
    assert solve_part(part) == solve_part(part)


def gaps(part: Part) -> list[int]:
    """Return the weeks between the completions of the oil."""
    done = [week for _, name, week in starts(part) if name == "oil"]
    return [after - before for before, after in pairwise(done)]


def test_nothing_is_done_again_long_before_it_is_due() -> None:
    """Oil of 10 weeks and plugs of 6, both due in week 2, in 24 weeks.

    Four stops, in weeks 2, 8, 14 and 20, are enough for the plugs; the oil would come along at each, with four tenths of its interval left.
    After 7 to 10 weeks it comes only with a fifth stop: for example in weeks 2, 12 and 22 with the plugs of 2, 7, 12, 17 and 22.
    """
    part = part_of([job("A", "oil", 14, 70), job("A", "plugs", 14, 42)], 24)
    solved = solve_part(part)
    assert (solved.status, solved.reached[0].value, solved.reached[1].value) == ("optimal", 0, 5)
    assert [7 <= weeks_between <= 10 for weeks_between in gaps(part)] == [True, True]


def test_what_would_be_late_otherwise_is_done_early() -> None:
    """Of A and B one stands at a time, and B is fixed in weeks 7 to 12: A's oil of 10 weeks, due in week 2, is done again in week 6."""
    fixed = {("B", "plugs"): tuple(MONDAY + timedelta(weeks=number) for number in range(7, 13))}
    part = part_of([job("A", "oil", 14, 70), job("B", "plugs", 84)], 24, groups=(Group(("A", "B"), 1),), fixed=fixed)
    solved = solve_part(part)
    first, *later = [week for engine, _, week in starts(part) if engine == "A"]
    assert (first <= 2, later) == (True, [6, 16])
    assert (solved.status, solved.reached[0].value) == ("optimal", 0)


def test_the_last_day_before_a_long_closure_is_not_too_early() -> None:
    """Done in week 2 and due again in week 12, but closed in weeks 6 to 12: week 5 is the last one in time, as for the first completion."""
    part = part_of([job("A", "oil", 14, 70)], 13)
    part = replace(part, slots={"A": weeks(6)})
    assert starts(part) == [("A", "oil", 2), ("A", "oil", 5)]


def test_what_a_person_fixed_is_never_too_early() -> None:
    """Due by week 2 and fixed in week 6, it is done twice, and nothing is late."""
    part = part_of([job("A", "oil", 14, 70)], 12, fixed={("A", "oil"): (MONDAY + timedelta(weeks=6),)})
    solved = solve_part(part)
    first, *later = [week for _, _, week in starts(part)]
    assert (first <= 2, later) == (True, [6])
    assert (solved.status, solved.reached[0].value) == ("optimal", 0)


def test_a_search_that_is_cut_short_claims_no_bound_that_is_wrong() -> None:
    """With next to no work allowed, no bound lies above what the full search reaches, where the aim before has the same value."""
    random = Random(7)
    jobs = [job(engine, f"j{number}", random.randrange(120), random.randrange(50, 160)) for engine in "AB" for number in range(5)]
    part = part_of(jobs, 26, groups=(Group(("A", "B"), 1),), aims=("life", "late", "stops"))
    full, short = solve_part(part), solve_part(replace(part, limit=1e-6))
    assert full.status == "optimal"
    assert short.status == "best so far"
    assert short.reached[0].bound <= full.reached[0].value <= short.reached[0].value


def test_nothing_is_late_that_could_be_done_early() -> None:
    """Two engines, one standing at a time, both due on day 9 of every 14: one is done in week 0, though half of its oil's life is left."""
    jobs = [job("A", "oil", 9, 14), job("B", "oil", 9, 14)]
    part = replace(part_of(jobs, 3, groups=(Group(("A", "B"), 1),)), until=MONDAY + timedelta(days=13))
    part = replace(part, slots={engine: weeks(2) for engine in "AB"})
    solved = solve_part(part)
    assert sorted(week for _, _, week in starts(part)) == [0, 1]
    assert (solved.status, solved.reached[0].value) == ("optimal", 0)


def test_days_late_count_from_the_day_on_which_a_job_falls_due_again() -> None:
    """Done in week 0 and due again on day 10, in week 1 the other engine is fixed: done on day 14 it is four days late, not seven."""
    fixed = {("B", "plugs"): (MONDAY + timedelta(weeks=1),)}
    part = part_of([job("A", "oil", 0, 10), job("B", "plugs", 7)], 3, groups=(Group(("A", "B"), 1),), fixed=fixed)
    part = replace(part, until=MONDAY + timedelta(days=20))
    assert starts(part) == [("A", "oil", 0), ("A", "oil", 2), ("B", "plugs", 1)]
    assert solve_part(part).reached[0].value == 4


def test_a_completion_stands_for_one_day_of_the_plan_before() -> None:
    """Fixed in week 0 and done for ten weeks then, the next one is not drawn near to the same day before."""
    kept = {("A", "oil"): (MONDAY,)}
    part = part_of([job("A", "oil", 3, 70)], 16, fixed=kept, before=kept)
    first, second = [week for _, _, week in starts(part)]
    assert (first, 7 <= second <= 10) == (0, True)


def test_a_dense_site_takes_turns() -> None:
    """Four engines of thirty jobs each, due every one to twenty weeks, one at a time: the first plan has a day for all."""
    jobs = [job(engine, f"j{number}", 7 * (number % 5), 7 * (1 + number % 20)) for engine in "ABCD" for number in range(30)]
    crew = CrewHours("own", 20.0, frozenset((each.engine, each.name) for each in jobs))
    part = part_of(jobs, 44, groups=(Group(tuple("ABCD"), 1),), crews=(crew,))
    found = first_plan(part).ends
    stops = {(engine, end) for (engine, _), ends in found.items() for end in ends}
    assert all(found.values())
    assert len({end for _, end in stops}) == len(stops)
    # each engine in turn: no one has more than a third of the weeks
    assert max(sum(engine == each for engine, _ in stops) for each in "ABCD") <= 44 / 3
    solved = solve_part(replace(part, limit=1e-6))
    assert {(each.engine, each.job) for each in solved.done} == set(found)


def test_the_first_plan_keeps_to_fixed_stops_and_crews() -> None:
    """A is fixed in week 3, so B, of its group and due by then, stands in week 2; two jobs of 30 h have a week of 40 h each."""
    jobs = [
        job("A", "oil", 21, 300),
        job("B", "oil", 21, 300),
        job("B", "plugs", 35, None, hours=30.0),
        job("B", "belt", 35, None, hours=30.0),
    ]
    crew = CrewHours("own", 40.0, frozenset({("B", "plugs"), ("B", "belt")}))
    part = part_of(jobs, 8, groups=(Group(("A", "B"), 1),), crews=(crew,), fixed={("A", "oil"): (MONDAY + timedelta(weeks=3),)})
    found = first_plan(part).ends
    assert (found["A", "oil"], found["B", "oil"]) == ([3], [2])
    assert sorted((*found["B", "plugs"], *found["B", "belt"])) == [4, 5]
