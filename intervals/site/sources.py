"""How a site's files read: which files, which columns, which units.

In: the plain data under `readings` and `services`. Out: frozen models for `readings/`, and the files that a block's patterns name. Refuses
field by field; what concerns several fields is refused in `source_checks`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, ClassVar, Literal, get_args

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema

from intervals.addresses import FileState, files_at, flaw_of_address, is_address
from intervals.language.fields import Name, NameOrNames, OneOrMany, PositiveNumber, SpanHours, TimeZone, WholeFromZero, WrittenModel
from intervals.language.flaws import flaw_error
from intervals.language.scalars import shown_value
from intervals.quantities import QUANTITIES

ENGINE_SLOT = "{engine}"
"""Stands in a column's name for the engine's id, where a file is wide."""
RECORD_COLUMNS = (
    "at", "engine", "task", "hour_meter_h", "outcome", "done_by", "note", "ref", "until_h", "until_date", "approved_by", "hours_h",
)  # fmt: skip
"""The canonical columns of service records."""
OutcomeWord = Literal["done", "partial", "deferred", "void"]
OUTCOMES: tuple[OutcomeWord, ...] = get_args(OutcomeWord)
"""What may have become of a piece of work."""
ALL = "all"
"""Stands for every engine of the site where engines are named."""
STATEMENTS_FOLDER = "statements"
"""Where the statements of past months lie, below the site folder; nothing below it is read as a log."""
HEADS_FILE = "chains.json"
"""The list of what was stated last, beside the statements; it is none itself."""
TEMPORARY = ("~$", ".")
"""How the names begin of what an office program leaves beside a file that is open, and of hidden files."""
_REPEATED_BRACKET = re.compile(r"(?<!\\)\)[*+{]")
"""A repeated bracket can take a regular expression longer than anyone waits."""


def _pattern(value: str) -> str:
    """Refuse a pattern that is no regular expression or that does not say which part is the engine."""
    try:
        groups = re.compile(value).groups
    except re.error as error:
        raise flaw_error(text=f"not a regular expression: {error}; got {shown_value(value)}", kind="pattern") from None
    if _REPEATED_BRACKET.search(value):
        text = f"a pattern without repeated brackets is needed; got {shown_value(value)}"
        raise flaw_error(text=text, fix="repeat a single character or a class, such as [A-Z]+", kind="pattern")
    if groups != 1:
        text = f"a pattern with one pair of brackets around the engine is needed; got {shown_value(value)}, which has {groups}"
        raise flaw_error(text=text, fix='write for example "(G\\\\d)"', kind="pattern")
    return value


def _below_folder(value: str) -> str:
    """Refuse a file outside the site's folder."""
    if is_address(value):
        text = f"a file below the site's folder is needed; got {shown_value(value)}"
        raise flaw_error(text=text, fix="only the files of readings are read by address")
    parts = value.replace("\\", "/").split("/")
    if value.startswith(("/", "\\", "~")) or ".." in parts or (len(value) > 1 and value[1] == ":"):
        raise flaw_error(text=f"a file below the site's folder is needed; got {shown_value(value)}", fix="write for example readings/*.csv")
    if all(part in ("", ".") for part in parts) or any("**" in part and part != "**" for part in parts):
        text = f"not a file or a pattern of files; got {shown_value(value)}"
        raise flaw_error(text=text, fix="write for example readings/*.csv; ** stands for folders, alone between two slashes")
    return value


def _log_file(value: str) -> str:
    """Refuse a file that is neither below the site's folder nor at an address that can be read."""
    if not is_address(value):
        return _below_folder(value)
    flaw = flaw_of_address(value)
    if flaw is None:
        return value
    # what is wrong may be a password: it is not said again
    raise flaw_error(text=flaw[0], fix=flaw[1])


def _one_character(value: object) -> str:
    """Return one character; the word tab, and a backslash with a t, stand for a tab."""
    text = "\t" if value in ("tab", "\\t") else getattr(value, "text", value)
    if not isinstance(text, str) or len(text) != 1:
        raise flaw_error(text=f"not one character; got {shown_value(value)}", fix='write for example ";", or tab')
    return text


def _encoding(value: str) -> str:
    """Refuse a character encoding that does not exist."""
    try:
        b"a".decode(value)
    except LookupError:
        raise flaw_error(text=f"not a character encoding; got {shown_value(value)}", fix="write for example utf-8 or cp1252") from None
    return value


_SPELLED_FORMAT = {"YYYY": "%Y", "YY": "%y", "MM": "%m", "DD": "%d", "HH": "%H", "hh": "%H", "mm": "%M", "SS": "%S", "ss": "%S"}


