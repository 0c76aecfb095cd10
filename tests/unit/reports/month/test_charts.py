"""The charts: text stays text, the same bytes every time, and many of them in one page."""

from __future__ import annotations

import re
from datetime import datetime
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.questions.month.month_models import IntervalMonth, LoadBand, Mark, MonthFigure, Saw, TaskInterval
from intervals.reports.month.chart_frame import date_ticks, seconds_of, thinned, ticks_between
from intervals.reports.month.charts import compliance_chart, interval_chart, load_chart, sawtooth_chart

BANDS = (LoadBand(from_pct=0, to_pct=50, hours_h=12.5), LoadBand(from_pct=50, to_pct=None, hours_h=100))
DAYS = [datetime(2024, 1, day) for day in (1, 10, 20, 30)]  # noqa: DTZ001 - the site's wall clock
SAW = Saw(
    engine="G1",
    task="oil",
    title='Change <oil> & "filters"',
    leg="running_hours",
    unit="h",
    teeth=(((DAYS[0], 0.0), (DAYS[1], 90.0)), ((DAYS[1], 0.0), (DAYS[3], 110.0))),
    allowed=((DAYS[0], DAYS[1], 100.0), (DAYS[1], DAYS[3], 100.0)),
    marks=(Mark(at=DAYS[1], used=90.0, kind="done"), Mark(at=DAYS[2], used=50.0, kind="missed")),
)
MONTH = MonthFigure(
    month="2024-01", told="whole", fell_due=3, on_time=2, late=1, missed=0, open=0, pending=0, deferred=0, early=0, figure=0.666667
)
INTERVAL = TaskInterval(
    engine="G1",
    task="oil",
    title='Change <oil> & "filters"',
    months=(
        IntervalMonth(month="2024-01", base_h=None, effective_h=None, rules=(), not_judged=()),
        IntervalMonth(month="2024-02", base_h=1000, effective_h=500, rules=("heavy",), not_judged=()),
        IntervalMonth(month="2024-03", base_h=1000, effective_h=800, rules=("heavy",), not_judged=("hot",)),
    ),
)
CHARTS = {
    "interval": interval_chart([INTERVAL], "lasts"),
    "load": load_chart(BANDS, "hours by load"),
    "saw": sawtooth_chart([SAW], "use"),
    "compliance": compliance_chart([MONTH], "one", "months"),
}


@pytest.mark.parametrize("name", sorted(CHARTS))
def test_a_chart_is_a_picture_with_a_name(name: str) -> None:
    """It is well-formed, is told to screen readers as one image, and has no fixed size."""
    root = ElementTree.fromstring(CHARTS[name])
    assert root.get("role") == "img"
    assert root.get("aria-label")
    assert root.get("viewBox")
    assert root.get("width") is None


def test_a_chart_keeps_its_words_as_words() -> None:
    """A title with markup is text in the picture, escaped once."""
    words = "".join(ElementTree.fromstring(CHARTS["saw"]).itertext())
    assert 'Change <oil> & "filters", h' in words


def test_two_charts_share_no_id() -> None:
    """Every id and whatever leads to it carries the chart's name; the charts of engines, of which a page has many, have none."""
    other = compliance_chart([MONTH], "two", "months")
    ids = [set(re.findall(r'\bid="([^"]*)"', chart)) for chart in (CHARTS["compliance"], other)]
    assert ids[0]
    assert not ids[0] & ids[1]
    assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', other)) <= ids[1]
    assert all(" id=" not in CHARTS[name] for name in ("interval", "load", "saw"))


def test_the_same_figures_give_the_same_bytes() -> None:
    """Nothing of the day or the machine is in a chart."""
    assert sawtooth_chart([SAW], "use") == CHARTS["saw"]


def paths(chart: str, **look: str) -> list[str]:
    """Return the paths of a chart that have these attributes."""
    found = [each for each in ElementTree.fromstring(chart).iter() if each.tag.endswith("path")]
    return [each.get("d", "") for each in found if all(each.get(name.replace("_", "-")) == value for name, value in look.items())]


def test_a_sawtooth_lies_where_its_figures_put_it() -> None:
    """Allowed 100 h of a scale that ends 12 % above the 110 h used last: 100 / 123.2 of the height up from the axis below.

    The axis is 92 points high and ends 108 points down the picture; the dashes go from edge to edge at 108 - 92 x 100 / 123.2 = 33.3.
    """
    (dashes,) = paths(CHARTS["saw"], stroke_dasharray="5 3")
    places = [tuple(map(float, pair.split())) for pair in re.split("[ML]", dashes.replace("L", " L").strip("M"))[0:1]]
    assert places[0][1] == pytest.approx(33.3, abs=0.05)
    (teeth,) = paths(CHARTS["saw"], stroke="#22303a", fill="none")
    # nothing used stands on the axis, 90 of 123.2 h where the first mark is, 110 h at the end
    assert teeth.endswith(f" {108 - 92 * 110 / 123.2:.1f}")
    assert " 108" in teeth


