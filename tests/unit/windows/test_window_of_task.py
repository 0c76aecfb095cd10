"""A window around the due date: upcoming from its first day, met through its last, too early before it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals import read_site
from intervals.findings import Finding, Findings
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import done, finding_for, judge, leg_of, skipped_of, steady, task

# 10 h a day from 0 h on 1 January 2024
ROWS = steady("2024-01-01", "2024-12-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
WINDOW = {"before": "P10D", "after": "P5D"}


def judged(
    folder: Path,
    as_of: str,
    done_on: Sequence[str] = (),
    *,
    month: str | None = None,
    **keys: Any,  # noqa: ANN401 - what a task takes
) -> Findings:
    """Judge a task of every 30 days with a window; first due on 31 January 2024, to be done from 21 January to 5 February."""
    keys = {"every": {"calendar": "P30D"}, "window": dict(WINDOW), **keys}
    services = [done("oil", day) for day in done_on]
    return judge(folder, as_of, [task(**keys)], ROWS, engine=ENGINE, services=services, month=month)


def found(
    folder: Path,
    as_of: str,
    done_on: Sequence[str] = (),
    **keys: Any,  # noqa: ANN401 - what a task takes
) -> Finding:
    """Return the finding."""
    return finding_for(judged(folder, as_of, done_on, **keys))


@pytest.mark.parametrize(
    ("as_of", "standing"),
    [("2024-01-20", "in_interval"), ("2024-01-21", "upcoming"), ("2024-02-05", "upcoming"), ("2024-02-06", "overdue")],
)
def test_upcoming_from_the_first_day_of_the_window_and_overdue_after_its_last(tmp_path: Path, as_of: str, standing: str) -> None:
    """10 days before 31 January and 5 after."""
    finding = found(tmp_path, as_of)
    assert (finding.standing, finding.due_on) == (standing, "2024-01-31")


def test_what_is_allowed_reaches_to_the_end_of_the_window(tmp_path: Path) -> None:
    """35 d, crossed with the midnight after 5 February, a day past it on the 6th; the due date is told beside."""
    finding = found(tmp_path, "2024-02-06")
    leg = leg_of(finding, "calendar")
    assert (leg.used, leg.base, leg.allowed, leg.remaining) == (36.0, "P30D", 35.0, -1.0)
    assert finding.crossed_at == "2024-02-06T00:00:00+00:00"
    assert "due 2024-01-31, may be done from 2024-01-21 to 2024-02-05" in finding.reasons[0].text


def test_a_lead_of_its_own_goes_before_the_window(tmp_path: Path) -> None:
    """Three days before the due date: upcoming from 28 January."""
    assert found(tmp_path / "a", "2024-01-27", lead={"calendar": "P3D"}).standing == "in_interval"
    assert found(tmp_path / "b", "2024-01-28", lead={"calendar": "P3D"}).standing == "upcoming"


def test_a_tolerance_begins_after_the_window(tmp_path: Path) -> None:
    """A tenth of the 30 d, from 5 February on: the 8th is within, the 9th is not."""
    assert found(tmp_path / "a", "2024-02-08", tolerance_pct=10).within_tolerance
    assert not found(tmp_path / "b", "2024-02-09", tolerance_pct=10).within_tolerance


@pytest.mark.parametrize(("done_on", "is_early"), [("2024-01-20", True), ("2024-01-21", False), ("2024-02-05", False)])
def test_done_before_the_window_is_too_early(tmp_path: Path, done_on: str, *, is_early: bool) -> None:
    """It counts, the next due date is 30 days later, and it is reported."""
    findings = judged(tmp_path, "2024-02-10", [done_on])
    assert finding_for(findings).last_done is not None
    entries = skipped_of(findings)
    assert [entry.kind for entry in entries] == (["too_early"] if is_early else [])
    if is_early:
        assert (entries[0].open, entries[0].at, entries[0].rule) == (True, "2024-01-20", "too-early")
        words = "was done on 2024-01-20 (services.csv:2), 1 d before its window opened: due on 2024-01-31, to be done from 2024-01-21 to"
        assert words in entries[0].text


def test_too_early_is_open_until_the_next_completion(tmp_path: Path) -> None:
    """Done on 10 January, and again 30 days later."""
    (entry,) = skipped_of(judged(tmp_path, "2024-02-20", ["2024-01-10", "2024-02-09"]))
    assert (entry.kind, entry.open) == ("too_early", False)


def test_hours_that_were_nearly_used_up_are_not_too_early(tmp_path: Path) -> None:
    """Every 100 h or 30 d: done at 95 h on 10 January the hours govern, and the calendar's window says nothing."""
    assert skipped_of(judged(tmp_path, "2024-01-12", ["2024-01-10"], every={"running_hours": 100, "calendar": "P30D"})) == []


