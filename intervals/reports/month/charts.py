"""The charts of the monthly page: static pictures that need no script, no font file and no network.

In: models that are worked out already. Out: SVG as text, made by matplotlib: text stays text, the bytes are the same every time, and
every id carries its chart's name so that many charts can stand in one page. Readable in grey: marks differ in shape, bars in hatch.
"""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Sequence
from io import StringIO
from textwrap import shorten
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from intervals.questions.month.month_models import LoadBand, MarkKind, MonthFigure, Saw, TaskInterval
from intervals.reports.lines import printable

INK, SOFT, PALE, ALERT, CALM = "#22303a", "#5a6872", "#d9dfe3", "#8c2f1b", "#3d6b73"
_TITLE_WIDTH = 60
_SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "intervals",
    "font.family": "sans-serif",
    "font.size": 8,
    "text.color": INK,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.7,
    "axes.facecolor": "none",
    "hatch.linewidth": 0.6,
    "path.simplify": True,
    "path.simplify_threshold": 0.6,
    "text.parse_math": False,
}
# shape and colour of what can happen on a sawtooth; the legend on the page says the same in words
_MARKS: dict[MarkKind, dict[str, Any]] = {
    "done": {"marker": "o", "color": CALM, "markersize": 4.2},
    "done_late": {"marker": "^", "color": ALERT, "markersize": 5.6},
    "missed": {"marker": "x", "color": ALERT, "markersize": 5.6, "markeredgewidth": 1.5},
    "left_out": {"marker": "D", "color": ALERT, "markersize": 4.8, "fillstyle": "none", "markeredgewidth": 1.2},
    "not_credited": {"marker": "s", "color": ALERT, "markersize": 4.8, "fillstyle": "none", "markeredgewidth": 1.2},
}
MARK_WORDS: dict[MarkKind, str] = {
    "done": "done",
    "done_late": "done late",
    "missed": "missed",
    "left_out": "left out at a visit",
    "not_credited": "done in part, does not count",
}
_COMPLIANCE_BARS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("on_time", "on time", {"color": CALM}),
    ("late_not_missed", "late", {"color": "#e3c9a5", "hatch": "////", "edgecolor": INK}),
    ("missed", "late, missed", {"color": ALERT}),
)


def load_chart(bands: Sequence[LoadBand], name: str, title: str) -> str:
    """Return the running hours of a month by load, as an SVG.

    Args:
        bands: hours by band of load, per cent of rated power.
        name: goes in front of every id.
        title: what the picture shows, for those who cannot see it.
    """
    with _settings():
        figure = Figure(figsize=(4.6, 1.9), layout="constrained")
        axes = figure.subplots()
        labels = [f"{band.from_pct:g}" for band in bands]
        axes.bar(range(len(bands)), [band.hours_h for band in bands], width=0.88, align="edge", color=CALM, edgecolor=INK, linewidth=0.5)
        axes.set_xticks(range(len(bands)), labels)
        axes.set_xlabel("load, % of rated: above, up to and with the next")
        axes.set_ylabel("running hours")
        axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
        return _svg(figure, name, title)


def sawtooth_chart(saws: Sequence[Saw], name: str, title: str) -> str:
    """Return the sawteeth of one engine's tasks, two in a row, as an SVG.

    Args:
        saws: one entry a task.
        name: goes in front of every id.
        title: what the picture shows, for those who cannot see it.
    """
    rows = (len(saws) + 1) // 2
    with _settings():
        figure = Figure(figsize=(9.2, 1.75 * rows), layout="constrained")
        grid = figure.subplots(rows, 2, squeeze=False)
        places = [axes for row in grid for axes in row]
        span = [at for saw in saws for tooth in saw.teeth for at in (tooth[0][0], tooth[-1][0])]
        for axes, saw in zip(places, saws, strict=False):
            _draw_saw(axes, saw)
            axes.set_xlim(min(span), max(span))
            # one row of dates is enough: under the last panel of each column
            axes.tick_params(labelbottom=saw in saws[-2:])
        for axes in places[len(saws) :]:
            axes.set_axis_off()
        return _svg(figure, name, title)


