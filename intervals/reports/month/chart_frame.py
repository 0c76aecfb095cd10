"""What every chart of the monthly page is made of: a frame with its two scales, lines, marks and words, as SVG.

In: figures and places in a picture. Out: pieces of SVG as text. Only what is seen is written: a tenth of a point is the finest step, and a
point that lies on the line between its neighbours is left out. Every text is escaped.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from intervals.reports.lines import printable

INK, SOFT, ALERT, CALM, PALE_BAR = "#22303a", "#5a6872", "#8c2f1b", "#3d6b73", "#e3c9a5"
FONT_SIZE = 8
DASHES = 'stroke-dasharray="5 3"'
_LETTER = 5.1
_TICK = 3.0
_NEAR = 0.25
_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - charts show the site's wall clock
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAY_STEPS = (1, 2, 4, 7, 14)
_MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120)
_MOST_DATES = 7
_NICE = (1.0, 2.0, 2.5, 5.0, 10.0)

Point = tuple[float, float]
Tick = tuple[float, str]


class Frame(NamedTuple):
    """Where a chart's figures lie in the picture, in points from its upper left corner, and what its edges stand for.

    Attributes:
        left: left edge.
        top: upper edge.
        width: from edge to edge.
        height: from edge to edge.
        x_from: what the left edge stands for.
        x_to: what the right edge stands for.
        y_from: what the lower edge stands for.
        y_to: what the upper edge stands for.
    """

    left: float
    top: float
    width: float
    height: float
    x_from: float
    x_to: float
    y_from: float
    y_to: float

    def x(self, value: float) -> float:
        """Return where a figure lies from left to right; all of them at the left edge where the scale has no length."""
        return self.left + self.width * (value - self.x_from) / ((self.x_to - self.x_from) or 1.0)

    def y(self, value: float) -> float:
        """Return where a figure lies from the top down."""
        return self.top + self.height * (self.y_to - value) / ((self.y_to - self.y_from) or 1.0)

    @property
    def bottom(self) -> float:
        """Return the lower edge."""
        return self.top + self.height


def seconds_of(at: datetime) -> float:
    """Return a time of the site's clock as a figure that a scale can hold, s."""
    return (at - _EPOCH).total_seconds()


def ticks_between(low: float, high: float, most: int, *, is_whole: bool = False) -> list[Tick]:
    """Return round figures between two, with their words.

    Args:
        low: the least.
        high: the greatest.
        most: no more steps than so many.
        is_whole: whether only whole figures are wanted.

    Example:
        >>> ticks_between(0, 2240, 4)
        [(0.0, '0'), (1000.0, '1,000'), (2000.0, '2,000')]
    """
    raw = (high - low) / most
    if not raw > 0 or not math.isfinite(raw):
        return []
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(nice * power for nice in _NICE if nice * power >= raw * (1 - 1e-9))
    if is_whole:
        step = max(1.0, math.ceil(step - 1e-9))
    decimals = max(0, next(places for places in range(16) if abs(round(step, places) - step) < step * 1e-6))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [(number * step, f"{number * step:,.{decimals}f}") for number in range(first, last + 1)]


def date_ticks(first: float, last: float) -> list[Tick]:
    """Return round dates between two moments (`seconds_of`), with their words: a month by its name, January by its year.

    Example:
        >>> from datetime import datetime
        >>> [word for _, word in date_ticks(seconds_of(datetime(2025, 11, 20)), seconds_of(datetime(2026, 6, 2)))]
        ['Dec', '2026', 'Feb', 'Mar', 'Apr', 'May', 'Jun']
    """
    begins, ends = _EPOCH + timedelta(seconds=first), _EPOCH + timedelta(seconds=last)
    days = (ends - begins).days
    for step in _DAY_STEPS if days <= _DAY_STEPS[-1] * _MOST_DATES else ():
        if days / step <= _MOST_DATES:
            return list(_days_between(begins, ends, step))
    found: list[Tick] = []
    for step in _MONTH_STEPS:
        found = list(_months_between(begins, ends, step))
        if len(found) <= _MOST_DATES:
            break
    return found


def _days_between(begins: datetime, ends: datetime, step: int) -> Iterator[Tick]:
    """Yield midnights between two moments, so many days from one to the next."""
    at = begins.replace(hour=0, minute=0, second=0, microsecond=0)
    if at < begins:
        at += timedelta(days=1)
    while at <= ends:
        yield seconds_of(at), f"{at.day} {_MONTHS[at.month - 1]}"
        at += timedelta(days=step)


