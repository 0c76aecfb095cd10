"""The charts of the monthly page: static pictures that need no script, no font file and no network.

In: models that are worked out already. Out: SVG as text: words stay words, the bytes are the same every time. Readable in grey: marks
differ in shape, bars in hatch. The frame, its scales and its lines are those of `chart_frame`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import shorten

from intervals.questions.month.month_models import LoadBand, Mark, MarkKind, MonthFigure, Saw, TaskInterval
from intervals.reports.lines import printable
from intervals.reports.month.chart_frame import (
    ALERT,
    CALM,
    DASHES,
    INK,
    PALE_BAR,
    Frame,
    Point,
    Tick,
    axes,
    date_ticks,
    line,
    number_of,
    picture,
    room_for,
    seconds_of,
    ticks_between,
    words,
)

_WIDTH, _PANEL_HEIGHT = 662.0, 126.0
_PANEL = _WIDTH / 2
_TITLE_WIDTH = 60
_HEADROOM = 1.12
_SMALLEST = 1e-9
# colour and path of what can happen on a sawtooth, from its middle; the legend on the page says the same in words
_MARKS: dict[MarkKind, tuple[str, str]] = {
    "done": (f'fill="{CALM}"', "m-2.1 0a2.1 2.1 0 1 0 4.2 0a2.1 2.1 0 1 0-4.2 0z"),
    "done_late": (f'fill="{ALERT}"', "m0-3.2l3 5.6h-6z"),
    "missed": (f'fill="none" stroke="{ALERT}" stroke-width="1.5"', "m-2.6-2.6l5.2 5.2m0-5.2l-5.2 5.2"),
    "left_out": (f'fill="#fff" stroke="{ALERT}" stroke-width="1.2"', "m0-3.2l3.2 3.2l-3.2 3.2l-3.2-3.2z"),
    "not_credited": (f'fill="#fff" stroke="{ALERT}" stroke-width="1.2"', "m-2.3-2.3h4.6v4.6h-4.6z"),
}
_HOLLOW = (f'fill="#fff" stroke="{ALERT}" stroke-width="1.2"', _MARKS["done"][1])
MARK_WORDS: dict[MarkKind, str] = {
    "done": "done",
    "done_late": "done late",
    "missed": "missed",
    "left_out": "left out at a visit",
    "not_credited": "done in part, does not count",
}
_COMPLIANCE_BARS = (("on_time", "on time", CALM), ("late_not_missed", "late", "hatch"), ("missed", "late, missed", ALERT))


def load_chart(bands: Sequence[LoadBand], title: str) -> str:
    """Return the running hours of a month by load, as an SVG.

    Args:
        bands: hours by band of load, per cent of rated power.
        title: what the picture shows, for those who cannot see it.
    """
    width, height = 331.0, 137.0
    top = 1.05 * max((band.hours_h for band in bands), default=0.0) or 1.0
    y_ticks = ticks_between(0.0, top, 4, is_whole=True)
    left = room_for(y_ticks) + 14
    frame = Frame(left, 6, width - left - 6, height - 36, 0, max(len(bands), 1), 0, top)
    x_ticks = [(float(place), f"{band.from_pct:g}") for place, band in enumerate(bands)]
    bars = "".join(_bar(frame, place + 0.0, place + 0.88, 0.0, band.hours_h) for place, band in enumerate(bands) if band.hours_h > 0)
    middle = frame.left + frame.width / 2
    return picture(
        width,
        height,
        title,
        f'<path d="{bars}" fill="{CALM}" stroke="{INK}" stroke-width=".5"/>' if bars else "",
        axes(frame, x_ticks, y_ticks),
        words(middle, height - 5, "load, % of rated: above, up to and with the next", ' text-anchor="middle"'),
        _upright(9, frame.top + frame.height / 2, "running hours"),
    )


def sawtooth_chart(saws: Sequence[Saw], title: str) -> str:
    """Return the sawteeth of one engine's tasks, two in a row, as an SVG.

    Args:
        saws: one entry a task.
        title: what the picture shows, for those who cannot see it.
    """
    moments = [seconds_of(at) for saw in saws for tooth in saw.teeth for at in (tooth[0][0], tooth[-1][0])]
    span = (min(moments), max(moments))
    dates = date_ticks(*span)
    scales = [_scale_of_saw(saw) for saw in saws]
    left = max(room_for(ticks) for _, _, ticks in scales)
    pieces = []
    for place, (saw, (low, high, ticks)) in enumerate(zip(saws, scales, strict=True)):
        frame = _panel(place, left, span, (low, high))
        # one row of dates is enough: under the last panel of each column
        pieces += [_headed(frame, saw.title, saw.unit), axes(frame, dates, ticks, has_dates=place >= len(saws) - 2), *_saw(frame, saw)]
    return picture(_WIDTH, _PANEL_HEIGHT * ((len(saws) + 1) // 2), title, *pieces)


def _scale_of_saw(saw: Saw) -> tuple[float, float, list[Tick]]:
    """Return from where to where a sawtooth reaches, and the ticks between."""
    used = [value for tooth in saw.teeth for _, value in tooth]
    low = min(0.0, *used)
    high = _HEADROOM * max(*used, *(allowed for _, _, allowed in saw.allowed), _SMALLEST)
    return low, high, ticks_between(low, high, 4)


def _saw(frame: Frame, saw: Saw) -> Iterator[str]:
    """Yield one sawtooth: use as a line, what was allowed as dashes, and what happened as marks."""
    yield line([[(frame.x(seconds_of(at)), frame.y(value)) for tooth in saw.teeth for at, value in tooth]], INK)
    steps = [(frame.x(seconds_of(at)), frame.y(allowed)) for start, end, allowed in saw.allowed for at in (start, end)]
    yield line([steps], ALERT, DASHES)
    by_kind: dict[MarkKind, list[Mark]] = {}
    for mark in saw.marks:
        by_kind.setdefault(mark.kind, []).append(mark)
    for kind, look in _MARKS.items():
        yield _marks([(frame.x(seconds_of(mark.at)), frame.y(mark.used)) for mark in by_kind.get(kind, ())], *look)


def interval_chart(intervals: Sequence[TaskInterval], title: str) -> str:
    """Return how long intervals last at each month's duty against the rule set's line, two in a row, as an SVG.

    Args:
        intervals: one entry a task, at most two.
        title: what the picture shows, for those who cannot see it.
    """
    tops = [_HEADROOM * max(_figures_of(task), default=1.0) for task in intervals]
    ticks = [ticks_between(0.0, top, 4) for top in tops]
    left = max(room_for(each) for each in ticks)
    pieces = []
    for place, (task, top, y_ticks) in enumerate(zip(intervals, tops, ticks, strict=True)):
        count = len(task.months)
        frame = _panel(place, left, (-0.5, count - 0.5), (0.0, top))
        shown = [(float(at), task.months[at].month) for at in range(count)][::-3][::-1]
        pieces += [_headed(frame, task.title, "h"), axes(frame, shown, y_ticks), *_lasting(frame, task)]
    return picture(_WIDTH, _PANEL_HEIGHT, title, *pieces)


def _figures_of(interval: TaskInterval) -> list[float]:
    """Return every figure of a chart of one task that is not nothing."""
    return [value for each in interval.months for value in (each.effective_h, each.base_h) if value]


def _lasting(frame: Frame, interval: TaskInterval) -> Iterator[str]:
    """Yield one task: each month as a point, hollow where some rule could not be judged, and the rule set's interval as dashes."""
    runs: list[list[Point]] = [[]]
    full: list[Point] = []
    hollow: list[Point] = []
    steps: list[list[Point]] = [[]]
    for place, month in enumerate(interval.months):
        if month.effective_h is None:
            runs.append([])
        else:
            point = (frame.x(place), frame.y(month.effective_h))
            runs[-1].append(point)
            (hollow if month.not_judged else full).append(point)
        if month.base_h is None:
            steps.append([])
        else:
            steps[-1] += [(frame.x(place + side), frame.y(month.base_h)) for side in (-0.5, 0.5)]
    yield line(runs, INK)
    yield line(steps, ALERT, DASHES)
    yield _marks(full, *_MARKS["done"])
    yield _marks(hollow, *_HOLLOW)