def test_what_happened_has_a_shape_of_its_own() -> None:
    """One disc for the service that was done, one cross for the one that was missed, and no other mark."""
    assert len(paths(CHARTS["saw"], fill="#3d6b73")) == 1
    assert paths(CHARTS["saw"], fill="#3d6b73")[0].count("M") == 1
    assert paths(CHARTS["saw"], stroke_width="1.5")[0].count("M") == 1
    assert paths(CHARTS["saw"], stroke_width="1.2") == []


def test_bars_are_as_long_as_their_figures() -> None:
    """Hours of 12.5 and 100: the second bar is eight times as high; of three jobs two on time, one late on top of them in hatch."""
    (bars,) = paths(CHARTS["load"], fill="#3d6b73")
    first, second = (re.findall(r"[MVH]([\d.]+)(?: ([\d.]+))?", bar) for bar in bars.strip("z").split("z"))
    heights = [float(bar[0][1]) - float(bar[1][0]) for bar in (first, second)]
    assert heights[1] / heights[0] == pytest.approx(8, rel=0.01)
    (on_time, _) = paths(CHARTS["compliance"], fill="#3d6b73")
    (late, _) = paths(CHARTS["compliance"], fill="url(#one-hatch)")
    ends = [re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", bar)[0] for bar in (on_time, late)]
    assert ends[0][1] == ends[1][0]
    (low, high), (_, top) = [tuple(map(float, end)) for end in ends]
    assert (low - high) / (high - top) == pytest.approx(2, rel=0.01)


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [
        (0, 2240, 4, ["0", "1,000", "2,000"]),
        (0, 1120, 4, ["0", "500", "1,000"]),
        (-12, 40, 4, ["0", "20", "40"]),
        (0, 0.9, 4, ["0.00", "0.25", "0.50", "0.75"]),
        (0, 3.3, 5, ["0", "1", "2", "3"]),
        (0, 0, 4, []),
    ],
)
def test_scales_have_round_figures(low: float, high: float, most: int, expected: list[str]) -> None:
    """Steps of 1, 2, 2.5 or 5 times a power of ten, never more than were asked for; of no length no step."""
    assert [word for _, word in ticks_between(low, high, most, is_whole=most == 5)] == expected


@pytest.mark.parametrize(
    ("first", "last", "expected"),
    [
        ("2025-11-01", "2026-11-01", ["Nov", "2026", "Mar", "May", "Jul", "Sep", "Nov"]),
        ("2026-01-28", "2026-02-03", ["28 Jan", "29 Jan", "30 Jan", "31 Jan", "1 Feb", "2 Feb", "3 Feb"]),
        ("2026-02-25", "2026-05-02", ["25 Feb", "11 Mar", "25 Mar", "8 Apr", "22 Apr"]),
        ("2020-06-01", "2026-06-01", ["2021", "2022", "2023", "2024", "2025", "2026"]),
        ("2026-03-01", "2026-03-01", ["1 Mar"]),
    ],
)
def test_dates_are_round_and_few(first: str, last: str, expected: list[str]) -> None:
    """Days, months or years, whatever makes seven dates or fewer; a January is named by its year."""
    ends = (seconds_of(datetime.fromisoformat(day)) for day in (first, last))
    assert [word for _, word in date_ticks(*ends)] == expected


def test_points_that_nobody_would_miss_are_left_out() -> None:
    """Of a straight line its ends are kept, of a tooth its corners; a step up and down in one place stays."""
    assert thinned([(float(x), 2.0 * x) for x in range(40)]) == [(0, 0), (39, 78)]
    assert thinned([(0, 0), (1, 10), (2, 20), (2, 0), (3, 10), (4, 20)]) == [(0, 0), (2, 20), (2, 0), (4, 20)]
    assert thinned([(0, 0), (0, 50), (0, 10)]) == [(0, 0), (0, 50), (0, 10)]


@given(st.lists(st.floats(0, 100), min_size=2, max_size=40))
def test_a_thinned_line_passes_within_half_a_point_of_every_point(heights: list[float]) -> None:
    """Whatever the figures, each point that was left out lies next to the line that is drawn."""
    points = [(float(x), y) for x, y in enumerate(heights)]
    kept = thinned(points)
    drawn = np.interp([x for x, _ in points], [x for x, _ in kept], [y for _, y in kept])
    assert np.abs(drawn - np.array(heights)).max() <= 0.5
