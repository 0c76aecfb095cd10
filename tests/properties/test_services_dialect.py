"""A row appended to service records of any layout: the bytes before it stay, it reads back as it was meant, earlier rows read as before."""

from __future__ import annotations

import codecs
import csv
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from intervals.questions.record.append_records import append_rows
from intervals.questions.record.services_dialect import RecordRow, dialect_of
from intervals.readings import read_records
from intervals.site.model import Site
from tests.properties.bounded import bounded

NAMES = ("at", "engine", "task", "hour_meter_h", "outcome", "done_by", "note", "ref", "until_h", "until_date", "approved_by", "hours_h")
FORMS = (
    "%Y-%m-%d %H:%M",
    "%Y-%m-%dT%H:%M:%S",
    "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %H:%M",
    "%d.%m.%Y",
    "%Y-%m-%d",
    "%d.%m.%y %H:%M",
)
ENCODINGS = (
    ("utf-8", b""), ("utf-8", codecs.BOM_UTF8), ("cp1252", b""), ("utf-16-le", codecs.BOM_UTF16_LE), ("utf-16-be", codecs.BOM_UTF16_BE),
)  # fmt: skip
NOW = datetime(2026, 6, 1, tzinfo=UTC)
WORDS = st.text(st.sampled_from("aé ü;,\"'x=+0\t-|"), max_size=8)
TIMES = st.datetimes(datetime(2020, 1, 1), datetime(2025, 12, 31)).map(lambda at: at.replace(second=0, microsecond=0))  # noqa: DTZ001 - local


@st.composite
def layouts(draw: st.DrawFn) -> dict[str, Any]:
    """Return how a file is written."""
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    return {
        "separator": separator,
        "decimal": draw(st.sampled_from([".", ","])),
        "line_end": draw(st.sampled_from(["\n", "\r\n"])),
        "encoding": draw(st.sampled_from(ENCODINGS)),
        "form": draw(st.sampled_from(FORMS)),
        "is_stated": draw(st.booleans()),
        "quoting": draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL])),
        "columns": draw(st.permutations(NAMES)),
        "ends": draw(st.booleans()),
        "renamed": draw(st.booleans()),
    }


@st.composite
def old_rows(draw: st.DrawFn) -> list[tuple[datetime, float, str]]:
    """Return a few earlier records: when, meter reading, remark."""
    return draw(st.lists(st.tuples(TIMES, st.integers(0, 400_000).map(lambda tenths: tenths / 10), WORDS), min_size=0, max_size=4))


def written(layout: dict[str, Any], rows: list[tuple[datetime, float, str]]) -> bytes:
    """Return a file of records."""
    text = StringIO()
    names = [name.upper() if layout["renamed"] else name for name in layout["columns"]]
    writer = csv.writer(text, delimiter=layout["separator"], lineterminator=layout["line_end"], quoting=layout["quoting"])
    writer.writerow(names)
    for at, hours, note in rows:
        cells = {
            "at": at.strftime(layout["form"]), "engine": "North", "task": "Oil", "outcome": "erledigt", "note": note, "ref": "JC-1",
            "hour_meter_h": f"{hours:.1f}".replace(".", layout["decimal"]),
        }  # fmt: skip
        writer.writerow([cells.get(name, "") for name in layout["columns"]])
    encoding: str
    mark: bytes
    encoding, mark = layout["encoding"]
    whole = text.getvalue() if layout["ends"] else text.getvalue().removesuffix(layout["line_end"])
    return mark + whole.encode(encoding)


def site_of(folder: Path, layout: dict[str, Any]) -> Site:
    """Return a site whose records are mapped."""
    stated = {"separator": layout["separator"], "decimal": layout["decimal"]} if layout["is_stated"] else None
    services: dict[str, Any] = {
        "engine_names": {"North": "G1"},
        "task_names": {"Oil": "oil", "Big service": ["oil", "plugs"]},
        "outcome_names": {"erledigt": "done", "verschoben": "deferred"},
        "timestamp_format": layout["form"],
        **({"csv": stated} if stated else {}),
        **({"columns": {name: name.upper() for name in NAMES}} if layout["renamed"] else {}),
    }
    block = {"files": "log.csv", "timestamp": {"column": "t"}, "engine": {"value": "G1"}, "quantities": {"hour_meter_h": {"column": "h"}}}
    site = Site.model_validate(
        {"site": "quay", "time_zone": "Europe/Berlin", "ruleset": "x", "engines": [{"id": "G1"}], "readings": block, "services": services}
    )
    site._folder = folder
    return site


@bounded(150)
@given(layouts(), old_rows(), TIMES, st.one_of(st.none(), st.integers(0, 10**9).map(lambda value: value / 1000)), WORDS)
def test_a_row_more_is_read_as_it_was_meant(
    layout: dict[str, Any], rows: list[tuple[datetime, float, str]], at: datetime, hours: float | None, note: str
) -> None:
    """Whatever the separator, marks, quotes, columns, encoding, line ends and dates: earlier bytes are a prefix of the new file."""
    with TemporaryDirectory() as name:
        site = site_of(Path(name), layout)
        path = Path(name) / "services.csv"
        path.write_bytes(written(layout, rows))
        before, earlier = path.read_bytes(), read_records(site, now_us=None).records
        when = at.replace(hour=12, tzinfo=site.zone)
        meant = [
            RecordRow(when, "G1", "oil", "done", hour_meter_h=hours, done_by=note, note=note, ref="7K3M-9QXT-02HD-15WV"),
            RecordRow(when + timedelta(days=1), "G1", "plugs", "deferred", until_h=hours, until_date=date(2026, 5, 4), approved_by="AB"),
        ]
        done = append_rows(dialect_of(site), meant, files={}, now=NOW)
        after, later = path.read_bytes(), read_records(site, now_us=None)
        assert after.startswith(before)
        assert later.records[: len(earlier)] == earlier
        first, second = later.records[len(earlier) :]
        assert (first.engine, first.task, first.outcome, first.ref) == ("G1", "oil", "done", "7K3M-9QXT-02HD-15WV")
        assert first.hour_meter_h == hours
        assert (second.outcome, second.until_h, second.until_date, second.approved_by) == ("deferred", hours, date(2026, 5, 4), "AB")
        has_clock = "%H" in layout["form"] and rows
        if has_clock or not rows:
            assert first.at_us == when.astimezone(UTC).timestamp() * 1e6 or first.on == when.date()
        else:
            assert first.on == when.date()
        assert done.lines == (first.line, second.line)
        assert not (Path(name) / "records" / ".trial.csv").exists()