def _time_format(value: str) -> str:
    """Refuse a format of another custom, and turn it into the one that is understood."""
    if "%" in value:
        return value
    meant = re.sub("YYYY|YY|MM|DD|HH|hh|mm|SS|ss", lambda found: _SPELLED_FORMAT[found[0]], value)
    text = f"not a format as strptime writes it; got {shown_value(value)}, expected for example %d.%m.%Y %H:%M"
    raise flaw_error(text=text, fix=f'write "{meant}"' if meant != value else None)


Encoding = Annotated[Name, AfterValidator(_encoding)]
TimeFormat = Annotated[Name, AfterValidator(_time_format)]
BelowFolder = Annotated[Name, AfterValidator(_below_folder)]
BelowFolderOrAddress = Annotated[Name, AfterValidator(_log_file)]
OneCharacter = Annotated[
    str,
    BeforeValidator(_one_character),
    WithJsonSchema({"type": "string", "anyOf": [{"minLength": 1, "maxLength": 1}, {"enum": ["tab", "\\t"]}]}),
]


class CsvFormat(WrittenModel):
    """How a text file is written."""

    key_hints: ClassVar[Mapping[str, str]] = {
        "delimiter": "write separator",
        "sep": "write separator",
        "header": "write skip_rows for the lines before the header",
    }

    separator: OneCharacter | None = Field(None, description="between two fields; tab for a tab; found out if left out", examples=[";"])
    decimal: Annotated[Literal[".", ","] | None, WithJsonSchema({"enum": [".", ","]})] = Field(
        None, description="decimal mark; found out if left out"
    )
    encoding: Encoding | None = Field(None, description="character encoding; found out if left out", examples=["cp1252"])
    skip_rows: WholeFromZero | None = Field(None, description="lines before the header; found out if left out")
    comment: OneCharacter | None = Field(None, description="a line that begins with this is left out")


class TimestampColumn(WrittenModel):
    """Where a row's time stands, and what the row covers."""

    scalar_hint: ClassVar[str] = "write for example {column: Time}"

    column: Annotated[tuple[Name, ...], OneOrMany(), Field(min_length=1, max_length=2)] = Field(
        description="one column, or the two of date and time"
    )
    covers: Literal["before", "after"] = Field("before", description="levels and amounts describe the step before or after the stamp")
    format: TimeFormat | None = Field(None, description="where it is not ISO 8601, as strptime writes it", examples=["%d.%m.%Y %H:%M"])
    time_zone: TimeZone | None = Field(None, description="of naive times, where it is not the site's", examples=["UTC"])


class EngineColumn(WrittenModel):
    """What says which engine a row belongs to: exactly one of the three."""

    scalar_hint: ClassVar[str] = 'write for example {column: Unit}, {value: G1}, or name columns "{engine} Hours"'

    column: Name | None = Field(None, description="a column with the engine")
    value: NameOrNames | None = Field(
        None, description="all files are of this engine; of several, or of all, each row counts for each of them", examples=["G1", "all"]
    )
    from_file_name: Annotated[Name, AfterValidator(_pattern)] | None = Field(
        None, description="regular expression; its brackets hold the engine", examples=["(G\\d)"]
    )


class QuantityColumn(WrittenModel):
    """The column of one quantity."""

    key_hints: ClassVar[Mapping[str, str]] = {"name": "write column", "units": "write unit", "type": "write kind"}

    scalar_hint: ClassVar[str] = "write for example {column: Hours, unit: h}"

    column: Name = Field(description="its name in the files; {engine} stands for the engine's id")
    unit: Name | None = Field(
        None,
        description="unit in the files; default the canonical one; a level without one is a signal of 0 and 1",
        examples=["h", "kW", "percent", "count", "L"],
    )
    kind: Literal["counter", "amount", "level"] | None = Field(None, description="needed for a quantity of the site's own")
    holds_for: SpanHours | None = Field(None, description="how long a value holds until the next one, at most; default its own row only")
    averaged_over: Literal["row"] | None = Field(None, description="row: the file's mean includes standstill")


