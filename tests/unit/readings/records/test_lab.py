"""The file of analyses: what is read, what is set aside, what is refused."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from intervals.local_days import HOUR_US, to_us
from intervals.problems import ReadingsProblemError, SiteProblemError
from intervals.readings import Analyses, read_lab
from tests.site_maker import meter, moment, task, write_site
from tests.unit.readings.conftest import READINGS, MakeSite

HEAD = "at,engine,kind,result_at,acid_number,water_pct"


def read(folder: Path, lines: Sequence[str], *, now: str | None = None, **lab: Any) -> Analyses:  # noqa: ANN401 - keys of lab
    """Write a file of analyses and read acid number and water from it."""
    more: dict[str, Any] = {"lab": lab} if lab else {}
    site = write_site(folder, [task(every={"calendar": "P1Y"})], [meter("2026-01-02T00:00", 0)], **more)
    (folder / str(lab.get("file", "lab.csv"))).write_text("\n".join(lines) + "\n", encoding="utf-8")
    now_us = None if now is None else site.instant_us(moment(now))
    return read_lab(site, {"acid_number", "water_pct"}, now_us=now_us)


def at(text: str) -> int:
    """Return a UTC time in microseconds."""
    from datetime import datetime

    return to_us(datetime.fromisoformat(f"{text}+00:00"))


def test_a_row_is_an_analysis(tmp_path: Path) -> None:
    """Times as written, a date alone at noon; values by name."""
    found = read(tmp_path, [HEAD, "2026-05-01T08:00,g1,oil-analysis,2026-05-04,2.5,0.1"])
    (analysis,) = found.analyses
    assert (analysis.engine, analysis.kind, analysis.place) == ("G1", "oil-analysis", "lab.csv:2")
    assert (analysis.at_us, analysis.result_us, analysis.result_is_date) == (at("2026-05-01T08:00"), at("2026-05-04T12:00"), True)
    assert dict(analysis.values) == {"acid_number": 2.5, "water_pct": 0.1}


@pytest.mark.parametrize(("stated", "engine"), [({}, "G1"), ({"engine_names": {"Süd": "G2"}}, "G2")])
def test_spellings_of_the_log_hold_for_analyses(make_site: MakeSite, stated: dict[str, Any], engine: str) -> None:
    """How an engine is written in the readings holds here too, unless lab.engine_names says otherwise."""
    readings = {**READINGS, "engine_names": {"Süd": "G1"}}
    site = make_site({"lab.csv": f"{HEAD}\n2026-05-01,SÜD,oil-analysis,2026-05-04,2.5,0.1\n"}, readings, lab=stated)
    found = read_lab(site, {"acid_number"}, now_us=None)
    assert ([analysis.engine for analysis in found.analyses], found.faults) == ([engine], [])


def test_one_sample_may_be_of_several_engines(make_site: MakeSite) -> None:
    """Engines on one oil system share its analysis: each has it, with the row's line; a slip of the pen is asked back."""
    rows = "2026-05-01,both,oil-analysis,2026-05-04,2.5,0.1\n2026-05-02,botth,oil-analysis,2026-05-04,2.5,0.1\n"
    site = make_site({"lab.csv": f"{HEAD}\n{rows}"}, lab={"engine_names": {"both": ["G1", "G2"]}})
    found = read_lab(site, {"acid_number"}, now_us=None)
    assert [(analysis.engine, analysis.place) for analysis in found.analyses] == [("G1", "lab.csv:2"), ("G2", "lab.csv:2")]
    assert [fault.text for fault in found.faults] == ['no engine "botth" is declared; the analysis is set aside; did you mean "both"?']


def test_sampled_and_told_on_one_day(tmp_path: Path) -> None:
    """A sample at 15:00 with the day alone as its result: the result is no earlier than the sample."""
    (analysis,) = read(tmp_path, [HEAD, "2026-05-04T15:00,G1,oil-analysis,2026-05-04,2.5,0.1"]).analyses
    assert analysis.result_us == at("2026-05-04T12:00") + 3 * HOUR_US


def test_no_file_is_no_fault(tmp_path: Path) -> None:
    """The file is optional, unless the site names it."""
    site = write_site(tmp_path, [task(every={"calendar": "P1Y"})], [meter("2026-01-02T00:00", 0)])
    assert read_lab(site, {"acid_number"}, now_us=None) == Analyses()
    named = write_site(tmp_path / "b", [task(every={"calendar": "P1Y"})], [meter("2026-01-02T00:00", 0)], lab={"file": "oil.csv"})
    with pytest.raises(ReadingsProblemError) as caught:
        read_lab(named, {"acid_number"}, now_us=None)
    assert [problem.code for problem in caught.value.problems] == ["LAB001"]


