"""Meters that show hours, tenths, hundredths or minutes: an hour's run is an hour, and rounding is no fault."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from intervals import assess
from intervals.findings import Findings
from intervals.usage.meter.resolution import resolution_of, rhythm_us
from tests.site_maker import Row, fault_kinds, finding_for, judge, meter, moment, task, used_of, write_site

OIL = task("oil", every={"running_hours": 250})
IN_SERVICE = {"in_service": "2024-01-01T08:00", "rated_kw": 400}
MINUTE_H = 1 / 60


def exercise(minutes: int) -> dict[str, object]:
    """Return a task that a run of so many minutes under load completes, none of them given away."""
    asked = {"running_min": minutes, "sampling_min": 0, "load_pct": {"at_least": 30}}
    return task(f"run-{minutes}", every={"calendar": "P1M"}, done_when=asked)


def logged(every_min: int, shows_h: float | None, true_h: float, *, rounds: bool = False, minutes: int = 60) -> list[Row]:
    """Return two days with a run from ten to eleven on each: the rows of a logger, its meter shown in steps of `shows_h`."""
    rows: list[Row] = []
    at, end = datetime(2024, 1, 1, 8), datetime(2024, 1, 3, 8)  # noqa: DTZ001 - as a file writes it
    while at <= end:
        runs = 600 < at.hour * 60 + at.minute <= 600 + minutes
        true_h += every_min / 60 if runs else 0.0
        shown = true_h
        if shows_h:
            shown = math.floor(true_h / shows_h + (0.5 if rounds else 1e-9)) * shows_h
        rows.append(meter(at.isoformat(timespec="minutes"), round(shown, 4), load_kw=200 if runs else 0))
        at += timedelta(minutes=every_min)
    return rows


def judged(folder: Path, rows: Sequence[Row], *minutes: int) -> Findings:
    """Judge two days by their rows."""
    return judge(folder, "2024-01-03T08:00", [OIL, *(exercise(each) for each in minutes)], rows, engine=IN_SERVICE)


def completed(findings: Findings) -> list[str]:
    """Return the tasks that a run completed, with its end."""
    return [f"{each.task} {each.last_done.at[:16]}" for each in findings.findings if each.last_done is not None]


@pytest.mark.parametrize("every_min", [1, 5, 10, 15])
@pytest.mark.parametrize("shows_h", [1.0, 0.1, 0.01, MINUTE_H, None])
@pytest.mark.parametrize(("true_h", "rounds"), [(100.0, False), (100.37, False), (100.93, False), (100.37, True)])
def test_a_run_of_an_hour_is_an_hour(tmp_path: Path, every_min: int, shows_h: float | None, true_h: float, *, rounds: bool) -> None:
    """However finely the meter shows and wherever it stood: the run is 60 min and no more, and nothing is wrong with the log."""
    findings = judged(tmp_path, logged(every_min, shows_h, true_h, rounds=rounds), 60, 75)
    assert completed(findings) == ["run-60 2024-01-02T11:00"]
    assert set(fault_kinds(findings)) <= {"no_completion_known"}
    # two runs of an hour each; a meter in hundredths may be a hundredth off at each end
    assert used_of(finding_for(findings)) == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize("shows_h", [1.0, 0.1])
def test_a_run_that_is_too_short_stays_so(tmp_path: Path, shows_h: float) -> None:
    """Fifty-five minutes on a meter of whole hours that turned in it are no hour."""
    findings = judged(tmp_path, logged(5, shows_h, 100.37, minutes=55), 55, 60)
    assert completed(findings) == ["run-55 2024-01-02T10:55"]


def test_a_run_is_no_longer_than_its_meter_and_once_its_resolution(tmp_path: Path) -> None:
    """Four rows of a quarter of an hour under load, and 0.2 h on the meter in each: 48 min, and a tenth more are 54 min."""
    shown = {"08:00": 0.0, "08:15": 0.2, "08:30": 0.4, "08:45": 0.6, "09:00": 0.8, "09:15": 0.8, "09:30": 0.9}
    rows = [meter(f"2024-01-01T{at}", hours, load_kw=200 if "08:00" < at <= "09:00" else 0) for at, hours in shown.items()]
    assert completed(judged(tmp_path, rows, 54, 55)) == ["run-54 2024-01-01T09:00"]


def test_whole_hours_a_minute_apart_may_differ_by_one(tmp_path: Path) -> None:
    """100 h, and 101 h a minute later: the meter turned. 102 h would be too fast."""
    rows = [meter("2024-01-01T08:00", 100), meter("2024-01-01T20:00", 100), meter("2024-01-01T20:01", 101), meter("2024-01-02T08:00", 101)]
    findings = judged(tmp_path / "a", rows)
    assert set(fault_kinds(findings)) <= {"no_completion_known"}
    # without a load the hour lies before the turn: 30 of its 60 min by 19:31
    site = write_site(tmp_path / "b", [OIL], rows, engine=IN_SERVICE)
    assert used_of(finding_for(assess(site, moment("2024-01-01T19:31")))) == pytest.approx(0.5)
    rows[2:] = [meter("2024-01-01T20:01", 102), meter("2024-01-01T20:02", 102)]
    assert "meter_ran_fast" in fault_kinds(judged(tmp_path / "c", rows))


def block(name: str, gap_h: float, **quantities: str) -> dict[str, object]:
    """Return a block of one file, its quantities with their units."""
    columns = {quantity: {"column": quantity, "unit": unit} for quantity, unit in quantities.items()}
    files = {"files": [f"readings/{name}.csv"], "timestamp": {"column": "at"}, "engine": {"column": "engine"}}
    return {**files, "gap_h": gap_h, "quantities": columns}


BOOK, LOGGER = block("book", 200, hour_meter_h="h"), block("log", 36, hour_meter_h="h", load_kw="kW")


@pytest.mark.parametrize("blocks", [[BOOK, LOGGER], [LOGGER, BOOK]])
@pytest.mark.parametrize("shown", [(100, 101, 102), (101, 102, 103), (100, 102, 102)])
def test_a_book_in_whole_hours_agrees_with_a_logger_in_hundredths(
    tmp_path: Path, blocks: list[dict[str, object]], shown: tuple[int, int, int]
) -> None:
    """100.37, 101.37 and 102.37 h, in the book without decimals, rounded up, or once so and once so: 2 h have run, and no fault."""
    book = [meter(at, each) for at, each in zip(("2024-01-01T09:00", "2024-01-01T18:00", "2024-01-02T18:00"), shown, strict=True)]
    files: dict[str, Sequence[Row]] = {"book.csv": book, "log.csv": logged(10, 0.01, 100.37)}
    site = write_site(tmp_path, [OIL, exercise(60)], files, readings=blocks, engine=IN_SERVICE)
    findings = assess(site, moment("2024-01-03T08:00"))
    assert set(fault_kinds(findings)) <= {"no_completion_known"}
    assert completed(findings) == ["run-60 2024-01-02T11:00"]
    assert used_of(finding_for(findings)) == pytest.approx(2.0, abs=0.02)


def test_two_books_of_whole_hours_that_round_differently_agree(tmp_path: Path) -> None:
    """One leaves the decimals of 100.6 to 148.6 h out, the other rounds them up: 48 h, and no hour counts twice."""
    ours, theirs = [], []
    for day in range(9):
        true_h = 100.6 + 6 * day
        ours.append(meter(f"2024-01-{day + 1:02d}T09:00", math.floor(true_h)))
        theirs.append(meter(f"2024-01-{day + 1:02d}T09:00" if day % 2 else f"2024-01-{day + 1:02d}T08:30", math.ceil(true_h)))
    files = {"book.csv": ours, "log.csv": theirs}
    findings = judge(
        tmp_path,
        "2024-01-09T10:00",
        [OIL],
        files,
        readings=[BOOK, block("log", 36, hour_meter_h="h")],
        engine={"in_service": "2024-01-01T08:30"},
    )
    assert set(fault_kinds(findings)) <= {"no_completion_known"}
    assert used_of(finding_for(findings)) == pytest.approx(48.0)


@pytest.mark.parametrize(
    ("readings", "shows_h"),
    [
        ([0.0, 1.0, 12.0], 1.0),
        ([0.0, 0.1, 12.3, 8120.4], 0.1),
        ([0.0, 0.25], 0.01),
        ([0.0, 0.1, 0.16], 0.01),
        ([100.0, 100.0167, 100.35, 101.1833], MINUTE_H),
        ([100.0, 100.0123], 0.0),
        ([100.0], 0.0),
        ([100.0, np.nan, 101.5], 0.1),
    ],
)
def test_how_finely_a_meter_shows_is_seen_from_its_readings(readings: list[float], shows_h: float) -> None:
    """Every reading is a whole number of hours, of tenths, of hundredths, of minutes; a single one tells nothing."""
    assert resolution_of(np.array(readings)) == shows_h


def test_the_rhythm_of_rows_is_their_smallest_common_spacing() -> None:
    """Ten minutes within a run, days between; a single second spacing among many is none; one row has none."""
    assert rhythm_us(np.array([0, 600, 1200, 600_000, 600_600])) == 600
    assert rhythm_us(np.concatenate((np.arange(0, 60_000, 600), [60_001]))) == 600
    assert rhythm_us(np.array([5])) is None
