"""The sentences about runs in the log: what a run met of what its task asks for, and what it lacked.

In: minutes that were already judged. Out: text. Nothing is decided here.
"""

from __future__ import annotations

from intervals.judge.wording import phrase_of
from intervals.language.done_when import DoneWhen, RunPart
from intervals.shown_numbers import amount


def part_text(minutes: float, part: RunPart) -> str:
    """Return the minutes of a part in words: `35 min in a row with at least 30 % load`."""
    shown = amount(round(minutes, 6), "min", line=float(part.running_min))
    return f"{shown} in a row" + (f" with {phrase_of(part.when)}" if part.when is not None else "")


def short_run_text(ran_min: float, ended: str, asked: DoneWhen, index: int, best_min: float, untold_min: float) -> str:  # noqa: PLR0913 - the facts of one sentence
    """Return the sentence of a run that fell short.

    Args:
        ran_min: its running minutes in all.
        ended: when and by which row it ended.
        asked: what its task asks for.
        index: the part that it did not meet.
        best_min: the most minutes in a row of that part.
        untold_min: minutes on which that part could not be told.
    """
    part, parts = asked.parts[index], len(asked.parts)
    which = f"part {index + 1} of {parts}: " if parts > 1 else ""
    less = f", less {amount(float(asked.sampling_min), 'min')} for the log's sampling" if asked.sampling_min else ""
    untold = f"; on {amount(round(untold_min, 6), 'min')} it could not be told" if untold_min > 0 else ""
    return (
        f"the run of {amount(round(ran_min, 6), 'min')} that ended by {ended} fell short: "
        f"{which}{part_text(best_min, part)}, {amount(float(part.running_min), 'min')} needed{less}{untold}"
    )
