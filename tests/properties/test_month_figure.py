"""A month's figure, once the month is over, stays what it was; and every due point is counted once over all months."""

from __future__ import annotations

import calendar
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from intervals.findings import Findings
from intervals.history.inputs import Inputs, moment_of, read_inputs
from intervals.occurrences import Compliance
from intervals.questions.check.assess import judge_inputs
from tests.properties.bounded import bounded
from tests.properties.made_logs import scratch
from tests.site_maker import meter, rule, task, write_site

FIRST = date(2024, 1, 1)
MONTHS = tuple(f"2024-{number:02d}" for number in range(1, 10))
# no condition on the window as a whole, and no interval that came into force later
PLAIN = [
    task("hours", every={"running_hours": 120}, tolerance_pct=10),
    task("drift", every={"running_hours": 90}, restarts_from="due_if_late", tolerance={"running_hours": 12}),
    task("month", every={"calendar": "P1M"}, tolerance={"calendar": "P5D"}),
    task("grid", every={"calendar": "P1M"}, window={"before": "P7D", "after": "P7D"}, restarts_from="due"),
]
MIXED = [
    task("first", every={"running_hours": 200, "calendar": "P45D"}, first={"running_hours": 50}, tolerance_pct=8, stops_engine=True),
    task("last", every={"running_hours": 150, "calendar": "P30D"}, whichever="last", tolerance={"running_hours": 20, "calendar": "P6D"}),
    task("big", every={"starts": 40, "calendar": "P4M"}, renews=["hours"], makes_new=["first"], tolerance_pct=5),
]
CHANGING = [
    task("often", every={"running_hours": 130}, tolerance_pct=10),
    task(
        "dated",
        every=[{"running_hours": 150, "calendar": "P2M"}, {"in_force_from": "2024-04-10", "running_hours": 80, "calendar": "P1M"}],
        tolerance_pct=10,
    ),
]
RULES: dict[str, object] = {
    "adjustments": [
        rule("starts", {"starts_per_100h": {"above": 12}}, tasks=["often"], interval_times=0.6),
        rule("busy", {"running_hours_per_day": {"above": 10}}, tasks=["often", "dated"], interval_becomes={"running_hours": 110}),
    ]
}
TASKS = [*PLAIN, *MIXED, *CHANGING]


@dataclass(frozen=True)
class MadeYear:
    """Hours a day month by month, service records, and whether the engine was laid up for a while."""

    hours: tuple[float, ...]
    records: tuple[Mapping[str, object], ...]
    laid_up: bool

    def rows(self) -> Iterator[dict[str, object]]:
        """Yield a row at every midnight; a start every five hours of running."""
        shown, day = 0.0, FIRST
        while day <= date(2025, 4, 1):
            yield meter(f"{day.isoformat()}T00:00", round(shown, 6), starts=int(shown / 5))
            is_idle = self.laid_up and date(2024, 3, 10) <= day <= date(2024, 4, 20)
            shown += 0.0 if is_idle else self.hours[(day.month - 1) % len(self.hours)]
            day += timedelta(days=1)


@st.composite
def made_years(draw: st.DrawFn, tasks: Sequence[Mapping[str, object]] = TASKS) -> MadeYear:
    """Return a year of an engine: idle and busy months, jobs done at any time, some of them deferred before."""
    hours = draw(st.lists(st.sampled_from((0.0, 1.5, 4.0, 7.0, 20.0)), min_size=3, max_size=9))
    ids = [str(each["id"]) for each in tasks]
    done = draw(st.lists(st.tuples(st.sampled_from(ids), st.integers(0, 270), st.integers(0, 23)), max_size=25))
    records: list[Mapping[str, object]] = []
    for task_id, day, hour in done:
        at = datetime(2024, 1, 1) + timedelta(days=day, hours=hour)  # noqa: DTZ001 - local to the site
        records.append({"at": at.isoformat(), "engine": "G1", "task": task_id, "outcome": "done"})
    for task_id, day, length in draw(st.lists(st.tuples(st.sampled_from(ids), st.integers(0, 250), st.integers(1, 60)), max_size=6)):
        given_at = datetime(2024, 1, 1, 12) + timedelta(days=day)  # noqa: DTZ001 - local to the site
        until = (given_at + timedelta(days=length)).date().isoformat()
        entry = {"at": given_at.isoformat(), "engine": "G1", "task": task_id, "outcome": "deferred", "until_date": until}
        records.append({**entry, "approved_by": "chief"})
    return MadeYear(tuple(hours), tuple(records), draw(st.booleans()))


