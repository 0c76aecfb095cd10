"""The parts of one log file as an entry of the cache holds them: columns as blocks of bytes, and what is known of each engine's rows.

In: `Part` values and what is known of their times; or an entry. Out: bytes and plain data; or the same parts. Refuses (ValueError) an
entry that cannot be what was written. Columns of an entry are not looked at before they are asked for: `check_rows` holds them against the
digests of each engine's rows.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.readings.block_parts import LINE, TIME, Column, Name, Part
from intervals.readings.merge import PartTimes
from intervals.user_cache import Entry, EntryWriter

DIGEST_BYTES = 16
_ENGINE = np.dtype(
    [
        ("engine", "<i4"),
        ("start", "<i4"),
        ("stop", "<i4"),
        ("first_us", "<i8"),
        ("last_us", "<i8"),
        ("is_odd", "u1"),
        ("digest", f"V{DIGEST_BYTES}"),
    ]
)
"""What is kept of the rows of one engine in one part."""
_COLUMN_KINDS = ("i4", "i8", "f4", "f8")


class KeptPart(NamedTuple):
    """A part, and what is known of it without a look at its rows.

    Attributes:
        part: the part, without what is the same in all rows.
        times: what is known of its times.
        digests: digest of the rows of each of its engines.
    """

    part: Part
    times: PartTimes
    digests: tuple[bytes, ...]

    def is_whole(self, engines: Collection[int] | None) -> bool:
        """Tell whether the rows of some engines are as they were written; None: of all."""
        part = self.part
        places = range(len(part.engine)) if engines is None else np.flatnonzero(np.isin(part.engine, list(engines))).tolist()
        found = row_digests(part, places)
        return all(digest == self.digests[place] for digest, place in zip(found, places, strict=True))


def row_digests(part: Part, places: Collection[int] | None = None) -> list[bytes]:
    """Return the digest of the rows of each engine of a part: of every column, with its name and type.

    Args:
        part: the part.
        places: of which of its engines, by their place in it; None: of all.
    """
    columns = [np.ascontiguousarray(column).data.cast("B") for column in part.columns.values()]
    widths = [column.itemsize for column in part.columns.values()]
    whole = hashlib.sha256(repr([(name, column.dtype.str) for name, column in part.columns.items()]).encode())
    found: list[bytes] = []
    starts, stops = part.start.tolist(), part.stop.tolist()
    for place in range(len(starts)) if places is None else places:
        digest = whole.copy()
        for column, width in zip(columns, widths, strict=True):
            digest.update(column[starts[place] * width : stops[place] * width])
        found.append(digest.digest()[:DIGEST_BYTES])
    return found


def write_part(kept: KeptPart, writer: EntryWriter) -> tuple[dict[str, Any], bytes]:
    """Write the columns of a part, and return what the head and the index of its entry hold of it."""
    part, times = kept.part, kept.times
    columns = [
        [
            name if isinstance(name, str) else None,
            name is TIME,
            column.dtype.newbyteorder("<").str,
            writer.add(_bytes_of(column)),
            column.nbytes,
        ]
        for name, column in part.columns.items()
    ]
    index = np.zeros(len(part.engine), dtype=_ENGINE)
    index["engine"], index["start"], index["stop"] = part.engine, part.start, part.stop
    index["first_us"], index["last_us"], index["is_odd"] = times.first_us, times.last_us, times.is_odd
    index["digest"] = np.frombuffer(b"".join(kept.digests), dtype=f"V{DIGEST_BYTES}")
    return {"engines": len(index), "lowest_us": times.lowest_us, "highest_us": times.highest_us, "columns": columns}, index.tobytes()


def read_parts(entry: Entry, heads: list[dict[str, Any]]) -> tuple[KeptPart, ...]:
    """Return the parts of an entry.

    Raises:
        ValueError: it cannot be what was written.
    """
    index = np.frombuffer(entry.index, dtype=_ENGINE)
    found: list[KeptPart] = []
    first = 0
    for head in heads:
        rows = index[first : first + head["engines"]]
        first += head["engines"]
        part = Part(
            {_name_of(*entry_of[:2]): _column_of(entry, *entry_of[2:]) for entry_of in head["columns"]},
            {},
            *(rows[name].astype(np.int32) for name in ("engine", "start", "stop")),
        )
        times = PartTimes(
            rows["first_us"].astype(np.int64),
            rows["last_us"].astype(np.int64),
            rows["is_odd"].astype(np.bool_),
            head["lowest_us"],
            head["highest_us"],
        )
        digests = rows["digest"].tobytes()
        found.append(KeptPart(part, times, tuple(digests[at : at + DIGEST_BYTES] for at in range(0, len(digests), DIGEST_BYTES))))
    return tuple(found)


def _name_of(quantity: str | None, is_time: bool) -> Name:
    """Return the name of a column."""
    return quantity if quantity is not None else TIME if is_time else LINE


def _column_of(entry: Entry, kind: str, start: int, size: int) -> Column:
    """Return a column of an entry; nothing of it is looked at."""
    if kind.lstrip("<") not in _COLUMN_KINDS:
        message = f"no column is of {kind}"
        raise ValueError(message)
    column: NDArray[Any] = np.frombuffer(entry.block(start, size), dtype=kind)
    return column


def _bytes_of(column: Column) -> memoryview:
    """Return the bytes of a column."""
    plain = np.ascontiguousarray(column, dtype=column.dtype.newbyteorder("<"))
    return plain.data.cast("B")
