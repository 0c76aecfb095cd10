"""What planning takes: processor time, time by the clock, memory, what is proved and what is placed, for invented plants.

In: invented jobs of engines, in sites of four that share a crew and of which one stands at a time; a pooled fleet shares one crew. Out: a
table in Markdown. Only the planning is measured, not the judging before it. Processor time is that of all processes together, memory the
most that any one of them had. Ask for one case per run: the most memory of a process does not go down again.

Usage, from the repository: python -m tests.benchmarks.plan [weeks days sites fleet pooled] [--jobs 2]
"""

from __future__ import annotations

import argparse
import sys
import time
from datetime import date, timedelta
from random import Random
from resource import RUSAGE_CHILDREN, RUSAGE_SELF, getrusage
from typing import NamedTuple

from intervals.questions.plan.job_models import Job
from intervals.questions.plan.part_models import CrewHours, Group, Part
from intervals.questions.plan.parts import solve_whole
from intervals.questions.plan.solve_part import solve_part
from intervals.questions.plan.stop_slots import Grain, slots_of

FIRST = date(2026, 11, 2)
UNTIL = FIRST + timedelta(days=365)
ENGINES_A_SITE, CREW_H, POOLED_H = 4, 40.0, 400.0
INTERVALS_H = (1000, 1500, 2000, 2000, 3000, 4000, 4000, 6000, 8000, 8000, 10_000, 20_000, 30_000)
LONG_H = 20_000
MOST_H_A_DAY, LEAST_H_A_DAY = 22.0, 8.0


class Case(NamedTuple):
    """A plant: how many engines, how many tasks of each, by weeks or days, whether one crew is for all."""

    engines: int
    tasks: int
    grain: Grain
    is_pooled: bool = False


CASES = {
    "weeks": Case(4, 13, "week"),
    "days": Case(4, 13, "day"),
    "sites": Case(100, 20, "week"),
    "fleet": Case(1000, 20, "week"),
    "pooled": Case(100, 20, "week", is_pooled=True),
}


def plant_of(case: Case, seed: int = 1) -> Part:
    """Return everything that is planned for an invented plant: the same for the same seed."""
    random = Random(seed)
    tasks = [(f"t{number}", random.choice(INTERVALS_H)) for number in range(case.tasks)]
    work = {
        name: (random.choice([16.0, 40.0]), 2) if every >= LONG_H else (random.choice([0.5, 1, 2, 4, 6, 8]), 1) for name, every in tasks
    }
    stops = {name: random.random() < 0.85 for name, _ in tasks}
    engines = [f"E{number:04}" for number in range(case.engines)]
    jobs: list[Job] = []
    for engine in engines:
        pace = random.uniform(LEAST_H_A_DAY, MOST_H_A_DAY)
        for name, every in tasks:
            days = int(every / pace)
            limit = FIRST + timedelta(days=int(days * random.uniform(0.0, 1.0)))
            hours, people = work[name]
            if limit <= UNTIL:
                jobs.append(Job(engine, name, name, limit, days, hours=hours, people=people, stops=stops[name]))
    sites = [engines[low : low + ENGINES_A_SITE] for low in range(0, case.engines, ENGINES_A_SITE)]
    pools = [engines] if case.is_pooled else sites
    slots = slots_of(FIRST, UNTIL, case.grain, closed=set(), fixed=set(), cost=lambda _: 0, at_weekends=False)
    return Part(
        tuple(jobs),
        dict.fromkeys(engines, slots),
        UNTIL,
        40.0 if case.grain == "week" else 8.0,
        tuple(Group(tuple(site), 1) for site in sites),
        tuple(
            CrewHours(
                f"crew {number}",
                POOLED_H if case.is_pooled else CREW_H,
                frozenset((j.engine, j.name) for j in jobs if j.engine in set(own)),
            )
            for number, own in enumerate(pools)
        ),
    )


def row_of(name: str, processes: int | None) -> str:
    """Return the line of one case."""
    plant = plant_of(CASES[name])
    began_s, before_s = time.perf_counter(), _processor_s()
    solved = solve_whole(plant, solve_part, jobs=processes)
    wall_s, processor_s = time.perf_counter() - began_s, _processor_s() - before_s
    memory_mb = max(getrusage(who).ru_maxrss for who in (RUSAGE_SELF, RUSAGE_CHILDREN)) / 1024
    placed = len({(each.engine, each.job) for each in solved.done})
    aims = " | ".join(f"{each.value:.1f} ({each.bound:.1f})" for each in solved.reached)
    return f"| {name} | {processor_s:.0f} | {wall_s:.0f} | {memory_mb:.0f} | {placed} of {len(plant.jobs)} | {solved.status} | {aims} |"


def _processor_s() -> float:
    """Return the processor time of this process and those that it has ended, s."""
    return sum(usage.ru_utime + usage.ru_stime for usage in (getrusage(RUSAGE_SELF), getrusage(RUSAGE_CHILDREN)))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("cases", nargs="*", default=["weeks"], help=f"of {', '.join(CASES)}")
    parser.add_argument("--jobs", type=int, default=None, help="processes; as many as processors where it is left out")
    asked = parser.parse_args()
    sys.stdout.write(
        "| case | processor, s | clock, s | memory, MB | jobs placed | status | late (bound) | stops (bound) | life (bound) |\n"
    )
    sys.stdout.write("|---|--:|--:|--:|--:|---|--:|--:|--:|\n")
    for name in asked.cases:
        sys.stdout.write(row_of(name, asked.jobs) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
