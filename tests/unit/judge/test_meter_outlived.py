"""A meter last read while a logger of load writes on: its hours end with it, and a reading on a job card goes on where it ended."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from intervals.findings import Findings
from tests.site_maker import Row, done, finding_for, judge, leg_of, rule, rules_fired, task

ENGINE = {"in_service": "2026-03-02", "meter_at_start_h": 0}
# the meter each Monday at 00:00, 70 h a week: 2, 9 and 16 March, 140 h
METER: list[Row] = [{"at": f"2026-03-{day:02d}T00:00", "hour_meter_h": hours} for day, hours in ((2, 0), (9, 70), (16, 140))]
OIL = task(every={"running_hours": 500})


def logger(last: str) -> list[Row]:
    """Return a row an hour from 2 March on, at 400 kW from 06:00 to 16:00 (10 h a day), with one start a day."""
    rows: list[Row] = []
    at = datetime(2026, 3, 2)  # noqa: DTZ001 - local to the site, which is at UTC
    while at <= datetime.fromisoformat(last):
        starts = (at - datetime(2026, 3, 2)).days + (at.hour >= 6)  # noqa: DTZ001 - local to the site, which is at UTC
        rows.append({"at": at.isoformat(), "load_kw": 400 if 6 <= at.hour < 16 else 0, "starts": starts})
        at += timedelta(hours=1)
    return rows


def block(file: str, covers: str, gap_h: float, **quantities: str) -> dict[str, Any]:
    """Return a block of readings that names its columns as its quantities."""
    columns = {name: {"column": name, "unit": unit} for name, unit in quantities.items()}
    when = {"column": "at", "covers": covers}
    return {"files": [f"readings/{file}"], "timestamp": when, "engine": {"column": "engine"}, "gap_h": gap_h, "quantities": columns}


def judged(folder: Path, as_of: str, **written: Any) -> Findings:  # noqa: ANN401 - passed on
    """Judge the oil change at the end of a day, the logger having written up to it."""
    blocks = [block("logger.csv", "after", 200, load_kw="kW", starts="count"), block("meter.csv", "before", 200, hour_meter_h="h")]
    rows: dict[str, list[Row]] = {"logger.csv": logger(f"{as_of}T23:00"), "meter.csv": METER}
    return judge(folder, as_of, [OIL], rows, engine=ENGINE, readings=blocks, **written)


def test_a_reading_on_a_job_card_counts_after_the_last_one_of_the_meter(tmp_path: Path) -> None:
    """The card of 30 March reads 280 h: 14 d x 10 h after the meter's 140 h, though rows of load lie all around it."""
    card = done("plugs", "2026-03-30T00:00", 280)
    findings = judged(tmp_path, "2026-03-31", services=[card], rules={"tasks": [OIL, task("plugs", every={"running_hours": 900})]})
    assert leg_of(finding_for(findings)).used == 280.0
    assert leg_of(finding_for(findings, "plugs")).used == 0.0


def test_its_hours_lie_where_the_rows_of_load_show_them(tmp_path: Path) -> None:
    """At 12:00 on 20 March the engine had run 4 d x 10 h and 6 h since the meter's 140 h: 186 h, of which the oil of that noon has none."""
    services = [done("oil", "2026-03-20T12:00"), done("plugs", "2026-03-30T00:00", 280)]
    findings = judged(tmp_path, "2026-03-31", services=services, rules={"tasks": [OIL, task("plugs", every={"running_hours": 900})]})
    assert leg_of(finding_for(findings)).used == 280.0 - 186.0


def test_starts_after_the_last_reading_are_held_against_no_hours(tmp_path: Path) -> None:
    """14 starts in 140 h are 10 in 100 h, and not 44 in 140 h (31): a start after 16 March has hours that nobody read yet."""
    many = rule("many-starts", {"starts_per_100h": {"above": 20}}, interval_times=0.8)
    finding = finding_for(judged(tmp_path, "2026-04-14", rules={"adjustments": [many]}))
    assert "many-starts" not in rules_fired(finding)
    assert leg_of(finding).allowed == 500.0


def test_the_words_say_that_it_is_the_meter_that_ended(tmp_path: Path) -> None:
    """360 h left at 10 h a day are 36 d from 16 March: the day that ends on 21 April at 00:00 is 20 April."""
    findings = judged(tmp_path, "2026-04-30")
    text = "expected on 2026-04-20, the hour meter was last read on 2026-03-15 with 360 h of 500 h left"
    assert finding_for(findings).reasons[0].text.startswith(f"unknown: {text}")
    (fault,) = (fault for fault in findings.faults if fault.kind == "log_ended")
    assert fault.text.startswith("the hour meter was last read on 2026-03-16T00:00:00+00:00, 46.0 d before the date of judging, and rows")


def test_a_log_that_ends_with_its_meter_is_said_to_have_ended(tmp_path: Path) -> None:
    """Where no row goes on for longer than a gap after the last reading, it is the log that ended."""
    blocks = [block("meter.csv", "before", 200, hour_meter_h="h")]
    findings = judge(tmp_path, "2026-04-30", [OIL], {"meter.csv": METER}, engine=ENGINE, readings=blocks)
    (fault,) = (fault for fault in findings.faults if fault.kind == "log_ended")
    assert fault.text == "the log ended on 2026-03-16T00:00:00+00:00, 46.0 d before the date of judging; no hours are assumed after its end"
