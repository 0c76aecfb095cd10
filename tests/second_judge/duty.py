"""What an hour counts for a task: the adjustments that are judged hour by hour, and the sums of a stretch."""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from fractions import Fraction
from math import prod
from typing import Any

from tests.second_judge.clock import HOUR, Clock, Instant
from tests.second_judge.conditions import judge_condition
from tests.second_judge.site_folder import Plain, as_list, exact
from tests.second_judge.usage import LEVELS, Piece, Usage

HOURLY = ("counts_as", "each_start_counts_as_h")


class Track:
    """A running sum over a life: how much by when, and where it is not known."""

    def __init__(self, pieces: list[Piece], amounts: list[Fraction | None]) -> None:
        self.edges: list[int] = [pieces[0].start] if pieces else [0]
        self.sums = [Fraction(0)]
        self._evened: Track | None = None
        self.unknown = [0]
        for piece, amount in zip(pieces, amounts, strict=True):
            self.edges.append(piece.end)
            self.sums.append(self.sums[-1] + (amount or 0))
            self.unknown.append(self.unknown[-1] + (amount is None))

    def by(self, at: Instant) -> Fraction:
        """Return the sum up to an instant."""
        if at <= self.edges[0]:
            return Fraction(0)
        if at >= self.edges[-1]:
            return self.sums[-1]
        after = bisect_right(self.edges, at)
        a, b = self.edges[after - 1], self.edges[after]
        return self.sums[after - 1] + (self.sums[after] - self.sums[after - 1]) * Fraction(at - a) / (b - a)

    def between(self, start: Instant, end: Instant) -> Fraction:
        """Return the sum of a stretch."""
        return self.by(end) - self.by(start)

    def evened(self, edges: list[int]) -> "Track":
        """Return the same sum, spread evenly between instants."""
        if self._evened is None:
            even = Track([], [])
            even.edges, even.sums, even.unknown = edges, [self.by(at) for at in edges], [0] * len(edges)
            self._evened = even
        return self._evened

    def is_known(self, start: Instant, end: Instant) -> bool:
        """Return whether the sum of a stretch is known."""
        if start >= end:
            return True
        first = max(bisect_right(self.edges, start) - 1, 0)
        last = min(bisect_left(self.edges, end), len(self.edges) - 1)
        return self.unknown[last] == self.unknown[first]

    def passes(self, start: Instant, amount: Fraction) -> Instant | None:
        """Return the last instant at which the sum since `start` is not above an amount, None where it never is."""
        goal = self.by(start) + amount
        for number in range(1, len(self.edges)):
            if self.edges[number] > start and self.sums[number] > goal:
                return max(start, self._inside(number, goal))
        return None

    def reaches(self, start: Instant, amount: Fraction) -> Instant | None:
        """Return the first instant at which the sum since `start` is an amount."""
        goal = self.by(start) + amount
        if amount <= 0:
            return start
        for number in range(1, len(self.edges)):
            if self.edges[number] > start and self.sums[number] >= goal:
                return max(start, self._inside(number, goal))
        return None

    def _inside(self, number: int, goal: Fraction) -> Instant:
        a, b = self.edges[number - 1], self.edges[number]
        low, high = self.sums[number - 1], self.sums[number]
        return a + (goal - low) * (b - a) / (high - low) if goal > low else a


def names_asked(when: Any, named: Plain) -> set[str]:  # noqa: ANN401 - plain data of a YAML file
    """Return every name that a condition asks for."""
    if isinstance(when, str):
        return names_asked(named[when], named)
    names: set[str] = set()
    for key, asked in when.items():
        if key == "any_of":
            for one in asked:
                names |= names_asked(one, named)
        elif key == "condition":
            names |= names_asked(named[asked], named)
        else:
            names.add(key)
    return names


