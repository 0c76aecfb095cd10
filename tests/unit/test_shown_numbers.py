"""Figures as a person reads them."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from intervals.shown_numbers import amount, count_of, exact, figure, figure_of, percentage

figures = st.floats(min_value=0, max_value=1e7, allow_nan=False).map(lambda value: round(value, 6))


def number(text: str) -> Decimal:
    """Return the number that a figure shows."""
    return Decimal(text.replace(",", ""))


def side(left: Decimal, right: Decimal) -> int:
    """Return how two numbers compare."""
    return (left > right) - (left < right)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (2311.0, "2,311"),
        (2310.6, "2,311"),
        (151.0, "151"),
        (62.5, "62.5"),
        (99.96, "100"),
        (4.257, "4.26"),
        (0.0, "0"),
        (-0.0, "0"),
        (-311.0, "-311"),
        (0.004, "0.004"),
        (-0.0004, "-0.0004"),
        (1234567.0, "1,234,567"),
        (1e21, "1,000,000,000,000,000,000,000"),
        (None, "?"),
    ],
)
def test_figures_are_short_and_never_round_to_nothing(value: float | None, shown: str) -> None:
    """A figure has the decimals that its size needs, and what is not zero is not shown as zero."""
    assert figure(value) == shown


@pytest.mark.parametrize(
    ("used", "allowed", "shown"),
    [
        (1999.996, 2000.0, ("1,999.996", "2,000")),
        (1999.4, 2000.0, ("1,999", "2,000")),
        (2000.4, 2000.0, ("2,000.4", "2,000")),
        (2000.000001, 2000.0, ("2,000.000001", "2,000")),
        (2000.0, 2000.0, ("2,000", "2,000")),
        (1666.666667, 1666.666667, ("1,666.67", "1,666.67")),
        (1666.663, 1666.664, ("1,666.66", "1,666.664")),
        (62.4, 62.5, ("62.4", "62.5")),
        (62.47, 62.5, ("62.47", "62.5")),
        (None, 2000.0, ("?", "2,000")),
        (5.0, None, ("5", "?")),
    ],
)
def test_used_never_rounds_across_allowed(used: float | None, allowed: float | None, shown: tuple[str, str]) -> None:
    """What lies under its line is shown under it, at it at it, past it past it."""
    assert figure_of(used, allowed) == shown


@given(figures, figures)
@example(0.0, 0.0)
@example(1666.6668, 1666.666667)
def test_shown_figures_compare_as_the_true_ones(used: float, allowed: float) -> None:
    """Whatever the two are, the figures shown stand to one another as the true ones do."""
    shown_used, shown_allowed = figure_of(used, allowed)
    assert side(number(shown_used), number(shown_allowed)) == side(Decimal(repr(used)), Decimal(repr(allowed)))


@given(st.integers(100_000_000, 10**13), st.sampled_from([0, 500_000, 499_999, 500_001, 1_500_000]))
def test_large_figures_are_rounded_as_decimals_are(millionths: int, odd: int) -> None:
    """From 100 on a figure is whole, halves going to the even one; the expected value is Python's own decimal rounding."""
    value = (millionths // 1_000_000 * 1_000_000 + odd) / 1e6
    expected = f"{Decimal(repr(value)).quantize(Decimal(1), rounding=ROUND_HALF_EVEN):,f}"
    assert (figure(value), figure(-value)) == (expected, f"-{expected}")
    assert figure_of(value, value + 3000.0 - value % 1)[0] == expected


@given(figures)
def test_a_figure_is_not_zero_unless_it_is(value: float) -> None:
    """The sign of a figure survives its rounding."""
    assert (number(figure(value)) == 0) == (value == 0)


@given(figures)
def test_exact_figures_lose_nothing(value: float) -> None:
    """In a sum that is to be done again, every decimal stands."""
    assert number(exact(value)) == Decimal(repr(value))


def test_amounts_carry_their_unit() -> None:
    """An amount is a figure and its unit; without a unit nothing trails."""
    assert amount(2311.0, "h") == "2,311 h"
    assert amount(12.0, "") == "12"
    assert amount(1999.996, "h", line=2000.0) == "1,999.996 h"


@pytest.mark.parametrize(
    ("share", "shown"), [(318 / 384, "82.8 %"), (1.0, "100 %"), (0.99996, "99.996 %"), (0.0, "0 %"), (1e-5, "0.001 %"), (None, "? %")]
)
def test_a_share_is_whole_only_when_it_is(share: float | None, shown: str) -> None:
    """The published 318 of 384 is 82.8 %; nearly all is not 100 %, nearly none not 0 %."""
    assert percentage(share) == shown


def test_counts_agree_with_their_noun() -> None:
    """One row, two rows."""
    assert [count_of(1, "row"), count_of(0, "row"), count_of(1000, "row")] == ["1 row", "0 rows", "1,000 rows"]


@given(st.integers(min_value=100, max_value=100_000), st.sampled_from([0.0, 0.25, 0.5, 0.75]))
def test_used_and_left_add_up_as_shown(whole: int, part: float) -> None:
    """Of an even allowance, what is shown as used and what is shown as left are the whole, halves too."""
    allowed = 200_000.0
    used = whole + part
    assert number(figure(used)) + number(figure(allowed - used)) == Decimal(repr(allowed))
