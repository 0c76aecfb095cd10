"""A site folder as plain data: the YAML files, the log rows and the service records, each cell exact."""

import csv
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import yaml

from tests.second_judge.clock import Clock

Plain = dict[str, Any]


def exact(value: Any) -> Fraction:  # noqa: ANN401 - plain data of a YAML file
    """Return a figure as it was written, in decimals."""
    return Fraction(Decimal(str(value)))


def as_list(value: Any) -> list[Any]:  # noqa: ANN401 - plain data of a YAML file
    """Return a value that may be one or a list as a list."""
    if value is None:
        return []
    return value if isinstance(value, list) else [value]


class _Loader(yaml.SafeLoader):
    """YAML whose days and times stay text."""


_Loader.yaml_implicit_resolvers = {
    first: [pair for pair in pairs if pair[0] != "tag:yaml.org,2002:timestamp"]
    for first, pairs in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def read_yaml(path: Path) -> Plain:
    """Return a YAML file as plain data."""
    # a loader made from the safe one
    loaded: Plain = yaml.load(path.read_text(encoding="utf-8"), Loader=_Loader)  # noqa: TID251 - nothing is shared with the program
    return loaded


@dataclass(frozen=True)
class Row:
    """One row of a block, of one engine."""

    at: int
    figures: dict[str, Fraction | None]


@dataclass(frozen=True)
class Block:
    """The rows of one block of readings by engine, in order of time."""

    told: Plain
    rows: dict[str, list[Row]]


@dataclass(frozen=True)
class Record:
    """One service record."""

    at: int
    day_only: bool
    line: int
    engine: str
    task: str
    outcome: str
    hour_meter_h: Fraction | None
    until_h: Fraction | None
    until_date: str | None
    approved_by: str
    ref: str


@dataclass
class SiteFolder:
    """All that stands in the folder."""

    clock: Clock
    told: Plain
    rules: Plain
    blocks: list[Block] = field(default_factory=list)
    records: list[Record] = field(default_factory=list)

    def engine(self, name: str) -> Plain:
        """Return what the site says of an engine."""
        return next(one for one in self.told["engines"] if one["id"] == name)


TO_CANONICAL = {"min": Fraction(1, 60), "MW": Fraction(1000), "ppm": Fraction(1, 10000), "m3": Fraction(1000)}


def read_folder(folder: Path) -> SiteFolder:
    """Return a site folder as plain data."""
    told = read_yaml(folder / "site.yaml")
    clock = Clock(told["time_zone"])
    site = SiteFolder(clock, told, read_yaml(folder / told["ruleset"]))
    site.blocks = [_read_block(folder, block, site) for block in as_list(told["readings"])]
    site.records = _read_records(folder / "services.csv", clock)
    return site


def _read_block(folder: Path, block: Plain, site: SiteFolder) -> Block:
    engines = [one["id"] for one in site.told["engines"]]
    rows: dict[str, list[Row]] = {name: [] for name in engines}
    stamp = block["timestamp"]
    zone = ZoneInfo(stamp["time_zone"]) if "time_zone" in stamp else site.clock.zone
    form = block.get("csv", {})
    for pattern in as_list(block["files"]):
        for path in sorted(folder.glob(pattern)):
            with path.open(encoding="utf-8", newline="") as stream:
                for cells in csv.DictReader(stream, delimiter=form.get("separator", ",")):
                    at = _stamp(cells, stamp, zone, site.clock)
                    for name in _engines_of(cells, block, engines):
                        rows[name].append(Row(at, _figures(cells, block, name, form.get("decimal", "."))))
    for name, found in rows.items():
        once: dict[int, Row] = {}
        for row in found:
            once.setdefault(row.at, row)
        rows[name] = [once[at] for at in sorted(once)]
    return Block(block, rows)


def _stamp(cells: dict[str, str], stamp: Plain, zone: ZoneInfo, clock: Clock) -> int:
    text = " ".join(cells[column] for column in as_list(stamp["column"]))
    form = stamp.get("format")
    local = datetime.strptime(text, form) if form else datetime.fromisoformat(text)  # noqa: DTZ007 - the zone follows
    return clock.instant(local if local.tzinfo else local.replace(tzinfo=zone))


def _engines_of(cells: dict[str, str], block: Plain, engines: list[str]) -> list[str]:
    told = block.get("engine")
    if told is None:
        return engines
    words = as_list(told["value"]) if "value" in told else [cells[told["column"]]]
    return engines if words == ["all"] else words


def _figures(cells: dict[str, str], block: Plain, engine: str, decimal: str) -> dict[str, Fraction | None]:
    figures: dict[str, Fraction | None] = {}
    for quantity, told in block["quantities"].items():
        text = cells[told["column"].replace("{engine}", engine)].strip().replace(decimal, ".")
        unit = TO_CANONICAL.get(told.get("unit", ""), Fraction(1))
        if quantity == "fuel_h2s_ppm":
            unit = Fraction(1)
        figures[quantity] = exact(text) * unit if text else None
    return figures


def _read_records(path: Path, clock: Clock) -> list[Record]:
    found = []
    with path.open(encoding="utf-8", newline="") as stream:
        for number, cells in enumerate(csv.DictReader(stream), start=2):
            found.append(
                Record(
                    at=clock.read(cells["at"]),
                    day_only=len(cells["at"]) == 10,
                    line=number,
                    engine=cells["engine"],
                    task=cells["task"],
                    outcome=cells["outcome"] or "done",
                    hour_meter_h=exact(cells["hour_meter_h"]) if cells["hour_meter_h"] else None,
                    until_h=exact(cells["until_h"]) if cells["until_h"] else None,
                    until_date=cells["until_date"] or None,
                    approved_by=cells["approved_by"],
                    ref=cells["ref"],
                )
            )
    return found
