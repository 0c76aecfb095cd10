"""What an engine ran: its life as pieces of time, each with hours, amounts and levels.

Running hours are told by an hour meter, or are the time on which `running_when` holds. Between two readings they are spread evenly,
unless another block shows when the engine ran: then they lie in its rows with load first.
"""

import itertools
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Any

from tests.second_judge.clock import HOUR, Instant, add, read_duration
from tests.second_judge.conditions import judge_condition, near
from tests.second_judge.site_folder import Block, Plain, Row, SiteFolder, as_list, exact

COUNTERS = ("starts", "energy_kwh")
AMOUNTS = ("oil_added_l", "fuel_l", "fuel_kg", "fuel_m3")
LEVELS = ("load_kw", "fuel_sulphur_pct", "fuel_h2s_ppm", "oil_temp_c", "ambient_c", "run")


@dataclass
class Piece:
    """A stretch of time in which nothing changes; `hours` and amounts are None where nothing tells them."""

    start: int
    end: int
    hours: Fraction | None
    amounts: dict[str, Fraction | None] = field(default_factory=dict)
    levels: dict[str, Fraction | None] = field(default_factory=dict)


@dataclass
class Usage:
    """The life of one engine up to its last row, reading or as-of."""

    told: Plain
    born: int
    pieces: list[Piece]
    readings: list[tuple[int, Fraction]]  # bridged: what the first meter would show
    log_end: Any  # None without a row
    first_row: int | None

    def bridged(self, at: int) -> Fraction | None:
        """Return what the hour meter would show had it never been changed."""
        if not self.readings or at < self.readings[0][0]:
            return None
        known = self.readings[0][1]
        for piece in self.pieces:
            if piece.start < self.readings[0][0] or piece.start >= at or piece.hours is None:
                continue
            share = Fraction(min(at, piece.end) - piece.start, piece.end - piece.start)
            known += piece.hours * share
        return known


def build_usage(site: SiteFolder, name: str, as_of: int) -> Usage:  # noqa: C901, PLR0912 - one case after the other
    """Return the life of an engine."""
    engine = site.engine(name)
    born = site.clock.read(engine["in_service"])
    blocks = [block for block in site.blocks if block.rows[name]]
    spans = _level_spans(site, blocks, name, born, engine)
    row_times = sorted({row.at for block in blocks if not _is_list(block) for row in block.rows[name]})
    first, last = (row_times[0], row_times[-1]) if row_times else (None, None)
    counted: dict[str, list[tuple[int, int, Fraction | None]]] = {}
    readings: list[tuple[int, Fraction]] = []
    when = engine.get("running_when") or site.told.get("running_when")
    if not when:
        readings = _meter_readings(site, blocks, name, born, row_times)
        counted["hours"] = _steps(readings)
        if readings and readings[0][0] > born:
            counted["hours"].insert(0, (born, readings[0][0], None))
    for quantity in COUNTERS:
        counted[quantity] = _counter_steps(blocks, name, quantity, engine, born)
    for quantity in AMOUNTS:
        counted[quantity] = _amount_steps(blocks, name, quantity, born)
    until = max([as_of, *(row_times[-1:])])
    cuts = {born, until, as_of}
    for stretch in [*counted.values(), *spans.values()]:
        cuts.update(edge for one in stretch for edge in one[:2])
    day = site.clock.day(born).replace(day=1)
    while site.clock.midnight(day) < until:
        cuts.add(site.clock.midnight(day))
        day = add(day, read_duration("P1M"))
    edges = sorted(at for at in cuts if born <= at <= until)
    pieces = [Piece(a, b, Fraction(0)) for a, b in itertools.pairwise(edges)]
    for piece in pieces:
        for level, found in spans.items():
            piece.levels[level] = next((v for a, b, v in found if a <= piece.start and piece.end <= b), None)
        for quantity in (*COUNTERS, *AMOUNTS):
            if counted[quantity]:
                piece.amounts[quantity] = _share(counted[quantity], piece)
    if when:
        for piece in pieces:
            ran = judge_condition(when, piece.levels, {})
            length = Fraction(piece.end - piece.start, HOUR)
            piece.hours = None if ran is None else length * ran
            if last is not None and piece.start >= last:
                piece.hours = Fraction(0)
    else:
        _place_hours(counted["hours"], pieces, spans.get("load_kw"), _load_elsewhere(blocks, name))
    _derive_load(pieces, engine, blocks, name)
    return Usage(engine, born, pieces, readings, last, first)


def _is_list(block: Block) -> bool:
    return all("holds_for" in told for told in block.told["quantities"].values())


