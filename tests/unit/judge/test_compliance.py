"""A month's compliance: every due point counted once, in the month in which it was decided, and the same whenever it is asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from intervals.occurrences import Compliance, Occurrence
from tests.site_maker import done, judge, meter, rule, steady, task

# 10 h a day from 0 h on 1 January 2024
ROWS = steady("2024-01-01", "2024-08-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
OIL = task(every={"running_hours": 100}, tolerance_pct=10)
LAST_DAY = {"2024-01": "2024-01-31", "2024-02": "2024-02-29", "2024-03": "2024-03-31", "2024-04": "2024-04-30"}


def month_of(
    folder: Path, month: str, services: Sequence[Mapping[str, object]] = (), *, oil: Mapping[str, object] = OIL, as_of: str | None = None
) -> Compliance:
    """Return a month's compliance, judged at its end."""
    findings = judge(folder, as_of or LAST_DAY[month], [oil], ROWS, engine=ENGINE, services=services, month=month)
    assert findings.compliance is not None
    return findings.compliance


def counts(compliance: Compliance) -> tuple[int, int, int, int, int]:
    """Return on time, late, missed, open, pending."""
    return compliance.on_time, compliance.late, compliance.missed, compliance.open, compliance.pending


def test_no_occurrence_gives_no_figure(tmp_path: Path) -> None:
    """Every 10,000 h: nothing fell due in January."""
    compliance = month_of(tmp_path, "2024-01", oil=task(every={"running_hours": 10000}))
    assert (counts(compliance), compliance.figure) == ((0, 0, 0, 0, 0), None)


@pytest.mark.parametrize(
    ("done_at", "expected", "figure"),
    [
        # at 95 h before its line; at 110 h within tolerance; at 110.1 h late
        ("2024-01-10T12:00", (1, 0, 0, 0, 0), 1.0),
        ("2024-01-12T00:00", (1, 0, 0, 0, 0), 1.0),
        ("2024-01-12T00:14:24", (0, 1, 0, 0, 0), 0.0),
    ],
)
def test_on_time_is_within_tolerance_when_done(tmp_path: Path, done_at: str, expected: tuple[int, ...], figure: float) -> None:
    """Consumed up to 1 + tolerance when done is on time, beyond is late."""
    compliance = month_of(tmp_path, "2024-01", [done("oil", done_at)], as_of="2024-01-18", oil=OIL)
    assert (counts(compliance), compliance.figure) == (expected, figure)


def entry_of(compliance: Compliance) -> Occurrence:
    """Return the only occurrence of a month."""
    (found,) = compliance.occurrences
    return found


def test_an_occurrence_done_before_its_line_belongs_to_the_month_it_was_done_in(tmp_path: Path) -> None:
    """Every two months, done on 20 February (50 d) of due 1 March (60 d): February's; then on 19 April, the day before due: April's."""
    monthly = task(every={"calendar": "P2M"})
    services = [done("oil", "2024-02-20"), done("oil", "2024-04-19")]
    assert counts(month_of(tmp_path / "b", "2024-02", services, oil=monthly)) == (1, 0, 0, 0, 0)
    assert counts(month_of(tmp_path / "c", "2024-03", services, oil=monthly)) == (0, 0, 0, 0, 0)
    assert counts(month_of(tmp_path / "d", "2024-04", services, oil=monthly)) == (1, 0, 0, 0, 0)


def test_an_occurrence_done_within_its_tolerance_belongs_to_the_month_it_was_done_in(tmp_path: Path) -> None:
    """Due at 300 h, crossed on 31 January, done on 2 February at 320 h (within 10 %): pending in January, on time in February."""
    oil = task(every={"running_hours": 300}, tolerance_pct=10)
    services = [done("oil", "2024-02-02T00:00")]
    for as_of in ("2024-01-31", "2024-02-29"):
        january = month_of(tmp_path / f"a{as_of}", "2024-01", services, oil=oil, as_of=as_of)
        assert (counts(january), january.figure) == ((0, 0, 0, 0, 1), None)
    assert counts(month_of(tmp_path / "b", "2024-02", services, oil=oil)) == (1, 0, 0, 0, 0)


