"""Running hours of a step: what the meter says, and what is made of it where the meter cannot be believed.

The rule set is one task every 1,000 h from the engine's first day, 2024-01-01; the readings are few enough to add up by hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from intervals.findings import Findings
from intervals.local_days import HOUR_US
from intervals.usage.meter.meter_course import ActiveTime, Changes
from intervals.usage.meter.meter_steps import follow_meter
from tests.site_maker import done, fault_kinds, finding_for, judge, leg_of, meter, reason_for, rule, rules_fired, steady, task, used_of

OIL = task(every={"running_hours": 1000})
HEAVY = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
IN_SERVICE = {"in_service": "2024-01-01", "meter_at_start_h": 100}


def hours_by(folder: Path, as_of: str, rows: Sequence[Mapping[str, object]], **written: Any) -> Findings:  # noqa: ANN401 - passed on
    """Judge an oil change at a moment."""
    written.setdefault("engine", IN_SERVICE)
    return judge(folder, as_of, [OIL], rows, **written)


def test_the_reading_at_the_start_stands_before_the_first_row(tmp_path: Path) -> None:
    """100 h on the first day and 110 h a day later are 10 h."""
    findings = hours_by(tmp_path, "2024-01-01", [meter("2024-01-02T00:00", 110)])
    assert used_of(finding_for(findings)) == 10.0
    assert fault_kinds(findings) == []


def test_a_meter_that_never_errs_loses_nothing_to_rounding() -> None:
    """Ten thousand steps of 0.1 h: what has run is what the meter shows less what it showed, to the last digit of a float."""
    reading_h = np.round(5000 + 0.1 * np.arange(10_001), 1)
    course, odd = follow_meter(np.arange(10_001) * HOUR_US, reading_h, Changes.of([]), None, ActiveTime())
    assert not odd
    assert course.hours_h.tolist() == (reading_h - 5000).tolist()


def test_a_reading_at_the_very_bound_fits() -> None:
    """24 h + 1 % + 0.1 h + a millionth: 44.683995 - 20.343994 = 24.340001 h in a day is the most that is no fault, digit for digit."""
    at_us = np.array([0, 24, 48, 72]) * HOUR_US
    course, odd = follow_meter(at_us, np.array([0.0, 20.343994, 44.683995, 50.0]), Changes.of([]), None, ActiveTime())
    assert not odd
    assert course.hours_h.tolist() == [0.0, 20.343994, 44.683995, 50.0]


def test_a_change_between_two_rows_is_bridged(tmp_path: Path) -> None:
    """1,110 then 17 h with a change from 1,115 to 5 h in between: 17 - 1,110 + (1,115 - 5) = 17 h."""
    rows = [meter("2024-01-02T00:00", 110), meter("2024-01-03T00:00", 17)]
    engine = {**IN_SERVICE, "meter_changes": [{"at": "2024-01-02T12:00", "old_read_h": 115, "new_read_h": 5}]}
    findings = hours_by(tmp_path, "2024-01-02", rows, engine=engine)
    assert used_of(finding_for(findings)) == 10.0 + 17.0
    assert fault_kinds(findings) == []


def test_a_row_stamped_at_the_change_is_the_old_meters(tmp_path: Path) -> None:
    """110 h at the very moment of the change from 110 to 0 h, 12 h a day later: 10 + 12 = 22 h."""
    rows = [meter("2024-01-02T00:00", 110), meter("2024-01-03T00:00", 12)]
    engine = {**IN_SERVICE, "meter_changes": [{"at": "2024-01-02T00:00", "old_read_h": 110, "new_read_h": 0}]}
    findings = hours_by(tmp_path, "2024-01-02", rows, engine=engine)
    assert used_of(finding_for(findings)) == 22.0
    assert fault_kinds(findings) == []


def test_two_changes_in_one_step_are_both_bridged(tmp_path: Path) -> None:
    """110 h, then 105 to 0 h (5 h run since 100), then 3 to 50 h, then 54 h: 5 + 3 + 4 = 12 h since the 100 h of the first day."""
    rows = [meter("2024-01-02T00:00", 54)]
    changes = [
        {"at": "2024-01-01T16:00", "old_read_h": 3, "new_read_h": 50},
        {"at": "2024-01-01T08:00", "old_read_h": 105, "new_read_h": 0},
    ]
    findings = hours_by(tmp_path, "2024-01-01", rows, engine={**IN_SERVICE, "meter_changes": changes})
    assert used_of(finding_for(findings)) == 12.0


def test_a_step_back_is_tried_as_a_roll_over_first(tmp_path: Path) -> None:
    """A meter that starts again at 10,000 h: from 9,995 to 3 h are 8 h."""
    rows = [meter("2024-01-02T00:00", 3)]
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 9995, "meter_rolls_over_at_h": 10000}
    findings = hours_by(tmp_path, "2024-01-01", rows, engine=engine)
    assert used_of(finding_for(findings)) == 8.0
    assert fault_kinds(findings) == []


def test_a_step_back_that_is_no_roll_over_counts_nothing(tmp_path: Path) -> None:
    """From 5,000 back to 3 h a day later cannot be a roll-over at 10,000 h (5,003 h in a day): it went back."""
    rows = [meter("2024-01-02T00:00", 3), meter("2024-01-03T00:00", 13)]
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 5000, "meter_rolls_over_at_h": 10000}
    findings = hours_by(tmp_path, "2024-01-02", rows, engine=engine)
    assert used_of(finding_for(findings)) == 10.0
    assert fault_kinds(findings) == ["meter_went_back"]


def test_a_reading_that_the_meter_cannot_show_is_blanked(tmp_path: Path) -> None:
    """A meter that starts again at 10,000 h cannot show 10,000 or 10,020 h: blanked, and 9,990 to 9,999 and on to 25 h are 35 h."""
    rows = [
        meter("2024-01-02T00:00", 9999),
        meter("2024-01-02T12:00", 10000),
        meter("2024-01-03T00:00", 10020),
        meter("2024-01-04T00:00", 25),
    ]
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 9990, "meter_rolls_over_at_h": 10000}
    findings = hours_by(tmp_path, "2024-01-03", rows, engine=engine)
    assert used_of(finding_for(findings)) == 35.0
    assert [(fault.kind, fault.line) for fault in findings.faults] == [("meter_reading_odd", 3), ("meter_reading_odd", 4)]
    assert findings.faults[1].text == "meter reads 10,020.0 h: it starts again at zero at 10,000.0 h; taken as blank"


def test_a_record_with_a_reading_that_the_meter_cannot_show(tmp_path: Path) -> None:
    """Typed on a record where the log is silent, such a reading is blanked too, at the record's line."""
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0, "meter_rolls_over_at_h": 10000}
    services = [done("oil", "2024-01-04T00:00", 10030)]
    findings = hours_by(tmp_path, "2024-01-05", [meter("2024-01-03T00:00", 20)], engine=engine, services=services)
    odd = [(fault.file, fault.line) for fault in findings.faults if fault.kind == "meter_reading_odd"]
    assert odd == [("services.csv", 2)]