def compliance_chart(history: Sequence[MonthFigure], name: str, title: str) -> str:
    """Return what was decided in each month and how it was met, as an SVG.

    Args:
        history: the months.
        name: goes in front of every id.
        title: what the picture shows, for those who cannot see it.
    """
    height = 166.0
    top = max(1.0, 1.1 * max((month.fell_due for month in history), default=1))
    y_ticks = ticks_between(0.0, top, 5, is_whole=True)
    left = room_for(y_ticks) + 14
    frame = Frame(left, 22, _WIDTH - left - 4, height - 40, -0.55, max(len(history), 1) - 0.45, 0, top)
    fills = {"hatch": f"url(#{name}-hatch)"}
    bars = {key: "" for key, _, _ in _COMPLIANCE_BARS}
    for place, month in enumerate(history):
        low = 0
        for key in bars:
            count = getattr(month, key)
            bars[key] += _bar(frame, place - 0.31, place + 0.31, low, low + count) if count else ""
            low += count
    drawn = [_filled(bars[key], fills.get(fill, fill)) for key, _, fill in _COMPLIANCE_BARS if bars[key]]
    legend = []
    for place, (_, word, fill) in enumerate(_COMPLIANCE_BARS):
        x = _WIDTH - 215 + (0, 66, 122)[place]
        legend += [_filled(f"M{number_of(x)} 4h16v7h-16z", fills.get(fill, fill)), words(x + 20, 10.5, word)]
    months = [(float(place), month.month) for place, month in enumerate(history)]
    return picture(
        _WIDTH,
        height,
        title,
        _hatch(f"{name}-hatch"),
        *drawn,
        axes(frame, months, y_ticks),
        *legend,
        _upright(9, frame.top + frame.height / 2, "jobs decided"),
    )


