"""The ledger's sums against SQL over the same files: duckdb adds up hours, starts, energy and oil by engine, local day and duty cell."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import duckdb
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_case
from intervals.history.inputs import read_inputs
from intervals.rulebook.duty_cells import CellPlan
from intervals.usage.ledger import Ledger, build_ledger
from intervals.usage.steps import Steps
from tests.properties.bounded import bounded
from tests.properties.made_logs import START, MadeLog, made_logs, scratch
from tests.site_maker import done, rule, task, write_site

ZONE = "Europe/Amsterdam"
# 31 March 2024 has 23 hours there; logs begin on the 1st and last some weeks
THRESHOLDS = {"load_pct": [30.0, 90.0], "fuel_sulphur_pct": [0.5, 1.0]}
RULES = {
    "adjustments": [
        rule("heavy", {"load_pct": {"above": 90}}, counts_as=2),
        rule("light", {"load_pct": {"below": 30}}, counts_as=1.5),
        rule("sulphur", {"fuel_sulphur_pct": {"at_least": 0.5, "at_most": 1.0}}, counts_as=2),
    ]
}
Key = tuple[str, date, str]
SUMMED = ("hours", "starts", "energy_kwh", "oil_added_l")

SQL = """
with read as (
    select engine, cast(epoch_us("at"::timestamptz) as hugeint) as us,
        hour_meter_h, starts, energy_kwh, oil_added_l, load_pct, fuel_sulphur_pct
    from read_csv('{files}', all_varchar = false, columns = {{
        'at': 'varchar', 'engine': 'varchar', 'hour_meter_h': 'double', 'starts': 'double', 'energy_kwh': 'double',
        'oil_added_l': 'double', 'load_pct': 'double', 'fuel_sulphur_pct': 'double'}})
), steps as (
    select engine, lag(us) over w as from_us, us as to_us,
        hour_meter_h - lag(hour_meter_h) over w as hours, starts - lag(starts) over w as starts,
        energy_kwh - lag(energy_kwh) over w as energy_kwh, coalesce(oil_added_l, 0) as oil_added_l,
        {load_cell} as load_cell, {sulphur_cell} as sulphur_cell
    from read window w as (partition by engine order by us)
), pieces as (
    select engine, day, load_cell, sulphur_cell,
        (least(to_us, day_to) - greatest(from_us, day_from))::double / (to_us - from_us)::double as share,
        hours, starts, energy_kwh, oil_added_l
    from steps join days on from_us < day_to and to_us > day_from where from_us is not null
)
select engine, day, load_cell || ' ' || sulphur_cell as cell,
    sum(hours * share), sum(starts * share), sum(energy_kwh * share), sum(oil_added_l * share)
