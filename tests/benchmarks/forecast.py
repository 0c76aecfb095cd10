"""How good due dates are: ranges given month after month in the past of invented engines, against when the hours were really used up.

In: invented engines (`invented_use.py`). Out: a table in Markdown, by kind of engine and in all, of three ways to foresee: the mean pace of
the whole log, the pace of the last 90 days with the busiest and the quietest 30 of a year around it, and the package's range. Standing at
an origin each way sees only the days before it. What is not used up by the end of the seven years is left out, for all ways alike.

Columns: pinball is the mean pinball loss of the early, middle and late day as percentiles 10, 50 and 90, in days (the smaller the better;
it counts being off and being wide); error is the median of how far the middle day was off; inside is the share that came from the early
to the late day; width is the mean of late less early; before is the median of how long before the hours were used up the early day was.

Usage, from the repository: python -m tests.benchmarks.forecast [--engines 6] [--seed 1] [--every 30]
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from intervals.arrays import Floats
from intervals.windows.use_ahead import DailyUse, UseAhead
from tests.benchmarks.invented_use import KINDS, engines

AMOUNTS_H = (150.0, 500.0, 1000.0, 2000.0)
STANDBY_H = (5.0, 15.0, 30.0)
FIRST_ORIGIN_D = 450
LONGEST_D = 3650.0
SHARES = (0.1, 0.5, 0.9)
RECENT_D, STRETCH_D, YEAR_D = 90, 30, 365
STANDBY = "standby"

Way = Callable[[Floats, tuple[float, ...]], Floats]


class Scores(NamedTuple):
    """What the cases of one way come to, in days; `inside` is a share."""

    pinball: float
    error: float
    inside: float
    width: float
    before: float


def mean_pace(total: Floats, amounts: tuple[float, ...]) -> Floats:
    """Return the days at the mean pace of the whole log: one day, no range; 3 x amounts."""
    return np.tile(np.array(amounts) / (total[-1] / (len(total) - 1)), (3, 1))


def recent_pace(total: Floats, amounts: tuple[float, ...]) -> Floats:
    """Return the days at the busiest 30 days of a year, at the last 90 days, at the quietest 30; 3 x amounts."""
    end = len(total) - 1
    recent = (total[-1] - total[max(0, end - RECENT_D)]) / min(RECENT_D, end)
    ends = np.arange(end - min(YEAR_D, end) + STRETCH_D, end + 1)
    rates = (total[ends] - total[ends - STRETCH_D]) / STRETCH_D
    return np.array([_days(amounts, rate) for rate in (max(recent, rates.max()), recent, min(recent, rates.min()))])


def seasons(total: Floats, amounts: tuple[float, ...]) -> Floats:
    """Return the early, middle and late days of the package's range; 3 x amounts."""
    ahead = UseAhead(DailyUse(total))
    return np.array([ahead.days_to(amount) for amount in amounts]).T


WAYS: dict[str, Way] = {"mean pace": mean_pace, "90 days": recent_pace, "range": seasons}


def _days(amounts: tuple[float, ...], rate: float) -> Floats:
    """Return after how many days amounts are used up at a rate."""
    return np.array(amounts) / rate if rate > 0 else np.full(len(amounts), np.inf)


def cases_of(total: Floats, amounts: tuple[float, ...], every_d: int) -> tuple[dict[str, list[Floats]], list[float]]:
    """Return of each way a row per case (early, middle, late, what it really took), and seconds per range of an engine and four amounts."""
    found: dict[str, list[Floats]] = defaultdict(list)
    took_s = []
    for origin in range(FIRST_ORIGIN_D, len(total) - 1, every_d):
        reached = np.searchsorted(total, total[origin] + np.array(amounts))
        is_known = reached < len(total)
        if not is_known.any():
            break
        for name, way in WAYS.items():
            began_s = time.perf_counter()
            days = np.minimum(way(total[: origin + 1], amounts), LONGEST_D)
            if name == "range":
                took_s.append(time.perf_counter() - began_s)
            found[name] += list(np.vstack((days, reached - origin)).T[is_known])
    return found, took_s


def scores_of(rows: list[Floats]) -> Scores:
    """Return what cases come to; a due day is a whole day, as the program prints it."""
    table = np.array(rows)
    early, middle, late, took = table.T
    losses = [
        np.maximum(share * (took - day), (share - 1) * (took - day)) for share, day in zip(SHARES, (early, middle, late), strict=True)
    ]
    inside = (np.floor(early) <= took) & (took <= np.ceil(late))
    return Scores(
        float(np.mean(losses)),
        float(np.median(np.abs(middle - took))),
        float(inside.mean()),
        float((late - early).mean()),
        float(np.median(took - early)),
    )


def table_of(found: dict[str, dict[str, list[Floats]]]) -> list[str]:
    """Return the lines of the table: every kind, and all without the standby sets, whose hours last for years."""
    lines = ["| engine | cases | way | pinball, d | error, d | inside | width, d | before, d |", "|---|--:|---|--:|--:|--:|--:|--:|"]
    running = {name: [row for kind, ways in found.items() if kind != STANDBY for row in ways[name]] for name in WAYS}
    for kind, ways in {**found, "all but standby": running}.items():
        for name, rows in ways.items():
            each = scores_of(rows)
            shown = f"{each.pinball:.1f} | {each.error:.1f} | {each.inside:.0%} | {each.width:.0f} | {each.before:.0f}"
            lines.append(f"| {kind} | {len(rows):,} | {name} | {shown} |")
    return lines


def main(arguments: list[str] | None = None) -> int:
    """Make the engines, foresee, print the table."""
    parser = argparse.ArgumentParser(description="Try due dates on invented engines.")
    parser.add_argument("--engines", type=int, default=6, help="engines of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--every", type=int, default=30, help="days from one origin to the next")
    asked = parser.parse_args(arguments)
    found: dict[str, dict[str, list[Floats]]] = {kind: {name: [] for name in WAYS} for kind in KINDS}
    took_s: list[float] = []
    for kind, total in engines(asked.engines, asked.seed):
        cases, seconds = cases_of(total, STANDBY_H if kind == STANDBY else AMOUNTS_H, asked.every)
        took_s += seconds
        for name, rows in cases.items():
            found[kind][name] += rows
    sys.stdout.write("\n".join(table_of(found)) + "\n")
    sys.stdout.write(f"\nOne engine with four amounts: {1e3 * float(np.median(took_s)):.1f} ms (median of {len(took_s):,}).\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