def test_what_another_task_renews_is_not_too_early(tmp_path: Path) -> None:
    """A service on 10 January renews it."""
    tasks = [task(every={"calendar": "P30D"}, window=dict(WINDOW)), task("service", every={"calendar": "P1Y"}, renews=["oil"])]
    findings = judge(tmp_path, "2024-01-12", tasks, ROWS, engine=ENGINE, services=[done("service", "2024-01-10")])
    assert skipped_of(findings) == []


@pytest.mark.parametrize(
    ("restarts_from", "done_on", "next_on"),
    [
        # the due date is 31 January, the next one on the grid 1 March
        ("done", "2024-02-03", "2024-03-04"),
        ("due", "2024-02-03", "2024-03-01"),
        ("due", "2024-01-15", "2024-03-01"),
        ("due_if_on_time", "2024-01-21", "2024-03-01"),
        ("due_if_on_time", "2024-02-05", "2024-03-01"),
        ("due_if_on_time", "2024-01-20", "2024-02-19"),
        ("due_if_on_time", "2024-02-06", "2024-03-07"),
        ("due_if_late", "2024-02-01", "2024-03-01"),
        ("due_if_late", "2024-01-30", "2024-02-29"),
        ("due_unless_early", "2024-01-21", "2024-03-01"),
        ("due_unless_early", "2024-02-12", "2024-03-01"),
        ("due_unless_early", "2024-01-20", "2024-02-19"),
    ],
)
def test_a_grid_counts_from_the_due_date_itself(tmp_path: Path, restarts_from: str, done_on: str, next_on: str) -> None:
    """On time is inside the window; late is after the due date; early is before the window."""
    assert found(tmp_path, "2024-02-15", [done_on], restarts_from=restarts_from).due_on == next_on


def test_a_completion_inside_the_next_window_is_that_ones(tmp_path: Path) -> None:
    """Due 31 January and 1 March (from 20 February on); done on 25 February: the first is missed, the next is due on 31 March."""
    findings = judged(tmp_path, "2024-03-01", ["2024-02-25"], restarts_from="due")
    assert finding_for(findings).due_on == "2024-03-31"
    (entry,) = skipped_of(findings)
    assert (entry.kind, entry.at, entry.open) == ("missed", "2024-02-20", False)
    words = "fell due on 2024-01-31 (to be done from 2024-01-21 to 2024-02-05) and was not done before the next window opened on 2024-02-20"
    assert words in entry.text


def test_a_due_date_is_missed_once_the_next_window_opens(tmp_path: Path) -> None:
    """On 19 February the first is overdue, on the 20th it is missed too, and open."""
    assert skipped_of(judged(tmp_path / "a", "2024-02-19")) == []
    (entry,) = skipped_of(judged(tmp_path / "b", "2024-02-20"))
    assert (entry.kind, entry.open) == ("missed", True)


@pytest.mark.parametrize(("visit_on", "kinds"), [("2024-01-20", []), ("2024-01-21", ["left_out"])])
def test_left_out_of_a_visit_means_inside_its_window(tmp_path: Path, visit_on: str, kinds: list[str]) -> None:
    """The engine stopped for something else on a day on which this could have been done; it has since run past its line."""
    tasks = [task(every={"calendar": "P30D"}, window=dict(WINDOW)), task("valves", every={"calendar": "P1Y"}, stops_engine=True)]
    findings = judge(tmp_path, "2024-02-10", tasks, ROWS, engine=ENGINE, services=[done("valves", visit_on)])
    assert [entry.kind for entry in skipped_of(findings)] == kinds


@pytest.mark.parametrize(("done_on", "on_time", "late"), [("2024-02-05", 1, 0), ("2024-02-06", 0, 1)])
def test_a_month_counts_what_was_done_through_the_window_as_on_time(tmp_path: Path, done_on: str, on_time: int, late: int) -> None:
    """Through 5 February it is on time, after that late; both belong to February."""
    compliance = judged(tmp_path, "2024-02-29", [done_on], month="2024-02").compliance
    assert compliance is not None
    assert (compliance.on_time, compliance.late) == (on_time, late)