@pytest.mark.parametrize(
    ("done_on", "march", "april", "decided_on"),
    [
        # 28 March and 13 days of tolerance: the last day is 10 April
        ("2026-04-05", (0, 0, 0, 0, 1), (1, 0, 0, 0, 0), "2026-04-05"),
        ("2026-04-10", (0, 0, 0, 0, 1), (1, 0, 0, 0, 0), "2026-04-10"),
        ("2026-04-20", (0, 0, 0, 0, 1), (0, 1, 0, 0, 0), "2026-04-11"),
        ("2026-06-03", (0, 0, 0, 0, 1), (0, 1, 0, 1, 0), "2026-04-11"),
    ],
)
def test_an_oil_change_is_decided_once(
    tmp_path: Path, done_on: str, march: tuple[int, ...], april: tuple[int, ...], decided_on: str
) -> None:
    """Due on 28 March, on time until 10 April: pending in March, decided in April, and nothing is left of it for May and June.

    Asked half a year later each month says the same.
    """
    oil = task(every={"calendar": "P1Y"}, tolerance={"calendar": "P13D"})
    rows = steady("2025-03-28", "2026-12-31", 1)
    for as_of in ("", "2026-12-31"):
        told = []
        for month, last in (("2026-03", "31"), ("2026-04", "30"), ("2026-05", "31"), ("2026-06", "30")):
            folder = tmp_path / f"{month}{as_of}"
            engine = {"in_service": "2025-03-28", "meter_at_start_h": 0}
            found = judge(folder, as_of or f"{month}-{last}", [oil], rows, engine=engine, services=[done("oil", done_on)], month=month)
            assert found.compliance is not None
            told.append(found.compliance)
        assert [counts(each) for each in told] == [march, april, (0, 0, 0, 0, 0), (0, 0, 0, 0, 0)]
        assert entry_of(told[1]).decided_on == decided_on
        assert [entry.line_on for entry in (*told[0].occurrences, *told[1].occurrences)] == ["2026-03-28", "2026-03-28"]


def test_what_is_past_its_tolerance_and_not_done_is_late_and_open(tmp_path: Path) -> None:
    """280 h allowed, 310 h at the end of January: beyond 308."""
    compliance = month_of(tmp_path, "2024-01", oil=task(every={"running_hours": 280}, tolerance_pct=10))
    assert (counts(compliance), compliance.figure) == ((0, 1, 0, 1, 0), 0.0)
    # 308 h are passed 30.8 days after 1 January
    assert (entry_of(compliance).line_on, entry_of(compliance).decided_on) == ("2024-01-28", "2024-01-31")


def test_what_is_past_its_line_and_inside_its_tolerance_is_pending_and_not_in_the_figure(tmp_path: Path) -> None:
    """300 h allowed, 310 h at the end of January, 330 tolerated."""
    compliance = month_of(tmp_path, "2024-01", oil=task(every={"running_hours": 300}, tolerance_pct=10))
    assert (counts(compliance), compliance.figure) == ((0, 0, 0, 0, 1), None)
    assert [entry.met for entry in compliance.occurrences] == ["pending"]


def test_an_open_occurrence_stays_in_the_month_its_tolerance_ended_in(tmp_path: Path) -> None:
    """280 h, past 308 h in January and still open in February: it is January's."""
    oil = task(every={"running_hours": 280}, tolerance_pct=10)
    # 560 h would be reached on 26 February; judged before that nothing is missed
    assert counts(month_of(tmp_path / "a", "2024-02", oil=oil, as_of="2024-02-20")) == (0, 0, 0, 0, 0)
    assert counts(month_of(tmp_path / "b", "2024-01", oil=oil, as_of="2024-02-20")) == (0, 1, 0, 1, 0)


def test_each_due_point_is_an_occurrence_of_its_own(tmp_path: Path) -> None:
    """100 h, nothing done in January: 110 h and 210 h were passed, both late and passed over; 300 h is past, and tolerated until 310 h."""
    compliance = month_of(tmp_path, "2024-01")
    assert (counts(compliance), compliance.figure) == ((0, 2, 2, 2, 1), 0.0)
    # 110 h are passed with the end of 11 January, 210 h with that of the 21st; nothing is decided twice in February
    assert [entry.decided_on for entry in compliance.occurrences] == ["2024-01-12", "2024-01-22", None]
    february = month_of(tmp_path / "b", "2024-02")
    # 310, 410, 510 h are passed in February; 590 h at its end: 400 and 500 h were reached by then
    assert counts(february) == (0, 3, 2, 3, 0)


def test_what_is_done_after_a_missed_due_point_is_done_for_the_next_one(tmp_path: Path) -> None:
    """Every 100 h, done at 205 h: 100 h was passed over, 200 h was met five hours past its line, within 10."""
    compliance = month_of(tmp_path, "2024-01", [done("oil", "2024-01-21T12:00")], as_of="2024-01-25")
    assert (counts(compliance), compliance.figure) == ((1, 1, 1, 0, 0), 0.5)


