"""A meter read once a week beside a logger that writes only while the engine runs: the week's hours lie where load is shown."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from intervals import assess
from intervals.findings import Findings
from intervals.questions.duty.duty import measure_duty
from intervals.questions.duty.duty_models import EngineDuty
from intervals.site.model import Site
from tests.site_maker import Row, done, fault_kinds, finding_for, meter, moment, rule, task, used_of, write_site

ENGINE = {"in_service": "2024-01-01T08:00", "meter_at_start_h": 100, "rated_kw": 400}
OIL = task("oil", every={"running_hours": 250})
EXERCISE = task("exercise", every={"calendar": "P1M"}, done_when={"running_min": 30, "load_pct": {"at_least": 30}})
# Wednesdays
RUN_DAYS = (3, 10, 17, 24)


def block(name: str, gap_h: float, **quantities: str) -> dict[str, object]:
    """Return a block of one file, its quantities with their units."""
    columns = {quantity: {"column": quantity, "unit": unit} for quantity, unit in quantities.items()}
    return {
        "files": [f"readings/{name}.csv"],
        "timestamp": {"column": "at"},
        "engine": {"column": "engine"},
        "gap_h": gap_h,
        "quantities": columns,
    }


METER, LOAD = block("meter", 200, hour_meter_h="h"), block("load", 36, load_kw="kW")


def run(start: str, minutes: int, load_kw: float = 200, *, every_min: int = 10) -> list[Row]:
    """Return a row every few minutes of a run, each telling of the minutes before it; nothing before and after."""
    at = datetime.fromisoformat(start)
    ends = range(every_min, minutes + 1, every_min)
    return [{"at": (at + timedelta(minutes=end)).isoformat(timespec="minutes"), "load_kw": load_kw} for end in ends]


def mondays(*readings_h: float) -> list[Row]:
    """Return a reading on each Monday at eight from 1 January 2024 on."""
    first = datetime(2024, 1, 1, 8)  # noqa: DTZ001 - as a file writes it
    return [meter((first + timedelta(weeks=week)).isoformat(timespec="minutes"), shown) for week, shown in enumerate(readings_h)]


def hourly_runs(load_kw: float = 200) -> list[Row]:
    """Return the rows of a run from ten to eleven on each Wednesday."""
    return [row for day in RUN_DAYS for row in run(f"2024-01-{day:02d}T10:00", 60, load_kw)]


def standby(
    folder: Path,
    meters: Sequence[Row],
    loads: Sequence[Row],
    *,
    blocks: Sequence[dict[str, object]] = (METER, LOAD),
    **written: Any,  # noqa: ANN401 - what `write_site` takes
) -> Site:
    """Write a standby set's site."""
    return write_site(
        folder, (OIL, EXERCISE), {"meter.csv": meters, "load.csv": loads}, readings=list(blocks), **{"engine": ENGINE, **written}
    )


def duty_of(site: Site) -> EngineDuty:
    """Return the duty of January's four weeks."""
    (found,) = measure_duty(site, date(2024, 1, 28), since=date(2024, 1, 2)).engines
    return found


def faults_of(findings: Findings) -> list[str]:
    """Return the faults of the engine's log."""
    return [kind for kind in fault_kinds(findings) if kind not in ("no_completion_known", "gap")]


def test_the_hours_of_a_week_lie_in_its_run(tmp_path: Path) -> None:
    """1.0 h a week, six rows of ten minutes on Wednesday: 1 h at 200 of 400 kW each, nothing at light load, nothing unknown."""
    site = standby(tmp_path, mondays(100, 101, 102, 103, 104.1), hourly_runs())
    duty = duty_of(site)
    hours = {entry.above_pct: entry.hours_h for entry in duty.load.classes if entry.hours_h}
    # 50 % of rated is the upper end of its class; the tenth of the last week is spread over what of it no row tells of
    assert hours == {40.0: 4.0}
    assert duty.load.light_share_pct == 0.0
    assert duty.load.unknown_h == pytest.approx(0.1, abs=0.02)


def test_a_run_of_the_logger_completes_its_task(tmp_path: Path) -> None:
    """Sixty minutes at 50 %: each run is an exercise, and ends at eleven."""
    findings = assess(standby(tmp_path, mondays(100, 101, 102, 103, 104), hourly_runs()), moment("2024-01-29T08:00"))
    last = finding_for(findings, "exercise").last_done
    assert last is not None
    assert (last.at, last.record, last.hour_meter_h) == ("2024-01-24T11:00:00+00:00", "readings/load.csv:25", 104.0)
    assert faults_of(findings) == []


