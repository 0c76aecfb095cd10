"""How long the property tests search: a bounded, repeatable search, or a wider one that is asked for.

`PROPERTY_EXAMPLES=500 pytest tests/properties` looks at 500 random cases a test instead of the usual few, and at other ones each time.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

_ASKED = os.environ.get("PROPERTY_EXAMPLES")
_QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]


def bounded(examples: int) -> settings:
    """Return settings for a search of so many examples (each judges a whole site folder or a rule base)."""
    return settings(
        max_examples=int(_ASKED) if _ASKED else examples,
        deadline=None,
        derandomize=_ASKED is None,
        suppress_health_check=_QUIET,
        database=None,
    )
