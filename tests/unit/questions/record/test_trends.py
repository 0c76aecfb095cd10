"""Where measured values are going: the median of slopes, and the day on which it reaches a limit."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from intervals.questions.explain.explain import explain_finding
from intervals.questions.record.record_models import MeasureLine
from intervals.questions.record.trends import Result, results_of, slope_per_day, trend_cautions
from tests.filled_cards import filled
from tests.recorded_sites import NOW, card_of, recorded, recorded_site

FIRST = datetime(2026, 1, 1)  # noqa: DTZ001 - results stand by the site's clock
DUE = date(2026, 6, 30)


def every_ten_days(*values: float) -> list[Result]:
    """Return results ten days apart, from 1 January 2026 on."""
    return [Result(FIRST + timedelta(days=10 * place), value, "") for place, value in enumerate(values)]


def test_one_odd_value_moves_the_slope_little() -> None:
    """0.30, 0.31, 0.90, 0.33: the slopes are .001, .03, .001, .059, .001 and -.057 a day, of which the middle is .001."""
    assert slope_per_day(every_ten_days(0.30, 0.31, 0.90, 0.33)) == pytest.approx(0.001)


@pytest.mark.parametrize("values", [(), (1.0,), (1.0, 2.0)])
def test_two_results_are_no_trend(values: tuple[float, ...]) -> None:
    """Nothing is said of them."""
    assert slope_per_day(every_ten_days(*values)) is None
    assert not list(trend_cautions(every_ten_days(*values), "gap", "mm", {"at_most": 1.5}, DUE))


def test_only_the_last_eight_results_count() -> None:
    """What was long ago tells nothing of where it is going now."""
    assert slope_per_day(every_ten_days(90, 80, *range(8))) == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("limits", "due", "is_told"),
    [
        # 0.40 on 31 January, 0.002 a day: 0.50 is reached 50 days later, on 22 March
        ({"at_most": 0.5}, date(2026, 3, 22), True),
        ({"at_most": 0.5}, date(2026, 3, 21), False),
        ({"below": 0.5}, date(2026, 3, 22), True),
        ({"at_least": 0.3}, DUE, False),
        ({"at_most": None}, DUE, False),
        ({"at_most": 0.5}, None, False),
    ],
)
def test_a_limit_that_is_reached_before_the_task_is_due_again_is_told(
    limits: dict[str, float | None], due: date | None, is_told: bool
) -> None:
    """On the day itself too; a limit on the other side is none, and one that is not known neither."""
    told = list(trend_cautions(every_ten_days(0.34, 0.36, 0.38, 0.40), "gap", "mm", limits, due))
    assert bool(told) == is_told
    if is_told:
        assert told == [
            "gap rises by 0.73 mm a year over its last 4 results: at that it reaches 0.5 mm on 2026-03-22, before the task is due again"
        ]


def test_a_falling_value_meets_its_lower_limit() -> None:
    """5.0, 4.4, 3.8 bar every ten days: 3.0 bar is 13 and a third days from 21 January."""
    (told,) = trend_cautions(every_ten_days(5.0, 4.4, 3.8), "pressure", "bar", {"at_least": 3.0, "at_most": 9.0}, DUE)
    assert "falls by 21.9 bar a year" in told
    assert "3 bar on 2026-02-03" in told


def test_lines_that_are_no_results_are_passed_over() -> None:
    """Words, other measures, other units."""
    line = MeasureLine(at="2026-01-02T08:00+01:00", engine="G1", task="oil", measure="gap", value="0.3", unit="mm", card="c")
    odd = [line.model_copy(update=change) for change in ({"value": "worn"}, {"measure": "play"}, {"unit": "in"}, {"at": "soon"})]
    assert results_of([*odd, line], "gap", "mm") == [Result(datetime(2026, 1, 2, 8), 0.3, "c")]  # noqa: DTZ001 - as above


def test_the_explanation_tells_values_and_where_they_go(tmp_path: Path) -> None:
    """Three cards with 104, 106 and 108 L filled, of at most 110: at 2 L a day the limit is met a day after the last."""
    site = recorded_site(tmp_path)
    codes = []
    for day, value in ((4, 104), (5, 106), (6, 108)):
        handed = filled(
            card_of(site, on=date(2026, 3, day)), f"2026-03-0{day}T14:00", steps={"filled": {"value": value}}, as_found={"oil": "worn"}
        )
        codes.append(recorded(site, handed).handed.code)
    steps = [(step.label, step.sum) for step in explain_finding(site, "G1", "oil", NOW).window]
    assert ("card", f"{codes[-1]} (records/{codes[-1]}.card.json), by AB") in steps
    assert ("found", "worn") in steps
    assert ("oil_filled_l", "108 L, measured in step oil-and-filter.filled; before it 104 (2026-03-04), 106 (2026-03-05)") in steps
    (caution,) = [text for label, text in steps if label == "caution"]
    assert "reaches 110 L on 2026-03-07" in caution