def _load_elsewhere(blocks: list[Block], name: str) -> bool:
    meter = [block for block in blocks if "hour_meter_h" in block.told["quantities"]]
    load = [block for block in blocks if "load_kw" in block.told["quantities"]]
    return bool(meter and load) and meter[0] is not load[0]


def _gap(block: Block, engine: Plain) -> Fraction:
    return exact(engine.get("gap_h") or block.told.get("gap_h", 36)) * HOUR


def _level_spans(
    site: SiteFolder, blocks: list[Block], name: str, born: int, engine: Plain
) -> dict[str, list[tuple[int, int, Fraction | None]]]:
    spans: dict[str, list[tuple[int, int, Fraction | None]]] = {}
    for block in blocks:
        after = block.told["timestamp"].get("covers", "before") == "after"
        gap = _gap(block, engine)
        rows = block.rows[name]
        for quantity, told in block.told["quantities"].items():
            if quantity not in LEVELS:
                continue
            if "holds_for" in told:
                spans[quantity] = _held(site, [row for row in rows if row.figures[quantity] is not None], quantity, told)
                continue
            found: list[tuple[int, int, Fraction | None]] = []
            before = born
            for number, row in enumerate(rows):
                value = _possible(quantity, row.figures[quantity], engine)
                if after:
                    if number + 1 < len(rows) and rows[number + 1].at - row.at <= gap:
                        found.append((row.at, rows[number + 1].at, value))
                elif 0 < row.at - before <= gap:
                    found.append((before, row.at, value))
                before = row.at
            spans[quantity] = found
    return spans


def _possible(quantity: str, value: Fraction | None, engine: Plain) -> Fraction | None:
    if value is None or (value < 0 and not quantity.endswith("_c")):
        return None
    if quantity == "load_kw" and "rated_kw" in engine and value > exact(engine["rated_kw"]) * Fraction(13, 10):
        return None
    if quantity == "fuel_sulphur_pct" and value > 5:
        return None
    return value


def _held(site: SiteFolder, rows: list[Row], quantity: str, told: Plain) -> list[tuple[int, int, Fraction | None]]:
    """Return how long each value holds: to the next one, at most so many days of 24 h."""
    span = read_duration(told["holds_for"])
    found: list[tuple[int, int, Fraction | None]] = []
    for number, row in enumerate(rows):
        end = row.at + 24 * HOUR * span.days + HOUR * span.hours
        if number + 1 < len(rows):
            end = min(end, rows[number + 1].at)
        found.append((row.at, end, row.figures[quantity]))
    return found


def _meter_readings(site: SiteFolder, blocks: list[Block], name: str, born: int, row_times: list[int]) -> list[tuple[int, Fraction]]:  # noqa: C901 - one case after the other
    engine = site.engine(name)
    raw: dict[int, Fraction] = {}
    for block in blocks:
        for row in block.rows[name]:
            value = row.figures.get("hour_meter_h")
            if value is not None and row.at >= born:
                raw.setdefault(row.at, value)
    if "meter_at_start_h" in engine and born not in raw:
        raw[born] = exact(engine["meter_at_start_h"])
    for record in site.records:
        if record.engine != name or record.hour_meter_h is None or record.day_only or record.at <= born:
            continue
        if _is_silent(record.at, row_times, blocks, engine):
            raw.setdefault(record.at, record.hour_meter_h)
    changes = [
        (site.clock.read(one["at"]), exact(one["old_read_h"]) - exact(one["new_read_h"])) for one in as_list(engine.get("meter_changes"))
    ]
    rolls = engine.get("meter_rolls_over_at_h")
    bridged: list[tuple[int, Fraction]] = []
    offset = Fraction(0)
    before: tuple[int, Fraction] | None = None
    for at in sorted(raw):
        if before is not None:
            offset += sum((jump for change, jump in changes if before[0] <= change < at), Fraction(0))
            if rolls and raw[at] + offset < bridged[-1][1]:
                offset += exact(rolls)
        bridged.append((at, raw[at] + offset))
        before = (at, raw[at])
    return bridged


def _is_silent(at: int, row_times: list[int], blocks: list[Block], engine: Plain) -> bool:
    if not row_times or at < row_times[0] or at > row_times[-1]:
        return True
    gap = max(_gap(block, engine) for block in blocks if not _is_list(block))
    return any(a < at < b and b - a > gap for a, b in itertools.pairwise(row_times))


def _steps(readings: list[tuple[int, Fraction]]) -> list[tuple[int, int, Fraction | None]]:
    return [(a, b, after - before) for (a, before), (b, after) in itertools.pairwise(readings)]


