"""How one worked example came out.

In: nothing. Out: `ExampleResult`. Refuses nothing.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ExampleResult:
    """How an example came out: its name, whether it is as expected, and what differs."""

    name: str
    passed: bool
    text: str
