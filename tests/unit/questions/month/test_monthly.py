"""The month's report: sums of the month, what changed, what to do first, twelve months of compliance, the sawtooth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path

import pytest

from intervals import assess, read_site
from intervals.questions.duty.duty import measure_duty
from intervals.questions.month.month_models import Mark, MonthReport
from intervals.questions.month.monthly import narrowed, report_month
from tests.site_maker import done, rule, steady, task, write_site

# 10 h a day from 0 h on 1 January 2024, at 60 % of 1,000 kW; a start and 2 L of oil a day
ROWS = [
    {**row, "load_kw": 600, "starts": number, "oil_added_l": 2 if number else 0}
    for number, row in enumerate(steady("2024-01-01", "2024-12-31", 10))
]
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000, "title": "North engine"}
OIL = task(every={"running_hours": 300}, tolerance_pct=10)


def report(
    folder: Path,
    month: str,
    services: Sequence[Mapping[str, object]] = (),
    *,
    tasks: Sequence[Mapping[str, object]] = (OIL,),
    **written: object,
) -> MonthReport:
    """Return the report of a month of one engine."""
    site = write_site(folder, tasks, ROWS, engine=ENGINE, services=services, **written)  # type: ignore[arg-type]  # passed on as it is
    last = {"2024-01": 31, "2024-02": 29, "2024-03": 31, "2024-04": 30, "2024-12": 31}[month]
    return report_month(site, date.fromisoformat(f"{month}-{last}"), month)


def test_an_engines_month_is_the_months_and_no_more(tmp_path: Path) -> None:
    """February 2024 has 29 days: 290 h, 29 starts, 58 L, all at 60 % load, which ends the band from 50 %."""
    (engine,) = report(tmp_path, "2024-02").engines
    assert (engine.hours_h, engine.starts, engine.oil_added_l) == pytest.approx((290.0, 29.0, 58.0))
    assert engine.mean_load_pct == pytest.approx(60.0)
    assert {(band.from_pct, band.to_pct): band.hours_h for band in engine.bands if band.hours_h} == pytest.approx({(50.0, 60.0): 290.0})
    assert engine.load_unknown_h == 0.0
    assert engine.meter_h == pytest.approx(600.0)


def test_a_month_and_the_duty_of_its_days_have_the_same_hours_by_load(tmp_path: Path) -> None:
    """The page and the duty table show one spectrum, edges and all: what is at 60 % is in one and the same band."""
    site = write_site(tmp_path, [OIL], ROWS, engine=ENGINE)
    (engine,) = report_month(site, date(2024, 2, 29), "2024-02").engines
    (duty,) = measure_duty(site, date(2024, 2, 29), since=date(2024, 2, 1)).engines
    of_duty = [(entry.above_pct, entry.up_to_pct, entry.hours_h) for entry in duty.load.classes]
    assert [(band.from_pct, band.to_pct, band.hours_h) for band in engine.bands] == of_duty


def test_hours_of_which_no_load_is_known_are_told_apart(tmp_path: Path) -> None:
    """Without a load column every hour of January is one without a load."""
    site = write_site(tmp_path, [OIL], steady("2024-01-01", "2024-02-01", 10), engine=ENGINE)
    (engine,) = report_month(site, date(2024, 1, 31), "2024-01").engines
    assert engine.load_unknown_h == pytest.approx(310.0)
    assert engine.mean_load_pct is None


def test_the_months_jobs_are_listed_with_what_they_renew(tmp_path: Path) -> None:
    """An oil change on 20 February renews the sample; the job of January is not February's."""
    tasks = [task("oil", every={"running_hours": 300}, renews=["sample"]), task("sample", every={"running_hours": 150})]
    services = [done("oil", "2024-01-25T00:00"), done("oil", "2024-02-20T00:00")]
    (engine,) = report(tmp_path, "2024-02", services, tasks=tasks).engines
    assert [(job.on, job.task, job.renewed_by) for job in engine.services] == [("2024-02-20", "oil", None), ("2024-02-20", "sample", "Oil")]


