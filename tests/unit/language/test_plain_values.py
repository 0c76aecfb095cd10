"""Plain values of a YAML file: what is refused is answered with what to write instead, and that is what was meant."""

from __future__ import annotations

import pytest

from intervals.language.flaws import FlawsError
from intervals.language.legs import parse_legs
from intervals.language.plain_values import number_of


@pytest.mark.parametrize(
    ("written", "fix"),
    [
        ("1,25", "write 1.25, with a point before the decimals"),
        ("500,5", "write 500.5, with a point before the decimals"),
        ("-1,5", "write -1.5, with a point before the decimals"),
        ("1.500,5", "write 1500.5, with a point before the decimals"),
        ("1 500,5", "write 1500.5, with a point before the decimals"),
        ("1.234.567,89", "write 1234567.89, with a point before the decimals"),
        # one and a half, or fifteen hundred
        ("1,500", "write 1500 if the comma separates thousands, 1.500 if it marks decimals"),
        ("1,500.5", "write 1500.5, without quotes, unit or thousands separator"),
        ("1,500,000", "write 1500000, without quotes, unit or thousands separator"),
        ("1'500", "write 1500, without quotes, unit or thousands separator"),
        ("1 500", "write 1500, without quotes, unit or thousands separator"),
        ("600", "write 600, without quotes, unit or thousands separator"),
        ("600_0", "write a bare number, without its unit"),
        ("500 h", "write a bare number, without its unit"),
        ("1,2,3", "write a bare number, without its unit"),
        ("soon", "write a bare number, without its unit"),
    ],
)
def test_a_number_of_another_custom_is_answered_with_what_it_is(written: str, fix: str) -> None:
    """Decimal commas, thousands separators, units: who does as is said has the number that was meant."""
    with pytest.raises(FlawsError) as refused:
        number_of(written)
    (flaw,) = refused.value.flaws
    assert (flaw.fix or "").startswith(fix)


def test_a_comma_inside_braces_is_told() -> None:
    """`{running_hours: 1,500}` is a leg of 1 and a key 500 of nothing."""
    with pytest.raises(FlawsError) as refused:
        parse_legs({"running_hours": 1, "500": None})
    assert [flaw.fix for flaw in refused.value.flaws] == [
        "a comma inside braces separates entries: write the number without it, with a point before decimals"
    ]
