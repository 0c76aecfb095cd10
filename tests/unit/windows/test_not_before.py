"""The day from which a task asks for anything: no window begins before it."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals.findings import Findings
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import done, finding_for, judge, leg_of, moment, steady, task, used_of, write_site

# 10 h a day from 0 h on 1 January 2012; the duty began on 3 May 2013, after 366 + 122 = 488 days
ROWS = steady("2012-01-01", "2014-12-31", 10)
ENGINE = {"in_service": "2012-01-01", "meter_at_start_h": 0, "rated_kw": 400}
DUTY = {"in_force_from": "2013-05-03", "running_hours": 10000, "calendar": "P1Y"}
OIL = task("oil", every=[DUTY], not_before="2013-05-03")


def judged(folder: Path, as_of: str, *services: object, month: str | None = None, **more: object) -> Findings:
    """Judge the task by the steady log."""
    return judge(folder, as_of, [{**OIL, **more}], ROWS, engine=ENGINE, services=services, month=month)


@pytest.mark.parametrize(
    ("as_of", "standing", "used_d"),
    [
        ("2013-05-02", "unknown", None),
        ("2013-05-03", "in_interval", 0.0),
        ("2014-05-03", "upcoming", 365.0),
        ("2014-05-04", "overdue", 366.0),
    ],
)
def test_nothing_falls_due_for_the_time_before(tmp_path: Path, as_of: str, standing: str, used_d: float | None) -> None:
    """Never done on an engine of 2012: a year from the day of the duty on, not from its first day; nothing is missed before."""
    found = judged(tmp_path, as_of)
    finding = finding_for(found)
    assert finding.standing == standing
    assert [leg.used for leg in finding.legs if leg.leg == "calendar"] == ([] if used_d is None else [used_d])
    assert found.skipped == ()


def test_hours_count_from_that_day_too(tmp_path: Path) -> None:
    """29 days of 10 h from 3 May to the end of the month."""
    assert used_of(finding_for(judged(tmp_path, "2013-05-31"))) == 290.0


def test_a_job_before_that_day_is_told_and_does_not_begin_the_window(tmp_path: Path) -> None:
    """Done on 1 December 2012: last done then, due a year from the day of the duty; done on 1 July 2013: due a year from then."""
    before = finding_for(judged(tmp_path / "a", "2013-12-31", done("oil", "2012-12-01T00:00")))
    assert before.last_done is not None
    assert (before.last_done.record, before.due_on) == ("services.csv:2", "2014-05-03")
    assert "since 2013-05-03, the day from which it asks for anything" in before.reasons[0].text
    after = finding_for(judged(tmp_path / "b", "2013-12-31", done("oil", "2012-12-01T00:00"), done("oil", "2013-07-01T00:00")))
    assert (after.due_on, leg_of(after, "calendar").used) == ("2014-07-01", 183.0)


def test_a_month_counts_no_occurrence_before_it(tmp_path: Path) -> None:
    """Done on 1 July 2012, 2013 and 2014: that of 2012 is no occurrence, and the first one is decided in July 2013."""
    services = [done("oil", f"{year}-07-01T00:00") for year in (2012, 2013, 2014)]
    counts = []
    for month in ("2012-07", "2013-05", "2014-07"):
        compliance = judged(tmp_path / month, "2014-12-31", *services, month=month).compliance
        assert compliance is not None
        counts.append((compliance.on_time, compliance.late))
    assert counts == [(0, 0), (0, 0), (1, 0)]


def test_records_that_begin_between_do_not_leave_it_unknown(tmp_path: Path) -> None:
    """Records from 1 January 2013 on say all that is asked; without the day nothing would say when it was last done."""
    engine = {**ENGINE, "records_from": "2013-01-01"}
    tasks = [OIL, task("open", every={"calendar": "P1Y"})]
    found = judge(tmp_path, "2013-12-31", tasks, ROWS, engine=engine, services=[])
    assert [finding_for(found, name).standing for name in ("oil", "open")] == ["in_interval", "unknown"]


def test_explain_says_from_when(tmp_path: Path) -> None:
    """The window begins at that midnight, and why is said."""
    site = write_site(tmp_path, [OIL], ROWS, engine=ENGINE, services=[])
    explained = explain_finding(site, "G1", "oil", moment("2013-12-31"))
    (begins,) = [step.sum for step in explained.window if step.label == "from"]
    assert "2013-05-03T00:00" in begins
    assert "not_before" in begins