PUT_OFF = {
    "at": "2024-02-10T00:00", "engine": "G1", "task": "oil", "outcome": "deferred", "until_date": "2024-03-31", "approved_by": "chief",
}  # fmt: skip


@pytest.mark.parametrize(
    ("services", "kind", "text"),
    [
        # 310 h at the end of January and 600 h at the end of February, 300 allowed
        ([], "still-overdue", "was overdue, is overdue by 300 h"),
        ([done("oil", "2024-02-15T00:00")], "put-right", "was overdue, is in interval; done on 2024-02-15"),
        # an approved deferral is no oil change, nor is one beside which it was done
        ([PUT_OFF], "put-off", "was overdue, is upcoming"),
        ([done("oil", "2024-02-15T00:00"), PUT_OFF], "put-right", "was overdue, is in interval; done on 2024-02-15"),
        ([done("oil", "2024-01-30T00:00")], "fell-overdue", "was in interval, is overdue by 10 h"),
        ([done("oil", "2024-01-15T00:00"), done("oil", "2024-02-03T00:00")], "came-near", "was in interval, is upcoming"),
    ],
)
def test_what_changed_since_the_month_before(tmp_path: Path, services: Sequence[Mapping[str, object]], kind: str, text: str) -> None:
    """The end of January is judged too, and each task that stands otherwise now is told."""
    made = report(tmp_path, "2024-02", services)
    assert [change.kind for change in made.changes] == [kind]
    assert text in made.changes[0].text


def test_a_task_that_stands_as_before_is_no_change(tmp_path: Path) -> None:
    """Every 5,000 h: in interval at both ends."""
    assert report(tmp_path, "2024-02", tasks=[task(every={"running_hours": 5000})]).changes == ()


def test_before_the_first_month_there_is_nothing_to_compare_with(tmp_path: Path) -> None:
    """The engine went into service on 1 January: December was not judged, and that is no problem."""
    assert report(tmp_path, "2024-01").before is None


def test_what_to_do_stands_in_order_of_urgency(tmp_path: Path) -> None:
    """At 310 h: 200 allowed is beyond its tolerance, 300 inside it, 1,000 unknown without a record, 320 upcoming, 5,000 nothing."""
    tasks = [
        task("later", every={"running_hours": 5000}),
        task("soon", every={"running_hours": 320}),
        task("asks", every={"running_hours": 1000}, applies_to={"colour": "green"}),
        task("late", every={"running_hours": 300}, tolerance_pct=10),
        task("worst", every={"running_hours": 200}, tolerance_pct=10),
    ]
    made = report(tmp_path, "2024-01", tasks=tasks)
    assert [(action.kind, action.task) for action in made.actions] == [
        ("do-now", "worst"),
        ("do-in-tolerance", "late"),
        ("find-out", "asks"),
        ("plan", "soon"),
    ]
    assert made.actions[-1].expected is not None
    assert made.actions[-1].expected.on == "2024-02-01"
    assert made.verdict == "needs-work"
    assert made.sentence.startswith(
        "Work is overdue: at the end of 31 January 2024, 2 of 5 tasks are overdue (1 inside its tolerance), the status of 1 task is unknown"
    )


def test_everything_inside_its_interval_is_said_so(tmp_path: Path) -> None:
    """One task of 5,000 h."""
    made = report(tmp_path, "2024-01", tasks=[task(every={"running_hours": 5000})])
    assert (made.verdict, made.actions) == ("all-in-interval", ())
    assert made.sentence == "Every task is inside its interval: at the end of 31 January 2024, 1 task judged."


def test_a_deferred_task_is_expected_at_the_end_of_its_deferral(tmp_path: Path) -> None:
    """Past its line but deferred to 10 February: that day, and no range, since its line lies behind."""
    deferral = {
        "at": "2024-01-20",
        "engine": "G1",
        "task": "oil",
        "outcome": "deferred",
        "approved_by": "chief",
        "until_date": "2024-02-10",
    }
    (action,) = report(tmp_path, "2024-01", [deferral]).actions
    assert action.expected is not None
    assert (action.kind, action.expected.on, action.expected.early, action.left) == ("plan", "2024-02-10", None, None)