def test_a_typing_error_is_blanked_and_its_row_stays(tmp_path: Path) -> None:
    """100, 110, 1120, 130 h: the third does not fit, the fourth fits the second; 30 h, the third row's 10 of them at 95 % load twice."""
    rows = [
        meter("2024-01-02T00:00", 110, load_kw=500),
        meter("2024-01-03T00:00", 1120, load_kw=950),
        meter("2024-01-04T00:00", 130, load_kw=500),
    ]
    findings = hours_by(tmp_path, "2024-01-03", rows, engine={**IN_SERVICE, "rated_kw": 1000}, rules={"adjustments": [HEAVY]})
    assert leg_of(finding_for(findings)).running_hours_h == 30.0
    assert used_of(finding_for(findings)) == 40.0
    (fault,) = findings.faults
    assert (fault.kind, fault.file, fault.line) == ("meter_reading_odd", "readings/log.csv", 3)


def test_a_reading_too_low_is_a_typing_error_too(tmp_path: Path) -> None:
    """100, 110, 12, 130 h: the third went back, and the fourth fits the second."""
    rows = [meter("2024-01-02T00:00", 110), meter("2024-01-03T00:00", 12), meter("2024-01-04T00:00", 130)]
    findings = hours_by(tmp_path, "2024-01-03", rows)
    assert used_of(finding_for(findings)) == 30.0
    assert fault_kinds(findings) == ["meter_reading_odd"]


def test_where_the_next_does_not_fit_either_a_step_back_counts_nothing(tmp_path: Path) -> None:
    """100, 110, 50, 60 h: 10 + 0 + 10 = 20 h, and the reason says that they are doubtful."""
    rows = [meter("2024-01-02T00:00", 110), meter("2024-01-03T00:00", 50), meter("2024-01-04T00:00", 60)]
    findings = hours_by(tmp_path, "2024-01-03", rows)
    assert used_of(finding_for(findings)) == 20.0
    assert [(fault.kind, fault.line) for fault in findings.faults] == [("meter_went_back", 3)]
    assert findings.faults[0].text.endswith("if the meter was exchanged, write it under meter_changes")
    assert "counts as zero" in reason_for(finding_for(findings), "doubtful-hours").text


