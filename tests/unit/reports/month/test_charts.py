"""The charts: text stays text, the same bytes every time, and many of them in one page."""

from __future__ import annotations

import re
from datetime import datetime
from xml.etree import ElementTree

import pytest

from intervals.questions.month.month_models import IntervalMonth, LoadBand, Mark, MonthFigure, Saw, TaskInterval
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
    "interval": interval_chart([INTERVAL], "one", "lasts"),
    "load": load_chart(BANDS, "one", "hours by load"),
    "saw": sawtooth_chart([SAW], "one", "use"),
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
    """Every id and whatever leads to it carries the chart's name."""
    other = sawtooth_chart([SAW], "two", "use")
    ids = [set(re.findall(r'\bid="([^"]*)"', chart)) for chart in (CHARTS["saw"], other)]
    assert ids[0]
    assert not ids[0] & ids[1]
    assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', other)) <= ids[1]


def test_the_same_figures_give_the_same_bytes() -> None:
    """Nothing of the day or the machine is in a chart."""
    assert sawtooth_chart([SAW], "one", "use") == CHARTS["saw"]
    assert "<metadata" not in CHARTS["saw"]
