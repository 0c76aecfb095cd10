"""The JSON Schemas of everything that a person writes or a program reads.

In: the name of a kind of file. Out: its schema, made from the models. An editor completes and checks with it; what only shows when
the whole file is read, such as a name used twice, is left to the loaders.
"""

from __future__ import annotations

from typing import Any

from intervals.reports.document import DIALECT, findings_schema, model_schema
from intervals.rules.ruleset import RuleSet
from intervals.site.model import Site

_MAKERS = {
    "site": lambda: {"$schema": DIALECT, **model_schema(Site, mode="validation"), "title": "site.yaml"},
    "ruleset": lambda: {"$schema": DIALECT, **model_schema(RuleSet, mode="validation"), "title": "rule set"},
    "findings": findings_schema,
}


def schema_of(kind: str) -> dict[str, Any]:
    """Return the JSON Schema of a kind of file.

    Args:
        kind: `site`, `ruleset` or `findings`.

    Returns:
        A schema of draft 2020-12.
    """
    return _MAKERS[kind]()