def test_the_figure_is_the_share_done_on_time(tmp_path: Path) -> None:
    """On time at 100 h, late at 220 h, on time at 300 h (31 January): 2 of 3."""
    services = [done("oil", "2024-01-11T00:00"), done("oil", "2024-01-23T00:00"), done("oil", "2024-01-31T00:00")]
    compliance = month_of(tmp_path, "2024-01", services)
    assert counts(compliance) == (2, 1, 0, 0, 0)
    assert compliance.figure == pytest.approx(2 / 3, abs=1e-6)


def test_a_completion_at_less_than_half_of_its_interval_is_early_and_not_counted(tmp_path: Path) -> None:
    """Every 100 h, done at 49 h (early) and again 50 h later (on time): the clock started again at 49 h."""
    services = [done("oil", "2024-01-05T21:36"), done("oil", "2024-01-10T21:36")]
    compliance = month_of(tmp_path, "2024-01", services, as_of="2024-01-15")
    assert (counts(compliance), compliance.early, compliance.figure) == ((1, 0, 0, 0, 0), 1, 1.0)
    assert [(entry.met, entry.consumed) for entry in compliance.occurrences] == [("early", 0.49), ("on_time", 0.5)]


def test_thirteen_runs_that_the_log_proves_in_one_month_are_one_exercise(tmp_path: Path) -> None:
    """Exercised monthly by a run of an hour: one run on 1 January, thirteen in February from the 1st on, one every two days."""
    from_days = [0, *(31 + 2 * number for number in range(13))]
    start = datetime(2024, 1, 1, 9, 0)  # noqa: DTZ001 - local to the site
    rows, shown = [meter("2024-01-01T00:00", 0)], 0
    for number in from_days:
        began = start + timedelta(days=number)
        rows += [meter(began.isoformat(), shown), meter((began + timedelta(hours=1)).isoformat(), shown + 1)]
        shown += 1
    rows.append(meter("2024-03-01T00:00", shown))
    exercise = task("exercise", every={"calendar": "P1M"}, done_when={"running_min": 60})
    findings = judge(tmp_path, "2024-02-29", [exercise], rows, engine=ENGINE, month="2024-02")
    assert findings.compliance is not None
    assert (counts(findings.compliance), findings.compliance.early) == ((1, 0, 0, 0, 0), 12)


DEFERRAL = {"at": "2024-01-10T00:00", "engine": "G1", "task": "oil", "outcome": "deferred", "approved_by": "chief", "until_h": 400}


def test_a_deferral_holds_an_occurrence_open(tmp_path: Path) -> None:
    """Due at 100 h, deferred until 400 h: 310 h at the end of January, past 400 h with the end of 9 February, not done.

    The due points of 200 h and 300 h are held open with it, and are past the line too.
    """
    oil = task(every={"running_hours": 100}, tolerance_pct=10)
    for as_of in ("2024-01-31", "2024-03-31"):
        january = month_of(tmp_path / f"a{as_of}", "2024-01", [DEFERRAL], oil=oil, as_of=as_of)
        assert (counts(january), january.deferred, january.figure) == ((0, 0, 0, 0, 0), 3, None)
    february = month_of(tmp_path / "b", "2024-02", [DEFERRAL], oil=oil)
    # 100, 200 and 300 h on 10 February with the deferral, 400 h at 410 h on 11 February, 500 h at 510 h; 590 h at its end
    assert (counts(february), february.deferred) == ((0, 5, 4, 5, 0), 0)
    assert [entry.decided_on for entry in february.occurrences] == [*["2024-02-10"] * 3, "2024-02-11", "2024-02-21"]


def test_a_deferred_occurrence_keeps_its_line(tmp_path: Path) -> None:
    """Deferred until 400 h and done at 150 h: beyond its tolerance, and so late all the same; decided when it was done."""
    compliance = month_of(tmp_path, "2024-01", [DEFERRAL, done("oil", "2024-01-16T00:00")], as_of="2024-01-20")
    assert counts(compliance) == (0, 1, 0, 0, 0)
    entry = entry_of(compliance)
    assert (entry.deferred, entry.line_on, entry.decided_on) == (True, "2024-01-10", "2024-01-16")


