"""Early, late and what the next interval is counted from (CHECKS section 5), each rule as a rule set writes it.

14 CFR 91.409(b); MARPOL Annex I reg. 10.2 and Annex VI reg. 5.1; US Army practice after AR 750-1 / DA Pam 750-8 (told);
TB 43-0211 6-4, 12-6, 12-7; TB 43-PS-580; SMRP metric 5.4.14 (told).
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


def test_aircraft_hundred_hours_late_keeps_the_grid(tmp_path: Path) -> None:
    """14 CFR 91.409(b): 1,000 -> done 1,106 -> next 1,200."""
    every = {"running_hours": 100}
    assert next_line_h(tmp_path, [1000, 1106], every=every, restarts_from="due_if_late") == pytest.approx(1200.0, abs=1e-5)


def test_aircraft_hundred_hours_early_moves_the_grid(tmp_path: Path) -> None:
    """14 CFR 91.409(b): done early, the 100 h restart: 1,000 -> done 1,090 -> next 1,190."""
    every = {"running_hours": 100}
    assert next_line_h(tmp_path, [1000, 1090], every=every, restarts_from="due_if_late") == pytest.approx(1190.0, abs=1e-5)


def test_aircraft_hundred_hours_may_run_over_by_ten(tmp_path: Path) -> None:
    """14 CFR 91.409(b): up to 10 h over to reach the place of inspection: within tolerance, and overdue all the same."""
    for reading_h, within in ((1110.0, True), (1110.1, False)):
        rows = [meter("2024-01-11T00:00", 1000), meter("2024-02-11T00:00", reading_h)]
        check = task("check", every={"running_hours": 100}, tolerance_pct=10, restarts_from="due_if_late")
        finding = finding_for(
            check_site(tmp_path / str(reading_h), "2024-02-10", [check], rows, services=[done("check", "2024-01-11T00:00")]), "check"
        )
        assert (finding.standing, finding.within_tolerance) == ("overdue", within)


# Ship certificates: five years


def due_after(folder: Path, first: str, renewed: str, every: str, **keys: object) -> date:
    """Return the due date after a certificate of one day was renewed on another."""
    rows = [meter(f"{first}T00:00", 0), meter(f"{renewed}T00:00", 0)]
    services = [done("certificate", first), done("certificate", renewed)]
    finding = finding_for(
        check_site(folder, renewed, [task("certificate", every={"calendar": every}, **keys)], rows, services=services), "certificate"
    )
    leg = leg_of(finding, "calendar")
    assert leg.allowed is not None
    return date.fromisoformat(renewed) + timedelta(days=leg.allowed)


@pytest.mark.parametrize(
    ("renewed", "due"),
    [
        # within three months before 2025-06-15: five years from the old expiry
        ("2025-04-01", "2030-06-15"),
        ("2025-06-15", "2030-06-15"),
        # past the line: from the old expiry
        ("2025-07-20", "2030-06-15"),
        # earlier: from the completion
        ("2025-02-01", "2030-02-01"),
    ],
)
def test_a_ship_certificate_is_counted_from_the_old_expiry(tmp_path: Path, renewed: str, due: str) -> None:
    """MARPOL Annex I reg. 10.2 (read): three months of sixty are 5 % of the interval, before or after."""
    found = due_after(tmp_path, "2020-06-15", renewed, "P5Y", restarts_from="due_if_on_time", tolerance_pct=5)
    assert found.isoformat() == due


@pytest.mark.parametrize(("surveyed", "due"), [("2024-03-20", "2025-06-15"), ("2024-09-10", "2025-06-15"), ("2024-03-10", "2025-03-10")])
def test_a_yearly_survey_keeps_its_anniversary(tmp_path: Path, surveyed: str, due: str) -> None:
    """MARPOL Annex VI reg. 5.1 (read): three months either side of the anniversary, a quarter of the year."""
    found = due_after(tmp_path, "2023-06-15", surveyed, "P1Y", restarts_from="due_if_on_time", tolerance_pct=25)
    assert found.isoformat() == due


# US Army practice (told): within 10 % the scheduled point is recorded, outside it the actual one


@pytest.mark.parametrize(("done_h", "next_h"), [(1110, 1200), (1090, 1200), (1111, 1211), (1089, 1189)])
def test_within_ten_per_cent_the_scheduled_point_counts(tmp_path: Path, done_h: float, next_h: float) -> None:
    """After AR 750-1 / DA Pam 750-8: due at 1,100 h, 10 h either side keep the grid, 11 h do not."""
    keys = {"every": {"running_hours": 100}, "restarts_from": "due_if_on_time", "tolerance_pct": 10}
    assert next_line_h(tmp_path, [1000, done_h], **keys) == pytest.approx(next_h, abs=1e-5)


# TB 43-0211 (read)


@pytest.mark.parametrize("taken_h", [997, 1003])
def test_a_sample_a_little_early_or_late_leaves_the_next_point(tmp_path: Path, taken_h: float) -> None:
    """TB 43-0211 6-4: due at 100 h, taken at 97 or 103, next at 125 on a 25 h interval (here 900 h further on)."""
    every = {"running_hours": 25}
    # from 975 h: due at 1,000; 3 h of 25 are 12 %
    assert next_line_h(tmp_path, [975, taken_h], every=every, restarts_from="due") % 25 == pytest.approx(0.0, abs=1e-5)
    rows = [meter("2024-01-08T12:00", 975), meter("2024-01-11T00:00", taken_h), meter("2024-01-12T00:00", taken_h + 1)]
    services = [done("check", "2024-01-08T12:00"), done("check", "2024-01-11T00:00")]
    finding = finding_for(
        check_site(tmp_path / "b", "2024-01-11", [task("check", every=every, restarts_from="due")], rows, services=services), "check"
    )
    leg = leg_of(finding)
    assert leg.remaining is not None
    assert taken_h + 1 + leg.remaining == 1025.0


@pytest.mark.parametrize(
    ("interval_d", "first_d", "last_d"),
    # TB 43-0211 12-6, 12-7: 60 d: 54-66, 90 d: 81-99 (90 x 1.1 is not 99 in binary), 365 d: 329-401
    [(60, 54, 66), (90, 81, 99), (365, 329, 401)],
)
def test_windows_of_ten_per_cent_in_days(tmp_path: Path, interval_d: int, first_d: int, last_d: int) -> None:
    """Inside the window the next date stays on the grid, a day outside it is counted from the day itself."""
    start = date(2023, 1, 1)
    for after_d, keeps in ((first_d - 1, False), (first_d, True), (last_d, True), (last_d + 1, False)):
        sampled = start + timedelta(days=after_d)
        found = due_after(
            tmp_path / str(after_d),
            start.isoformat(),
            sampled.isoformat(),
            f"P{interval_d}D",
            restarts_from="due_if_on_time",
            tolerance_pct=10,
        )
        assert found == (start + timedelta(days=2 * interval_d) if keeps else sampled + timedelta(days=interval_d))


@pytest.mark.parametrize(("interval_d", "last_d"), [(60, 66), (90, 99), (365, 401)])
def test_windows_of_ten_per_cent_are_within_tolerance(tmp_path: Path, interval_d: int, last_d: int) -> None:
    """The last day of the window is still within tolerance, the next is not."""
    start = date(2023, 1, 1)
    sample = task("check", every={"calendar": f"P{interval_d}D"}, tolerance_pct=10)
    for after_d, within in ((last_d, True), (last_d + 1, False)):
        as_of = (start + timedelta(days=after_d)).isoformat()
        finding = finding_for(
            check_site(tmp_path / str(after_d), as_of, [sample], [meter("2023-01-01T00:00", 0)], services=[done("check", "2023-01-01")]),
            "check",
        )
        assert (finding.standing, finding.within_tolerance) == ("overdue", within)


# TB 43-PS-580 (read): services falling together keep their own windows


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


@pytest.mark.parametrize(("every_d", "allowance_d"), [(35, 7), (40, 8)])
def test_a_fifth_of_the_interval_may_be_allowed(tmp_path: Path, every_d: int, allowance_d: int) -> None:
    """SMRP 5.4.14: "on time" may allow 20 % of the interval: on its last day on time, a day later late."""
    compliance = compliance_with(tmp_path, 20, [every_d + allowance_d, every_d + allowance_d + 1], every_d)
    assert (compliance.on_time, compliance.late, compliance.figure) == (1, 1, 0.5)


def test_the_figure_of_the_metrics_example(tmp_path: Path) -> None:
    """SMRP 5.4.14: 318 of 384 is 82.8 %; here 53 of 64, the same share."""
    # each crossed its line in January (35 d after 1 December is 5 January): 53 within 20 %, 11 beyond
    compliance = compliance_with(tmp_path, 20, [36] * 53 + [45] * 11, 35)
    assert (compliance.on_time, compliance.late) == (53, 11)
    assert compliance.figure == pytest.approx(318 / 384, abs=1e-6)
    assert round(100 * (compliance.figure or 0), 1) == 82.8


# TM 5-6115-584-12 3-7 (read): service before the start if the run would carry past the interval


def test_what_is_left_before_a_long_run(tmp_path: Path) -> None:
    """An engine with 12 h left before a 24 h run: the finding says 12 h, which is what the rule is applied to."""
    finding = finding_for(
        check_site(tmp_path, at_h(988), [task("check", every={"running_hours": 100})], ROWS, services=[done("check", at_h(900))]), "check"
    )
    assert leg_of(finding).remaining == pytest.approx(12.0, abs=1e-5)
