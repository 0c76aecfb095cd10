"""Which comes first, the day or the month, in stamps such as 03/04/2026: shown by the other stamps, never guessed.

In: the files of one block. Out: the order for each file that needs it. Refuses a file in which most stamps could be read either
way and nothing in the block shows which.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from intervals.readings.column_values import Cells, text_of_cell
from intervals.readings.files.log_file import LogFile, NotAloneError, Wanted
from intervals.readings.refusals import refusal
from intervals.readings.rows import Indexes
from intervals.readings.times.column_stamps import stamps_of
from intervals.readings.times.stamp_patterns import Pattern
from intervals.readings.times.stamps import ORDER_UNKNOWN, READ, DayOrder, Stamps

Places = tuple[int, ...]
ORDERS: tuple[DayOrder, ...] = ("day_first", "month_first")


class DayOrders:
    """The order of day and month in the files of one block; a file is looked through only when a stamp of it asks for it.

    `asked` holds the files of which some stamp did.

    Args:
        logs: the files with the columns of their times: for each time the place of its column, or those of date and time.
        patterns: what a stamp may look like.
        code: code of the problem, REA007 or SVC007.
        key: where the site file states the format.
    """

    def __init__(self, logs: Mapping[str, tuple[LogFile, Sequence[Places]]], patterns: tuple[Pattern, ...], code: str, key: str) -> None:
        self._logs = logs
        self._patterns = patterns
        self._code = code
        self._key = key
        self.asked: set[str] = set()
        self._seen: dict[str, frozenset[DayOrder]] = {}
        self._unknown: dict[str, bool] = {}
        self._rows: dict[DayOrder, str] | None = None

    def read(self, name: str, columns: Sequence[Cells]) -> Stamps:
        """Return the times of some rows of a file.

        Args:
            name: the file.
            columns: the column of times, or those of date and time.

        Returns:
            The stamps; one of which the order is not known counts as unreadable.

        Raises:
            ReadingsProblemError: most of the stamps could be read either way.
        """
        stamps = stamps_of(columns, self._patterns, None)
        unknown = stamps.state == ORDER_UNKNOWN
        if not unknown.any():
            return stamps
        self.asked.add(name)
        order = self._order_of(name)
        if order is not None:
            return stamps_of(columns, self._patterns, order)
        if len(self._evidence(name)) == 0 and self._is_mostly_unknown(name):
            text = f"whether the day or the month comes first is not clear from any of its times{self._disagreement()}"
            raise refusal(name, self._code, text, fix=f'state {self._key}, for example "%d/%m/%Y %H:%M" or "%m/%d/%Y %H:%M"')
        return stamps

    def why_unclear(self) -> str:
        """Return why the order of a stamp that was left unread is not known, and, where the block says it both ways, by which rows."""
        why = self._disagreement()
        return f"may have the day or the month first{why or ', and no other time shows which'}; {self._key} can state it"

    def _disagreement(self) -> str:
        """Return the rows of the block that prove one order and the other, one of each; nothing where they do not disagree."""
        if self._rows is None:
            self._rows = {order: self._example(order) for order in ORDERS} if len(self._shown_by(self._logs)) > 1 else {}
        return "".join(f"; {row} has the {order.removesuffix('_first')} first" for order, row in self._rows.items())

    def _example(self, order: DayOrder) -> str:
        """Return the first row of the block that can only be read in this order, with its file and line."""
        other: DayOrder = "month_first" if order == "day_first" else "day_first"
        for name in (name for name in self._logs if order in self._evidence(name)):
            for line, columns in self._times_of(name):
                fits, fits_other = (stamps_of(columns, self._patterns, each).state == READ for each in (order, other))
                if (fits & ~fits_other).any():
                    row = int(np.argmax(fits & ~fits_other))
                    return f'{name}:{int(line[row])} "{" ".join(text_of_cell(cells, row) for cells in columns)}"'
        return "a row"

    def _order_of(self, name: str) -> DayOrder | None:
        """Return the order that the file's stamps show, or, where they show none, those of the whole block."""
        seen = self._evidence(name)
        if not seen:
            seen = self._shown_by(self._logs)
        return next(iter(seen)) if len(seen) == 1 else None

    def _shown_by(self, names: Iterable[str]) -> frozenset[DayOrder]:
        """Return the orders that stamps of some files prove."""
        return frozenset[DayOrder]().union(*(self._evidence(name) for name in names))

    def _is_mostly_unknown(self, name: str) -> bool:
        """Say whether most times of a file could be read either way."""
        self._evidence(name)
        return self._unknown[name]

    def _evidence(self, name: str) -> frozenset[DayOrder]:
        """Return the orders that stamps of a file prove."""
        if name not in self._seen:
            found: set[DayOrder] = set()
            unknown = read = 0
            for _, columns in self._times_of(name):
                stamps = stamps_of(columns, self._patterns, None)
                unknown += int(np.count_nonzero(stamps.state == ORDER_UNKNOWN))
                read += int(np.count_nonzero(stamps.state == READ))
                found |= {"day_first"} if stamps.day_first_seen else set()
                found |= {"month_first"} if stamps.month_first_seen else set()
            self._seen[name] = frozenset(found)
            # of the whole file, so that where its chunks end makes no difference
            self._unknown[name] = unknown > read
        return self._seen[name]

    def _times_of(self, name: str) -> Iterator[tuple[Indexes, list[Cells]]]:
        """Yield the times of a file, a chunk and a time at a time: their lines, and their column, or those of date and time."""
        log, times = self._logs[name]
        for chunk in log.chunks(Wanted(stamps=tuple(place for places in times for place in places), is_iso=False)):
            for places in times:
                yield chunk.line, [chunk.cells[place] for place in places]


class OrdersAlone(DayOrders):
    """The order of day and month as each file shows it by itself: where others of the block must decide, nothing is read.

    Args:
        logs: as for `DayOrders`.
        patterns: as for `DayOrders`.
        code: as for `DayOrders`.
        key: as for `DayOrders`.
        is_part: the files are not read whole, so that none can show anything for the rest of it.
    """

    def __init__(
        self,
        logs: Mapping[str, tuple[LogFile, Sequence[Places]]],
        patterns: tuple[Pattern, ...],
        code: str,
        key: str,
        *,
        is_part: bool,
    ) -> None:
        super().__init__(logs, patterns, code, key)
        self._is_part = is_part

    def _order_of(self, name: str) -> DayOrder | None:
        """Return the order that the file's own stamps show.

        Raises:
            NotAloneError: they show none, or are not all there.
        """
        if self._is_part or len(self._evidence(name)) != 1:
            raise NotAloneError
        return super()._order_of(name)
