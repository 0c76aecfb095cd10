"""Parquet files to chunks of columns.

In: a Parquet file. Out: `ParquetLog`. Refuses nothing beyond what is no Parquet file (`OSError`, `pyarrow.ArrowInvalid`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from intervals.addresses import Address, FilePlace
from intervals.readings.arrow_arrays import text_column
from intervals.readings.files.csv_head import CsvOptions
from intervals.readings.files.encodings import text_of_bytes
from intervals.readings.files.log_file import Chunk, Wanted
from intervals.readings.parse_numbers import Marks

_ROWS_A_CHUNK = 1 << 19
RowGroups = tuple[int, int]
"""The first row group that is read, and the first after it that is not."""


def row_group_bytes(path: FilePlace) -> list[int]:
    """Return how large each row group of a file is.

    Raises:
        OSError: the file cannot be opened.
        pyarrow.ArrowException: it is no Parquet file.
    """
    with _opened(path) as file:
        groups = [file.metadata.row_group(group) for group in range(file.num_row_groups)]
        return [sum(group.column(column).total_compressed_size for column in range(group.num_columns)) for group in groups]


class ParquetLog:
    """A Parquet file of rows.

    Attributes:
        name: path below the site folder.
        header: names of the columns.
        header_line: None; a Parquet file has no lines.
    """

    header_line: int | None = None

    def __init__(self, path: FilePlace, name: str, options: CsvOptions, row_groups: RowGroups | None = None) -> None:
        self.name = name
        self._row_groups = row_groups
        self._path = path
        self._options = options
        with _opened(path) as file:
            schema = file.schema_arrow
        self.header: tuple[str, ...] = tuple(schema.names)
        self._nested = {field.name for field in schema if pa.types.is_nested(field.type)}

    def marks(self, figures: Collection[int]) -> Marks | None:
        """Return which mark stands before the decimals of figures that are text: what is stated, else each cell by itself."""
        del figures
        decimal = self._options.decimal
        return Marks("," if decimal == "," else ".", is_known=decimal is not None, is_stated=decimal is not None)

    def chunks(self, wanted: Wanted) -> Iterator[Chunk]:
        """Yield the rows of the file, a chunk at a time."""
        names = [self.header[place] for place in wanted.places]
        # the reader knows what is nested by its parts alone
        words = [self.header[place] for place in wanted.names if self.header[place] not in self._nested]
        with _opened(self._path, words) as file:
            first, stop = self._row_groups or (0, file.num_row_groups)
            row = 1 + sum(file.metadata.row_group(group).num_rows for group in range(first))
            for batch in file.iter_batches(_ROWS_A_CHUNK, row_groups=range(first, stop), columns=names):
                line = np.arange(row, row + batch.num_rows, dtype=np.int32)
                row += batch.num_rows
                cells = {place: pa.chunked_array([_as_text(batch.column(self.header[place]))]) for place in wanted.places}
                yield Chunk(line, dict(cells))


def _opened(path: FilePlace, words: list[str] | None = None) -> pq.ParquetFile:
    """Return a file, opened; columns of words are read as such."""
    if isinstance(path, Address):
        return pq.ParquetFile(path.native(), read_dictionary=words, pre_buffer=True)
    return pq.ParquetFile(path, read_dictionary=words)


def _as_text(column: pa.Array) -> pa.Array:
    """Return a column of text or bytes as the text that it should be; any other column as it is."""
    kind = column.type.value_type if pa.types.is_dictionary(column.type) else column.type
    is_bytes = pa.types.is_binary(kind) or pa.types.is_large_binary(kind) or pa.types.is_fixed_size_binary(kind)
    if not (is_bytes or pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind)):
        return column
    try:
        if is_bytes:
            return (column.dictionary_decode() if pa.types.is_dictionary(column.type) else column).cast(pa.string())
        column.validate(full=True)
    except pa.ArrowInvalid:
        return _cell_by_cell(column)
    return column


def _cell_by_cell(column: pa.Array) -> pa.Array:
    """Return a column of text of which some cells are no UTF-8; each cell is read as one of a text file is."""
    if pa.types.is_dictionary(column.type):
        return pa.DictionaryArray.from_arrays(column.indices, _cell_by_cell(column.dictionary))
    cells = column.cast(pa.large_binary()).to_pylist()
    return text_column([None if cell is None else text_of_bytes(cell) for cell in cells])
