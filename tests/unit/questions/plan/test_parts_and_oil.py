"""Parts and oil of a plan: sums by month, and what to order by which day, by hand arithmetic."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.plan.oil_use import OilUse
from intervals.questions.plan.parts_and_oil import month_needs, orders_of
from intervals.questions.plan.plan_models import LeftOver, NeededOil, NeededPart, PlannedStop
from intervals.questions.plan.stock import InStock, read_stock

FIRST, UNTIL = date(2026, 11, 1), date(2027, 1, 31)


def stop(day: str, filters: float | None, litres: float | None) -> PlannedStop:
    """Return a stop of G1 that takes oil filters and oil."""
    return PlannedStop(
        engine="G1",
        day=day,
        until=None,
        tasks=("oil-change",),
        hours=3.0,
        people=1,
        stopped=True,
        fixed=False,
        crew=(),
        late=(),
        early=(),
        parts=(NeededPart(part="oil-filter", count=filters),),
        oil=(NeededOil(grade="oil-40", litres=litres),),
        waste=(LeftOver(name="oil_l", value=litres),),
    )


STOPS = [stop("2026-11-16", 2, 300), stop("2026-11-30", 2, 300), stop("2027-01-11", 2, 300)]


def test_a_month_is_the_sum_of_its_stops_and_what_is_topped_up() -> None:
    """November: 4 filters and 600 L; at 0.1 L/h and 10 h a day each day takes 1 L: 30 L, 31 L, 31 L."""
    months = month_needs(STOPS, {"G1": OilUse(0.1, 10.0)}, FIRST, UNTIL)
    assert [each.month for each in months] == ["2026-11", "2026-12", "2027-01"]
    assert [(part.part, part.count) for part in months[0].parts] == [("oil-filter", 4.0)]
    assert [oil.litres for oil in months[0].oil] == [600.0]
    assert [left.value for left in months[0].waste] == [600.0]
    assert [each.top_up[0].litres for each in months] == [30.0, 31.0, 31.0]


def test_a_sum_with_an_unknown_part_is_unknown() -> None:
    """One stop of which the filters are not stated makes its month's filters unknown."""
    months = month_needs([STOPS[0], stop("2026-11-30", None, 300)], {}, FIRST, UNTIL)
    assert months[0].parts[0].count is None
    assert months[0].oil[0].litres == 600.0


def test_what_lacks_is_ordered_in_packs_ahead_of_its_lead_time() -> None:
    """Three filters on hand: two for the 16th, one lacks on the 30th: a pack of four by the 9th; then three are left, two go in January."""
    orders = orders_of(STOPS, (), {"oil-filter": InStock(3, 21, 4)}, FIRST)
    assert [(each.part, each.by, each.amount, each.needed_on, each.late) for each in orders] == [
        ("oil-filter", "2026-11-09", 4.0, "2026-11-30", False)
    ]


def test_an_order_that_comes_too_late_says_so() -> None:
    """Nothing on hand and 30 days to wait for a stop in 15: order on the first day, and it is late."""
    orders = orders_of(STOPS[:1], (), {"oil-filter": InStock(0, 30, 1)}, FIRST)
    assert [(each.by, each.amount, each.late) for each in orders] == [("2026-11-01", 2.0, True)]


def test_oil_that_is_topped_up_is_ordered_too() -> None:
    """310 L on hand: 300 at the change on the 16th and 30 L topped up in November; 20 lack on the 16th, one drum of 200 L."""
    months = month_needs(STOPS[:1], {"G1": OilUse(0.1, 10.0)}, FIRST, date(2026, 11, 30))
    orders = orders_of(STOPS[:1], months, {"oil-40": InStock(310, 5, 200)}, FIRST)
    assert [(each.by, each.amount) for each in orders] == [("2026-11-11", 200.0)]


