"""Early, late and what the next interval is counted from: published rules that no shipped rule set has, in rule sets of the site's own.

14 CFR 91.409(b), edition of 2015 (read); US Army practice after AR 750-1 / DA Pam 750-8 (told); TB 43-0211 12-7 (read), aircraft;
TB 43-PS-580 (read); TM 5-6115-584-12 3-7 (read); SMRP metric 5.4.14 (told).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path

import pytest

from intervals.occurrences import Compliance
from tests.published.shipped_sites import check_site
from tests.site_maker import done, finding_for, leg_of, meter, steady, task

# 10 h a day from 900 h on 1 January 2024: 1,000 h on 11 January
ROWS = steady("2024-01-01", "2024-06-30", 10, start_h=900)


def at_h(meter_h: float) -> str:
    """Return the time at which the log shows a reading (a tenth of an hour is 14.4 minutes)."""
    minutes = round((meter_h - 900) * 144)
    day, minute = date(2024, 1, 1) + timedelta(days=minutes // 1440), minutes % 1440
    return f"{day.isoformat()}T{minute // 60:02}:{minute % 60:02}"


def next_line_h(folder: Path, done_at_h: Sequence[float], **keys: object) -> float:
    """Return the reading at which a task is used up next, after being done at readings of the log."""
    services = [done("check", at_h(reading_h)) for reading_h in done_at_h]
    finding = finding_for(check_site(folder, "2024-06-28", [task("check", **keys)], ROWS, services=services), "check")
    remaining = leg_of(finding).remaining
    assert remaining is not None
    # the end of 28 June is 180 d after the first row: 900 + 1,800 h
    return 2700.0 + remaining


# 14 CFR 91.409(b) (read): a 100-hour inspection; past the line it keeps the grid, before it it restarts


@pytest.mark.outside("5.1")
def test_aircraft_hundred_hours_late_keeps_the_grid(tmp_path: Path) -> None:
    """14 CFR 91.409(b): 1,000 -> done 1,106 -> next 1,200."""
    every = {"running_hours": 100}
    assert next_line_h(tmp_path, [1000, 1106], every=every, restarts_from="due_if_late") == pytest.approx(1200.0, abs=1e-5)


@pytest.mark.outside("5.2")
def test_aircraft_hundred_hours_early_moves_the_grid(tmp_path: Path) -> None:
    """14 CFR 91.409(b): done early, the 100 h restart: 1,000 -> done 1,090 -> next 1,190."""
    every = {"running_hours": 100}
    assert next_line_h(tmp_path, [1000, 1090], every=every, restarts_from="due_if_late") == pytest.approx(1190.0, abs=1e-5)


@pytest.mark.outside("5.1")
def test_aircraft_hundred_hours_may_run_over_by_ten(tmp_path: Path) -> None:
    """14 CFR 91.409(b): up to 10 h over to reach the place of inspection: within tolerance, and overdue all the same."""
    for reading_h, within in ((1110.0, True), (1110.1, False)):
        rows = [meter("2024-01-11T00:00", 1000), meter("2024-02-11T00:00", reading_h)]
        check = task("check", every={"running_hours": 100}, tolerance_pct=10, restarts_from="due_if_late")
        finding = finding_for(
            check_site(tmp_path / str(reading_h), "2024-02-10", [check], rows, services=[done("check", "2024-01-11T00:00")]), "check"
        )
        assert (finding.standing, finding.within_tolerance) == ("overdue", within)


# US Army practice (told): within 10 % the scheduled point is recorded, outside it the actual one


@pytest.mark.outside("5.5")
@pytest.mark.parametrize(("done_h", "next_h"), [(1110, 1200), (1090, 1200), (1111, 1211), (1089, 1189)])
def test_within_ten_per_cent_the_scheduled_point_counts(tmp_path: Path, done_h: float, next_h: float) -> None:
    """After AR 750-1 / DA Pam 750-8: due at 1,100 h, 10 h either side keep the grid, 11 h do not."""
    keys = {"every": {"running_hours": 100}, "restarts_from": "due_if_on_time", "tolerance_pct": 10}
    assert next_line_h(tmp_path, [1000, done_h], **keys) == pytest.approx(next_h, abs=1e-5)


# TB 43-0211 12-7 (read), aircraft: a sample a little early or late leaves the next due point where it was


@pytest.mark.outside("5.7")
@pytest.mark.parametrize("taken_h", [97, 103])
def test_a_sample_of_an_aircraft_leaves_the_next_point_where_it_was(tmp_path: Path, taken_h: float) -> None:
    """TB 43-0211 12-7: due at 100 h, taken at 97 or 103, next at 125 on a 25 h interval."""
    rows = [meter("2024-01-08T12:00", 75), meter("2024-01-11T00:00", taken_h), meter("2024-01-12T00:00", taken_h + 1)]
    services = [done("check", "2024-01-08T12:00"), done("check", "2024-01-11T00:00")]
    sample = task("check", every={"running_hours": 25}, restarts_from="due")
    leg = leg_of(finding_for(check_site(tmp_path, "2024-01-11", [sample], rows, services=services), "check"))
    assert leg.remaining is not None
    assert taken_h + 1 + leg.remaining == 125.0


# TB 43-PS-580 (read): services falling together keep their own windows


@pytest.mark.outside("5.9")
def test_services_that_fall_together_keep_their_own_windows(tmp_path: Path) -> None:
    """The 500 h service done at 1,490 h leaves the 100 h service, done at 1,450, due at 1,550."""
    tasks = [task("small", every={"running_hours": 100}), task("large", every={"running_hours": 500})]
    services = [done("small", at_h(1450)), done("large", at_h(1490))]
    findings = check_site(tmp_path, at_h(1500), tasks, ROWS, services=services)
    assert {entry.task: leg_of(entry).used for entry in findings.findings} == {"small": 50.0, "large": 10.0}


# SMRP metric 5.4.14 (told): done on time / due in the period


def compliance_with(folder: Path, tolerance_pct: float, done_after_d: Sequence[int], every_d: int) -> Compliance:
    """Return January 2024's compliance of tasks done once each, so many days after 1 December 2023."""
    tasks = [
        task(f"task-{number}", every={"calendar": f"P{every_d}D"}, tolerance_pct=tolerance_pct) for number, _ in enumerate(done_after_d)
    ]
    services: list[Mapping[str, object]] = []
    for number, after_d in enumerate(done_after_d):
        services += [
            done(f"task-{number}", "2023-12-01"),
            done(f"task-{number}", (date(2023, 12, 1) + timedelta(days=after_d)).isoformat()),
        ]
    findings = check_site(folder, "2024-01-31", tasks, [meter("2023-12-01T00:00", 0)], services=services, month="2024-01")
    assert findings.compliance is not None
    return findings.compliance


