"""Rows appended to a site's service records, whole or not at all, and the cards that they rest on beside them.

In: records, and the files that go with them. Out: the rows, in the file. Refuses (CLI164) a row that would not read back as what was
meant, or after which earlier rows would read differently: then nothing is written.

What is there is never touched. The rows go into the file in one write. Before that a note of what is meant goes to `records/.pending`:
whoever writes next finds there what a crash left unfinished, and finishes it.
"""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from intervals.faults import Fault
from intervals.local_days import to_us
from intervals.problems import Problem, RequestProblemError
from intervals.questions.record.records_lock import RECORDS
from intervals.questions.record.services_dialect import CANNOT_APPEND, Dialect, RecordRow
from intervals.readings import Records, ServiceRecord, read_records
from intervals.readings.spelling import folded_name
from intervals.site.model import Site
from intervals.writing import open_regular, read_regular, write_regular

PENDING = ".pending"
_TRIAL = ".trial.csv"
NOTHING_IS = "nothing is recorded"
"""What is said where the rows of a record could not be written: none of them is, whatever was recorded before."""


class Written(NamedTuple):
    """What was appended.

    Attributes:
        file: path of the service records below the site's folder.
        lines: the lines of the rows, from 1.
        text: the rows as they stand there.
    """

    file: str
    lines: tuple[int, ...]
    text: str


def append_rows(dialect: Dialect, rows: Sequence[RecordRow], *, files: Mapping[str, str | bytes], now: datetime) -> Written:
    """Append records to the file of service records; hold the lock for it.

    Args:
        dialect: how the file is written, found out under the same lock.
        rows: the records.
        files: files below `records/` that are written before the rows.
        now: this moment.

    Raises:
        RequestProblemError: a row would not read back as it is meant, or earlier ones would not any more (CLI164), or something cannot be
            written (CLI110).
    """
    data = dialect.appended(rows, now)
    folder = dialect.site.folder / RECORDS
    _check_own(dialect.path, [folder / name for name in (*files, PENDING, _TRIAL)])
    added = _checked(dialect, rows, data, to_us(now))
    before = dialect.path.stat().st_size if dialect.path.is_file() else 0
    note = {"file": dialect.site.services.file, "size": before, "added": data.hex()}
    with _as_it_was(folder, (*files, PENDING)):
        for name, content in files.items():
            _write_beside(folder / name, content)
        _write_beside(folder / PENDING, json.dumps(note))
        _write_at_once(dialect.path, data, before)
    (folder / PENDING).unlink(missing_ok=True)
    text = data.decode(dialect.encoding).strip("\r\n")
    return Written(dialect.site.services.file, tuple(record.line for record in added), text if dialect.exists else text.split("\n", 1)[-1])


@contextmanager
def _as_it_was(folder: Path, names: Sequence[str]) -> Iterator[None]:
    """Leave files as they were before where what is done with them is refused; what cannot be put back stays, and the refusal goes on."""
    before = {folder / name: _bytes_of(folder / name) for name in names}
    try:
        yield
    except RequestProblemError:
        for path, data in before.items():
            with suppress(OSError):
                if data is None:
                    path.unlink(missing_ok=True)
                elif read_regular(path) != data:
                    write_regular(path, data)
        raise


def _bytes_of(path: Path) -> bytes | None:
    """Return the bytes of a file below `records/`, or None where there is none."""
    try:
        return read_regular(path)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise _not_written(path, error) from error


def _write_beside(path: Path, content: str | bytes) -> None:
    """Write a file below `records/`."""
    try:
        write_regular(path, content)
    except OSError as error:
        raise _not_written(path, error) from error


def _check_own(services: Path, own: Sequence[Path]) -> None:
    """Refuse a file below `records/` that is the file of service records itself, by whatever name."""
    place = services.resolve()
    same = next((path for path in own if path.resolve() == place), None)
    if same is not None:
        raise _not_written(same, OSError(errno.EINVAL, "it is the file of service records itself"))


def finish_pending(site: Site) -> None:
    """Finish what a crash left unfinished; hold the lock for it.

    A note says how large the file was and which bytes were to follow. Where none of them are there, the note goes: nothing was recorded.
    Where some of them are, the rest is written. Where something else follows, somebody else wrote; nothing is touched. A note of
    another file is left alone.
    """
    note = site.folder / RECORDS / PENDING
    try:
        noted = json.loads(read_regular(note).decode("utf-8"))
        path, size, added = site.folder / site.services.file, int(noted["size"]), bytes.fromhex(noted["added"])
        if noted["file"] != site.services.file:
            return
        there = read_regular(path, follows_links=True)[size:]
    except FileNotFoundError:
        note.unlink(missing_ok=True)
        return
    except (OSError, ValueError, KeyError, TypeError):
        # a note is written whole; one that cannot be read is none of ours
        return
    if there and len(there) < len(added) and added.startswith(there):
        _write_at_once(path, added[len(there) :], size + len(there))
    note.unlink(missing_ok=True)