@pytest.mark.parametrize(
    ("row", "kind", "words"),
    [
        ("2026-05-01,G9,oil-analysis,2026-05-04,2.5,0.1", "unknown_engine", 'no engine "G9"'),
        ("2026-05-01,,oil-analysis,2026-05-04,2.5,0.1", "unreadable_record", "the engine is blank"),
        ("soon,G1,oil-analysis,2026-05-04,2.5,0.1", "unreadable_record", 'the time "soon" cannot be read'),
        ("2026-05-01,G1,oil-analysis,,2.5,0.1", "unreadable_record", "until its result has come"),
        ("2026-05-05,G1,oil-analysis,2026-05-04,2.5,0.1", "unreadable_record", "before its sample was taken"),
        ("2026-05-01,G1,oil-analysis,2026-07-04,2.5,0.1", "record_in_future", "later than the clock"),
    ],
)
def test_what_cannot_be_used_is_set_aside(tmp_path: Path, row: str, kind: str, words: str) -> None:
    """With file, line and reason; the others are read."""
    found = read(tmp_path, [HEAD, row, "2026-05-01,G1,oil-analysis,2026-05-04,2.5,0.1"], now="2026-06-01T00:00")
    assert [analysis.line for analysis in found.analyses] == [3]
    (fault,) = found.faults
    assert (fault.kind, fault.file, fault.line) == (kind, "lab.csv", 2)
    assert words in fault.text


def test_a_value_that_is_no_number_is_blank(tmp_path: Path) -> None:
    """And a fault."""
    found = read(tmp_path, [HEAD, "2026-05-01,G1,oil-analysis,2026-05-04,trace,0.1"])
    assert dict(found.analyses[0].values) == {"acid_number": None, "water_pct": 0.1}
    assert [fault.kind for fault in found.faults] == ["unreadable_cell"]


@pytest.mark.parametrize(
    ("name", "value", "is_possible"),
    [
        ("water_pct", "-0.1", False),
        ("water_pct", "0", True),
        ("water_pct", "100", True),
        ("water_pct", "100.1", False),
        ("acid_number", "-2", False),
        ("viscosity", "-14", False),
        ("iron_ppm", "-1", False),
        ("iron_ppm", "250", True),
        ("acid_number_rise", "-0.2", True),
        ("viscosity_change", "-3", True),
        ("viscosity_change_pct", "-12", True),
        ("viscosity_change_pct", "130", True),
        ("viscosity_change_pct", "-101", False),
        ("base_number_pct_of_new", "104", True),
        ("base_number_pct_of_new", "-1", False),
    ],
)
def test_a_value_that_cannot_be_is_blank(tmp_path: Path, name: str, value: str, is_possible: bool) -> None:
    """Nothing is below zero but a change; no share is more than the whole; the fault names file and line."""
    site = write_site(tmp_path, [task(every={"calendar": "P1Y"})], [meter("2026-01-02T00:00", 0)])
    text = f"at,engine,kind,result_at,{name}\n2026-05-01,G1,oil-analysis,2026-05-04,{value}\n"
    (tmp_path / "lab.csv").write_text(text, encoding="utf-8")
    found = read_lab(site, {name}, now_us=None)
    assert found.analyses[0].values[name] == (float(value) if is_possible else None)
    assert [(fault.kind, fault.file, fault.line) for fault in found.faults] == ([] if is_possible else [("impossible_value", "lab.csv", 2)])


@pytest.mark.parametrize(
    ("head", "lab", "code"),
    [
        ("at,engine,kind,acid_number", {}, "LAB003"),
        ("at,engine,result_at,acid_number", {}, "LAB003"),
        (HEAD, {"columns": {"acid_number": "TAN"}}, "LAB003"),
        (f"{HEAD},acid_number", {}, "LAB004"),
    ],
)
def test_columns_must_be_there_once(tmp_path: Path, head: str, lab: dict[str, Any], code: str) -> None:
    """Those that are needed, and those that the site maps."""
    with pytest.raises(ReadingsProblemError) as caught:
        read(tmp_path, [head, ",".join("x" for _ in head.split(","))], **lab)
    assert [problem.code for problem in caught.value.problems] == [code]


def test_the_kind_may_be_stated_for_all(tmp_path: Path) -> None:
    """A file of one laboratory and one kind needs no column for it."""
    (analysis,) = read(tmp_path, ["at,engine,result_at,acid_number", "2026-05-01,G1,2026-05-04,2.5"], kind="oil-analysis").analyses
    assert analysis.kind == "oil-analysis"


@pytest.mark.parametrize("new", [0, -1.5])
def test_new_oil_is_above_zero(tmp_path: Path, new: float) -> None:
    """A value of the new oil that cannot be is a problem of the site file."""
    with pytest.raises(SiteProblemError) as caught:
        read(tmp_path, [HEAD], new_oil={"acid_number": new})
    assert [problem.path for problem in caught.value.problems] == ["$.lab.new_oil.acid_number"]


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    """A folder under the name of the analyses is refused and not taken for none."""
    site = write_site(tmp_path, [task(every={"calendar": "P1Y"})], [meter("2026-01-02T00:00", 0)])
    (tmp_path / "lab.csv").mkdir()
    with pytest.raises(ReadingsProblemError, match=r"LAB002 lab\.csv\n    cannot be read: it is a folder, not a file"):
        read_lab(site, {"acid_number"}, now_us=None)


def test_either_time_tells_the_order_of_day_and_month(tmp_path: Path) -> None:
    """The 15 of the result says that 03/04 is 3 April in both columns."""
    (analysis,) = read(tmp_path, [HEAD, "03/04/2026 08:00,G1,oil-analysis,15/04/2026,2.5,0.1"]).analyses
    assert (analysis.at_us, analysis.result_us) == (at("2026-04-03T08:00"), at("2026-04-15T12:00"))
