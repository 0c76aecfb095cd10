"""One thing that a rule says: what rule pages and the comparison of two rule sets are drawn from.

In: nothing. Out: `Fact`. Refuses nothing.
"""

from __future__ import annotations

from typing import NamedTuple


class Fact(NamedTuple):
    """One thing that a rule says.

    Attributes:
        key: where it stands in the file, such as `every` or `every from 2024-08-30`.
        name: what it is called on a page.
        text: what it says, in words.
    """

    key: str
    name: str
    text: str