@pytest.mark.parametrize(
    ("as_of", "used"), [("2024-01-03T09:59", 0.0), ("2024-01-03T10:30", 0.5), ("2024-01-10T10:00", 1.0), ("2024-01-10T10:45", 1.75)]
)
def test_the_moment_of_judging_cuts_a_run_and_no_week(tmp_path: Path, as_of: str, used: float) -> None:
    """Of 1 h on 3 January and 1 h on the 10th: so many by that moment."""
    findings = assess(standby(tmp_path, mondays(100, 101, 102), hourly_runs()), moment(as_of))
    assert used_of(finding_for(findings)) == pytest.approx(used)


def test_a_date_alone_is_placed_in_the_run(tmp_path: Path) -> None:
    """Oil changed on 10 January at 101.5 h: that is 10:30, in the middle of the run, and 0.5 + 1 + 1 h have run since."""
    services = [done("oil", "2024-01-10", 101.5)]
    findings = assess(standby(tmp_path, mondays(100, 101, 102, 103, 104), hourly_runs(), services=services), moment("2024-01-29T08:00"))
    last = finding_for(findings).last_done
    assert last is not None
    assert last.at == "2024-01-10T10:30:00+00:00"
    assert used_of(finding_for(findings)) == pytest.approx(2.5)


def test_a_rule_of_light_load_does_not_touch_loaded_runs(tmp_path: Path) -> None:
    """Hours below 30 % load count twice; all four were at 50 %."""
    rules = {"adjustments": [rule("light", {"load_pct": {"below": 30}}, counts_as=2)]}
    findings = assess(standby(tmp_path, mondays(100, 101, 102, 103, 104), hourly_runs(), rules=rules), moment("2024-01-29T08:00"))
    assert used_of(finding_for(findings)) == pytest.approx(4.0)


def test_what_the_rows_cannot_hold_is_spread_and_its_load_is_unknown(tmp_path: Path) -> None:
    """3 h in a week, one of them in its rows: the other two are of no known load, and spread over what is left of the week.

    At 8:00 on Wednesday, after 48 of 167 untold hours, 2 x 48 / 167 h have run.
    """
    site = standby(tmp_path, mondays(100, 103), hourly_runs()[:6])
    assert used_of(finding_for(assess(site, moment("2024-01-03T08:00")))) == pytest.approx(2 * 48 / 167)
    duty = duty_of(site)
    assert {entry.above_pct: entry.hours_h for entry in duty.load.classes if entry.hours_h} == {40.0: 1.0}
    # from midnight after the first 16 h on
    assert duty.load.unknown_h == pytest.approx(2 * 151 / 167, abs=1e-5)


def test_more_load_than_meter_is_a_fault_with_both_figures(tmp_path: Path) -> None:
    """Six rows show 1 h, the meter 0.3 h: these count, in the rows, 0.15 h of them by half past ten."""
    site = standby(tmp_path, mondays(100, 100.3, 101.3), hourly_runs()[:12])
    (fault,) = (each for each in assess(site, moment("2024-01-15T08:00")).faults if each.kind == "load_beyond_meter")
    assert (fault.file, fault.line) == ("readings/meter.csv", 3)
    assert "rows with load show 1.00 h of running, the meter 0.30 h" in fault.text
    assert used_of(finding_for(assess(site, moment("2024-01-03T10:30")))) == pytest.approx(0.15)


def test_rows_run_in_part_at_both_ends_are_no_contradiction(tmp_path: Path) -> None:
    """Six rows, run from 10:08 to 10:52, are 44 min: 0.7 h on a meter in tenths."""
    findings = assess(standby(tmp_path, mondays(100, 100.7, 101.4), hourly_runs()[:12]), moment("2024-01-15T08:00"))
    assert faults_of(findings) == []


def test_rows_of_no_load_hold_no_hours(tmp_path: Path) -> None:
    """A logger that writes all day, 0 kW at standstill: the hour of the week lies in the run."""
    day = [{"at": f"2024-01-03T{hour:02d}:00", "load_kw": 200 if hour == 11 else 0} for hour in range(24)]
    site = standby(tmp_path, mondays(100, 101), day)
    assert used_of(finding_for(assess(site, moment("2024-01-03T10:00")))) == pytest.approx(0.0)
    assert used_of(finding_for(assess(site, moment("2024-01-03T11:00")))) == pytest.approx(1.0)