def _counter_steps(blocks: list[Block], name: str, quantity: str, engine: Plain, born: int) -> list[tuple[int, int, Fraction | None]]:
    for block in blocks:
        if quantity in block.told["quantities"]:
            known = [(row.at, row.figures[quantity]) for row in block.rows[name]]
            readings = [(at, value) for at, value in known if value is not None]
            start = engine.get("at_start", {}).get(quantity)
            if start is not None and readings and readings[0][0] > born:
                readings.insert(0, (born, exact(start)))
            steps = [(a, b, max(y - x, Fraction(0))) for (a, x), (b, y) in itertools.pairwise(readings)]
            return list(steps)
    return []


def _amount_steps(blocks: list[Block], name: str, quantity: str, born: int) -> list[tuple[int, int, Fraction | None]]:
    for block in blocks:
        if quantity in block.told["quantities"]:
            found: list[tuple[int, int, Fraction | None]] = []
            after = block.told["timestamp"].get("covers", "before") == "after"
            rows = block.rows[name]
            before = born
            for number, row in enumerate(rows):
                amount = row.figures[quantity] or Fraction(0)
                if after and number + 1 < len(rows):
                    found.append((row.at, rows[number + 1].at, amount))
                elif not after and row.at > before:
                    found.append((before, row.at, amount))
                before = row.at
            return found
    return []


def _share(steps: list[tuple[int, int, Fraction | None]], piece: Piece) -> Fraction | None:
    for start, end, amount in steps:
        if start <= piece.start and piece.end <= end:
            return None if amount is None else amount * Fraction(piece.end - piece.start, end - start)
    return Fraction(0)


def _place_hours(
    steps: list[tuple[int, int, Fraction | None]],
    pieces: list[Piece],
    loads: list[tuple[int, int, Fraction | None]] | None,
    elsewhere: bool,
) -> None:
    for start, end, hours in steps:
        inside = [piece for piece in pieces if start <= piece.start and piece.end <= end]
        if hours is None:
            for piece in inside:
                piece.hours = None
            continue
        loaded = [p for p in inside if elsewhere and (p.levels.get("load_kw") or 0) > 0]
        held = sum((Fraction(p.end - p.start, HOUR) for p in loaded), Fraction(0))
        rest = [p for p in inside if p not in loaded] if loaded else inside
        in_rows = min(held, hours)
        free = sum(p.end - p.start for p in rest)
        for piece in loaded:
            piece.hours = Fraction(piece.end - piece.start, HOUR) * in_rows / held
        for piece in rest:
            piece.hours = (hours - in_rows) * Fraction(piece.end - piece.start, free)
            if loaded and piece.hours:
                piece.levels["load_kw"] = None
    told = [(a, b) for a, b, _ in steps]
    for piece in pieces:
        if not any(a <= piece.start and piece.end <= b for a, b in told):
            piece.hours = Fraction(0)


def _derive_load(pieces: list[Piece], engine: Plain, blocks: list[Block], name: str) -> None:
    if "rated_kw" not in engine:
        return
    rated = exact(engine["rated_kw"])
    silent = _silent_pieces(pieces, engine, blocks, name)
    told = next((b.told["quantities"]["load_kw"] for b in blocks if "load_kw" in b.told["quantities"]), None)
    for piece in pieces:
        load = piece.levels.get("load_kw")
        if told is None and "energy_kwh" in piece.amounts:
            energy = piece.amounts["energy_kwh"]
            load = energy / piece.hours if energy is not None and piece.hours and piece not in silent else None
        elif told is not None and told.get("averaged_over") == "row" and load is not None:
            share = piece.hours / Fraction(piece.end - piece.start, HOUR) if piece.hours else None
            load = load / share if share else None
        if load is not None and near(100 * load / rated) > 130:
            load = None
        piece.levels["load_kw"] = load
        piece.levels["load_pct"] = None if load is None else 100 * load / rated


def _silent_pieces(pieces: list[Piece], engine: Plain, blocks: list[Block], name: str) -> list[Piece]:
    """Return the pieces that lie in a silence longer than a gap."""
    block = next((one for one in blocks if "energy_kwh" in one.told["quantities"]), None)
    if block is None:
        return []
    times = [pieces[0].start, *(row.at for row in block.rows[name])]
    gaps = [(a, b) for a, b in itertools.pairwise(times) if b - a > _gap(block, engine)]
    return [piece for piece in pieces if any(a <= piece.start < b for a, b in gaps)]


def pieces_between(pieces: list[Piece], start: Instant, end: Instant) -> list[tuple[Piece, Fraction]]:
    """Return the pieces of a stretch, each with the share of it that lies in the stretch."""
    found = []
    for piece in pieces:
        low, high = max(piece.start, start), min(piece.end, end)
        if low < high:
            found.append((piece, Fraction(high - low) / (piece.end - piece.start)))
    return found


def days_between(first: date, last: date) -> int:
    """Return the days from one day to another."""
    return (last - first).days
