"""What a person has to know of a card itself: where nobody says how work is done, what an engine does not state, what it leaves out.

In: what a card is made of. Out: sentences. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from intervals.questions.card.bring import Bring
from intervals.questions.card.card_procedures import CardProcedure
from intervals.questions.card.last_results import LastResults
from intervals.readings.records.found_grades import MEASURES_FILE
from intervals.site.engines import Engine


def remarks_of_the_rest(completes: str | None) -> tuple[str, ...]:
    """Return what a person has to know of a card for the rest of a job; nothing of any other card.

    Args:
        completes: the code of the card of which something remains; None for any other card.
    """
    if completes is None:
        return ()
    return (
        f"what remains of the card {completes} is on it, what comes after that, and what secures the engine and puts it back; "
        "what to bring is that of the whole job",
        "the engine is stopped and secured again for it, and looked at again after the start",
    )


def card_remarks(
    engine: Engine, procedures: Sequence[CardProcedure], bring: Bring, unstated: Sequence[str], results: LastResults
) -> tuple[str, ...]:
    """Return what a person has to know of the card itself.

    Args:
        engine: its engine.
        procedures: its procedures.
        bring: what is to be brought.
        unstated: what the engine would have to state.
        results: earlier results.
    """
    found = [
        f"{', '.join(each.tasks)}: no procedure says how it is done; one step stands for it" for each in procedures if not each.is_written
    ]
    if unstated:
        found.append(f"{engine.id} does not state {', '.join(unstated)}: these are lines to fill in, and their steps cannot be judged")
    found += bring.remarks
    if results.unreadable:
        rows = f"{results.unreadable} row{'s' if results.unreadable > 1 else ''}"
        found.append(f"{rows} of {MEASURES_FILE.as_posix()} cannot be read: earlier results may be missing")
    return tuple(found)
