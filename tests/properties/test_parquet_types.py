"""Parquet files whose columns are of any type: each is read, or refused by its name and type; never an error of a library."""

from __future__ import annotations

import re
import warnings
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from intervals import assess, read_site
from intervals.problems import ProblemsError
from tests.properties.bounded import bounded
from tests.site_maker import done, steady, task, write_site

ROWS = 20
NESTED = (pa.list_(pa.string()), pa.struct([("a", pa.string())]), pa.map_(pa.string(), pa.string()))
TIMES = [datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=day) for day in range(ROWS)]
HOURS = [5 * day for day in range(ROWS)]
"""The first row that each column is made of: times, engines, hours of the meter."""


def _nested(values: list[str]) -> list[pa.Array]:
    """Return values inside lists, structs and maps."""
    return [
        pa.array([[value] for value in values]),
        pa.array([{"a": value} for value in values]),
        pa.array([[("k", v)] for v in values], NESTED[2]),
    ]


def _of_any_kind(values: list[str], typed: list[pa.Array]) -> list[pa.Array]:
    """Return a column in every kind that text can have, and others that hold the same or nothing of it."""
    texts = pa.array(values)
    codes = [value.encode() for value in values]
    return [
        texts,
        texts.dictionary_encode(),
        texts.cast(pa.large_string()),
        pa.array(codes, pa.binary()),
        pa.array([b"\xff\xfe"] * ROWS, pa.binary()),
        pa.array([Decimal("1.5")] * ROWS),
        pa.array([True] * ROWS),
        pa.array([timedelta(days=1)] * ROWS, pa.duration("us")),
        pa.array([TIMES[0].time()] * ROWS, pa.time64("us")),
        pa.array([date(2026, 1, 1)] * ROWS),
        pa.nulls(ROWS),
        *_nested(values),
        *typed,
    ]


STAMPS = _of_any_kind(
    [at.strftime("%Y-%m-%d %H:%M") for at in TIMES],
    [
        pa.array(TIMES, pa.timestamp("ns", tz="UTC")),
        pa.array([at.replace(tzinfo=None) for at in TIMES], pa.timestamp("s")),
        pa.array([int(at.timestamp()) for at in TIMES]),
        pa.array([at.timestamp() for at in TIMES]),
    ],
)
ENGINES = _of_any_kind(["G1"] * ROWS, [pa.array([1] * ROWS), pa.array([1.0] * ROWS), pa.array([b"G1"] * ROWS, pa.binary(2))])
METERS = _of_any_kind(
    [str(hours) for hours in HOURS],
    [
        pa.array(HOURS),
        pa.array(HOURS, pa.uint8()),
        pa.array([float(hours) for hours in HOURS], pa.float32()),
        pa.array([float(hours) for hours in HOURS]).dictionary_encode(),
        pa.array([Decimal(hours) for hours in HOURS], pa.decimal256(60, 3)),
        pa.array(TIMES, pa.timestamp("us")),
    ],
)
NAMES = st.sampled_from(["at", "engine", "hour_meter_h", "", "\x00", "AT", "at ", "x" * 5000, "\N{LATIN SMALL LETTER U WITH DIAERESIS}"])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a site that reads readings/log.parquet, which is not there yet."""
    made = tmp_path_factory.mktemp("parquet")
    write_site(
        made, [task("oil", every={"running_hours": 500})], steady("2026-01-01", "2026-01-02", 5), services=[done("oil", "2026-01-01", 0)]
    )
    (made / "readings" / "log.csv").unlink()
    site = yaml.safe_load((made / "site.yaml").read_text("utf-8"))
    site["readings"]["files"] = ["readings/*.parquet"]
    (made / "site.yaml").write_text(yaml.safe_dump(site), encoding="utf-8")
    return made


def _judged(folder: Path, columns: list[pa.Array], names: list[str]) -> None:
    """Judge the site with a file of these columns; only a refusal may stop it, and it names the file."""
    pq.write_table(pa.Table.from_arrays(columns, names), folder / "readings" / "log.parquet")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            assess(read_site(folder), date(2026, 1, 31))
        except ProblemsError as error:
            refused = error.problems
        else:
            return
    assert refused
    assert all(re.fullmatch(r"(REA|SIT)\d{3}", problem.code) for problem in refused)


@bounded(60)
@given(st.sampled_from(STAMPS), st.sampled_from(ENGINES), st.sampled_from(METERS), st.none() | st.tuples(st.integers(0, 2), NAMES))
def test_a_file_is_read_or_refused(folder: Path, at: pa.Array, engine: pa.Array, meter: pa.Array, other: tuple[int, str] | None) -> None:
    """Any kind of column under any name, twice the same name too."""
    names = ["at", "engine", "hour_meter_h"]
    if other is not None:
        names[other[0]] = other[1]
    _judged(folder, [at, engine, meter], names)


@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize("kind", [0, 1, 2])
def test_a_nested_column_is_refused_by_name_and_type(folder: Path, place: int, kind: int) -> None:
    """A list, a struct, a map: in the place of times, of engines and of the meter."""
    names = ["at", "engine", "hour_meter_h"]
    columns: list[pa.Array] = [STAMPS[0], ENGINES[0], METERS[0]]
    columns[place] = _nested(["1"] * ROWS)[kind]
    pq.write_table(pa.Table.from_arrays(columns, names), folder / "readings" / "log.parquet")
    with pytest.raises(ProblemsError) as caught:
        assess(read_site(folder), date(2026, 1, 31))
    said = " ".join(problem.text for problem in caught.value.problems)
    assert names[place] in said or "time" in said
    assert str(columns[place].type).split("<")[0] in said