def test_a_deferral_that_comes_after_the_tolerance_is_too_late(tmp_path: Path) -> None:
    """Past 110 h with the end of 11 January, deferred on the 15th until 400 h: late on the 12th, whatever was approved after it."""
    compliance = month_of(tmp_path, "2024-01", [{**DEFERRAL, "at": "2024-01-15T00:00"}], as_of="2024-01-18")
    assert (counts(compliance), entry_of(compliance).decided_on) == ((0, 1, 0, 1, 0), "2024-01-12")


def test_what_falls_due_in_a_lay_up_waits_for_the_next_start(tmp_path: Path) -> None:
    """Due on 1 February, laid up from 20 January to 15 March, run again on 16 March: done on the 15th it is on time, on the 18th late."""
    monthly = task(every={"calendar": "P1M"})
    engine = {**ENGINE, "laid_up": [{"from": "2024-01-20", "to": "2024-03-15"}]}
    rows = steady("2024-01-01", "2024-01-20", 10) + steady("2024-03-16", "2024-04-30", 10, start_h=190)
    told = []
    for done_on, month in (("2024-03-15", "2024-02"), ("2024-03-15", "2024-03"), ("2024-03-18", "2024-02"), ("2024-03-18", "2024-03")):
        services = [done("oil", done_on)]
        found = judge(tmp_path / (done_on + month), LAST_DAY[month], [monthly], rows, engine=engine, services=services, month=month)
        assert found.compliance is not None
        told.append(counts(found.compliance))
    assert told == [(0, 0, 0, 0, 0), (1, 0, 0, 0, 0), (0, 0, 0, 0, 0), (0, 1, 0, 0, 0)]


def test_a_month_keeps_what_was_decided_by_the_interval_of_that_day(tmp_path: Path) -> None:
    """Every 100 h, half of that while there are more than 25 starts in 100 h: 30 of them until 50 h were passed on 6 January.

    By 29 February there are 21 starts in 90 h, 23 in 100 h: 100 h are allowed again, and it is done in time by that. January keeps its
    late one, and February has none.
    """
    rows = [meter(f"2024-01-{day:02d}T00:00", 10.0 * (day - 1), starts=3 * (day - 1)) for day in range(1, 9)]
    rows += [meter("2024-02-29T00:00", 90.0, starts=21)]
    oil = task(every={"running_hours": 100})
    often = rule("often", {"starts_per_100h": {"above": 25}}, interval_times=0.5)
    told = []
    for month, as_of in (("2024-01", "2024-01-10"), ("2024-01", "2024-02-29"), ("2024-02", "2024-02-29")):
        found = judge(
            tmp_path / (month + as_of),
            as_of,
            [oil],
            rows,
            engine={**ENGINE, "at_start": {"starts": 0}},
            services=[done("oil", "2024-02-29T00:00")],
            rules={"adjustments": [often]},
            month=month,
        )
        assert found.compliance is not None
        told.append((counts(found.compliance), [entry.decided_on for entry in found.compliance.occurrences]))
    late = ((0, 1, 0, 1, 0), ["2024-01-06"])
    assert told == [late, late, ((0, 0, 0, 0, 0), [])]


def test_a_calendar_occurrence_crosses_with_the_midnight_after_its_due_date(tmp_path: Path) -> None:
    """Due 1 February, done on the 3rd with 10 % of 31 d tolerated: on time, in February."""
    services = [done("oil", "2024-02-03")]
    compliance = month_of(tmp_path, "2024-02", services, oil=task(every={"calendar": "P1M"}, tolerance_pct=10))
    assert counts(compliance) == (1, 0, 0, 0, 0)
    assert [(entry.line_on, entry.done_on) for entry in compliance.occurrences] == [("2024-02-01", "2024-02-03")]


@pytest.mark.parametrize(
    ("done_on", "expected"),
    [
        # due on 31 January, may be done from the 24th to 7 February; the next one from 22 February on
        (["2024-01-30", "2024-02-29"], [(1, 0, 0, 0, 0), (1, 0, 0, 0, 0), (0, 0, 0, 0, 0)]),
        (["2024-02-07", "2024-02-23"], [(0, 0, 0, 0, 0), (2, 0, 0, 0, 0), (0, 0, 0, 0, 0)]),
        (["2024-02-10"], [(0, 0, 0, 0, 0), (0, 1, 0, 0, 0), (0, 1, 0, 1, 0)]),
        # the January one is passed over: what is done on 23 February is done for the next
        (["2024-02-23"], [(0, 0, 0, 0, 0), (1, 1, 1, 0, 0), (0, 0, 0, 0, 0)]),
    ],
)
def test_each_due_date_with_a_window_counts_once(tmp_path: Path, done_on: Sequence[str], expected: Sequence[tuple[int, ...]]) -> None:
    """Every month from 31 December on, seven days before or after."""
    exercise = task(every={"calendar": "P1M"}, window={"before": "P7D", "after": "P7D"}, restarts_from="due")
    engine = {"in_service": "2023-12-31", "meter_at_start_h": 0}
    rows = steady("2023-12-31", "2024-03-31", 1)
    services = [done("oil", at) for at in done_on]
    told = []
    for month in ("2024-01", "2024-02", "2024-03"):
        as_of = "2024-03-20"
        found = judge(tmp_path / month, min(as_of, LAST_DAY[month]), [exercise], rows, engine=engine, services=services, month=month)
        assert found.compliance is not None
        told.append(counts(found.compliance))
    assert told == list(expected)


