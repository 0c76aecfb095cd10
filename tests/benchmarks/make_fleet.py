"""Make a fleet for the benchmarks: a site folder with an hourly log, service records and a rule set, from a seed.

In: how many engines, how many hourly rows each, the file format. Out: a folder with `site.yaml`, `ruleset.yaml`,
`services.csv`, `readings/` and `fleet.json` (what was made, and the as-of date that ends it). Stamps are whole hours
in UTC, the site's own zone, so no row spans midnight; every engine starts new at its first row. The same arguments
give the same bytes.

Usage, from the repository:
    python -m tests.benchmarks.make_fleet FOLDER [--engines 100] [--rows 10000] [--format csv|parquet] [--files month|engines]
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import yaml

from tests.benchmarks.fleet_log import BLANK, HOURS_PER_DAY, EngineLog, draw_log, engine_id, log_table, month_pieces, rated_kw, write_log
from tests.benchmarks.fleet_rules import LOAD_THRESHOLDS_PCT, SULPHUR_THRESHOLDS_PCT, ruleset_document
from tests.benchmarks.fleet_services import EngineCourse, services_of_engine

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.benchmarks.fleet_services import ServiceRow

LAST_DAY = date(2025, 12, 31)
ENGINES_PER_FILE = 10


@dataclass(frozen=True)
class FleetPlan:
    """What is to be made: `files` is month (all engines by time) or engines (ten a file, one engine after another)."""

    engines: int = 100
    rows_per_engine: int = 10_000
    format: str = "csv"
    files: str = "month"
    seed: int = 1

    @property
    def begins(self) -> date:
        """The day of the first row, so that the log ends on `LAST_DAY`."""
        return LAST_DAY - timedelta(days=-(-self.rows_per_engine // HOURS_PER_DAY) - 1)

    @property
    def stamps(self) -> NDArray[np.datetime64]:
        """The hourly stamps of every engine; each row tells of the hour before it."""
        return np.datetime64(self.begins, "h") + np.arange(1, self.rows_per_engine + 1)


def make_fleet(folder: Path, plan: FleetPlan) -> None:
    """Make the whole site folder; it is created where it is not there."""
    (folder / "readings").mkdir(parents=True, exist_ok=True)
    services = write_readings(folder / "readings", plan)
    lines = [f"{at},{engine},{task},{meter_h:.1f},done" for at, engine, task, meter_h in sorted(services)]
    (folder / "services.csv").write_text("\n".join(["at,engine,task,hour_meter_h,outcome", *lines]) + "\n", encoding="utf-8")
    _write_yaml(folder / "site.yaml", site_document(plan))
    _write_yaml(folder / "ruleset.yaml", ruleset_document())
    made = {
        **asdict(plan),
        "services": len(services),
        "as_of": LAST_DAY.isoformat(),
        "load_thresholds_pct": LOAD_THRESHOLDS_PCT,
        "sulphur_thresholds_pct": SULPHUR_THRESHOLDS_PCT,
        "rated_kw": {engine_id(index): rated_kw(index) for index in range(plan.engines)},
    }
    (folder / "fleet.json").write_text(json.dumps(made) + "\n", encoding="utf-8")


def write_readings(folder: Path, plan: FleetPlan) -> list[ServiceRow]:
    """Draw and write every engine's log.

    Args:
        folder: where the log files go.
        plan: what is to be made.

    Returns:
        The service records that go with the logs.
    """
    stamps, as_text = plan.stamps, plan.format == "csv"
    services: list[ServiceRow] = []
    logs: list[EngineLog] = []
    for index in range(plan.engines):
        logs.append(draw_log(plan.seed, index, plan.rows_per_engine))
        rng = np.random.default_rng([plan.seed, index, 1])
        services += services_of_engine(rng, _course(index, logs[-1], plan.begins))
        if plan.files == "engines" and (len(logs) == ENGINES_PER_FILE or index == plan.engines - 1):
            first = index + 1 - len(logs)
            table = log_table(stamps, logs, first, by_time=False, as_text=as_text)
            write_log(table, folder / f"{engine_id(first)}-{engine_id(index)}", plan.format)
            logs = []
    if plan.files == "month":
        for name, piece in month_pieces(stamps):
            table = log_table(stamps[piece], [log.rows(piece) for log in logs], 0, by_time=True, as_text=as_text)
            write_log(table, folder / name, plan.format)
    return services


def _course(index: int, log: EngineLog, begins: date) -> EngineCourse:
    """Turn a log into the figures that the service records go by."""
    return EngineCourse(
        engine=engine_id(index),
        begins=begins,
        meter_h=log.meter_tenths / 10,
        load_pct=np.where(log.load_tenths == BLANK, np.nan, log.load_tenths * 10 / rated_kw(index)),
        sulphur_pct=np.where(log.sulphur_hundredths == BLANK, np.nan, log.sulphur_hundredths / 100),
    )


def site_document(plan: FleetPlan) -> dict[str, Any]:
    """Give the site file as plain data."""
    engines = [
        {
            "id": engine_id(index),
            "fuel": ("diesel", "heavy-fuel")[index % 2],
            "duty": "prime",
            "rated_kw": rated_kw(index),
            "in_service": plan.begins,
            "meter_at_start_h": 0,
            "at_start": {"starts": 0},
        }
        for index in range(plan.engines)
    ]
    readings = {
        "files": [f"readings/*.{plan.format}"],
        "timestamp": {"column": "Time", "covers": "before"},
        "engine": {"column": "Unit"},
        "quantities": {
            "hour_meter_h": {"column": "Hours", "unit": "h"},
            "load_kw": {"column": "P", "unit": "kW"},
            "starts": {"column": "Starts", "unit": "count"},
            "fuel_sulphur_pct": {"column": "S", "unit": "percent"},
        },
    }
    return {"site": "benchmark-fleet", "time_zone": "UTC", "ruleset": "ruleset.yaml", "engines": engines, "readings": readings}


def _write_yaml(path: Path, document: dict[str, Any]) -> None:
    """Write plain data as YAML, keys in the order given."""
    path.write_text(yaml.dump(document, Dumper=_PlainDumper, sort_keys=False), encoding="utf-8")


class _PlainDumper(yaml.SafeDumper):
    """A dumper that writes a value out again where it recurs: site and rule set files allow no aliases."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def main() -> None:
    """Read the arguments and make the fleet."""
    standard = FleetPlan()
    parser = argparse.ArgumentParser(description="Make a fleet for the benchmarks.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--engines", type=int, default=standard.engines)
    parser.add_argument("--rows", type=int, default=standard.rows_per_engine, help="hourly rows an engine")
    parser.add_argument("--format", choices=["csv", "parquet"], default=standard.format)
    parser.add_argument("--files", choices=["month", "engines"], default=standard.files)
    parser.add_argument("--seed", type=int, default=standard.seed)
    chosen = parser.parse_args()
    make_fleet(chosen.folder, FleetPlan(chosen.engines, chosen.rows, chosen.format, chosen.files, chosen.seed))


if __name__ == "__main__":
    main()
