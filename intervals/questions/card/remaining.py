"""What remains of a job that was left in part, as a card for the rest is made of it.

In: plain values. Out: `Remaining`. Refuses nothing.
"""

from __future__ import annotations

from typing import NamedTuple


class Remaining(NamedTuple):
    """What remains of a card.

    Attributes:
        tasks: the tasks that are open, as the card names them.
        steps: ids of the steps that remain, as a card of these tasks alone has them.
    """

    tasks: tuple[str, ...]
    steps: frozenset[str]
