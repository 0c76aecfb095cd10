"""Figures as a person reads them, which never round across the line.

In: numbers rounded to a millionth of their unit. Out: text such as `2,311 h`. A figure that lies under its limit is never shown
at the limit or above it, and one that is not zero is never shown as zero. Refuses nothing: an unknown figure is `?`.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Context, Decimal

UNKNOWN = "?"
_MOST_DECIMALS = 6
# from here on figures are whole, or have one decimal
_WHOLE_FROM, _TENTH_FROM = 100, 10
# what is as plain in binary as it is in decimals: not too large, and not so near a half that the two might round apart
_PLAIN_BELOW, _NEAR_HALF = 1e9, 1e-6
# wide enough for any float written out in full
_WIDE = Context(prec=400)


def figure(value: float | None, *, line: float | None = None) -> str:
    """Return a number with as few decimals as show it truly.

    Whole from 100 on, one decimal from 10 on, two below; more only where fewer would put it at, or on the other side of, its line or zero.

    Args:
        value: the number; None where it is unknown.
        line: the number that it must not be shown at or beyond unless it is; None where there is none.

    Returns:
        The number with a comma for every thousand, or `?`.

    Example:
        >>> figure(2310.6), figure(1999.996, line=2000), figure(0.004), figure(62.5)
        ('2,311', '1,999.996', '0.004', '62.5')
    """
    if value is None:
        return UNKNOWN
    if (plain := _plainly(value, line)) is not None:
        return plain
    exact = _exact(value)
    lines = [Decimal(0)] if line is None else [Decimal(0), _exact(line)]
    for decimals in range(_usual_decimals(exact), _MOST_DECIMALS + 1):
        shown = _round(exact, decimals)
        if all(_side(shown, each) == _side(exact, each) for each in lines):
            break
    return _written(shown)


def figure_of(used: float | None, allowed: float | None) -> tuple[str, str]:
    """Return what was used and what is allowed, so written that the two compare as the true ones do.

    Args:
        used: what was used; None where it is unknown.
        allowed: what is allowed, in the same unit; None where it is unknown.

    Returns:
        The two numbers as text. The allowed keeps up to two decimals of its own.

    Example:
        >>> figure_of(2311.0, 2000.0), figure_of(1666.6668, 1666.666667), figure_of(60.0, 62.5)
        (('2,311', '2,000'), ('1,667', '1,666.67'), ('60', '62.5'))
    """
    if used is None or allowed is None:
        return figure(used), figure(allowed)
    if allowed == int(allowed) and (plain := _plainly(used, allowed)) is not None:
        return plain, f"{int(allowed):,}"
    exact_used, exact_allowed = _exact(used), _exact(allowed)
    wanted = _side(exact_used, exact_allowed)
    for allowed_decimals in range(2, _MOST_DECIMALS + 1):
        shown_allowed = _round(exact_allowed, allowed_decimals)
        for used_decimals in range(_usual_decimals(exact_used), _MOST_DECIMALS + 1):
            shown_used = _round(exact_used, used_decimals)
            if _side(shown_used, shown_allowed) == wanted and bool(shown_used) == bool(exact_used):
                return _written(shown_used), _written(shown_allowed)
    return _written(exact_used), _written(exact_allowed)


def amount(value: float | None, unit: str, *, line: float | None = None) -> str:
    """Return a figure with its unit.

    Args:
        value: the number, in `unit`; None where it is unknown.
        unit: the unit as it is written behind a number.
        line: as for `figure`.

    Returns:
        For example `2,311 h`.

    Example:
        >>> amount(151.0, "d"), amount(None, "h")
        ('151 d', '? h')
    """
    return f"{figure(value, line=line)} {unit}".rstrip()


def use_text(used: float | None, allowed: float | None, unit: str) -> str:
    """Return what was used of what is allowed, with the unit once; where nothing is allowed, in words.

    Args:
        used: what was used; None where it is unknown.
        allowed: what is allowed, in the same unit; None where it is unknown.
        unit: the unit as it is written behind a number.

    Example:
        >>> use_text(2311.0, 2000.0, "h"), use_text(0.0, 0.0, "h"), use_text(3.0, 0.0, "h")
        ('2,311 / 2,000 h', 'none allowed, none used', 'none allowed, 3 h used')
    """
    if allowed == 0 and used is not None:
        return f"none allowed, {amount(used, unit) if used else 'none'} used"
    shown_used, shown_allowed = figure_of(used, allowed)
    return f"{shown_used} / {shown_allowed} {unit}"


def exact(value: float | None) -> str:
    """Return a number with every decimal it has, for sums that a person is to do again.

    Args:
        value: the number; None where it is unknown.

    Returns:
        At most six decimals and no idle zeros, or `?`.

    Example:
        >>> exact(625.5), exact(2000.0), exact(1666.666667), exact(None)
        ('625.5', '2,000', '1,666.666667', '?')
    """
    return UNKNOWN if value is None else _written(_round(_exact(value), _MOST_DECIMALS))


def percentage(share: float | None) -> str:
    """Return a share as per cent; neither none nor all is claimed where it is only nearly so.

    Args:
        share: from 0 to 1, or more; None where it is unknown.

    Returns:
        For example `82.8 %`.

    Example:
        >>> percentage(318 / 384), percentage(0.9999), percentage(1.0)
        ('82.8 %', '99.99 %', '100 %')
    """
    if share is None:
        return f"{UNKNOWN} %"
    return f"{figure(round(share * 100, _MOST_DECIMALS), line=100.0)} %"


def count_of(number: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun in the right number.

    Example:
        >>> count_of(1, "finding"), count_of(2311, "row"), count_of(2, "entry", "entries")
        ('1 finding', '2,311 rows', '2 entries')
    """
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def _plainly(value: float, line: float | None) -> str | None:
    """Return a whole number where that is plainly how the figure is stated: it is large, and near neither its line nor a half."""
    size = abs(value)
    if not _WHOLE_FROM <= size < _PLAIN_BELOW or (line is not None and abs(value - line) <= 1):
        return None
    whole = round(value)
    return None if abs(abs(value - whole) - 0.5) < _NEAR_HALF else f"{whole:,}"


def _exact(value: float) -> Decimal:
    """Return the number as it is printed, without what binary adds."""
    return Decimal(repr(float(value)))


def _usual_decimals(exact: Decimal) -> int:
    """Return how many decimals a number of this size needs for a person."""
    size = abs(exact)
    return 0 if size >= _WHOLE_FROM else 1 if size >= _TENTH_FROM else 2


def _round(exact: Decimal, decimals: int) -> Decimal:
    """Return the number rounded, halves to even: 350.5 used and 1,649.5 left of 2,000 are shown as 350 and 1,650."""
    return exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN, context=_WIDE)


def _side(value: Decimal, line: Decimal) -> int:
    """Return on which side of the line the number is: -1, 0 or 1."""
    return (value > line) - (value < line)


def _written(shown: Decimal) -> str:
    """Return the number with thousands marked and without idle zeros."""
    text = f"{shown:,f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
