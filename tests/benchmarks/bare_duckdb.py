"""The ledger's sums in duckdb alone: running hours and starts by engine, day and duty cell.

In: a fleet folder. Out: the checksum line. One query with a stated schema and integer keys; day and cell are worked
out before the window that looks back at the previous row, so that the window carries five narrow columns. It does
not need rows in order of time, and checks nothing.

Usage, from the repository: python -m tests.benchmarks.bare_duckdb FOLDER
"""

from __future__ import annotations

import sys
from pathlib import Path

import duckdb

from tests.benchmarks.fleet_folder import (
    CELL_FACTOR,
    CELLS,
    CELLS_PER_LEVEL,
    DAY_FACTOR,
    ENGINE_FACTOR,
    MODULUS,
    UNKNOWN_CELL,
    US_PER_DAY,
    FleetFolder,
    checksum_line,
    read_fleet,
)

DAYS = 100_000
CSV_COLUMNS = "{'Time': 'TIMESTAMP', 'Unit': 'unit', 'Hours': 'DOUBLE', 'P': 'DOUBLE', 'Starts': 'INTEGER', 'S': 'DOUBLE'}"


def cell(level: str, thresholds: tuple[float, float]) -> str:
    """Write the number of the cell that a level falls into."""
    low, high = thresholds
    passed = (f"({level} {step})::int" for step in (f">= {low}", f"> {low}", f">= {high}", f"> {high}"))
    return f"coalesce({' + '.join(passed)}, {UNKNOWN_CELL})"


def source(fleet: FleetFolder) -> str:
    """Write the table function that reads all the log files."""
    names = ", ".join(f"'{file.as_posix()}'" for file in fleet.files)
    if fleet.format == "parquet":
        return f"read_parquet([{names}])"
    return f"read_csv([{names}], header = true, delim = ',', auto_detect = false, columns = {CSV_COLUMNS})"


def query(fleet: FleetFolder) -> str:
    """Write the whole query, from the files to the checksum's figures."""
    cells = f"{cell('100 * P / kw', fleet.load_thresholds_pct)} * {CELLS_PER_LEVEL} + {cell('S', fleet.sulphur_thresholds_pct)}"
    return f"""
        with numbered as (
            select enum_code(Unit::unit)::integer as engine, epoch_us(Time) as stamp, Hours, P, Starts, S from {source(fleet)}
        ), placed as (
            select engine, stamp, Hours, Starts, ((stamp - 1) // {US_PER_DAY} * {CELLS} + {cells})::integer as place
            from numbered join rated using (engine)
        ), steps as (
            select engine, place,
                Hours - coalesce(lag(Hours) over course, 0) as hours,
                Starts - coalesce(lag(Starts) over course, 0) as starts
            from placed window course as (partition by engine order by stamp)
        ), sums as (
            select engine::bigint * {DAYS * CELLS} + place as key, sum(hours) as hours, sum(starts)::bigint as starts
            from steps group by key
        ), weighed as (
            select hours, starts, key % {CELLS} as cell, round(hours * 1000)::bigint as thousandths,
                ({ENGINE_FACTOR} * (key // {DAYS * CELLS}) + {DAY_FACTOR} * (key // {CELLS} % {DAYS})) % {MODULUS} + 1 as weight
            from sums
        )
        select sum(hours), sum(starts)::bigint, sum(thousandths * weight)::bigint,
            sum((thousandths + 1000 * starts) * (weight + {CELL_FACTOR} * cell))::bigint
        from weighed
    """


def main() -> None:
    """Read, sum, print."""
    fleet = read_fleet(Path(sys.argv[1]))
    with duckdb.connect() as connection:
        engines = ", ".join(f"'{engine}'" for engine in fleet.rated_kw)
        connection.execute(f"create type unit as enum ({engines})")
        ratings = ", ".join(f"({number}, {kw}::double)" for number, kw in enumerate(fleet.rated_kw.values()))
        connection.execute(f"create table rated as select * from (values {ratings}) as listed (engine, kw)")
        totals = connection.execute(query(fleet)).fetchone()
    if totals is None:
        sys.exit("the query gave no totals")
    hours, starts, by_day, by_cell = totals
    sys.stdout.write(checksum_line(hours=hours, by_day=by_day, starts=starts, by_cell=by_cell))


if __name__ == "__main__":
    main()
