"""What the bare scripts are told of a fleet, and the line they print so that their sums can be compared.

In: a folder made by `make_fleet.py`. Out: `FleetFolder`, read from `fleet.json` and not from the site file, so that a
bare script spends no time on YAML. Light on purpose: it loads neither pandas nor numpy.

The checksum: with engines counted from 0, days from 1970-01-01, duty cells `6 x load cell + sulphur cell`, and hours
in thousandths, `by_day` sums hours x weight(engine, day), and `by_cell` sums (hours + starts) x (weight + 1009 x cell).
A cell is 0 below the first threshold, 1 on it, 2 between, 3 on the second, 4 above it, and 5 where the level is blank.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import NamedTuple

US_PER_DAY = 86_400_000_000
CELLS_PER_LEVEL = 6
UNKNOWN_CELL = 5
CELLS = CELLS_PER_LEVEL * CELLS_PER_LEVEL

# The day's weight is (ENGINE_FACTOR x engine + DAY_FACTOR x day) mod MODULUS, plus 1.
ENGINE_FACTOR, DAY_FACTOR, MODULUS, CELL_FACTOR = 131, 31, 997, 1009


class FleetFolder(NamedTuple):
    """A fleet's log files and the facts needed to sum them."""

    files: list[Path]
    format: str
    as_of: str
    rated_kw: dict[str, float]
    load_thresholds_pct: tuple[float, float]
    sulphur_thresholds_pct: tuple[float, float]


def read_fleet(folder: Path) -> FleetFolder:
    """Read what `make_fleet.py` noted down; engines are in the order of the site file."""
    made = json.loads((folder / "fleet.json").read_text(encoding="utf-8"))
    return FleetFolder(
        files=sorted((folder / "readings").glob(f"*.{made['format']}")),
        format=made["format"],
        as_of=made["as_of"],
        rated_kw={engine: float(kw) for engine, kw in made["rated_kw"].items()},
        load_thresholds_pct=tuple(made["load_thresholds_pct"]),
        sulphur_thresholds_pct=tuple(made["sulphur_thresholds_pct"]),
    )


def checksum_line(*, hours: float, by_day: int, starts: int | None = None, by_cell: int | None = None) -> str:
    """Write the line that the scripts print; a figure that a script does not sum is left out."""
    figures = {"hours": f"{hours:.1f}", "by_day": by_day, "starts": starts, "by_cell": by_cell}
    return "checksum " + " ".join(f"{name}={figure}" for name, figure in figures.items() if figure is not None) + "\n"
