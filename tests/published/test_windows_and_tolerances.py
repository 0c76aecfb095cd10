"""Windows and tolerances of published rules (CHECKS sections 4 and 5), each as a rule set writes it.

Hospital accreditation practice (told); TB 43-0211 12-6, 12-7 (read); MARPOL Annex VI reg. 5.1 and Annex I reg. 10.2 (read); SMRP
metric 5.4.14 (told).
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from intervals.findings import Finding, Findings
from tests.published.shipped_sites import check_site
from tests.site_maker import done, finding_for, meter, skipped_of, task


def judged(folder: Path, last: str, as_of: date, then: date | None = None, **keys: Any) -> Findings:  # noqa: ANN401 - what a task takes
    """Judge a task done on one day, and perhaps on another."""
    services = [done("check", last), *([done("check", then.isoformat())] if then else [])]
    return check_site(folder, as_of.isoformat(), [task("check", **keys)], [meter(f"{last}T00:00", 0)], services=services)


def check_of(findings: Findings) -> Finding:
    """Return the finding."""
    return finding_for(findings, "check")


def test_all_through_its_window_a_test_is_in_time(tmp_path: Path) -> None:
    """Hospital accreditation practice: quarterly +/- 10 days, six-monthly +/- 20, yearly +/- 30."""
    # counted by hand from 15 January 2023
    cases = [
        ("P3M", 10, date(2023, 4, 5), date(2023, 4, 25)),
        ("P6M", 20, date(2023, 6, 25), date(2023, 8, 4)),
        ("P1Y", 30, date(2023, 12, 16), date(2024, 2, 14)),
    ]
    for every, days, first, last in cases:
        keys: dict[str, Any] = {"every": {"calendar": every}, "window": {"before": f"P{days}D", "after": f"P{days}D"}}
        folder = tmp_path / every
        standings = [
            check_of(judged(folder / str(number), "2023-01-15", day, **keys)).standing
            for number, day in enumerate((first - timedelta(days=1), first, last, last + timedelta(days=1)))
        ]
        assert standings == ["in_interval", "upcoming", "upcoming", "overdue"]
        early = judged(folder / "early", "2023-01-15", last, first - timedelta(days=1), **keys)
        assert [entry.kind for entry in skipped_of(early, "check")] == ["too_early"]


@pytest.mark.parametrize(("interval_d", "first_d", "last_d"), [(60, 54, 66), (90, 81, 99), (365, 329, 401)])
def test_sampling_windows_in_whole_days(tmp_path: Path, interval_d: int, first_d: int, last_d: int) -> None:
    """TB 43-0211 12-6, 12-7: a tenth either side, in whole days: 365 d give 329 to 401, since 36.5 d are rounded inward."""
    start = date(2023, 1, 1)
    keys: dict[str, Any] = {
        "every": {"calendar": f"P{interval_d}D"},
        "tolerance": {"pct": 10, "rounding": "inward"},
        "restarts_from": "due_if_on_time",
    }
    for after_d, is_kept in ((first_d - 1, False), (first_d, True), (last_d, True), (last_d + 1, False)):
        sampled = start + timedelta(days=after_d)
        finding = check_of(judged(tmp_path / str(after_d), start.isoformat(), sampled, sampled, **keys))
        due = start + timedelta(days=2 * interval_d) if is_kept else sampled + timedelta(days=interval_d)
        assert finding.due_on == due.isoformat()


ANNIVERSARY: dict[str, Any] = {"every": {"calendar": "P1Y"}, "window": {"before": "P3M", "after": "P3M"}, "restarts_from": "due"}


@pytest.mark.parametrize("surveyed", [date(2024, 3, 15), date(2024, 6, 15), date(2024, 9, 15)])
def test_a_yearly_survey_is_held_within_three_months_of_its_anniversary(tmp_path: Path, surveyed: date) -> None:
    """MARPOL Annex VI reg. 5.1: anniversary 15 June; from 15 March to 15 September it is in time, the anniversary stays."""
    findings = judged(tmp_path, "2023-06-15", surveyed, surveyed, **ANNIVERSARY)
    assert check_of(findings).due_on == "2025-06-15"
    assert skipped_of(findings, "check") == []


def test_a_yearly_survey_outside_three_months(tmp_path: Path) -> None:
    """MARPOL Annex VI reg. 5.1: on 14 March it would be too early, on 16 September it is overdue."""
    early = judged(tmp_path / "a", "2023-06-15", date(2024, 3, 14), date(2024, 3, 14), **ANNIVERSARY)
    assert [entry.kind for entry in skipped_of(early, "check")] == ["too_early"]
    standings = [
        check_of(judged(tmp_path / day, "2023-06-15", date.fromisoformat(day), **ANNIVERSARY)).standing
        for day in ("2024-09-15", "2024-09-16")
    ]
    assert standings == ["upcoming", "overdue"]


@pytest.mark.parametrize(
    ("renewed", "due"),
    [("2025-03-15", "2030-06-15"), ("2025-07-20", "2030-06-15"), ("2025-03-14", "2030-03-14")],
)
def test_a_certificate_renewed_within_three_months_or_late_counts_from_the_old_expiry(tmp_path: Path, renewed: str, due: str) -> None:
    """MARPOL Annex I reg. 10.2: expiry 15 June 2025; earlier than 15 March, from the completion."""
    keys: dict[str, Any] = {"every": {"calendar": "P5Y"}, "window": {"before": "P3M"}, "restarts_from": "due_unless_early"}
    day = date.fromisoformat(renewed)
    assert check_of(judged(tmp_path, "2020-06-15", day, day, **keys)).due_on == due


@pytest.mark.parametrize(
    ("every", "due", "tolerated_d"),
    [
        # 30 d -> 6, 90 d -> 18, 6 months (181 d, of which a fifth is 36.2) and a year -> 28
        ("P30D", date(2023, 1, 31), 6),
        ("P90D", date(2023, 4, 1), 18),
        ("P6M", date(2023, 7, 1), 28),
        ("P1Y", date(2024, 1, 1), 28),
    ],
)
def test_a_fifth_of_the_interval_and_at_most_28_days(tmp_path: Path, every: str, due: date, tolerated_d: int) -> None:
    """SMRP 5.4.14: on time within 20 % of the interval, at most 28 days; done on 1 January 2023."""
    keys: dict[str, Any] = {"every": {"calendar": every}, "tolerance": {"pct": 20, "calendar": "P28D"}}
    for late_d, is_within in ((tolerated_d, True), (tolerated_d + 1, False)):
        finding = check_of(judged(tmp_path / str(late_d), "2023-01-01", due + timedelta(days=late_d), **keys))
        assert (finding.standing, finding.within_tolerance) == ("overdue", is_within)