def _draw_saw(axes: Axes, saw: Saw) -> None:
    """Draw one sawtooth: use as a line, what was allowed as dashes, and what happened as marks."""
    times: list[Any] = []
    used: list[float] = []
    for tooth in saw.teeth:
        times += [at for at, _ in tooth]
        used += [value for _, value in tooth]
    axes.plot(times, used, color=INK, linewidth=1.0)
    lines: list[Any] = []
    levels: list[float] = []
    for start, end, allowed in saw.allowed:
        lines += [start, end]
        levels += [allowed, allowed]
    axes.plot(lines, levels, color=ALERT, linewidth=1.0, linestyle=(0, (5, 3)))
    for kind, style in _MARKS.items():
        marks = [mark for mark in saw.marks if mark.kind == kind]
        if marks:
            at: list[Any] = [mark.at for mark in marks]
            axes.plot(at, [mark.used for mark in marks], linestyle="none", **style)
    locator = AutoDateLocator(minticks=3, maxticks=7)  # type: ignore[no-untyped-call]  # the library leaves it untyped
    axes.xaxis.set_major_locator(locator)
    formatter = ConciseDateFormatter(locator, show_offset=False)  # type: ignore[no-untyped-call]  # the library leaves it untyped
    axes.xaxis.set_major_formatter(formatter)
    axes.yaxis.set_major_locator(MaxNLocator(4))
    axes.set_ylim(bottom=min(0.0, *used), top=1.12 * max(*used, *levels, 1e-9))
    axes.set_title(f"{shorten(printable(saw.title), _TITLE_WIDTH, placeholder=' ...')}, {saw.unit}", fontsize=8, loc="left")


def interval_chart(intervals: Sequence[TaskInterval], name: str, title: str) -> str:
    """Return how long intervals last at each month's duty against the rule set's line, two in a row, as an SVG.

    Args:
        intervals: one entry a task, at most two.
        name: goes in front of every id.
        title: what the picture shows, for those who cannot see it.
    """
    with _settings():
        figure = Figure(figsize=(9.2, 1.75), layout="constrained")
        places = figure.subplots(1, 2)
        for axes, each in zip(places, intervals, strict=False):
            _draw_interval(axes, each)
        for axes in places[len(intervals) :]:
            axes.set_axis_off()
        return _svg(figure, name, title)


def _draw_interval(axes: Axes, interval: TaskInterval) -> None:
    """Draw one task: each month as a point, hollow where some rule could not be judged, and the rule set's interval as dashes."""
    months = interval.months
    lasts = [math.nan if point.effective_h is None else point.effective_h for point in months]
    bases = [math.nan if point.base_h is None else point.base_h for point in months]
    places = range(len(months))
    axes.plot(places, lasts, color=INK, linewidth=1.0)
    for is_judged, style in ((True, {"color": CALM}), (False, {"color": ALERT, "fillstyle": "none", "markeredgewidth": 1.2})):
        shown = [place for place in places if bool(months[place].not_judged) is not is_judged]
        axes.plot(shown, [lasts[place] for place in shown], linestyle="none", marker="o", markersize=4.2, **style)
    edges = [place + side for place in places for side in (-0.5, 0.5)]
    axes.plot(edges, [base for base in bases for _ in range(2)], color=ALERT, linewidth=1.0, linestyle=(0, (5, 3)))
    axes.set_xticks(places[::-3][::-1], [point.month for point in months[::-3][::-1]])
    axes.set_xlim(-0.5, len(months) - 0.5)
    axes.set_ylim(0, 1.12 * max((value for value in (*lasts, *bases) if not math.isnan(value)), default=1.0))
    axes.yaxis.set_major_locator(MaxNLocator(4))
    axes.set_title(f"{shorten(printable(interval.title), _TITLE_WIDTH, placeholder=' ...')}, h", fontsize=8, loc="left")


