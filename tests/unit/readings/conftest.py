"""A site of any files, for the tests of reading."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import yaml

from intervals.site.model import Site, load_site

MakeSite = Callable[..., Site]

READINGS: dict[str, Any] = {
    "files": ["readings/*"],
    "timestamp": {"column": "Time"},
    "engine": {"column": "Unit"},
    "quantities": {"hour_meter_h": {"column": "Hours"}, "load_kw": {"column": "P"}},
}
"""A block for files with the columns Time, Unit, Hours, P."""


def us(text: str) -> int:
    """Return UTC microseconds of an ISO 8601 time; without offset it is UTC."""
    moment = datetime.fromisoformat(text)
    moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // (datetime.resolution)


@pytest.fixture
def make_site(tmp_path: Path) -> MakeSite:
    """Return a function that writes files and a `site.yaml`, and loads the site."""

    def make(
        files: Mapping[str, str | bytes] | None = None,
        readings: Mapping[str, Any] | list[Mapping[str, Any]] | None = None,
        engines: list[Mapping[str, Any]] | None = None,
        **site: object,
    ) -> Site:
        for name, content in (files or {}).items():
            path = tmp_path / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content.encode() if isinstance(content, str) else content)
        data = {
            "site": "brackwater",
            "time_zone": "Europe/Amsterdam",
            "ruleset": "gas-engine",
            "engines": engines or [{"id": "G1", "rated_kw": 1000}, {"id": "G2", "rated_kw": 500}],
            "readings": READINGS if readings is None else readings,
            **site,
        }
        (tmp_path / "site.yaml").write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True), encoding="utf-8")
        return load_site(tmp_path)

    return make