def test_a_start_without_load_is_light_running(tmp_path: Path) -> None:
    """Ten minutes at 0 kW each Tuesday, on a meter in minutes: 4 x 10 min of light load, none of it unknown.

    The logger is silent at standstill, so a row is a sign of running; one run of 60 min at 50 % is 60 of 100 min.
    """
    starts = [row for day in (2, 9, 16, 23) for row in run(f"2024-01-{day:02d}T08:00", 10, 0)]
    site = standby(tmp_path, mondays(100, 101.1667, 101.3333, 101.5, 101.6667), [*starts, *hourly_runs()[:6]])
    duty = duty_of(site)
    assert {entry.above_pct: entry.hours_h for entry in duty.load.classes if entry.hours_h} == pytest.approx(
        {0.0: 40 / 60, 40.0: 1.0}, abs=1e-3
    )
    assert duty.load.unknown_h == pytest.approx(0.0, abs=1e-3)
    assert duty.load.light_share_pct == pytest.approx(40.0, abs=0.1)
    assert used_of(finding_for(assess(site, moment("2024-01-09T08:05")))) == pytest.approx(1.25, abs=1e-3)


def test_a_start_without_load_is_the_longest_light_run_from_its_first_row_on(tmp_path: Path) -> None:
    """From 8:00 on, five minutes before the first row: ten minutes."""
    site = standby(tmp_path, mondays(100, 100.1667), run("2024-01-02T08:00", 10, 0, every_min=5))
    longest = duty_of(site).longest_light_load
    assert longest is not None
    assert (longest.from_at, longest.to_at) == ("2024-01-02T08:00:00+00:00", "2024-01-02T08:10:00+00:00")
    assert longest.hours_h == pytest.approx(10 / 60, abs=1e-3)


def test_long_standstill_at_no_load_holds_no_hours_of_a_start_elsewhere(tmp_path: Path) -> None:
    """A logger that was off but for one day, on which it wrote 0 kW at standstill: the week's hour lies where no row tells.

    The rows tell of 24 h of 168. At 8:00 on Wednesday, after 16 + 24 of the other 144 h, 40 / 144 h have run.
    """
    day = [{"at": f"2024-01-03T{hour:02d}:00", "load_kw": 0} for hour in range(1, 24)] + [{"at": "2024-01-04T00:00", "load_kw": 0}]
    site = standby(tmp_path, mondays(100, 101), day)
    assert used_of(finding_for(assess(site, moment("2024-01-03T08:00")))) == pytest.approx(40 / 144)


def test_a_run_after_the_last_reading_of_the_meter_is_a_run(tmp_path: Path) -> None:
    """The book was last read on Monday the 22nd; an hour at 50 % on Wednesday is an exercise, though no meter tells its hours."""
    site = standby(tmp_path, mondays(100, 101, 102, 103), hourly_runs())
    findings = assess(site, moment("2024-01-25T08:00"))
    last = finding_for(findings, "exercise").last_done
    assert last is not None
    assert (last.at, last.record) == ("2024-01-24T11:00:00+00:00", "readings/load.csv:25")
    assert used_of(finding_for(findings)) == pytest.approx(3.0)


def test_what_running_means_at_the_site_decides(tmp_path: Path) -> None:
    """A logger that shows 2 kW at standstill: with `running_when` above 5 kW the week's hour lies in the one row of 200 kW."""
    day = [{"at": f"2024-01-03T{hour:02d}:00", "load_kw": 200 if hour == 11 else 2} for hour in range(24)]
    site = standby(tmp_path, mondays(100, 101), day, engine={**ENGINE, "running_when": {"load_kw": {"above": 5}}})
    assert used_of(finding_for(assess(site, moment("2024-01-03T10:00")))) == pytest.approx(0.0)
    assert used_of(finding_for(assess(site, moment("2024-01-03T11:00")))) == pytest.approx(1.0)


def test_what_running_means_rounds_there_as_everywhere(tmp_path: Path) -> None:
    """5.0000001 kW is 5 kW and not above it; without a word of the site 0.0000001 kW is no load."""
    day = [{"at": f"2024-01-03T{hour:02d}:00", "load_kw": 200 if hour == 11 else 5.0000001} for hour in range(24)]
    site = standby(tmp_path, mondays(100, 101), day, engine={**ENGINE, "running_when": {"load_kw": {"above": 5}}})
    assert used_of(finding_for(assess(site, moment("2024-01-03T10:00")))) == pytest.approx(0.0)
    assert used_of(finding_for(assess(site, moment("2024-01-03T11:00")))) == pytest.approx(1.0)
    day = [{**row, "load_kw": 200 if row["load_kw"] == 200 else 0.0000001} for row in day]
    site = standby(tmp_path / "unsaid", mondays(100, 101), day)
    assert used_of(finding_for(assess(site, moment("2024-01-03T10:00")))) == pytest.approx(0.0)
    assert used_of(finding_for(assess(site, moment("2024-01-03T11:00")))) == pytest.approx(1.0)


