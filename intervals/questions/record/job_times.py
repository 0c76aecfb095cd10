"""The times of a card that was handed in: when the work counts as done, and how its times lie to one another and to the clock.

In: what was handed in, the site's zone, this moment. Out: instants, and facts for the rules about cards. Every time is an instant, in UTC;
what is shown is shown by the site's clock. Refuses nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from intervals.questions.record.handed_in import HandedIn
from intervals.questions.record.stated_values import is_on_clock
from intervals.rulebook.inference import FactValue

_MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class JobTimes:
    """The times of one card.

    Attributes:
        handed: what was handed in.
        zone: the site's zone.
    """

    handed: HandedIn
    zone: ZoneInfo

    @cached_property
    def all(self) -> list[datetime]:
        """Every time that is stated, in order."""
        return sorted(self.handed.times(self.zone))

    @cached_property
    def at(self) -> datetime | None:
        """When the work counts as done: at its end, else at the last time that is stated."""
        return self.handed.ends_at(self.zone)

    @cached_property
    def _ends(self) -> tuple[datetime | None, datetime | None]:
        """The start and the end of the work, as far as they are stated."""
        return self.handed.instant(self.handed.started_at, self.zone), self.handed.instant(self.handed.ended_at, self.zone)

    @cached_property
    def off_clock(self) -> tuple[list[str], list[str]]:
        """Times as they were stated that the site's clock never shows, and those that it shows twice."""
        found: dict[bool | None, list[str]] = {True: [], False: [], None: []}
        for text in self.handed.stated_times():
            found[is_on_clock(text, self.zone)].append(text)
        return found[False], found[None]

    def shown(self, at: datetime | None, timespec: str = "minutes") -> str:
        """Return an instant by the site's clock, with its offset; nothing of None.

        Args:
            at: an instant.
            timespec: as `isoformat` takes it.
        """
        return "" if at is None else at.astimezone(self.zone).isoformat(timespec=timespec)

    def facts(self, now: datetime, *, is_typed: bool) -> dict[str, FactValue]:
        """Return the facts about the times; None of what is not known.

        Args:
            now: this moment.
            is_typed: whether there was no card, which could have been made later.
        """
        started, ended = self._ends
        step_times = self.handed.step_times(self.zone)
        never, twice = self.off_clock
        return {
            "has_time": self.at is not None,
            "ahead_min": (self.all[-1] - now) / _MINUTE if self.all else None,
            "job_min": None if started is None or ended is None else (ended - started) / _MINUTE,
            "outside_min": self._outside_min(started, ended),
            "end_off_min": None if ended is None or not step_times else abs(ended - step_times[-1]) / _MINUTE,
            "before_card_d": None if is_typed else self._days_before_card(),
            "is_each_time_real": not never,
            "is_each_time_single": not twice,
        }

    def stated(self) -> dict[str, str]:
        """Return what sentences about the times name."""
        never, twice = (", ".join(dict.fromkeys(texts)) for texts in self.off_clock)
        return {
            "latest": self.shown(self.all[-1]) if self.all else "",
            "started": self.handed.started_at or "",
            "ended": self.handed.ended_at or "",
            "made": self.handed.card.made_on,
            "never": never,
            "twice": twice,
        }

    def _outside_min(self, started: datetime | None, ended: datetime | None) -> float | None:
        """Return by how many minutes a step lies outside of the start and the end of the work; None where these are not stated."""
        if not self.all:
            return None
        before = (started - self.all[0]) / _MINUTE if started is not None else None
        after = (self.all[-1] - ended) / _MINUTE if ended is not None else None
        return max((each for each in (before, after) if each is not None), default=None)

    def _days_before_card(self) -> float | None:
        """Return by how many days the work was done before the day on which the card was made; None where that is not known."""
        made_on = date.fromisoformat(self.handed.card.made_on)
        return None if self.at is None else float((made_on - self.at.astimezone(self.zone).date()).days)