def _months_between(begins: datetime, ends: datetime, step: int) -> Iterator[Tick]:
    """Yield first days of months between two moments, so many months from one to the next, counted from a January."""
    number = -(-(begins.year * 12 + begins.month - 1) // step) * step
    while number < ends.year * 12 + ends.month:
        at = datetime(number // 12, number % 12 + 1, 1)  # noqa: DTZ001 - charts show the site's wall clock
        if begins <= at <= ends:
            yield seconds_of(at), str(at.year) if at.month == 1 else _MONTHS[at.month - 1]
        number += step


def room_for(ticks: Iterable[Tick]) -> float:
    """Return how much room the words of a scale need at its side, in points."""
    return _LETTER * max((len(word) for _, word in ticks), default=1) + 2 * _TICK


def picture(width: float, height: float, title: str, *pieces: str) -> str:
    """Return an SVG of some pieces.

    Args:
        width: of the picture, in points.
        height: likewise.
        title: what the picture shows, for those who cannot see it.
        pieces: what it is made of.
    """
    head = f'<svg viewBox="0 0 {number_of(width)} {number_of(height)}" font-size="{FONT_SIZE}" role="img" aria-label="{escaped(title)}">'
    return "\n".join((head, *filter(None, pieces), "</svg>"))


def axes(frame: Frame, x_ticks: Sequence[Tick], y_ticks: Sequence[Tick], *, has_dates: bool = True) -> str:
    """Return the two axes of a frame with their ticks and words.

    Args:
        frame: the frame.
        x_ticks: figures and words of the axis below.
        y_ticks: figures and words of the axis at the left.
        has_dates: whether the words of the axis below are written.
    """
    xs = [(frame.x(value), word) for value, word in x_ticks]
    ys = [(frame.y(value), word) for value, word in y_ticks]
    lines = f"M{number_of(frame.left)} {number_of(frame.top)}V{number_of(frame.bottom)}H{number_of(frame.left + frame.width)}"
    lines += "".join(f"M{number_of(x)} {number_of(frame.bottom)}v{_TICK:g}" for x, _ in xs)
    lines += "".join(f"M{number_of(frame.left)} {number_of(y)}h-{_TICK:g}" for y, _ in ys)
    pieces = [f'<path d="{lines}" fill="none" stroke="{SOFT}" stroke-width=".7"/>']
    if ys:
        pieces.append(f'<g text-anchor="end">{"".join(words(frame.left - 2 * _TICK, y + 2.9, word) for y, word in ys)}</g>')
    if xs and has_dates:
        pieces.append(f'<g text-anchor="middle">{"".join(words(x, frame.bottom + 12, word) for x, word in xs)}</g>')
    return "".join(pieces)


def words(x: float, y: float, text: str, more: str = "") -> str:
    """Return a text at a place; `more` is what else its element is to say."""
    return f'<text x="{number_of(x)}" y="{number_of(y)}"{more}>{escaped(text)}</text>'


def line(lines: Iterable[Sequence[Point]], colour: str, more: str = "") -> str:
    """Return some lines of one colour; nothing where there are none."""
    path = "".join(_path_of(thinned(points)) for points in lines if points)
    return f'<path d="{path}" fill="none" stroke="{colour}"{" " if more else ""}{more}/>' if path else ""


def thinned(points: Sequence[Point]) -> list[Point]:
    """Return the points of a line without those that lie, as far as is seen, on the line between the ones that are kept.

    Example:
        >>> thinned([(0, 0), (1, 0.1), (2, 0), (3, 5)])
        [(0, 0), (2, 0), (3, 5)]
    """
    kept = list(points[:1])
    low, high = -math.inf, math.inf
    for at in range(1, len(points)):
        (x0, y0), (x, y) = kept[-1], points[at]
        ahead = x - x0
        slope = (y - y0) / ahead if ahead > 0 else None
        if at > 1 and (slope is None or not low <= slope <= high):
            # what came last is a corner: the line goes on from there
            if points[at - 1] != kept[-1]:
                kept.append(points[at - 1])
            x0, y0 = kept[-1]
            ahead, low, high = x - x0, -math.inf, math.inf
        if ahead > 0:
            low, high = max(low, (y - _NEAR - y0) / ahead), min(high, (y + _NEAR - y0) / ahead)
        else:
            # straight up or down: nothing beyond it can stand for it
            low, high = math.inf, -math.inf
    return [*kept, points[-1]] if len(points) > 1 else kept


def _path_of(points: Sequence[Point]) -> str:
    """Return a line as the words of a path."""
    (x, y), *rest = points
    return f"M{number_of(x)} {number_of(y)}" + ("L" if rest else "") + " ".join(f"{number_of(x)} {number_of(y)}" for x, y in rest)


def number_of(value: float) -> str:
    """Return a place in the picture, to a tenth of a point."""
    return f"{value:.1f}".removesuffix(".0")


def escaped(text: str) -> str:
    """Return a text as it stands between tags or inside an attribute."""
    return printable(text).replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;").replace(">", "&gt;")