def test_a_stock_file_is_read_and_refused_with_its_lines(tmp_path: Path) -> None:
    """Lead time and pack may be left out; every row that holds no numbers is named."""
    assert read_stock(tmp_path) is None
    (tmp_path / "stock.csv").write_text("part;on_hand;lead_days;pack\noil-filter;3;14;2\ngasket;1;;\n", "utf-8")
    assert read_stock(tmp_path) == {"oil-filter": InStock(3.0, 14, 2.0), "gasket": InStock(1.0, 0, 1.0)}
    (tmp_path / "stock.csv").write_text("part,on_hand,lead_days,pack\na,few,1,1\nb,1,1,0\nc,1,1,1\n", "utf-8")
    with pytest.raises(RequestProblemError) as caught:
        read_stock(tmp_path)
    assert [(each.code, each.line) for each in caught.value.problems] == [("CLI159", 2), ("CLI159", 3)]


def test_oil_in_stock_lasts_until_it_is_topped_up() -> None:
    """Of 20 L at 1 L a day nothing lacks before the 21st day, 2026-11-21; the order of then is for the ten days left of the month."""
    stops = [stop("2027-01-11", None, 300)]
    months = month_needs(stops, {"G1": OilUse(0.1, 10.0)}, FIRST, UNTIL)
    orders = orders_of(stops, months, {"oil-40": InStock(20, 5, 1)}, FIRST, UNTIL)
    assert [(each.by, each.amount, each.needed_on, each.late) for each in orders] == [
        ("2026-11-16", 10.0, "2026-11-21", False),
        ("2026-11-26", 31.0, "2026-12-01", False),
        ("2026-12-27", 31.0, "2027-01-01", False),
        ("2027-01-06", 300.0, "2027-01-11", False),
    ]


def test_a_plan_that_ends_within_a_month_orders_nothing_for_after_it() -> None:
    """Until 2026-11-15: 15 L, of which 5 are there; they last until the fifth."""
    months = month_needs(STOPS[:0], {"G1": OilUse(0.1, 10.0)}, FIRST, date(2026, 11, 15))
    stops = [stop("2026-11-15", None, None)]
    orders = orders_of(stops, months, {"oil-40": InStock(5, 0, 1)}, FIRST, date(2026, 11, 15))
    assert [(each.needed_on, each.amount) for each in orders] == [("2026-11-06", 10.0)]


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("part,on_hand,lead_days,pack\noil-filter,1,1,1\noil-filter,2,1,1\n", 3, "oil-filter is listed twice"),
        ("part,on_hand,lead_days,pack\n,1,1,1\n", 2, "names no part"),
        ("part,on_hand,lead_days,pack\noil-filter,1,5,14,5\n", 2, "more cells than there are columns"),
        ("part,on_hand,lead_days,pack\noil-filter,1,99999999999,5\n", 2, "at most ten years"),
        ("part,on_hand\noil-filter,inf\n", 2, "numbers from zero"),
        ("part,on_hand\noil-filter,\n", 2, "numbers from zero"),
        ("part,on_hand,on_hand\noil-filter,1,2\n", 1, "two columns on_hand"),
    ],
)
def test_what_a_stock_file_cannot_say(tmp_path: Path, text: str, line: int, said: str) -> None:
    """A part twice or without a name, a decimal comma that makes a cell more, figures that cannot be: each with its line."""
    (tmp_path / "stock.csv").write_text(text, "utf-8")
    with pytest.raises(RequestProblemError) as caught:
        read_stock(tmp_path)
    ((problem),) = caught.value.problems
    assert (problem.code, problem.line, said in problem.text) == ("CLI159", line, True)


def test_blanks_and_a_byte_order_mark_do_no_harm(tmp_path: Path) -> None:
    """Written by a spreadsheet, or by hand with a blank behind each comma."""
    (tmp_path / "stock.csv").write_bytes(b"\xef\xbb\xbfpart, on_hand, lead_days\r\n\r\noil-filter, 3, 14\r\n")
    assert read_stock(tmp_path) == {"oil-filter": InStock(3.0, 14, 1.0)}