def test_a_counter_of_energy_shows_running_too(tmp_path: Path) -> None:
    """The counter rises by 100 kWh from 10:00 to 10:30 and by 100 more to 11:00: the hour lies there."""
    energy = block("load", 36, energy_kwh="kWh")
    rows = [
        {"at": f"2024-01-03T{at}", "energy_kwh": shown} for at, shown in (("09:30", 500), ("10:00", 500), ("10:30", 600), ("11:00", 700))
    ]
    site = standby(tmp_path, mondays(100, 101), rows, blocks=(METER, energy))
    assert used_of(finding_for(assess(site, moment("2024-01-03T10:00")))) == pytest.approx(0.0)
    assert used_of(finding_for(assess(site, moment("2024-01-03T10:45")))) == pytest.approx(0.75)


def test_the_order_of_blocks_decides_nothing(tmp_path: Path) -> None:
    """The same findings, whichever block comes first."""
    found = [
        assess(standby(tmp_path / name, mondays(100, 101, 102.4, 103), hourly_runs()[:18], blocks=blocks), moment("2024-01-22T08:00"))
        for name, blocks in (("a", (METER, LOAD)), ("b", (LOAD, METER)))
    ]
    assert found[0].findings == found[1].findings


def test_one_logger_that_writes_only_while_it_runs(tmp_path: Path) -> None:
    """Meter and load in one file, a week of silence between the runs: the first row of each tells of its ten minutes."""
    rows: list[Row] = [meter("2024-01-01T08:00", 100.25, load_kw=0)]
    for week, day in enumerate(RUN_DAYS):
        rows += [
            {**row, "hour_meter_h": round(100.25 + week + (number + 1) / 6, 4)}
            for number, row in enumerate(run(f"2024-01-{day:02d}T10:00", 60))
        ]
    engine = {"in_service": "2024-01-01T08:00", "rated_kw": 400}
    asked = {**EXERCISE, "done_when": {"running_min": 60, "sampling_min": 0, "load_pct": {"at_least": 30}}}
    site = write_site(tmp_path, (OIL, asked), rows, engine=engine, gap_h=36)
    findings = assess(site, moment("2024-01-24T12:00"))
    last = finding_for(findings, "exercise").last_done
    assert last is not None
    assert last.at == "2024-01-24T11:00:00+00:00"
    assert used_of(finding_for(assess(site, moment("2024-01-10T10:00")))) == pytest.approx(1.0, abs=1e-4)


def test_a_weekly_book_in_whole_hours_beside_runs_of_half_an_hour(tmp_path: Path) -> None:
    """0.5 h a week, in the book 100, 100, 101, 101, 102 h: each half hour lies in its run, and each is an exercise."""
    half_hours = [row for day in RUN_DAYS for row in run(f"2024-01-{day:02d}T10:00", 30)]
    site = standby(tmp_path, mondays(100, 100, 101, 101, 102), half_hours)
    findings = assess(site, moment("2024-01-29T08:00"))
    assert faults_of(findings) == []
    assert used_of(finding_for(findings)) == pytest.approx(2.0)
    assert used_of(finding_for(assess(site, moment("2024-01-08T08:00")))) == pytest.approx(0.5)
    last = finding_for(findings, "exercise").last_done
    assert last is not None
    assert last.at == "2024-01-24T10:30:00+00:00"
    duty = duty_of(site)
    assert ({entry.above_pct: entry.hours_h for entry in duty.load.classes if entry.hours_h}, duty.load.unknown_h) == ({40.0: 2.0}, 0.0)


def test_an_hour_without_a_row_between_two_runs_is_no_contradiction(tmp_path: Path) -> None:
    """Hourly rows for two runs of three hours with an hour between: 6 h on the meter, and nothing in the hour without a row."""
    rows = [{"at": f"2024-01-03T{hour:02d}:00", "load_kw": 200} for hour in (11, 12, 13, 15, 16, 17)]
    site = standby(tmp_path, mondays(100, 106), rows)
    assert faults_of(assess(site, moment("2024-01-08T08:00"))) == []
    assert used_of(finding_for(assess(site, moment("2024-01-03T14:00")))) == pytest.approx(3.0)
