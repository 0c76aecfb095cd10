"""The models of what comes out."""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args

from pydantic import BaseModel

from intervals.findings import Findings


def _models_below(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    """Yield a model and every model that its fields hold."""
    yield model
    for field in model.model_fields.values():
        waiting = [field.annotation]
        while waiting:
            kind = waiting.pop()
            waiting.extend(get_args(kind))
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                yield from _models_below(kind)


def test_no_key_of_the_document_can_be_forgotten() -> None:
    """Whoever makes a finding states all of it: the document leaves out what was not stated, which only these keys may be.

    A card is stated of work that has one, what is planned late by those who look at a plan. A rule set is always stated by the judge;
    statements that were written before findings carried one have none.
    """
    models = set(_models_below(Findings))
    assert {"Finding", "Leg", "Reason", "Skipped", "FaultLine", "Occurrence"} <= {model.__name__ for model in models}
    optional = {f"{model.__name__}.{name}" for model in models for name, field in model.model_fields.items() if not field.is_required()}
    of_rule_sets = {f"{model}.ruleset" for model in ("Finding", "Skipped", "Occurrence")}
    assert (
        optional
        == {"Leg.running_hours_h", "LastDone.card", "Findings.compliance", "Findings.planned_late", "Findings.warnings"} | of_rule_sets
    )