from pieces group by all
"""


def cell_case(column: str, thresholds: list[float]) -> str:
    """Return SQL that names the cell of a level: below, at or above each threshold, or unknown."""
    parts = [f"when {column} is null then 'unknown'"]
    for threshold in thresholds:
        parts += [f"when {column} < {threshold} then 'below {threshold}'", f"when {column} = {threshold} then 'at {threshold}'"]
    return f"case {' '.join(parts)} else 'above' end"


def cell_name(code: int, thresholds: list[float]) -> str:
    """Return the same name for a code of the ledger."""
    if code == 2 * len(thresholds) + 1:
        return "unknown"
    if code == 2 * len(thresholds):
        return "above"
    return f"{'at' if code % 2 else 'below'} {thresholds[code // 2]}"


def sums_by_sql(folder: Path) -> dict[Key, tuple[float, ...]]:
    """Return hours, starts, energy and oil by engine, local day and cell, as duckdb adds them up."""
    days = []
    day = START.date() - timedelta(days=1)
    while day < START.date() + timedelta(days=70):
        following = day + timedelta(days=1)
        days.append(
            (day, *(round(datetime(at.year, at.month, at.day, tzinfo=ZoneInfo(ZONE)).timestamp() * 1e6) for at in (day, following)))
        )
        day = following
    with duckdb.connect() as connection:
        connection.execute("set threads = 1")
        connection.execute("create table days (day date, day_from hugeint, day_to hugeint)")
        connection.executemany("insert into days values (?, ?, ?)", days)
        sql = SQL.format(
            files=str(folder / "readings" / "*.csv"),
            load_cell=cell_case("load_pct", THRESHOLDS["load_pct"]),
            sulphur_cell=cell_case("fuel_sulphur_pct", THRESHOLDS["fuel_sulphur_pct"]),
        )
        return {(engine, on, cell): tuple(sums) for engine, on, cell, *sums in connection.execute(sql).fetchall()}


def sums_by_ledger(case: EngineCase) -> dict[Key, float]:
    """Return the running hours by engine, local day and cell of a ledger, pieces of a day added up."""
    found: dict[Key, float] = defaultdict(float)
    ledger = case.ledger
    for piece, at_us in enumerate(ledger.edges_us[:-1].tolist()):
        for number, cell in enumerate(ledger.cells):
            named = dict(zip(ledger.levels, cell, strict=True))
            name = " ".join(cell_name(named[level], thresholds) for level, thresholds in THRESHOLDS.items())
            found[case.engine.id, case.days.date_of(at_us), name] += float(ledger.cell_hours_h[piece, number])
    return found


def cases_of(folder: Path, logs: dict[str, MadeLog]) -> list[EngineCase]:
    """Write a site of some engines and return their cases at the end of the log."""
    rows = [{**row, "at": f"{row['at']}Z"} for engine, log in logs.items() for row in log.rows(engine)]
    services = [{**record, "at": f"{record['at']}Z"} for engine, log in logs.items() for record in log.records(engine=engine)]
    # a column that no row fills must be there for SQL
    columns = ("at", "engine", "hour_meter_h", "starts", "energy_kwh", "oil_added_l", "load_pct", "fuel_sulphur_pct")
    rows = [{name: row.get(name, "") for name in columns} for row in rows]
    site = write_site(
        folder, [task(every={"running_hours": 100})], rows, services=services,
        engines=[{"id": engine} for engine in logs], rules=RULES, time_zone=ZONE,
    )  # fmt: skip
    inputs = read_inputs(site, START.date() + timedelta(days=60))
    return [case for index in range(len(logs)) if (case := build_case(inputs, index, None)) is not None]


@pytest.mark.outside("9.2")
@bounded(40)
@given(st.fixed_dictionaries({"G1": made_logs(), "G2": made_logs()}))
def test_sums_are_those_of_sql(logs: dict[str, MadeLog]) -> None:
    """Hours by engine, local day and duty cell; starts, energy and oil by engine and local day: the same as SQL over the files."""
    with scratch() as folder:
        cases = cases_of(folder, logs)
        by_sql = sums_by_sql(folder)
    for case in cases:
        mine = sums_by_ledger(case)
        theirs = {key: row[0] for key, row in by_sql.items() if key[0] == case.engine.id}
        for key in mine.keys() | theirs.keys():
            assert mine.get(key, 0.0) == pytest.approx(theirs.get(key, 0.0), abs=1e-9)
        for place, name in enumerate(SUMMED[1:], start=1):
            counted: dict[date, float] = defaultdict(float)
            for piece, at_us in enumerate(case.ledger.edges_us[:-1].tolist()):
                counted[case.days.date_of(at_us)] += float(case.ledger.sums[name][piece])
            summed: dict[date, float] = defaultdict(float)
            for (engine, day, _), row in by_sql.items():
                if engine == case.engine.id:
                    summed[day] += row[place]
            for day in counted.keys() | summed.keys():
                assert counted[day] == pytest.approx(summed[day], abs=1e-6), (name, day)


@bounded(40)
@given(made_logs())
def test_the_whole_is_the_sum_of_its_cells(log: MadeLog) -> None:
    """Nothing is lost between the meter and the cells: all hours, all starts, all oil."""
    with scratch() as folder:
        (case,) = cases_of(folder, {"G1": log})
    assert float(case.ledger.running_h[-1]) == pytest.approx(sum(step.run_h for step in log.steps), abs=1e-6)
    assert float(case.ledger.totals["starts"][-1]) == pytest.approx(sum(step.starts for step in log.steps), abs=1e-6)
    assert float(case.ledger.totals["energy_kwh"][-1]) == pytest.approx(sum(step.energy_kwh for step in log.steps), abs=1e-6)
    assert float(case.ledger.totals["oil_added_l"][-1]) == pytest.approx(sum(step.oil_added_l for step in log.steps), abs=1e-6)


@bounded(30)
@given(made_logs(), st.data())
def test_ledgers_of_two_pieces_of_a_log_add_up(log: MadeLog, data: st.DataObject) -> None:
    """Split the steps anywhere, build a ledger of each piece over the same edges, and merge them: the ledger of the whole."""
    with scratch() as folder:
        (case,) = cases_of(folder, {"G1": log})
    plan = case.book.plan
    count = len(log.steps)
    cut = data.draw(st.integers(0, count))
    whole = case.ledger
    merged = merge_ledgers(*(ledger_of(log, part, whole, plan) for part in (range(cut), range(cut, count))))
    place = {cell: index for index, cell in enumerate(merged.cells)}
    for index, cell in enumerate(whole.cells):
        if whole.cell_hours_h[:, index].any():
            assert merged.cell_hours_h[:, place[cell]] == pytest.approx(whole.cell_hours_h[:, index], abs=1e-6)
    assert merged.running_h[-1] == pytest.approx(whole.running_h[-1], abs=1e-6)


def ledger_of(log: MadeLog, part: range, whole: Ledger, plan: CellPlan) -> Ledger:
    """Return the ledger of some steps of a log over the edges of the whole."""
    nodes = {int(edge): (0.0, np.nan, np.nan) for edge in whole.edges_us[:-1]}
    begin = int(START.timestamp()) * 1_000_000
    ends = [0, *log.ends]
    spans = [(begin + ends[index] * 60_000_000, begin + ends[index + 1] * 60_000_000, log.steps[index]) for index in part]
    for start, end, _ in spans:
        nodes.setdefault(start, (0.0, np.nan, np.nan))
        nodes.setdefault(end, (0.0, np.nan, np.nan))
    at = np.array(sorted({*nodes, int(whole.edges_us[-1])}), dtype=np.int64)
    hours, load, sulphur = np.zeros(len(at) - 1), np.full(len(at) - 1, np.nan), np.full(len(at) - 1, np.nan)
    for index, (low, high) in enumerate(zip(at[:-1].tolist(), at[1:].tolist(), strict=True)):
        for start, end, step in spans:
            if start <= low and high <= end:
                hours[index] = step.run_h * (high - low) / (end - start)
                load[index] = np.nan if step.load_pct is None else step.load_pct
                sulphur[index] = np.nan if step.fuel_sulphur_pct is None else step.fuel_sulphur_pct
    known = np.ones(len(hours), dtype=np.bool_)
    made = Steps(at, hours, known, ~known, {"load_pct": load, "fuel_sulphur_pct": sulphur}, {}, {})
    return build_ledger(made, whole.edges_us, plan)


def test_a_day_of_twenty_three_hours_is_one_day(tmp_path: Path) -> None:
    """On 31 March 2024 in Amsterdam an engine that always runs runs 23 h."""
    rows = [
        {"at": "2024-03-30T00:00Z", "engine": "G1", "hour_meter_h": 0, "load_pct": 50, "fuel_sulphur_pct": 0},
        {"at": "2024-04-02T00:00Z", "engine": "G1", "hour_meter_h": 72, "load_pct": 50, "fuel_sulphur_pct": 0},
    ]
    site = write_site(
        tmp_path, [task(every={"running_hours": 100})], rows, services=[done("oil", "2024-03-30T01:00Z")], rules=RULES, time_zone=ZONE
    )
    case = build_case(read_inputs(site, date(2024, 4, 5)), 0, None)
    assert case is not None
    by_day: dict[date, float] = defaultdict(float)
    for (_, day, _), hours in sums_by_ledger(case).items():
        by_day[day] += hours
    # 30 March from 01:00 local, 31 March short, 1 April whole, 2 April up to 02:00
    assert [round(by_day[date(2024, 3, 30) + timedelta(days=number)], 9) for number in range(4)] == [23.0, 23.0, 24.0, 2.0]


def merge_ledgers(first: Ledger, second: Ledger) -> Ledger:
    """Return the sum of two ledgers over the same edges and levels, cell by cell."""
    assert first.levels == second.levels
    assert np.array_equal(first.edges_us, second.edges_us)
    cells = tuple(sorted({*first.cells, *second.cells}))
    place = {cell: index for index, cell in enumerate(cells)}
    shape = (len(first.edges_us) - 1, len(cells))
    hours = np.zeros(shape)
    sums: dict[str, np.ndarray] = {}
    cell_counts: dict[str, np.ndarray] = {}
    for ledger in (first, second):
        columns = [place[cell] for cell in ledger.cells]
        hours[:, columns] += ledger.cell_hours_h
        for name, table in ledger.cell_counts.items():
            cell_counts.setdefault(name, np.zeros(shape))[:, columns] += table
        for name, values in ledger.sums.items():
            sums[name] = sums[name] + values if name in sums else values
    known_from = dict(first.counters_known_from_us)
    for name, at_us in second.counters_known_from_us.items():
        known_from[name] = min(at_us, known_from.get(name, at_us))
    return Ledger(
        first.edges_us,
        first.levels,
        cells,
        hours,
        sums,
        first.unknown_h + second.unknown_h,
        first.doubtful_h + second.doubtful_h,
        first.doubtful_steps + second.doubtful_steps,
        known_from,
        cell_counts,
    )
