"""A file of rows, opened by what its name says it is.

In: a path and what the site states of the file. Out: a `LogFile`. Refuses a file that is not there, is not what its name says,
or is of a kind that is not read here.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from enum import Enum
from pathlib import Path
from typing import NamedTuple

import pyarrow as pa

from intervals.addresses import AddressError, place_of
from intervals.language.yamlmarks import one_line
from intervals.problems import ReadingsProblemError
from intervals.readings.files.csv_file import CsvLog
from intervals.readings.files.csv_head import CsvOptions, HeaderScore, NotTextError
from intervals.readings.files.encodings import UnknownEncodingError
from intervals.readings.files.log_file import Chunk, LogFile, SheetFileError, SheetMissingError, Wanted
from intervals.readings.parse_numbers import Marks
from intervals.readings.refusals import refusal

TEXT_SUFFIXES = (".csv", ".txt", ".tsv")
PARQUET_SUFFIXES = (".parquet", ".pq")
SHEET_SUFFIXES = (".xlsx", ".xlsm")
_BYTES_SHOWN = 20


class Stage(Enum):
    """Which files are read; the value is the prefix of the codes of their problems."""

    READINGS = "REA"
    RECORDS = "SVC"
    LAB = "LAB"

    def code(self, number: int) -> str:
        """Return a problem code of these files."""
        return f"{self.value}{number:03d}"


class HowWritten(NamedTuple):
    """What a site states of its files.

    Attributes:
        csv: of text files.
        sheet: the sheet of a workbook, or None for its first.
    """

    csv: CsvOptions
    sheet: str | None


class _RefusingLog:
    """A file whose reading, too, raises problems: it may turn out only then not to be what its head promised."""

    def __init__(self, log: LogFile, stage: Stage, options: CsvOptions) -> None:
        self.name = log.name
        self.header = log.header
        self.header_line = log.header_line
        self._log = log
        self._stage = stage
        self._options = options

    def marks(self, figures: Collection[int]) -> Marks | None:
        """Return which mark stands before the decimals in these columns, or None if the file leaves it open."""
        return self._log.marks(figures)

    def chunks(self, wanted: Wanted) -> Iterator[Chunk]:
        """Yield the rows of the file, a chunk at a time."""
        with _refusing(self.name, self._stage, self._options):
            yield from self._log.chunks(wanted)


@contextmanager
def _refusing(name: str, stage: Stage, options: CsvOptions) -> Iterator[None]:
    """Turn what opening and reading a file may raise into problems."""
    try:
        yield
    except SheetMissingError as error:
        raise refusal(name, stage.code(13), str(error)) from None
    except UnknownEncodingError:
        text = f'there is no encoding "{options.encoding}"'
        raise refusal(name, stage.code(6), text, fix="state csv.encoding, for example utf-8, cp1252 or utf-16") from None
    except UnicodeError as error:
        text = f"the file is not text in the encoding {options.encoding or 'that its first bytes announce'}{_place_of(error)}"
        raise refusal(name, stage.code(6), text, fix="state csv.encoding, or leave it out to have it found") from None
    except NotTextError as error:
        fix = "export it as text, or end its name with what it is: .xlsx, .parquet"
        raise refusal(name, stage.code(2), f"the file is not text; it begins with {error}", fix=fix) from None
    except MemoryError:
        # Arrow's own is one of its errors too, and says nothing against the file
        raise
    except AddressError as error:
        raise unreachable(name, error) from None
    except (OSError, pa.ArrowException, SheetFileError) as error:
        reason = str(error).strip().split("\n")[0]
        fix = "check whether another program opens it, and whether the ending of its name is right"
        raise refusal(name, stage.code(2), f"the file cannot be read as what its name says: {reason}", fix=fix) from None


def unreachable(file: str, error: AddressError, path: str | None = None) -> ReadingsProblemError:
    """Return the refusal of an address that cannot be read.

    Args:
        file: the address, or the site file that names it.
        error: what its store said.
        path: where the site file names it.
    """
    fix = "look at the address, and at what the environment says of key, region and endpoint"
    return refusal(file, "REA016", str(error), path=path, fix=fix)


def _place_of(error: UnicodeError) -> str:
    """Return which byte is no text and what stands before it; where it is in the file the decoder cannot tell, which had a chunk of it."""
    if not isinstance(error, UnicodeDecodeError):
        return f": {error}"
    before = bytes(error.object[max(0, error.start - _BYTES_SHOWN) : error.start]).decode("latin-1").replace("\0", "").rpartition("\n")[2]
    after = f' after "{one_line(before)}"' if before.strip() else ""
    return f": the byte 0x{error.object[error.start]:02x}{after}"


def open_log(  # noqa: PLR0913 - where a file is, and all that says how it reads
    folder: Path, name: str, stage: Stage, how: HowWritten, score: HeaderScore, row_groups: tuple[int, int] | None = None
) -> LogFile:
    """Return a file of rows, its header read.

    Args:
        folder: the site folder.
        name: path of the file below it.
        stage: readings, service records or analyses.
        how: what the site states of the file.
        score: says how much of what is sought is in a row that may be the header.
        row_groups: of a Parquet file the first row group that is read, and the first after it that is not; None: all.

    Returns:
        The file.

    Raises:
        ReadingsProblemError: it cannot be opened, or is not what its name says (002), is of a kind not read here (005), is not
            in the stated encoding (006), or has no such sheet (013).
    """
    path = place_of(folder, name)
    suffix = path.suffix.lower()
    options = how.csv
    with _refusing(name, stage, options):
        if suffix in TEXT_SUFFIXES:
            return _RefusingLog(CsvLog(path, name, options, score), stage, options)
        if suffix in PARQUET_SUFFIXES:
            from intervals.readings.files.parquet_file import ParquetLog  # noqa: PLC0415 - loaded only where there is such a file

            return _RefusingLog(ParquetLog(path, name, options, row_groups), stage, options)
        if suffix in SHEET_SUFFIXES:
            from intervals.readings.files.xlsx_file import SheetLog  # noqa: PLC0415 - loaded only where there is such a file

            return _RefusingLog(SheetLog(path, name, how.sheet, options, score), stage, options)
    known = ", ".join((*TEXT_SUFFIXES, *PARQUET_SUFFIXES, *SHEET_SUFFIXES))
    raise refusal(name, stage.code(5), f'a file of the kind "{suffix}" is not read; expected one of {known}')
