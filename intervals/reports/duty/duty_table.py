"""How hard each engine of a site ran, and what that makes of its intervals, for a person to read.

In: `Duty`. Out: lines: a row an engine, its load classes, what its rating, fuel and oil say, and the tasks whose interval does not
last. Draws only.
"""

from __future__ import annotations

from intervals.questions.duty.duty_models import Duty, EngineDuty, FuelDuty, LevelDuty, LoadClass, OilDuty, TaskDuty
from intervals.reports.folding import fold_lines
from intervals.reports.lines import BLANK, Line, Span, line_of, printable
from intervals.reports.text_columns import Column, lay_out
from intervals.shown_numbers import UNKNOWN, amount, count_of, figure

_ENGINES = (
    Column("engine", is_plain=True),
    Column("running", to_right=True),
    Column("per year", to_right=True),
    Column("starts", to_right=True),
    Column("average power", to_right=True),
    Column("heaviest 24 h", to_right=True),
    Column("below 30 %", to_right=True),
    Column("rating"),
)
_TASKS = (
    Column("engine", is_plain=True),
    Column("task", is_plain=True),
    Column("interval", to_right=True),
    Column("h count as", to_right=True),
    Column("factor", to_right=True),
    Column("lasts", to_right=True),
    Column("at heaviest", to_right=True),
    Column("per year", to_right=True),
    Column("as assumed", to_right=True),
    Column("why", is_plain=True),
)
_NOTHING = "-"
_VERDICT_STYLES = {"within": "green", "beyond": "bold red", "unknown": "magenta", "no_limit": ""}
_LEVEL_WORDS = {
    "fuel_sulphur_pct": "sulphur of the fuel",
    "fuel_h2s_ppm": "hydrogen sulphide of the fuel",
    "oil_temp_c": "oil temperature",
    "ambient_c": "ambient temperature",
}
_CAUTION = (
    "How long an interval lasts follows from the rule set's own adjustments; "
    "the engine's documents, the legal text and the local code come first."
)


