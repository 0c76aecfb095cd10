"""What a writer that was killed leaves in the folder of records: the next one clears it away, and nothing else."""

from __future__ import annotations

from pathlib import Path

from intervals.questions.record.records_lock import records_lock


def test_the_next_writer_removes_what_was_half_done(tmp_path: Path) -> None:
    """A trial and half a file go; notes, cards and a file that only looks alike stay."""
    place = tmp_path / "records"
    place.mkdir()
    kept = {".pending", "measures.csv", "7K3M-9QXT-02HD-15WV.card.json", "my.part", ".notes.part"}
    for name in (*kept, ".trial.csv", ".measures.csv.0123456789abcdef.part"):
        (place / name).write_text("x", "utf-8")
    with records_lock(tmp_path):
        assert {path.name for path in place.iterdir()} == kept | {".lock"}
