"""Columns that a site names, found in headers."""

from __future__ import annotations

from typing import Any

import pytest

from intervals.problems import Problem
from intervals.readings.found_columns import ColumnFinder, Group, Header, Layout
from intervals.site.sources import ReadingSource


def finder(
    quantities: dict[str, str], engine: dict[str, str] | None = None, spellings: dict[str, tuple[str, ...]] | None = None
) -> ColumnFinder:
    """Return a finder of the column Time and of some quantities' columns."""
    raw: dict[str, Any] = {
        "files": ["*"],
        "timestamp": {"column": "Time"},
        "engine": engine,
        "quantities": {name: {"column": column} for name, column in quantities.items()},
    }
    return ColumnFinder(ReadingSource.model_validate(raw), spellings or {"G1": ("G1",), "G2": ("G2", "South")})


def found(finder_of_block: ColumnFinder, *names: str) -> Layout:
    """Return the layout of a header that holds everything."""
    layout, problems = finder_of_block.find(names, "a.csv", 1)
    assert problems == []
    assert layout is not None
    return layout


def refused(finder_of_block: ColumnFinder, *names: str) -> list[Problem]:
    """Return the problems of a header."""
    layout, problems = finder_of_block.find(names, "a.csv", 3)
    assert layout is None
    assert {(problem.file, problem.line) for problem in problems} == {("a.csv", 3)}
    return problems


def test_exact_name_before_any_other() -> None:
    """Of `hours` and `Hours` the exact one is taken."""
    header = Header(["hours", "Hours", " HOURS "])
    assert header.find("Hours") == (1,)
    assert header.find("HOURS") == (0, 1, 2)
    assert header.find("Load") == ()


def test_letters_in_parts() -> None:
    """An umlaut written as a letter and its dots (Unicode's Form D) is the same letter, and comes before another case of it."""
    header = Header(["gro\u0308\u00dfe", "Gro\u0308\u00dfe", "\u00d6l"])
    assert header.find("Gr\u00f6\u00dfe") == (1,)
    assert header.find("o\u0308L ") == (2,)
    assert header.find("GR\u00d6SSE") == (0, 1)


def test_whole_number() -> None:
    """The column 5 is found by 5.0 as well, unless there is a column of that name; the column 50 is not."""
    assert Header(["5", "50"]).find("5.0") == (0,)
    assert Header(["5", "5.0"]).find("5.0") == (1,)
    assert Header(["5.0"]).find("5") == ()


def test_times_of_a_header_that_is_not_sound() -> None:
    """The columns of times are found though others are missing; not where they are missing themselves or stand there twice."""
    block = finder({"hour_meter_h": "Hours"}, {"column": "Unit"})
    assert block.find_stamps(["x", "time"]) == (1,)
    assert block.find_stamps(["x"]) == block.find_stamps(["Time", "Time"]) == ()


def test_long_file() -> None:
    """All engines share the columns."""
    layout = found(finder({"hour_meter_h": "Hours"}, {"column": "Unit"}), "Unit", "Note", "Time", "Hours")
    assert layout == Layout(stamps=(2,), engine=0, groups=(Group(None, {"hour_meter_h": 3}, ()),))
    assert layout.figures == (3,)


def test_wide_file() -> None:
    """Each engine that has a column is a group; it may be spelled as the site says."""
    layout = found(finder({"hour_meter_h": "{engine} Hours", "ambient_c": "Out"}), "Time", "Out", "South Hours", "g1 hours")
    assert layout.groups == (
        Group("G1", {"ambient_c": 1, "hour_meter_h": 3}, (3,)),
        Group("G2", {"ambient_c": 1, "hour_meter_h": 2}, (2,)),
    )


@pytest.mark.parametrize(
    ("names", "share"), [(("Time", "Hours", "Unit"), 1.0), (("Time", "x"), 1 / 3), (("x",), 0.0), (("TIME", " hours", "unit "), 1.0)]
)
def test_score(names: tuple[str, ...], share: float) -> None:
    """A header's score is the share of the sought columns that it holds."""
    assert finder({"hour_meter_h": "Hours"}, {"column": "Unit"}).score(names) == pytest.approx(share)