def _hatch(name: str) -> str:
    """Return a pattern of slanting lines under a name."""
    ground = f'<rect width="4" height="4" fill="{PALE_BAR}"/>'
    lines = f'<path d="M-1 1l2-2M0 4l4-4M3 5l2-2" stroke="{INK}" stroke-width=".6"/>'
    return f'<defs><pattern id="{name}" width="4" height="4" patternUnits="userSpaceOnUse">{ground}{lines}</pattern></defs>'


def _panel(place: int, left: float, x_span: tuple[float, float], y_span: tuple[float, float]) -> Frame:
    """Return the frame of one of several charts that stand two in a row."""
    at_x, at_y = _PANEL * (place % 2), _PANEL_HEIGHT * (place // 2)
    return Frame(at_x + left, at_y + 16, _PANEL - left - 12, _PANEL_HEIGHT - 34, *x_span, *y_span)


def _headed(frame: Frame, title: str, unit: str) -> str:
    """Return the heading of one of several charts."""
    return words(frame.left, frame.top - 6, f"{shorten(printable(title), _TITLE_WIDTH, placeholder=' ...')}, {unit}")


def _bar(frame: Frame, x_from: float, x_to: float, low: float, high: float) -> str:
    """Return a bar as the words of a path."""
    left, right, top, bottom = (number_of(at) for at in (frame.x(x_from), frame.x(x_to), frame.y(high), frame.y(low)))
    return f"M{left} {bottom}V{top}H{right}V{bottom}z"


def _filled(path: str, fill: str) -> str:
    """Return bars of one look."""
    return f'<path d="{path}" fill="{fill}" stroke="{INK}" stroke-width=".5"/>'


def _marks(points: Sequence[Point], look: str, shape: str) -> str:
    """Return marks of one kind; nothing where there are none."""
    return f'<path {look} d="{"".join(f"M{number_of(x)} {number_of(y)}{shape}" for x, y in points)}"/>' if points else ""


def _upright(x: float, y: float, text: str) -> str:
    """Return a text that reads from the bottom up."""
    return words(x, y, text, f' text-anchor="middle" transform="rotate(-90 {number_of(x)} {number_of(y)})"')