def attributes_of(engine: Plain) -> Plain:
    """Return all that an engine states."""
    stated: Plain = {key: engine[key] for key in ("fuel", "duty", "rated_kw", "oil_volume_l") if key in engine}
    stated["in_service"] = str(engine["in_service"])[:10]
    stated["engine"] = engine["id"]
    return {
        key: exact(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else value for key, value in stated.items()
    } | {
        key: exact(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else value
        for key, value in engine.get("attributes", {}).items()
    }


@dataclass
class Hourly:
    """One adjustment that is judged hour by hour, with the answer on each piece."""

    told: Plain
    answers: list[bool | None]

    def holds(self, number: int) -> bool:
        """Return whether it counts on a piece."""
        answer = self.answers[number]
        return self.told.get("when_unknown") == "holds" if answer is None else answer


class Weigher:
    """The life of an engine as one task counts it."""

    def __init__(self, usage: Usage, clock: Clock, rules: Plain, task: str) -> None:
        self.usage = usage
        pieces = usage.pieces
        self.pieces = pieces
        named = rules.get("conditions", {})
        facts = attributes_of(usage.told)
        mine = [one for one in rules.get("adjustments", []) if one["tasks"] == "all" or task in as_list(one["tasks"])]
        self.hourly: list[Hourly] = []
        self.windowed: list[Plain] = []
        for one in mine:
            levels = names_asked(one["when"], named) & {*LEVELS, "load_pct"}
            if any(key in one for key in HOURLY) or ("unknown" in one and levels):
                answers = [
                    judge_condition(one["when"], facts | piece.levels | {"month": Fraction(clock.day(piece.start).month)}, named)
                    for piece in pieces
                ]
                self.hourly.append(Hourly(one, answers))
            else:
                self.windowed.append(one)
        self.limits = rules.get("limits", {})
        hours = [piece.hours for piece in pieces]
        self.hours = Track(pieces, hours)
        weighed: list[Fraction | None] = []
        untold: list[Fraction | None] = []
        beyond: list[Fraction | None] = []
        for number, piece in enumerate(pieces):
            weighed.append(self._weigh(number, piece))
            unsure = any(one.answers[number] is None for one in self.hourly if "each_start_counts_as_h" not in one.told)
            untold.append(piece.hours if unsure else Fraction(0))
            out = any("unknown" in one.told and one.holds(number) for one in self.hourly)
            beyond.append(None if out and piece.hours else Fraction(0))
        self.equivalent = Track(pieces, weighed)
        self.untold = Track(pieces, untold)
        self.beyond = Track(pieces, beyond)
        self.elapsed = Track(pieces, [Fraction(piece.end - piece.start, HOUR) for piece in pieces])
        self.amounts = {
            name: Track(pieces, [piece.amounts.get(name) for piece in pieces]) for name in (pieces[0].amounts if pieces else {})
        }

    def _weigh(self, number: int, piece: Piece) -> Fraction | None:
        if piece.hours is None:
            return None
        factors = [exact(one.told["counts_as"]) for one in self.hourly if "counts_as" in one.told and one.holds(number)]
        factor = prod(factors, start=Fraction(1))
        if "counts_as_at_most" in self.limits:
            factor = min(factor, exact(self.limits["counts_as_at_most"]))
        if "counts_as_at_least" in self.limits:
            factor = max(factor, exact(self.limits["counts_as_at_least"]))
        each = [one for one in self.hourly if "each_start_counts_as_h" in one.told and one.holds(number)]
        starts = piece.amounts.get("starts", Fraction(0)) if each else Fraction(0)
        if starts is None:
            return None
        if any("unknown" in one.told and one.holds(number) for one in self.hourly):
            factor = Fraction(0)
        return piece.hours * factor + starts * sum(exact(one.told["each_start_counts_as_h"]) for one in each)

    def fired_hourly(self, start: Instant, end: Instant) -> set[str]:
        """Return the adjustments that held on more than no hours (or starts) of a stretch."""
        fired = set()
        for one in self.hourly:
            for number, piece in enumerate(self.pieces):
                if piece.end <= start or piece.start >= end or not one.holds(number):
                    continue
                counted = piece.amounts.get("starts") if "each_start_counts_as_h" in one.told else piece.hours
                if counted:
                    fired.add(one.told["id"])
                    break
        return fired
