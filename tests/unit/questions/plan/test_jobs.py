"""The jobs of a plan: limit and interval of what `check` finds, by hand arithmetic."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from intervals.history.inputs import read_inputs
from intervals.questions.check.assess import judge_inputs
from intervals.questions.plan.job_models import Job
from intervals.questions.plan.jobs import Planned, jobs_of
from tests.site_maker import NEVER_SILENT_H, done, steady, task, write_site

STEP = {"id": "do-it", "kind": "do", "text": "Do it."}


def planned_on(folder: Path, tasks: list[dict[str, object]], day: date, gap_h: float = NEVER_SILENT_H, **rules: object) -> Planned:
    """Return the jobs of an engine that runs 10 h a day from 2026-01-01 to 2026-03-02, its oil changed on the first day."""
    site = write_site(
        folder,
        tasks,
        steady("2026-01-01", "2026-03-02", 10),
        services=[done(str(each["id"]), "2026-01-01", 0) for each in tasks],
        engine={"in_service": "2026-01-01", "meter_at_start_h": 0},
        rules=rules,
        gap_h=gap_h,
    )
    inputs = read_inputs(site, day)
    return jobs_of(inputs, judge_inputs(inputs))


def only(planned: Planned) -> Job:
    """Return the one job there is."""
    (job,) = planned.jobs
    return job


def test_running_hours_become_days_at_the_pace(tmp_path: Path) -> None:
    """1,000 h at 10 h a day are 100 days: used up on 2026-04-10, with a tolerance of 10 % ten days later."""
    job = only(planned_on(tmp_path, [task("oil", every={"running_hours": 1000}, stops_engine=True)], date(2026, 3, 1)))
    assert (job.limit, job.interval_d, job.hours, job.people, job.is_stated) == (date(2026, 4, 10), 100, 1.0, 1, False)
    with_grace = task("oil", every={"running_hours": 1000}, stops_engine=True, tolerance_pct=10)
    assert only(planned_on(tmp_path / "b", [with_grace], date(2026, 3, 1))).limit == date(2026, 4, 20)


def test_a_log_that_has_ended_makes_no_interval_shorter(tmp_path: Path) -> None:
    """What is left at the log's end, 400 h on 2026-03-01, was left then: 10 h a day, however long the log has been silent since.

    On the last two days the 400 h may have been used up, and the task is unknown: foreseen for 2026-04-10, 99 d after 2026-01-01.
    """
    oil = task("oil", every={"running_hours": 1000}, stops_engine=True)
    for day, interval_d in ((date(2026, 3, 10), 100), (date(2026, 3, 31), 99), (date(2026, 4, 8), 99)):
        job = only(planned_on(tmp_path / day.isoformat(), [oil], day, gap_h=36))
        assert (job.limit, job.interval_d) == (date(2026, 4, 10), interval_d)


def test_what_is_overdue_is_due_on_the_day_of_judging(tmp_path: Path) -> None:
    """Past its line, its limit is the day of judging."""
    job = only(planned_on(tmp_path, [task("oil", every={"calendar": "P30D"}, stops_engine=True)], date(2026, 3, 1)))
    assert (job.limit, job.interval_d) == (date(2026, 3, 1), 30)


def test_hours_and_people_come_from_the_procedure(tmp_path: Path) -> None:
    """A task with a procedure is a job though the engine need not stop; one without either is none."""
    procedure = {"id": "sampling", "tasks": ["sample"], "title": "Sample", "people": 2, "hours": 0.5, "steps": [STEP]}
    tasks = [task("sample", every={"calendar": "P90D"}), task("look", every={"calendar": "P90D"})]
    job = only(planned_on(tmp_path, tasks, date(2026, 3, 1), procedures=[procedure]))
    assert (job.name, job.hours, job.people, job.stops, job.person_hours) == ("sample", 0.5, 2, False, 1.0)


def test_a_job_covers_what_its_task_renews(tmp_path: Path) -> None:
    """A task that renews another does its job too."""
    tasks = [
        task("heads", every={"calendar": "P300D"}, stops_engine=True, renews=["plugs"]),
        task("plugs", every={"calendar": "P90D"}, stops_engine=True),
    ]
    assert [(job.name, job.covers) for job in planned_on(tmp_path, tasks, date(2026, 3, 1)).jobs] == [("heads", ("plugs",)), ("plugs", ())]


def test_what_is_not_due_for_a_hundred_years_is_no_job_and_lacks_no_day(tmp_path: Path) -> None:
    """At 10 h a day 1,000,000 h last 270 years: nothing is planned for them, and nothing is said to be without a day."""
    planned = planned_on(tmp_path, [task("oil", every={"running_hours": 1_000_000}, stops_engine=True)], date(2026, 3, 1))
    assert (planned.jobs, planned.unplaced) == ((), ())