def test_the_twelve_months_are_what_each_month_gives_by_itself(tmp_path: Path) -> None:
    """On time at 300 h (31 January), late at 680 h (9 March; its line of 300 h more was crossed on 1 March), and so on, month by month."""
    services = [done("oil", "2024-01-31T00:00"), done("oil", "2024-03-09T00:00"), done("oil", "2024-04-05T00:00")]
    made = report(tmp_path, "2024-04", services)
    site = read_site(tmp_path)
    for month in made.history[-4:]:
        alone = assess(site, date(2024, 4, 30), month=month.month).compliance
        assert alone is not None
        assert (month.on_time, month.late, month.missed, month.open, month.pending, month.deferred, month.early) == (
            alone.on_time, alone.late, alone.missed, alone.open, alone.pending, alone.deferred, alone.early,
        )  # fmt: skip
    by_month = {month.month: month for month in made.history}
    assert (by_month["2024-01"].on_time, by_month["2024-03"].late) == (1, 1)
    assert [month.told for month in made.history] == ["none"] * 8 + ["whole"] * 4


def test_check_gives_the_same_findings(tmp_path: Path) -> None:
    """The findings of the report, narrowed to the month, are those of `assess` with that month, to the last figure."""
    made = report(tmp_path, "2024-03", [done("oil", "2024-01-31T00:00"), done("oil", "2024-03-20T00:00", outcome="partial")])
    assert narrowed(made.findings, "2024-03") == assess(read_site(tmp_path), date(2024, 3, 31), month="2024-03")
    assert narrowed(made.findings, None) == assess(read_site(tmp_path), date(2024, 3, 31))


def test_skipped_work_stays_on_the_list_until_it_is_done(tmp_path: Path) -> None:
    """Nothing ever done: the points missed on 1 March (600 h) and 31 March (900 h) are still on April's list, with 30 April's (1,200 h)."""
    made = report(tmp_path, "2024-04")
    assert all(entry.open for entry in made.skipped)
    assert [entry.at for entry in made.skipped] == ["2024-03-01", "2024-03-31", "2024-04-30"]


def test_the_sawtooth_rises_with_use_and_falls_with_each_service(tmp_path: Path) -> None:
    """Serviced at 200 h on 21 January (on time) and at 560 h on 26 February (late: 360 h since): teeth end at 200, 360 and 40 h."""
    services = [done("oil", "2024-01-21T00:00"), done("oil", "2024-02-26T00:00")]
    (engine,) = report(tmp_path, "2024-02", services).engines
    (saw,) = engine.saws
    assert [tooth[0][1] for tooth in saw.teeth] == [0.0, 0.0, 0.0]
    assert [tooth[-1][1] for tooth in saw.teeth] == pytest.approx([200.0, 360.0, 40.0])
    assert [allowed for _, _, allowed in saw.allowed] == [300.0, 300.0, 300.0]
    assert saw.marks == (
        Mark(at=datetime(2024, 1, 21), used=200.0, kind="done"),  # noqa: DTZ001 - the site's wall clock
        Mark(at=datetime(2024, 2, 26), used=360.0, kind="done_late"),  # noqa: DTZ001 - the site's wall clock
    )


def test_the_sawtooth_counts_equivalent_hours(tmp_path: Path) -> None:
    """Every hour above 50 % counts twice: 310 h to the end of January are 620."""
    heavy = rule("heavy", {"load_pct": {"above": 50}}, counts_as=2)
    (engine,) = report(tmp_path, "2024-01", rules={"adjustments": [heavy]}).engines
    assert engine.saws[0].teeth[-1][-1][1] == pytest.approx(620.0)


def test_every_file_is_listed_with_its_digest(tmp_path: Path) -> None:
    """The site file, the rule set, the records and the log; the rule set's digest is the one that the findings name."""
    made = report(tmp_path, "2024-01")
    assert [(entry.kind, entry.path) for entry in made.inputs] == [
        ("site", "site.yaml"),
        ("rule set", "rules.yaml"),
        ("services", "services.csv"),
        ("readings", "readings/log.csv"),
    ]
    assert made.inputs[1].sha256 == made.findings.rulesets[0].sha256