def compliance_chart(history: Sequence[MonthFigure], name: str, title: str) -> str:
    """Return what was decided in each month and how it was met, as an SVG.

    Args:
        history: the months.
        name: goes in front of every id.
        title: what the picture shows, for those who cannot see it.
    """
    with _settings():
        figure = Figure(figsize=(9.2, 2.3), layout="constrained")
        axes = figure.subplots()
        places = range(len(history))
        bottom = [0] * len(history)
        for key, label, style in _COMPLIANCE_BARS:
            heights = [getattr(month, key) for month in history]
            axes.bar(places, heights, bottom=bottom, width=0.62, label=label, linewidth=0.5, **style)
            bottom = [low + height for low, height in zip(bottom, heights, strict=True)]
        axes.set_xticks(places, [month.month for month in history])
        axes.set_ylabel("jobs decided")
        axes.set_ylim(0, max(1.0, 1.1 * max(bottom, default=1)))
        axes.yaxis.set_major_locator(MaxNLocator(5, integer=True))
        axes.legend(ncols=3, loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False, fontsize=8)
        return _svg(figure, name, title)


def _settings() -> Any:  # noqa: ANN401 - the library's own kind of context
    """Return the settings under which every chart is drawn."""
    return mpl.rc_context(_SETTINGS)


def _svg(figure: Figure, name: str, title: str) -> str:
    """Return a figure as an SVG that stands by itself in a page."""
    out = StringIO()
    figure.patch.set_visible(False)
    with warnings.catch_warnings():
        # a title in a script that the measuring font lacks is still text in the page, drawn by the reader's own font
        warnings.simplefilter("ignore", UserWarning)
        canvas = FigureCanvasSVG(figure)
        canvas.print_svg(out, metadata={"Date": None, "Creator": None, "Type": None, "Format": None})  # type: ignore[no-untyped-call]  # the library leaves it untyped
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, count=1, flags=re.DOTALL)
    text = _named(_spared(text), name)
    head, rest = text.split(">", 1)
    box = re.search(r'viewBox="[^"]*"', head)
    opening = f'<svg {box[0] if box else ""} role="img" aria-label="{_quoted(title)}">'
    return opening + re.sub(r"\n\s*", "\n", rest)


def _spared(text: str) -> str:
    """Return an SVG without what the page's style says once for all charts, and without digits nobody sees."""
    text = re.sub(r"<style.*?</style>|<!--.*?-->", "", text, flags=re.DOTALL)
    text = re.sub(r" ?font-family: [^;\"]*;?", "", text)
    text = re.sub(r' transform="rotate\(-0 [^"]*"', "", text)
    text = re.sub(r"(\d\.\d)\d+", r"\g<1>", text)
    text = (
        text.replace("font-size: 8px; ", "")
        .replace(f"; fill: {INK}", "")
        .replace(f' style="fill: {INK}; stroke: {INK}; stroke-width: 0.8"', "")
    )
    return re.sub(r"<(?:defs|g)>\s*</(?:defs|g)>", "", text)


def _named(text: str, name: str) -> str:
    """Return an SVG of which every id that something leads to carries the chart's name; the others are left out."""
    led_to = {old: f"{name}-{number}" for number, old in enumerate(dict.fromkeys(re.findall(r'(?:xlink:href="#|url\(#)([^")]+)', text)))}
    text = re.sub(r' id="([^"]*)"', lambda found: f' id="{led_to[found[1]]}"' if found[1] in led_to else "", text)
    return re.sub(r'(?:xlink:(href="#)|(url\(#))([^")]+)', lambda found: (found[1] or found[2]) + led_to[found[3]], text)


def _quoted(text: str) -> str:
    """Return text as it stands inside an attribute."""
    plain = printable(text)
    return plain.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;").replace(">", "&gt;")
