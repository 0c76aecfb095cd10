"""Oil analysis instead of the oil change, 40 CFR 63.6625(i) (CI) and (j) (SI), edition of 2015 (read), through us-area-source as shipped.

CI: base number below 30 % of new; SI: acid number more than 3.0 mg KOH/g above new; both: viscosity changed by more than 20 % from
new, water above 0.5 % by volume. Condemned: change within 2 business days of the result, or before starting again, whichever is later.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from intervals.findings import Finding
from tests.published.shipped_sites import run_check
from tests.site_maker import done, finding_for, leg_of, reason_for, rules_fired, steady, used_of, write_site

EXISTING = {"constructed": "2004-05-01", "role": "non-emergency"}
# table 2d row 1 (1,000 h) and row 10 (1,440 h)
CI = ("oil-change-ci", {**EXISTING, "ignition": "compression", "power_hp": 250})
SI = (
    "oil-change-four-stroke",
    {**EXISTING, "ignition": "spark", "cycle": "four-stroke", "burn": "rich", "power_hp": 400, "waste_gas_pct": 0},
)
NEW = {"acid_number": 1.5, "base_number": 10, "viscosity": 100}
SOUND: dict[str, object] = {"acid_number": 2, "base_number": 9, "viscosity": 101, "water_pct": 0.1}
Kind = tuple[str, Mapping[str, object]]


def sample(at: str, result_at: str, **values: object) -> dict[str, object]:
    """Return an analysis of G1 that is sound but for what is stated."""
    return {"at": at, "engine": "G1", "kind": "oil-analysis", "result_at": result_at, **SOUND, **values}


def judged(
    folder: Path,
    as_of: str,
    analyses: Sequence[Mapping[str, object]],
    kind: Kind = SI,
    rows: Sequence[Mapping[str, object]] | None = None,
    **written: Any,  # noqa: ANN401 - passed on
) -> Finding:
    """Judge the oil change of an engine with a file of analyses; it runs 8 h a day unless rows say otherwise."""
    task, attributes = kind
    written.setdefault("lab", {"new_oil": NEW})
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0, "attributes": attributes}
    write_site(folder, [], rows or steady("2026-01-01", "2026-12-31", 8), engine=engine, ruleset="us-area-source", **written)
    columns = list(dict.fromkeys(name for row in analyses for name in row)) or ["at", "engine", "kind", "result_at"]
    with (folder / "lab.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=columns, restval="")
        writer.writeheader()
        writer.writerows(analyses)
    return finding_for(run_check(folder, as_of), task)


@pytest.mark.outside("1.10", "1.Z8")
@pytest.mark.parametrize(
    ("kind", "values", "is_condemned"),
    [
        # Z8: new 1.5; 4.5 is 3.0 above it, 4.51 is more
        (SI, {"acid_number": 4.5}, False),
        (SI, {"acid_number": 4.51}, True),
        # 30 % of 10 is 3
        (CI, {"base_number": 3.0}, False),
        (CI, {"base_number": 2.99}, True),
        (SI, {"viscosity": 120}, False),
        (SI, {"viscosity": 120.1}, True),
        (CI, {"viscosity": 80}, False),
        (CI, {"viscosity": 79.9}, True),
        (SI, {"water_pct": 0.5}, False),
        (CI, {"water_pct": 0.51}, True),
        # what concerns the other kind of engine is not asked
        (CI, {"acid_number": 9}, False),
        (SI, {"base_number": 0}, False),
    ],
)
def test_at_a_limit_passes(tmp_path: Path, kind: Kind, values: Mapping[str, object], is_condemned: bool) -> None:
    """Every limit is strict: at it the oil stays, beyond it the oil goes."""
    finding = judged(tmp_path, "2026-04-01", [sample("2026-03-30T08:00", "2026-04-01T09:00", **values)], kind)
    assert ("analysis-beyond" in rules_fired(finding)) is is_condemned
    assert ("analysis-within" in rules_fired(finding)) is not is_condemned
    assert finding.standing == ("upcoming" if is_condemned else "in_interval")


def test_a_sound_analysis_stands_for_the_change(tmp_path: Path) -> None:
    """8 h a day reach 1,440 h on 30 June; sampled that day and sound, the hours count from the sample."""
    late = judged(tmp_path / "a", "2026-07-10", [])
    assert (late.standing, used_of(late)) == ("overdue", 191 * 8)
    finding = judged(tmp_path / "b", "2026-07-10", [sample("2026-06-30T00:00", "2026-07-03T10:00")])
    # from 30 June to 10 July, both whole days: 11 d
    assert (finding.standing, used_of(finding)) == ("in_interval", 88.0)
    assert finding.last_done is not None
    assert (finding.last_done.record, finding.last_done.hour_meter_h) == ("lab.csv:2", 1440.0)
    source = reason_for(finding, "analysis-within").source or ""
    assert "table 2d footnote 1, 2015 edition (read)" in source
    assert "40 CFR 63.6625(j), 2015 edition (read)" in source


def test_a_result_counts_only_once_it_has_come(tmp_path: Path) -> None:
    """Sampled on 30 June, the result came on 3 July: on 2 July nothing is known of it."""
    analyses = [sample("2026-06-30T00:00", "2026-07-03T10:00")]
    assert judged(tmp_path, "2026-07-02", analyses).standing == "overdue"


def test_an_analysis_grows_old_as_the_oil_would(tmp_path: Path) -> None:
    """Sampled on 1 March: 1,440 h later, after 180 d, it no longer stands for a change."""
    analyses = [sample("2026-03-01T00:00", "2026-03-03T10:00")]
    # 1 March + 180 d ends with 27 August
    assert judged(tmp_path / "a", "2026-08-27", analyses).standing == "upcoming"
    assert judged(tmp_path / "b", "2026-08-28", analyses).standing == "overdue"


CONDEMNED = {"acid_number": 5}


@pytest.mark.outside("1.10")
@pytest.mark.parametrize(
    ("result_at", "holidays", "last_day"),
    [
        # Wednesday: Thursday, Friday
        ("2026-06-03T09:00", [], "2026-06-05"),
        # Thursday: Friday, Monday
        ("2026-06-04T09:00", [], "2026-06-08"),
        # Saturday: Monday, Tuesday
        ("2026-06-06T09:00", [], "2026-06-09"),
        # Thursday before a Friday off: Monday, Tuesday
        ("2026-06-04T09:00", ["2026-06-05"], "2026-06-09"),
    ],
)
def test_condemned_oil_is_changed_within_two_business_days(tmp_path: Path, result_at: str, holidays: Sequence[str], last_day: str) -> None:
    """An engine that runs on: upcoming all through the second business day, overdue from the next midnight on."""
    analyses = [sample("2026-06-01T08:00", result_at, **CONDEMNED)]
    inside = judged(tmp_path / "a", last_day, analyses, holidays=list(holidays))
    assert (inside.standing, inside.due_on) == ("upcoming", last_day)
    day_after = f"{last_day[:-2]}{int(last_day[-2:]) + 1:02d}"
    late = judged(tmp_path / "b", day_after, analyses, holidays=list(holidays))
    assert (late.standing, late.crossed_at, late.due_on) == ("overdue", f"{day_after}T00:00:00+00:00", last_day)
    assert late.past_by is not None
    assert (late.past_by.value, late.past_by.unit, late.governing) == (1.0, "d", "oil-analysis")


def test_an_engine_that_stood_still_may_wait_for_its_next_start(tmp_path: Path) -> None:
    """Stopped on 1 June, result on the 3rd, started again on the 15th: due before that, overdue from then on."""
    rows = [
        *steady("2026-05-01", "2026-06-01", 8),
        *steady("2026-06-02", "2026-06-15", 0, start_h=248),
        *steady("2026-06-16", "2026-06-20", 8, start_h=256),
    ]
    analyses = [sample("2026-06-01T08:00", "2026-06-03T09:00", **CONDEMNED)]
    assert judged(tmp_path / "a", "2026-06-14", analyses, rows=rows).standing == "upcoming"
    finding = judged(tmp_path / "b", "2026-06-15", analyses, rows=rows)
    assert (finding.standing, finding.crossed_at) == ("overdue", "2026-06-15T00:00:00+00:00")


def test_a_start_before_the_two_days_are_over_does_not_shorten_them(tmp_path: Path) -> None:
    """Stopped when the result came on the 3rd, started on the 4th: until the end of the 5th."""
    rows = [
        *steady("2026-05-01", "2026-06-01", 8),
        *steady("2026-06-02", "2026-06-04", 0, start_h=248),
        *steady("2026-06-05", "2026-06-10", 8, start_h=256),
    ]
    analyses = [sample("2026-06-01T08:00", "2026-06-03T09:00", **CONDEMNED)]
    assert judged(tmp_path / "a", "2026-06-05", analyses, rows=rows).standing == "upcoming"
    assert judged(tmp_path / "b", "2026-06-06", analyses, rows=rows).standing == "overdue"


def test_the_change_settles_a_condemned_analysis(tmp_path: Path) -> None:
    """Changed on the 5th: in interval, counted from the change."""
    analyses = [sample("2026-06-01T08:00", "2026-06-03T09:00", **CONDEMNED)]
    finding = judged(tmp_path, "2026-06-30", analyses, services=[done("oil-change-four-stroke", "2026-06-05T00:00")])
    # 5 June to 30 June, both whole days: 26 d
    assert (finding.standing, used_of(finding)) == ("in_interval", 208.0)


def test_the_latest_result_counts(tmp_path: Path) -> None:
    """Condemned on the 3rd, sampled again and sound on the 4th."""
    analyses = [sample("2026-06-01T08:00", "2026-06-03T09:00", **CONDEMNED), sample("2026-06-03T12:00", "2026-06-04T09:00")]
    finding = judged(tmp_path, "2026-06-30", analyses)
    assert finding.standing == "in_interval"


def test_a_value_that_is_missing_stands_for_nothing(tmp_path: Path) -> None:
    """No water was measured: the hours count on, and the reason says so."""
    finding = judged(tmp_path, "2026-07-10", [sample("2026-06-30T00:00", "2026-07-03T10:00", water_pct="")])
    assert finding.standing == "overdue"
    assert "water pct unknown" in reason_for(finding, "analysis-not-known").text


def test_columns_may_be_called_otherwise_and_hold_the_new_oil_too(tmp_path: Path) -> None:
    """The laboratory's names are mapped; acid_number_new of the row goes before the site's."""
    row = {"Sampled": "2026-05-28", "engine": "G1", "Received": "2026-06-01", "TAN": 4.6, "TAN fresh": 1.6, "V40": 100, "water_pct": 0}
    columns = {"at": "Sampled", "result_at": "Received", "acid_number": "TAN", "acid_number_new": "TAN fresh", "viscosity": "V40"}
    finding = judged(tmp_path, "2026-06-01", [row], lab={"columns": columns, "kind": "oil-analysis", "new_oil": NEW})
    # 4.6 - 1.6 = 3.0; against the site's 1.5 it would be 3.1
    assert reason_for(finding, "analysis-within").facts["acid_number_rise"] == 3.0


@pytest.mark.parametrize(
    "values",
    [{"water_pct": -0.1}, {"water_pct": 101}, {"acid_number": -2}, {"viscosity_new": -100}, {"acid_number_rise": 1, "viscosity": -101}],
)
def test_a_value_that_cannot_be_lets_no_oil_stay(tmp_path: Path, values: Mapping[str, object]) -> None:
    """8 h a day from 1 January: 1,440 h are passed on 30 June; a sample with an impossible value stands for no change."""
    finding = judged(tmp_path, "2026-07-15", [sample("2026-06-01", "2026-06-03", **values)])
    assert (finding.standing, "analysis-not-known" in rules_fired(finding)) == ("overdue", True)


@pytest.mark.outside("1.10")
def test_the_filter_is_not_covered(tmp_path: Path) -> None:
    """A sound sample at 1,200 h starts the oil's hours again, and leaves the filter's where they were."""
    analyses = [sample("2026-05-31T00:00", "2026-06-01T09:00")]
    oil = judged(tmp_path, "2026-06-01", analyses)
    oil_filter = finding_for(run_check(tmp_path, "2026-06-01"), "oil-filter-four-stroke")
    # 152 d of 8 h by the end of 1 June, two of them since the sample
    assert (used_of(oil), leg_of(oil_filter).used) == (16.0, 1216.0)