@pytest.mark.outside("5.10")
@pytest.mark.parametrize(("every_d", "allowance_d"), [(35, 7), (40, 8)])
def test_a_fifth_of_the_interval_may_be_allowed(tmp_path: Path, every_d: int, allowance_d: int) -> None:
    """SMRP 5.4.14: "on time" may allow 20 % of the interval: on its last day on time, a day later late."""
    compliance = compliance_with(tmp_path, 20, [every_d + allowance_d, every_d + allowance_d + 1], every_d)
    assert (compliance.on_time, compliance.late, compliance.figure) == (1, 1, 0.5)


@pytest.mark.outside("5.10")
def test_the_figure_of_the_metrics_example(tmp_path: Path) -> None:
    """SMRP 5.4.14: 318 of 384 is 82.8 %; here 53 of 64, the same share."""
    # each crossed its line in January (35 d after 1 December is 5 January): 53 within 20 %, 11 beyond
    compliance = compliance_with(tmp_path, 20, [36] * 53 + [45] * 11, 35)
    assert (compliance.on_time, compliance.late) == (53, 11)
    assert compliance.figure == pytest.approx(318 / 384, abs=1e-6)
    assert round(100 * (compliance.figure or 0), 1) == 82.8


# TM 5-6115-584-12 3-7 (read): service before the start if the run would carry past the interval


@pytest.mark.outside("5.8")
def test_what_is_left_before_a_long_run(tmp_path: Path) -> None:
    """An engine with 12 h left before a 24 h run: the finding says 12 h, which is what the rule is applied to."""
    finding = finding_for(
        check_site(tmp_path, at_h(988), [task("check", every={"running_hours": 100})], ROWS, services=[done("check", at_h(900))]), "check"
    )
    assert leg_of(finding).remaining == pytest.approx(12.0, abs=1e-5)


@pytest.mark.outside("5.11")
def test_ten_per_cent_is_the_tolerance_of_the_trade(tmp_path: Path) -> None:
    """Common practice, no source: on time within 10 % of the interval; 44 d of 40 are on time, 45 are not."""
    compliance = compliance_with(tmp_path, 10, [44, 45], 40)
    assert (compliance.on_time, compliance.late) == (1, 1)