def test_where_the_next_does_not_fit_either_a_racing_meter_counts_the_time_elapsed(tmp_path: Path) -> None:
    """100, 110, 200, 210 h day by day: 10 + 24 + 10 = 44 h, of which the 24 h are doubtful."""
    rows = [meter("2024-01-02T00:00", 110), meter("2024-01-03T00:00", 200), meter("2024-01-04T00:00", 210)]
    findings = hours_by(tmp_path, "2024-01-03", rows)
    assert used_of(finding_for(findings)) == 44.0
    assert [(fault.kind, fault.line) for fault in findings.faults] == [("meter_ran_fast", 3)]
    assert reason_for(finding_for(findings), "doubtful-hours").facts["hours_h"] == 24.0


def test_doubtful_hours_are_named_only_where_a_finding_rests_on_them(tmp_path: Path) -> None:
    """A window that begins after the racing step does not name it."""
    rows = [meter("2024-01-02T00:00", 110), meter("2024-01-03T00:00", 200), meter("2024-01-04T00:00", 210)]
    findings = hours_by(tmp_path, "2024-01-03", rows, services=[done("oil", "2024-01-03T00:00")])
    assert used_of(finding_for(findings)) == 10.0
    assert "doubtful-hours" not in rules_fired(finding_for(findings))


@pytest.mark.parametrize(("reading_h", "kinds"), [(124.34, []), (124.35, ["meter_ran_fast"])])
def test_a_reading_fits_up_to_one_per_cent_and_a_tenth_of_an_hour(tmp_path: Path, reading_h: float, kinds: list[str]) -> None:
    """24 h + 1 % + 0.1 h = 24.34 h after 100 h is the most a day can show."""
    findings = hours_by(tmp_path, "2024-01-01", [meter("2024-01-02T00:00", reading_h)])
    assert fault_kinds(findings) == kinds
    assert used_of(finding_for(findings)) == pytest.approx(24.34 if not kinds else 24.0, abs=1e-9)


def test_a_row_without_a_reading_takes_its_share_of_the_next_step(tmp_path: Path) -> None:
    """12 h in a day; the row at six o'clock has no reading and takes a quarter of them, 3 h at 95 % load: 12 + 3 = 15 equivalent hours."""
    rows = [meter("2024-01-01T06:00", None, load_kw=950), meter("2024-01-02T00:00", 112, load_kw=500)]
    findings = hours_by(tmp_path, "2024-01-01", rows, engine={**IN_SERVICE, "rated_kw": 1000}, rules={"adjustments": [HEAVY]})
    assert used_of(finding_for(findings)) == 15.0


def test_a_service_reading_before_the_first_row_is_a_reading(tmp_path: Path) -> None:
    """Oil changed at 500 h ten days before the log begins at 600 h: 100 h by then."""
    rows = [meter("2024-01-11T00:00", 600), meter("2024-01-12T00:00", 612)]
    findings = hours_by(tmp_path, "2024-01-11", rows, engine={}, services=[done("oil", "2024-01-01T00:00", 500)])
    assert used_of(finding_for(findings)) == 112.0


def test_a_service_reading_in_a_gap_is_a_reading(tmp_path: Path) -> None:
    """10 h on 2 January, 110 h on the 12th, and 100 h recorded on the 7th: at the end of the 6th 100 h have run, not 60."""
    rows = [meter("2024-01-02T00:00", 10), meter("2024-01-12T00:00", 110)]
    plugs = task("plugs", every={"running_hours": 1000})
    findings = judge(
        tmp_path, "2024-01-06", [OIL, plugs], rows, gap_h=36,
        engine={"in_service": "2024-01-01", "meter_at_start_h": 0}, services=[done("plugs", "2024-01-07T00:00", 100)],
    )  # fmt: skip
    later = judge(
        tmp_path, "2024-01-08", [OIL, plugs], rows, gap_h=36,
        engine={"in_service": "2024-01-01", "meter_at_start_h": 0}, services=[done("plugs", "2024-01-07T00:00", 100)],
    )  # fmt: skip
    # 8 January ends two of the five days in which the last 10 h were run: 100 + 10 x 2 / 5 = 104
    assert used_of(finding_for(later)) == 104.0
    assert used_of(finding_for(later, "plugs")) == 4.0
    assert fault_kinds(findings) == ["gap"]