def digest_of_services(site: Site) -> str:
    """Return the SHA-256 of the file of service records; that of nothing where it is not there."""
    path = site.folder / site.services.file
    return sha256(path.read_bytes() if path.is_file() else b"").hexdigest()


def _write_at_once(path: Path, data: bytes, before: int) -> None:
    """Append bytes in one write and force them to the disk; where they do not fit, take back those that did."""
    try:
        # the records themselves may be kept elsewhere: they are only ever appended to
        descriptor = open_regular(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, follows_links=True)
    except OSError as error:
        raise _not_written(path, error) from error
    count = 0
    try:
        count = os.write(descriptor, data)
        if count != len(data):
            raise OSError(None, "there is no room for the whole row")  # noqa: TRY301 - one way to take it back
        os.fsync(descriptor)
    except OSError as error:
        # where somebody else wrote meanwhile, what stands there is not ours alone
        if count and os.fstat(descriptor).st_size == before + count:
            os.ftruncate(descriptor, before)
        raise _not_written(path, error) from error
    finally:
        os.close(descriptor)


def _checked(dialect: Dialect, rows: Sequence[RecordRow], data: bytes, now_us: int) -> Sequence[ServiceRecord]:
    """Return the rows as they will be read; refuse where that is not what is meant, or where it changes earlier rows."""
    site, path = dialect.site, dialect.path
    trial = site.folder / RECORDS / _TRIAL
    earlier = read_records(site, now_us=now_us) if dialect.exists else Records()
    try:
        trial.parent.mkdir(exist_ok=True)
        write_regular(trial, (path.read_bytes() if path.is_file() else b"") + data)
        later = read_records(_reading(site, f"{RECORDS}/{_TRIAL}"), now_us=now_us)
    except OSError as error:
        raise _not_written(trial, error) from error
    finally:
        # what cannot be removed could not be written either
        with suppress(OSError):
            trial.unlink(missing_ok=True)
    count = len(earlier.records)
    same = [record._replace(file="") for record in later.records[:count]] == [record._replace(file="") for record in earlier.records]
    new_faults = {_said(fault) for fault in later.faults} - {_said(fault) for fault in earlier.faults}
    added = later.records[count:]
    differs = len(added) != len(rows) or any(_differs(site, *pair, dialect) for pair in zip(rows, added, strict=True))
    if not same or new_faults or differs:
        others = "it would read differently" if same else "earlier rows would read differently"
        why = "; ".join(sorted(text for _, text in new_faults)) or others
        fix = "state csv, timestamp_format and the names under services in site.yaml so that it can be read in one way only"
        text = f"the row would not read back as it is meant: {why}; nothing is written"
        raise RequestProblemError([Problem(CANNOT_APPEND, str(path), None, None, text, fix)])
    return added


def _said(fault: Fault) -> tuple[str, str]:
    """Return what a fault says, wherever it stands; what sums up the whole file is no fault of a row."""
    return ("", "") if fault.kind in ("blank_outcome", "unread_column", "record_in_future") else (fault.kind, fault.text)


def _reading(site: Site, file: str) -> Site:
    """Return the site with its service records in another file."""
    other = site.model_copy(update={"services": site.services.model_copy(update={"file": file})})
    other._folder, other._file = site.folder, site.file
    return other


def _differs(site: Site, meant: RecordRow, read: ServiceRecord, dialect: Dialect) -> bool:
    """Tell whether a row reads differently from what is meant, as far as the file has columns for it."""
    at = meant.at.astimezone(site.zone)
    is_dated = read.on == at.date() if read.at_us is None else read.at_us == to_us(dialect.dates.as_written(at))
    noted = {
        "engine": folded_name(meant.engine) == folded_name(read.engine),
        "task": folded_name(meant.task) == folded_name(read.task),
        "outcome": meant.outcome == read.outcome,
        "hour_meter_h": _same_figure(meant.hour_meter_h, read.hour_meter_h),
        "until_h": _same_figure(meant.until_h, read.until_h),
        "until_date": meant.until_date == read.until_date,
        "ref": meant.ref == read.ref,
        "at": is_dated,
    }
    return not all(same for name, same in noted.items() if name in dialect.columns or name == "outcome")


def _same_figure(meant: float | None, read: float | None) -> bool:
    """Tell whether a figure came back as it was meant, to six decimals."""
    return meant == read if meant is None or read is None else round(meant, 6) == round(read, 6)


def _not_written(path: Path, error: OSError) -> RequestProblemError:
    """Return the refusal of a file that cannot be written."""
    is_other = error.errno == errno.EINVAL
    text = f"cannot be written: {error.strerror or error}; {NOTHING_IS}"
    fix = "move away what has its name" if is_other else "make room, or make it writable"
    return RequestProblemError([Problem("CLI110", str(path), None, None, text, fix)])
