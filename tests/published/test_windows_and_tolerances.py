"""Windows and tolerances of published rules that no shipped rule set has, in rule sets of the site's own.

TB 43-0211 6-1 and 12-6 (read): samples of ground equipment on intervals of 60 and 365 days; SMRP metric 5.4.14 (told); hospital
accreditation practice before 2014 (told): tests 20 to 40 days apart, in a rule set based on standby-hospital.
"""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from intervals.findings import Finding, Findings
from tests.published.shipped_sites import check_site, run_check
from tests.site_maker import done, finding_for, meter, skipped_of, task, write_site


def judged(folder: Path, last: str, as_of: date, then: date | None = None, **keys: Any) -> Findings:  # noqa: ANN401 - what a task takes
    """Judge a task done on one day, and perhaps on another."""
    services = [done("check", last), *([done("check", then.isoformat())] if then else [])]
    return check_site(folder, as_of.isoformat(), [task("check", **keys)], [meter(f"{last}T00:00", 0)], services=services)


def check_of(findings: Findings) -> Finding:
    """Return the finding."""
    return finding_for(findings, "check")


@pytest.mark.outside("4.2")
@pytest.mark.parametrize(
    ("second", "as_of", "standing", "kinds"),
    [
        # tested on 26 January 2026; + 19, 20 and 40 d, and on the 41st day
        ("2026-02-14", "2026-02-14", "in_interval", ["too_early"]),
        ("2026-02-15", "2026-02-15", "in_interval", []),
        (None, "2026-03-07", "upcoming", []),
        (None, "2026-03-08", "overdue", []),
    ],
)
def test_tests_were_twenty_to_forty_days_apart(tmp_path: Path, second: str | None, as_of: str, standing: str, kinds: list[str]) -> None:
    """Until 2014: a test inside the window is one, an earlier one is credited and reported, after forty days it is overdue."""
    older = {"id": "monthly-test", "every": {"calendar": "P30D"}, "window": {"before": "P10D", "after": "P10D"}, "source": "told"}
    services = [done("monthly-test", "2026-01-26"), *([done("monthly-test", second)] if second else [])]
    engine = {"in_service": "2025-01-01", "records_from": "2026-01-26", "rated_kw": 400, "fuel": "diesel", "duty": "standby"}
    write_site(tmp_path, [], [meter("2026-01-26T00:00", 0)], engine=engine, services=services)
    older_rules = {"ruleset": "older", "title": "Before 2014", "version": "1", "based_on": "standby-hospital", "tasks": [older]}
    (tmp_path / "rules.yaml").write_text(json.dumps(older_rules), encoding="utf-8")
    findings = run_check(tmp_path, as_of)
    assert finding_for(findings, "monthly-test").standing == standing
    assert [entry.kind for entry in skipped_of(findings, "monthly-test")] == kinds


@pytest.mark.outside("5.6")
@pytest.mark.parametrize(("interval_d", "first_d", "last_d"), [(60, 54, 66), (90, 81, 99), (365, 329, 401)])
def test_sampling_windows_in_whole_days(tmp_path: Path, interval_d: int, first_d: int, last_d: int) -> None:
    """TB 43-0211 12-6: a tenth either side, in whole days: 365 d give 329 to 401, since 36.5 d are rounded inward."""
    start = date(2023, 1, 1)
    keys: dict[str, Any] = {"every": {"calendar": f"P{interval_d}D"}, "tolerance": {"pct": 10, "rounding": "inward"}}
    for after_d, is_within in ((last_d, True), (last_d + 1, False)):
        finding = check_of(judged(tmp_path / str(after_d), start.isoformat(), start + timedelta(days=after_d), **keys))
        assert (finding.standing, finding.within_tolerance) == ("overdue", is_within)
    # 6-1: whenever it was taken, the next interval starts at the latest sample
    for after_d in (first_d, last_d):
        sampled = start + timedelta(days=after_d)
        finding = check_of(judged(tmp_path / f"then-{after_d}", start.isoformat(), sampled, sampled, **keys))
        assert finding.due_on == (sampled + timedelta(days=interval_d)).isoformat()


@pytest.mark.outside("5.10")
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