def test_score_of_a_wide_header() -> None:
    """A template counts as found when one engine has its column."""
    assert finder({"hour_meter_h": "{engine} Hours", "load_kw": "{engine} kW"}).score(["Time", "G2 Hours"]) == pytest.approx(2 / 3)


def test_missing_column_names_the_nearest() -> None:
    """The nearest column is shown as it stands in the file."""
    (problem,) = refused(finder({"hour_meter_h": "Hours run"}, {"value": "G1"}), "Time", "HOURS_RUN", "Load")
    assert problem.code == "REA003"
    assert problem.text == 'there is no column "Hours run"; the file has "Time", "HOURS_RUN", "Load"; did you mean "HOURS_RUN"?'


def test_many_columns_are_cut_short() -> None:
    """Of a hundred columns forty are shown."""
    (problem,) = refused(finder({"hour_meter_h": "Hours"}, {"value": "G1"}), "Time", *(f"x{number}" for number in range(99)))
    assert problem.text.endswith('"x38" and 60 more')


def test_wide_quantity_that_no_engine_has() -> None:
    """A template without any column is refused with the first name that was looked for."""
    (problem,) = refused(finder({"hour_meter_h": "{engine} Hours", "load_kw": "{engine} kW"}), "Time", "G1 Hours", "G2 Hours")
    assert problem.text.startswith('there is no column "G1 kW"')


def test_slip_of_the_pen_in_a_wide_file() -> None:
    """A column that is nearly the one of an engine is not passed over."""
    (problem,) = refused(finder({"hour_meter_h": "{engine} Hours"}, None, {"G1": ("G1",)}), "Time", "G1 Hourss")
    assert 'did you mean "G1 Hourss"?' in problem.text
    (problem,) = refused(
        finder({"hour_meter_h": "{engine} Hours", "load_kw": "{engine} Load"}), "Time", "G1 Hours", "G1 Load", "G2 Hours", "G2 Laod"
    )
    assert problem.text == 'there is no column "G2 Load"; did you mean "G2 Laod"?'


def test_all_that_is_missing_is_one_problem() -> None:
    """Columns of the whole file, of all engines and those of one that are nearly there are named together, each with what is nearest."""
    sought = finder({"hour_meter_h": "{engine} Hours", "load_kw": "{engine} kW", "oil_temp_c": "{engine} Oil", "ambient_c": "Air"})
    (problem,) = refused(sought, "Time", "G1 Hours", "G2 Hourss", "G2 Oil")
    assert problem.code == "REA003"
    assert problem.text == (
        'there are no columns "Air", "G1 kW", "G2 Hours"; the file has "Time", "G1 Hours", "G2 Hourss", "G2 Oil"; '
        'did you mean "G2 Hourss" for "G2 Hours"?'
    )


def test_column_that_stands_twice() -> None:
    """A sought column that is there twice is refused with its places; another one is nobody's business."""
    (problem,) = refused(finder({"hour_meter_h": "Hours"}, {"value": "G1"}), "Time", "Hours", "x", "x", "Hours")
    assert (problem.code, problem.text) == ("REA004", 'the column "Hours" is in the file more than once: columns 2, 5')
    (problem,) = refused(finder({"hour_meter_h": "{engine} Hours"}), "Time", "G1 Hours", "G1 Hours")
    assert problem.code == "REA004"


def test_strangers() -> None:
    """Columns of the same make for other engines are named; others are not."""
    layout = found(finder({"hour_meter_h": "{engine} Hours"}), "Time", "G1 Hours", "G9 Hours", "Hours", "Remark", " Hours")
    assert layout.strangers == ("G9 Hours",)
    assert found(finder({"hour_meter_h": "{engine}"}), "Time", "G1", "Remark").strangers == ()