def duty_lines(duty: Duty, *, width: int | None = None) -> list[Line]:
    """Return the duty of a site's engines.

    Args:
        duty: what was reckoned.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    used = ", ".join(f"{printable(each.ruleset)} {printable(each.version)}" for each in duty.rulesets)
    changed = [(engine, task) for engine in duty.engines for task in engine.tasks if task.rules or task.not_judged]
    lasting = [task for engine in duty.engines for task in engine.tasks if task.effective_h is not None]
    others = sum(not task.rules and not task.not_judged for task in lasting)
    sections: list[list[Line]] = [
        [
            (
                Span(printable(duty.site), "bold"),
                Span(f"  duty from {duty.since} to {duty.until}  rule set{'' if len(duty.rulesets) == 1 else 's'} {used}"),
            )
        ],
        lay_out(_ENGINES, [_engine_row(engine) for engine in duty.engines], width=width),
        _spectrum_lines(duty, width),
        [line for engine in duty.engines for line in _note_lines(engine)],
        [*_titled("What the intervals last at this duty, in hours on the clock", [_task_row(*each) for each in changed], width)],
        [line_of(f"{count_of(others, 'interval')} of running hours last as long as the rule set says"), line_of(_CAUTION, "dim")],
    ]
    filled = [fold_lines(section, width) for section in sections if section]
    return [line for position, section in enumerate(filled) for line in ([BLANK, *section] if position else section)]


def _titled(title: str, rows: list[list[Span]], width: int | None) -> list[Line]:
    """Return the table of tasks below its title, or nothing where there is no row."""
    return [line_of(title, "bold"), *lay_out(_TASKS, rows, width=width, heading_style="dim")] if rows else []


def _engine_row(engine: EngineDuty) -> list[Span]:
    """Return the cells of one engine."""
    load, heaviest = engine.load, engine.heaviest_24h
    return [
        Span(printable(engine.engine)),
        Span(amount(engine.running_hours_h, "h")),
        Span(amount(engine.running_hours_per_year, "h")),
        Span(figure(engine.starts)),
        Span(_power(load.average_power_pct, load.average_power_kw)),
        Span(_percent(None if heaviest is None else heaviest.average_power_pct)),
        Span(_percent(load.light_share_pct)),
        Span(printable(engine.rating.text), _VERDICT_STYLES[engine.rating.verdict]),
    ]


def _percent(value: float | None) -> str:
    """Return a percentage."""
    return f"{figure(value)} %"


def _power(share_pct: float | None, power_kw: float | None) -> str:
    """Return an average power in kW and per cent of rated."""
    return _percent(share_pct) if power_kw is None else f"{figure(power_kw)} kW, {_percent(share_pct)}"


def _spectrum_lines(duty: Duty, width: int | None) -> list[Line]:
    """Return the share of the hours in each class of load that any engine ran in, and the hours of unknown load."""
    classes = [index for index in range(_class_count(duty)) if any(engine.load.classes[index].hours_h for engine in duty.engines)]
    if not classes:
        return []
    names = [_class_name(duty.engines[0].load.classes[index]) for index in classes]
    columns = (Column("engine", is_plain=True), *(Column(name, to_right=True) for name in names), Column("load unknown"))
    rows = [
        [
            Span(printable(engine.engine)),
            *(Span(_percent(engine.load.classes[index].share_pct)) for index in classes),
            Span(amount(engine.load.unknown_h, "h")),
        ]
        for engine in duty.engines
    ]
    return [line_of("Hours by load, % of rated (upper end included)", "bold"), *lay_out(columns, rows, width=width, heading_style="dim")]


def _class_count(duty: Duty) -> int:
    """Return how many classes of load there are."""
    return len(duty.engines[0].load.classes) if duty.engines else 0


def _class_name(load: LoadClass) -> str:
    """Return a class of load as it is headed."""
    return f"> {load.above_pct:g}" if load.up_to_pct is None else f"{load.above_pct:g}-{load.up_to_pct:g}"


def _note_lines(engine: EngineDuty) -> list[Line]:
    """Return what else there is to say of an engine."""
    load, notes = engine.load, []
    if engine.hours_per_start is not None:
        notes.append(f"one start per {amount(engine.hours_per_start, 'h')}")
    if load.without_floor_pct != load.average_power_pct:
        notes.append(f"average power without the floor of 30 %: {_power(load.without_floor_pct, load.without_floor_kw)}")
    if load.above_rated_share_pct:
        notes.append(f"above rated power for {_percent(load.above_rated_share_pct)} of the hours")
    stretch, heaviest = engine.longest_light_load, engine.heaviest_24h
    if stretch is not None:
        notes.append(f"longest running below 30 %: {amount(stretch.hours_h, 'h')}, from {stretch.from_at} to {stretch.to_at}")
    if heaviest is not None:
        hours = amount(heaviest.running_hours_h, "h")
        notes.append(
            f"heaviest {hours} of running: {_percent(heaviest.average_power_pct)}, from {heaviest.from_at[:10]} to {heaviest.to_at[:10]}"
        )
    notes += _fuel_notes(engine.fuel)
    notes += [_level_text(level) for level in engine.levels]
    notes += _oil_notes(engine.oil)
    if engine.unknown_time_h:
        notes.append(f"{amount(engine.unknown_time_h, 'h')} for which no meter shows whether it ran")
    return [line_of(f"{printable(engine.engine)}: {printable(note)}") for note in notes]


def _small(value: float | None, unit: str) -> str:
    """Return a figure that is often below one, with three digits that matter."""
    return f"{UNKNOWN} {unit}" if value is None else f"{value:,.3g} {unit}" if abs(value) < 1 else amount(value, unit)


def _level_text(level: LevelDuty) -> str:
    """Return a level in words."""
    unit = level.unit
    known = "" if level.known_share_pct >= 100 else f"; known for {_percent(level.known_share_pct)} of the hours"  # noqa: PLR2004 - all of them
    words = _LEVEL_WORDS.get(level.level, level.level.replace("_", " "))
    if not unit:
        # a level without a unit is a signal of 0 and 1
        return f"{words}: {_percent(100 * level.mean)} of the hours{known}"
    return (
        f"{words}: mean {_small(level.mean, unit)}, 95 % of the hours at most {_small(level.nearly_highest, unit)}, "
        f"highest {_small(level.highest, unit)} ({level.highest_at}){known}"
    )


def _fuel_notes(fuel: FuelDuty) -> list[str]:
    """Return what the fuel brought."""
    notes = []
    by = "; by fuel burned "
    if fuel.sulphur is not None:
        notes.append(
            _level_text(fuel.sulphur) + (f"{by}{_small(fuel.sulphur_by_fuel_pct, '%')}" if fuel.sulphur_by_fuel_pct is not None else "")
        )
    if fuel.h2s is not None:
        notes.append(_level_text(fuel.h2s) + (f"{by}{_small(fuel.h2s_by_fuel_ppm, 'ppm')}" if fuel.h2s_by_fuel_ppm is not None else ""))
        notes.append(
            f"as much sulphur per MJ as diesel of {_small(fuel.like_diesel_of_sulphur_pct, '%')}, at its peak "
            f"{_small(fuel.peak_like_diesel_of_sulphur_pct, '%')} ({_percent(fuel.methane_pct)} methane, {_methane_from(fuel)})"
        )
    return notes


def _methane_from(fuel: FuelDuty) -> str:
    """Return where the methane figure comes from."""
    return {"log": "as logged", "engine": "as the engine states"}.get(fuel.methane_from or "", "assumed: nothing states it")


def _oil_notes(oil: OilDuty | None) -> list[str]:
    """Return the oil consumption and its trend."""
    if oil is None:
        return []
    trend = oil.trend_g_per_kwh_per_1000h
    change = "" if trend is None else f", {'rising' if trend > 0 else 'falling'} by {_small(abs(trend), 'g/kWh')} per 1,000 h"
    return [f"oil topped up: {amount(oil.added_l, 'L')}, {_small(oil.g_per_kwh, 'g/kWh')}{change}"]


def _not_judged(task: TaskDuty) -> str:
    """Return which rules could not be judged, and on how many hours."""
    if not task.not_judged:
        return ""
    on = f" on {amount(task.unknown_hours_h, 'h')}" if task.unknown_hours_h else ""
    return f"not judged{on}: {', '.join(task.not_judged)}"


def _task_row(engine: EngineDuty, task: TaskDuty) -> list[Span]:
    """Return the cells of one task whose interval is changed by rules, or could be."""
    why = "; ".join(part for part in (", ".join(task.rules), _not_judged(task)) if part)
    becomes = f" becomes {figure(task.becomes_h)}" if task.becomes_h is not None else ""
    shorter = task.effective_h is not None and task.base_h is not None and task.effective_h < task.base_h
    return [
        Span(printable(engine.engine)),
        Span(printable(engine.name_of(task))),
        Span(f"{figure(task.base_h)}{becomes} h" if task.base_h is not None else UNKNOWN),
        Span(f"x {figure(task.equivalent_ratio)}"),
        Span(f"x {figure(task.window_factor)}"),
        Span(amount(task.effective_h, "h", line=task.base_h), "yellow" if shorter else ""),
        Span(_NOTHING if task.shortest_h is None else amount(task.shortest_h, "h")),
        Span(figure(task.per_year)),
        Span(figure(task.per_year_as_assumed)),
        Span(printable(why)),
    ]