def test_a_service_reading_after_the_logs_end_is_a_reading(tmp_path: Path) -> None:
    """The log ends at 10 h; plugs done three days later at 40 h: 40 h have run."""
    rows = [meter("2024-01-02T00:00", 10)]
    findings = judge(
        tmp_path, "2024-01-05", [OIL, task("plugs", every={"running_hours": 1000})], rows, gap_h=36,
        engine={"in_service": "2024-01-01", "meter_at_start_h": 0}, services=[done("plugs", "2024-01-05T00:00", 40)],
    )  # fmt: skip
    assert used_of(finding_for(findings)) == 40.0
    assert "log_ended" not in fault_kinds(findings)


def test_a_service_reading_where_the_log_speaks_is_no_reading(tmp_path: Path) -> None:
    """A record typed 20 h beside a log that shows 15 h changes no hours."""
    rows = steady("2024-01-01", "2024-01-04", 10)
    findings = hours_by(
        tmp_path, "2024-01-03", rows, engine={"in_service": "2024-01-01"}, gap_h=36, services=[done("oil", "2024-01-02T12:00", 20)]
    )
    assert used_of(finding_for(findings)) == 15.0
    assert fault_kinds(findings) == []


def test_hours_before_the_first_reading_are_unknown(tmp_path: Path) -> None:
    """In service for nine days without a reading: the hours leg is unknown, and a fault says so."""
    rows = [meter("2024-01-10T00:00", 80), meter("2024-01-11T00:00", 90)]
    findings = hours_by(tmp_path, "2024-01-10", rows, engine={"in_service": "2024-01-01"})
    assert finding_for(findings).standing == "unknown"
    assert used_of(finding_for(findings)) is None
    assert leg_of(finding_for(findings)).consumed is None


def test_hours_that_no_meter_tells_are_a_fault(tmp_path: Path) -> None:
    """The same engine: what no meter tells is named as history_unknown."""
    rows = [meter("2024-01-10T00:00", 80), meter("2024-01-11T00:00", 90)]
    findings = hours_by(tmp_path, "2024-01-10", rows, engine={"in_service": "2024-01-01"})
    assert "history_unknown" in fault_kinds(findings)


def test_an_unknown_history_does_not_touch_a_later_window(tmp_path: Path) -> None:
    """Oil changed after the first reading: only the hours since then count, and they are known."""
    rows = [meter("2024-01-10T00:00", 80), meter("2024-01-11T00:00", 90), meter("2024-01-12T00:00", 100)]
    findings = hours_by(tmp_path, "2024-01-11", rows, engine={"in_service": "2024-01-01"}, services=[done("oil", "2024-01-11T00:00")])
    assert used_of(finding_for(findings)) == 10.0
    assert finding_for(findings).standing == "in_interval"


def test_an_engine_that_ran_past_its_line_by_the_calendar_is_overdue_though_its_hours_are_unknown(tmp_path: Path) -> None:
    """One known leg past its line is enough."""
    rows = [meter("2024-03-10T00:00", 80), meter("2024-03-11T00:00", 90)]
    oil = task(every={"running_hours": 1000, "calendar": "P1M"})
    findings = judge(tmp_path, "2024-03-10", [oil], rows, engine={"in_service": "2024-01-01"})
    assert finding_for(findings).standing == "overdue"
    assert finding_for(findings).governing == "calendar"


def test_without_an_hour_meter_the_time_that_running_when_holds_is_run(tmp_path: Path) -> None:
    """Load above 5 kW on three of four six-hour rows: 18 h."""
    rows = [
        {"at": f"2024-01-0{day}T{hour}:00", "load_kw": load}
        for day, hour, load in ((1, "06", 400), (1, "12", 5), (1, "18", 6), (2, "00", 500))
    ]
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine={"in_service": "2024-01-01"}, running_when={"load_kw": {"above": 5}})
    assert used_of(finding_for(findings)) == 18.0


def test_what_running_means_rounds_as_every_other_condition(tmp_path: Path) -> None:
    """5.0000001 kW is 5 kW, to a millionth, and not above it: the day at that load is known to be standstill, the one at 6 kW is run."""
    rows = [{"at": "2024-01-02T00:00", "load_kw": 5.0000001}, {"at": "2024-01-03T00:00", "load_kw": 6}]
    findings = judge(tmp_path, "2024-01-02", [OIL], rows, engine={"in_service": "2024-01-01"}, running_when={"load_kw": {"above": 5}})
    assert used_of(finding_for(findings)) == 24.0