def test_every_engine_and_task_counts(tmp_path: Path) -> None:
    """Two tasks of two engines, each done once on time."""
    rows = ROWS + steady("2024-01-01", "2024-08-31", 10, engine="G2")
    tasks = [OIL, task("plugs", every={"running_hours": 300})]
    services = [
        done(task_id, at, engine=engine)
        for engine in ("G1", "G2")
        for task_id, at in (("oil", "2024-01-11T00:00"), ("plugs", "2024-01-20T00:00"))
    ]
    engines = [{"id": "G1", **ENGINE}, {"id": "G2", **ENGINE}]
    findings = judge(tmp_path, "2024-01-20", tasks, rows, engines=engines, services=services, month="2024-01")
    assert findings.compliance is not None
    assert findings.compliance.on_time == 4


def test_each_occurrence_says_how_it_was_met(tmp_path: Path) -> None:
    """Every 100 h, 10 % tolerated, at 10 h a day: done at 49 h (early), at 149 h (on time), at 267 h (118 h: late), then not at all.

    259 h are passed on 26 January; from 267 h on, 367 h are the next line, and 43 h are run of it at the end of January.
    """
    services = [done("oil", "2024-01-05T21:36"), done("oil", "2024-01-15T21:36"), done("oil", "2024-01-27T16:48")]
    compliance = month_of(tmp_path / "a", "2024-01", services)
    assert [entry.text for entry in compliance.occurrences] == [
        "Oil: done early at 49.0 % of its interval; it starts again, and is not counted",
        "Oil: done on time at 100.0 % of its interval",
        "Oil: done late at 118.0 % of its interval; its tolerance ended on 2024-01-26",
    ]
    # nothing done in January: 310 h at its end
    assert [entry.text for entry in month_of(tmp_path / "b", "2024-01").occurrences] == [
        "Oil: missed; its tolerance ended on 2024-01-11, and the next due point was reached on 2024-01-21",
        "Oil: missed; its tolerance ended on 2024-01-21, and the next due point was reached on 2024-01-31",
        "Oil: past its line of 2024-01-30, still inside its tolerance, not done at 103.3 % of its interval",
    ]


@pytest.mark.parametrize(
    "rules", [{}, {"adjustments": [rule("never", {"engine": "nobody"}, interval_times=0.5)]}], ids=["steady", "by-day"]
)
def test_a_leg_that_overtakes_later_decides_what_was_consumed(tmp_path: Path, rules: Mapping[str, object]) -> None:
    """Every 30 h or 5 days, 61 h run by 4 January and none after: the second due point was crossed by its hours, 61 of 60.

    By the end of January it is 30 days of 10 all the same, whether or not a rule has to be judged day by day. What was done on 6 January
    was 61 h of 60, since 5 days are half of 10: the legs of a due point do not depend on how far each has come.
    """
    oil = task(every={"running_hours": 30, "calendar": "P5D"})
    rows = [meter("2024-01-01T00:00", 0), meter("2024-01-04T00:00", 61), meter("2024-02-01T00:00", 61)]
    told = []
    for services in ([], [done("oil", "2024-01-06")]):
        folder = tmp_path / str(len(services))
        found = judge(folder, "2024-01-31", [oil], rows, engine=ENGINE, services=services, rules=rules, month="2024-01")
        assert found.compliance is not None
        told.append([entry.consumed for entry in found.compliance.occurrences[:2]])
    # 30 days of 5 and of 10; then 61 h of 30 and of 60
    assert told == [[6.0, 3.0], [pytest.approx(61 / 30, abs=1e-6), pytest.approx(61 / 60, abs=1e-6)]]