def read_year(year: MadeYear, tasks: Sequence[Mapping[str, object]]) -> Inputs:
    """Return the inputs of a made year."""
    with scratch() as folder:
        engine = {"in_service": FIRST.isoformat(), "meter_at_start_h": 0, "at_start": {"starts": 0}}
        laid_up = {"laid_up": [{"from": "2024-03-10", "to": "2024-04-20"}]} if year.laid_up else {}
        rules = RULES if tasks is TASKS else None
        site = write_site(folder, tasks, list(year.rows()), engine=engine | laid_up, services=year.records, rules=rules)
        return read_inputs(site, date(2025, 3, 31))


def judged(inputs: Inputs, month: str, asked_in: str) -> Findings:
    """Return the findings with a month's compliance, asked at the end of that month or of a later one."""
    year, number = int(asked_in[:4]), int(asked_in[5:])
    last = date(year, number, calendar.monthrange(year, number)[1])
    return judge_inputs(replace(inputs, moment=moment_of(inputs.site, last)), month=month)


def of(inputs: Inputs, month: str, asked_in: str) -> Compliance:
    """Return a month's compliance."""
    found = judged(inputs, month, asked_in).compliance
    assert found is not None
    return found


def later(month: str, months: int) -> str:
    """Return the month so many months later."""
    number = int(month[:4]) * 12 + int(month[5:]) - 1 + months
    return f"{number // 12:04d}-{number % 12 + 1:02d}"


@given(made_years(), st.sampled_from(MONTHS[:6]))
@bounded(20)
def test_a_month_says_the_same_whenever_it_is_asked(year: MadeYear, month: str) -> None:
    """At the month's end, a month later and half a year later: the same occurrences in every word, and so the same figure."""
    inputs = read_year(year, TASKS)
    stated = of(inputs, month, month)
    for months in (1, 6):
        assert of(inputs, month, later(month, months)) == stated


@given(made_years(PLAIN))
@bounded(12)
def test_every_due_point_is_decided_in_one_month(year: MadeYear) -> None:
    """What nine months decided: one for each job done and one for each due point missed, and at most one more, late and not done yet.

    Jobs and missed due points are those that the records and the list of skipped work tell of, asked at the end of the nine months. What a
    deferral holds open then is not decided yet.
    """
    inputs = read_year(replace(year, laid_up=False), PLAIN)
    end = MONTHS[-1]
    whole = judge_inputs(replace(inputs, moment=moment_of(inputs.site, date(2024, 9, 30))))
    by_month = [of(inputs, month, end).occurrences for month in MONTHS]
    told = [entry for entries in by_month for entry in entries if entry.met in ("on_time", "late", "missed", "early")]
    told += [entry for entry in by_month[-1] if entry.met == "deferred"]
    for name in ("hours", "drift", "month", "grid"):
        done_at = {str(entry["at"]) for entry in year.records if entry["task"] == name and entry["outcome"] == "done"}
        # one of the first moment ends no window
        jobs = len(done_at - {"2024-01-01T00:00:00"})
        missed = sum(entry.task == name and entry.kind == "missed" for entry in whole.skipped)
        own = [entry for entry in told if entry.task == name]
        (finding,) = (entry for entry in whole.findings if entry.task == name)
        may_be_late = finding.standing in ("overdue", "upcoming")
        assert len(own) - jobs - missed in ((0, 1) if may_be_late else (0,)), (name, own, jobs, missed)
