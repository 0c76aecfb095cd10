"""Where measured values are going: the median of slopes, and the day on which it reaches a limit."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from scipy.stats import theilslopes

from intervals.questions.card.card_code import card_document, card_text, code_of
from intervals.questions.card.card_models import Card, LastResult
from intervals.questions.card.last_results import LastResults
from intervals.questions.card.trend_cautions import trend_caution
from intervals.questions.card.trends import Result, reached_limits, results_of, slope_per_day, trend_cautions
from intervals.questions.explain.explain import explain_finding
from intervals.reports.card.card_page import card_page
from intervals.site.model import Site
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
    line = {"at": "2026-01-02T08:00+01:00", "engine": "G1", "task": "oil", "measure": "gap", "value": "0.3", "unit": "mm", "card": "c"}
    odd = [{**line, **change} for change in ({"value": "worn"}, {"measure": "play"}, {"unit": "in"}, {"at": "soon"})]
    found = LastResults(iter([*odd, line])).of("G1", None, "gap", "mm")
    assert results_of(found) == [Result(datetime(2026, 1, 2, 8), 0.3, "c")]  # noqa: DTZ001 - as above


def test_the_slope_is_that_of_theil_and_sen() -> None:
    """Scipy has the same of irregular days: 1.0, 1.4, 1.1, 2.9, 1.6 after 0, 7, 30, 31 and 90 days."""
    days, values = [0, 7, 30, 31, 90], [1.0, 1.4, 1.1, 2.9, 1.6]
    results = [Result(FIRST + timedelta(days=day), value, "") for day, value in zip(days, values, strict=True)]
    assert slope_per_day(results) == pytest.approx(theilslopes(values, days).slope)


def fillings(*values: float) -> tuple[LastResult, ...]:
    """Return earlier results ten days apart, from 1 January 2026 on."""
    return tuple(
        LastResult(at=(FIRST + timedelta(days=10 * place)).isoformat(), value=value, card="c") for place, value in enumerate(values)
    )


def test_the_caution_of_a_card_has_its_figures() -> None:
    """104, 106, 150, 110 L: the slopes are 0.2, 2.3, 0.2, 4.4, 0.2 and -4, the median 0.2 L a day, 73 L a year.

    115 L is 5 L above the last of 31 January: 25 days later, on 25 February.
    """
    limits = {"at_least": 90.0, "at_most": 115.0}
    caution = trend_caution(fillings(104, 106, 150, 110), limits, "L", (date(2026, 2, 1), None, date(2026, 2, 25)), "en")
    assert caution is not None
    assert caution.slope_per_year == pytest.approx(73)
    assert (caution.limit, caution.bound, caution.reached_on, caution.due_on) == ("at_most", 115, "2026-02-25", "2026-02-25")
    assert [each.value for each in caution.results] == [104, 106, 150, 110]
    assert caution.text == (
        "Caution: rises by 73 L a year over the last 4 results (2026-01-01 to 2026-01-31); at that it meets the limit (at most 115 L) on "
        "2026-02-25. Next due 2026-02-25."
    )
    assert trend_caution(fillings(104, 106, 150, 110), limits, "L", (date(2026, 2, 24), None), "en") is None
    assert trend_caution((), limits, "L", (DUE,), "en") is None
    assert trend_caution(fillings(104, 106), limits, "L", (DUE,), "en") is None


def test_of_two_limits_the_one_that_is_met_first_is_told() -> None:
    """Falling by 0.5 bar in ten days from 4 bar: above 3.5 is met after 10 days, at least 3 after 20."""
    caution = trend_caution(fillings(5.0, 4.5, 4.0), {"at_least": 3.0, "above": 3.5}, "bar", (DUE,), "de")
    assert caution is not None
    assert (caution.limit, caution.reached_on) == ("above", "2026-01-31")
    # 0.05 bar a day is 18.25 a year, shown with three digits
    assert caution.text.startswith("Achtung: fällt um 18,2 bar im Jahr über die letzten 3 Ergebnisse")
    assert "über 3,5 bar" in caution.text


def site_with_fillings(folder: Path, *values: float) -> Site:
    """Return the site with one card recorded on each day from 4 March 2026 on, with so much oil filled."""
    site = recorded_site(folder)
    for day, value in enumerate(values, 4):
        card = card_of(site, on=date(2026, 3, day))
        recorded(site, filled(card, f"2026-03-{day:02}T14:00", steps={"filled": {"value": value}}))
    return site


def test_the_next_card_has_the_caution_beside_the_value(tmp_path: Path) -> None:
    """104, 106 and 108 L on 4, 5 and 6 March, at most 110: met on 7 March. It is in the document, on paper and on the screen."""
    card = card_of(site_with_fillings(tmp_path, 104, 106, 108))
    (trend,) = [step.trend for step in card.steps if step.trend is not None]
    assert (trend.limit, trend.bound, trend.slope_per_year, trend.reached_on) == ("at_most", 110, 730, "2026-03-07")
    document = {step["id"]: step["trend"] for step in card_document(card)["steps"]}
    assert document["oil-and-filter.filled"]["text"] == trend.text
    assert document["oil-and-filter.drained"] is None
    for paper in (True, False):
        assert trend.text in card_page(card, paper=paper)


def test_the_card_and_the_explanation_agree(tmp_path: Path) -> None:
    """Both have the caution, or neither: of 100, 100 and 100 L nothing is said."""
    site = site_with_fillings(tmp_path, 100, 100, 100)
    assert not any(step.trend for step in card_of(site).steps)
    assert not any(step.label == "caution" for step in explain_finding(site, "G1", "oil", NOW).window)


def test_of_a_task_that_is_done_at_the_stop_the_trend_is_held_against_the_time_after_it(tmp_path: Path) -> None:
    """100, 100.2 and 100.4 L meet 110 L on 23 April, 48 days after 6 March: before the oil is due again after the stop."""
    site = site_with_fillings(tmp_path, 100, 100.2, 100.4)
    card = card_of(site, on=date(2027, 1, 1))
    (trend,) = [step.trend for step in card.steps if step.trend is not None]
    (due,) = [task.due_on for task in card.tasks]
    lasts = date.fromisoformat(due or "") - date(2026, 3, 6)
    assert (trend.reached_on, trend.due_on) == ("2026-04-23", (date(2027, 1, 1) + lasts).isoformat())


def test_a_card_that_was_made_without_the_key_keeps_its_code(tmp_path: Path) -> None:
    """A card from before is read, has the code that it had, and is written again as it was."""
    made = card_of(recorded_site(tmp_path))
    document = card_document(made)
    for step in document["steps"]:
        del step["trend"]
    before = Card.model_validate(document)
    assert "trend" not in card_text(before)
    assert code_of(before) != code_of(made)
    assert card_document(before) == document


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


def test_figures_beyond_any_engine_make_no_slope() -> None:
    """From 1.7e308 down to its opposite: the difference is no number any more, and nothing is said of a trend."""
    start = datetime(2026, 1, 1)  # noqa: DTZ001 - results are local to the site
    results = [Result(start + timedelta(days=number), value, "") for number, value in ((1, 1.7e308), (11, 0.0), (21, -1.7e308))]
    assert list(reached_limits(results, {"at_least": 2.0}, date(2026, 12, 31))) == []
