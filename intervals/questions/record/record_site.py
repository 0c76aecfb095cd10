"""Cards that were handed in, judged and then written: shown first, written when somebody says so, and only if nothing changed between.

In: a site, what was handed in, this moment. Out: `RecordDocument` values before and after. Refuses what cannot be read, and what cannot
be written (codes CLI160, 164, 165, 110): then nothing of that card is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import NamedTuple

from intervals.history.inputs import Inputs, read_inputs
from intervals.local_days import to_us
from intervals.problems import ProblemsError, error_of
from intervals.questions.record.append_records import NOTHING_IS, PENDING, append_rows, digest_of_services, finish_pending
from intervals.questions.record.card_record import judge_card
from intervals.questions.record.card_verdict import CardRecord, Verdicts
from intervals.questions.record.handed_in import HandedIn, handed_in_text
from intervals.questions.record.record_models import RecordDocument
from intervals.questions.record.recorded_cards import MEASURES, kept_files, measures_with
from intervals.questions.record.records_lock import RECORDS, records_lock
from intervals.questions.record.services_dialect import RecordRow, dialect_of
from intervals.readings import Readings
from intervals.site.model import Site


class Given(NamedTuple):
    """What was handed in.

    Attributes:
        handed: the card and what was filled in.
        content: the file as it came, which is kept; None where it was typed.
        is_typed: whether it was typed at the terminal, without a card.
    """

    handed: HandedIn
    content: bytes | None = None
    is_typed: bool = False

    @property
    def kept(self) -> str | bytes:
        """What is kept beside the records."""
        return handed_in_text(self.handed) if self.content is None else self.content


@dataclass
class Recording:
    """Cards on their way into the records.

    Attributes:
        site: the site.
        given: what was handed in.
        now: this moment.
        found: what becomes of each card, as it was judged last.
        written: what was written of each card, as far as writing has come.
    """

    site: Site
    given: Sequence[Given]
    now: datetime
    found: list[CardRecord] = field(default_factory=list)
    written: list[RecordDocument] = field(default_factory=list)
    _readings: Readings | None = None
    _digest: str = ""

    def judge(self, shown: Sequence[Verdicts] | None = None) -> tuple[RecordDocument, ...]:
        """Judge the cards and return what becomes of each, with the rows as they would stand in the file; nothing is written.

        Args:
            shown: the verdicts that a person was shown, card by card; one that is another by now is refused (`records-changed`). None where
                nothing was shown yet.

        Raises:
            ProblemsError: the site cannot be judged, or a record has no place in its file.
        """
        if (self.site.folder / RECORDS / PENDING).is_file():
            with records_lock(self.site.folder):
                finish_pending(self.site)
        inputs = self._inputs()
        before = [None] * len(self.given) if shown is None else shown
        pairs = zip(self.given, before, strict=True)
        self.found = [judge_card(inputs, each.handed, now=self.now, is_typed=each.is_typed, shown=seen) for each, seen in pairs]
        return tuple(self._shown(record) for record in self.found)

    def write(self) -> tuple[RecordDocument, ...]:
        """Write the rows of what was judged, under the lock, and return what was written of each card.

        Where somebody wrote records in the meantime, the cards are judged again; one whose verdict changed is refused.

        Raises:
            ProblemsError: something cannot be written; cards before that one are written, and `so_far` says which.
        """
        self.written = []
        with records_lock(self.site.folder):
            finish_pending(self.site)
            for given, record in zip(self.given, self.found, strict=True):
                try:
                    self.written.append(self._write_one(given, record))
                except ProblemsError as error:
                    raise self._stopped(error, given.handed.code) from error
        return tuple(self.written)

    def _stopped(self, error: ProblemsError, code: str) -> ProblemsError:
        """Return what stopped writing at a card; where others are written already, it does not say that nothing is."""
        if not any(each.written for each in self.written):
            return error
        said = f"the card {code} is not recorded, nor is any after it; those before it are"
        return error_of([replace(each, text=each.text.replace(NOTHING_IS, said)) for each in error.problems])

    def so_far(self) -> tuple[RecordDocument, ...]:
        """Return what was written of each card, where writing stopped before the last: those that were not reached are not written."""
        return (*self.written, *(record.document(rows=(), file=self.site.services.file) for record in self.found[len(self.written) :]))

    def _write_one(self, given: Given, shown: CardRecord) -> RecordDocument:
        """Write the rows of one card, if it is still worth what was shown."""
        record = shown
        if digest_of_services(self.site) != self._digest:
            record = judge_card(self._inputs(), given.handed, now=self.now, is_typed=given.is_typed, shown=shown.verdicts)
        if not record.rows:
            return self._shown(record)
        dialect = dialect_of(self.site)
        kept = given.kept
        files = kept_files(self.site, given.handed.code, kept.encode("utf-8") if isinstance(kept, str) else kept)
        if record.measures:
            files[MEASURES] = measures_with(self.site, record.measures)
        written = append_rows(dialect, record.rows, files=files, now=self.now)
        return record.document(rows=written.text.splitlines(), file=written.file, lines=written.lines, written=True)

    def _shown(self, record: CardRecord) -> RecordDocument:
        """Return what becomes of a card, before it is written."""
        return record.document(rows=rows_shown(self.site, record.rows, self.now), file=self.site.services.file)

    def _inputs(self) -> Inputs:
        """Return the site's inputs with the records of this moment; the log is read once."""
        self._digest = digest_of_services(self.site)
        readings = self._readings
        inputs = read_inputs(self.site, self.now, now_us=to_us(self.now), ahead=None if readings is None else lambda: readings)
        self._readings = inputs.readings
        return inputs


def rows_shown(site: Site, rows: Sequence[RecordRow], now: datetime) -> list[str]:
    """Return rows as they would stand in the site's file of service records.

    Args:
        site: the site.
        rows: the records.
        now: this moment.

    Raises:
        RequestProblemError: a record has no place in it (CLI164).
    """
    if not rows:
        return []
    dialect = dialect_of(site)
    bare = replace(dialect, exists=True, ends_open=False)
    return bare.appended(rows, now).decode(dialect.encoding).splitlines()