@pytest.mark.parametrize(
    ("as_of", "month", "done_on", "counts"),
    [
        # due on 31 January (through 5 February) and on 1 March (from 20 February through 6 March): on time, late, of these missed, open
        ("2024-02-10", "2024-02", (), (0, 1, 0, 1)),
        ("2024-02-29", "2024-02", (), (0, 1, 1, 1)),
        ("2024-03-06", "2024-03", (), (0, 0, 0, 0)),
        ("2024-03-08", "2024-03", (), (0, 1, 0, 1)),
        ("2024-03-31", "2024-02", ("2024-02-25",), (1, 1, 1, 0)),
        ("2024-03-31", "2024-03", ("2024-03-04",), (1, 0, 0, 0)),
        # not done yet when February ended
        ("2024-03-31", "2024-02", ("2024-03-04",), (0, 1, 1, 1)),
        ("2024-03-31", "2024-03", ("2024-03-08",), (0, 1, 0, 0)),
        ("2024-03-31", "2024-02", ("2024-03-08",), (0, 1, 1, 1)),
    ],
)
def test_each_due_date_counts_once_in_the_months(
    tmp_path: Path, as_of: str, month: str, done_on: Sequence[str], counts: tuple[int, int, int, int]
) -> None:
    """One that was missed is late once, whatever comes after: what is done after the next window opened is that one's."""
    compliance = judged(tmp_path, as_of, done_on, month=month, restarts_from="due").compliance
    assert compliance is not None
    assert (compliance.on_time, compliance.late, compliance.missed, compliance.open) == counts


def test_a_missed_due_date_is_told_with_its_line(tmp_path: Path) -> None:
    """Due on 31 January, to be done through 5 February; of hours the day on which they were used up: 100 h at 10 a day, on the 10th."""
    of_window = judged(tmp_path / "a", "2024-02-29", month="2024-02").compliance
    of_hours = judged(tmp_path / "b", "2024-01-21", month="2024-01", every={"running_hours": 100}, window=None).compliance
    assert of_window is not None
    assert of_hours is not None
    assert [(entry.met, entry.line_on) for entry in of_window.occurrences] == [("missed", "2024-02-05")]
    assert [entry.line_on for entry in of_hours.occurrences if entry.met == "missed"] == ["2024-01-10"]


def test_a_window_whose_end_falls_into_a_lay_up_waits_for_the_next_start(tmp_path: Path) -> None:
    """Laid up from 3 February to the end of the month: on the 10th it is upcoming, before the next start."""
    rows = [row for row in ROWS if str(row["at"]) <= "2024-02-03T00:00"]
    engine = {**ENGINE, "laid_up": [{"from": "2024-02-03", "to": "2024-03-01"}]}
    monthly = task(every={"calendar": "P30D"}, window=dict(WINDOW))
    finding = finding_for(judge(tmp_path, "2024-02-10", [monthly], rows, engine=engine))
    assert (finding.standing, finding.reasons[0].rule) == ("upcoming", "before-next-start")


def test_the_explanation_names_the_window(tmp_path: Path) -> None:
    """The due date, the days around it, and the line that the arithmetic goes to."""
    judged(tmp_path, "2024-01-25")
    sums = [step.sum for step in explain_finding(read_site(tmp_path), "G1", "oil", date(2024, 1, 25)).steps]
    assert sums[0] == "2024-01-01 + P30D = 2024-01-31, to be done from 2024-01-21 to 2024-02-05; 35 d allowed"
    assert sums[1].endswith("remaining 11 d; upcoming from 15 d before 2024-02-05")


def test_only_one_end_may_be_given(tmp_path: Path) -> None:
    """Up to three months before, and never after the date: yearly, due 31 December 2024 (a leap year's 365 d)."""
    keys: dict[str, Any] = {"every": {"calendar": "P365D"}, "window": {"before": "P3M"}}
    assert found(tmp_path / "a", "2024-09-29", **keys).standing == "in_interval"
    assert found(tmp_path / "b", "2024-09-30", **keys).standing == "upcoming"
    assert leg_of(found(tmp_path / "c", "2024-09-30", **keys), "calendar").allowed == 365.0