class ReadingSource(WrittenModel):
    """One block of readings: files of one layout."""

    scalar_hint: ClassVar[str] = (
        'write for example {files: ["readings/*.csv"], timestamp: {column: Time}, quantities: {hour_meter_h: {column: Hours, unit: h}}}'
    )
    key_hints: ClassVar[Mapping[str, str]] = {
        "file": "write files: [..]",
        "columns": "write quantities",
        "time": "write timestamp",
        "separator": "write csv: {separator: ..}",
        "timestamp_format": "write timestamp: {column: .., format: ..}",
    }

    files: Annotated[tuple[BelowFolderOrAddress, ...], OneOrMany(), Field(min_length=1)] = Field(
        description="files below the site's folder, or by address: s3://bucket/plant/*.parquet; * stands for anything",
        examples=[["readings/*.csv"]],
    )
    timestamp: TimestampColumn = Field(description="the column of a row's time")
    engine: EngineColumn | None = Field(None, description="which engine a row belongs to; left out where columns are named by {engine}")
    gap_h: PositiveNumber = Field(36.0, description="a silence longer than this is a gap, h")
    quantities: Annotated[dict[Name, QuantityColumn], Field(min_length=1)] = Field(
        description=f"column by quantity; canonical: {', '.join(QUANTITIES)}", examples=[{"hour_meter_h": {"column": "Hours", "unit": "h"}}]
    )
    csv: CsvFormat | None = Field(None, description="how text files are written")
    sheet: Name | None = Field(None, description="the sheet of a workbook; default its first")
    engine_names: dict[Name, NameOrNames] | None = Field(
        None,
        description="engine id, several of them, or all, by the spelling in the files",
        examples=[{"North": "G1", "both": ["G1", "G2"]}],
    )


LAB_COLUMNS = ("at", "engine", "kind", "result_at")
"""The canonical columns of analyses; every other one is a value."""


class LabSource(WrittenModel):
    """How the analyses of oil and other fluids read."""

    file: BelowFolder = Field("lab.csv", description="file name below the site's folder")
    columns: dict[Name, Name] = Field(
        {}, description=f"column of the file by {', '.join(LAB_COLUMNS)}, or by the name of a value", examples=[{"acid_number": "TAN"}]
    )
    kind: Name | None = Field(None, description="the kind of all analyses, where no column says so", examples=["oil-analysis"])
    new_oil: dict[Name, PositiveNumber] = Field(
        {}, description="values of the oil when new, where the file has no column such as acid_number_new", examples=[{"acid_number": 1.5}]
    )
    csv: CsvFormat | None = Field(None, description="how the file is written")
    sheet: Name | None = Field(None, description="the sheet of a workbook; default its first")
    timestamp_format: TimeFormat | None = Field(
        None, description="of at and result_at, where they are not ISO 8601, as strptime writes it", examples=["%d.%m.%Y"]
    )
    engine_names: dict[Name, NameOrNames] | None = Field(
        None,
        description="engine id, several of them, or all, by the spelling in the file",
        examples=[{"North": "G1", "both": ["G1", "G2"]}],
    )


class ServiceSource(WrittenModel):
    """How the service records read."""

    file: BelowFolder = Field("services.csv", description="file name below the site's folder")
    columns: dict[Literal[RECORD_COLUMNS], Name] = Field({}, description="column of the file by canonical column")  # type: ignore[valid-type]
    csv: CsvFormat | None = Field(None, description="how the file is written")
    sheet: Name | None = Field(None, description="the sheet of a workbook; default its first")
    timestamp_format: TimeFormat | None = Field(
        None,
        description="of at and until_date, where they are not ISO 8601, as strptime writes it; a date alone is read too",
        examples=["%d.%m.%Y %H:%M"],
    )
    task_names: dict[Name, NameOrNames] | None = Field(
        None,
        description="task id, or several of them, by the spelling in the file",
        examples=[{"Oil": "oil-change", "2,000 h service": ["oil-change", "spark-plugs"]}],
    )
    outcome_names: dict[Name, OutcomeWord] | None = Field(
        None, description="outcome by its word in the file, in any letter case", examples=[{"erledigt": "done"}]
    )
    engine_names: dict[Name, NameOrNames] | None = Field(
        None,
        description="engine id, several of them, or all, by the spelling in the file",
        examples=[{"North": "G1", "both": ["G1", "G2"]}],
    )


def log_files(folder: Path, source: ReadingSource) -> list[str]:
    """Return the files of a block below the site's folder, in order; without temporary ones and the statements of past months.

    Those that it names by address are found by `addressed_files`.

    Args:
        folder: the site's folder.
        source: the block.
    """
    found = {path for pattern in source.files if not is_address(pattern) for path in folder.glob(pattern)}
    names = (path.relative_to(folder) for path in found if path.is_file() and not path.name.startswith(TEMPORARY))
    return sorted(name.as_posix() for name in names if name.parts[0] != STATEMENTS_FOLDER)


def addressed_files(source: ReadingSource) -> dict[str, FileState]:
    """Return the files that a block names by address, in order, each with its state; without temporary ones.

    Raises:
        AddressError: a store cannot be reached.
    """
    found = {name: state for pattern in source.files if is_address(pattern) for name, state in files_at(pattern).items()}
    return {name: found[name] for name in sorted(found) if not name.rpartition("/")[2].startswith(TEMPORARY)}


__all__ = [
    "CsvFormat",
    "EngineColumn",
    "LabSource",
    "QuantityColumn",
    "ReadingSource",
    "ServiceSource",
    "TimestampColumn",
    "addressed_files",
    "log_files",
]
