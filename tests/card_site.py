"""A small plant whose tasks have procedures: every kind of step, a shared one, values of the engine, texts in several languages.

G1 runs 20 h a day from 2026-01-01 and states its values; G2 does the same and states none; TC-1 is a turbocharger that sits on G1. Oil is
changed every 1,000 h, plugs every 2,000 h, filters every 4,000 h. Judged on 2026-02-28 (59 days, 1,180 h), oil is overdue by 180 h and
nothing else is near.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from intervals import read_site
from intervals.questions.card.card_models import Card
from intervals.questions.card.make_card import CardsAsked, make_cards
from intervals.site.model import Site
from tests.site_maker import steady, task, write_site

DAY = date(2026, 2, 28)
STATED = {"drain_min": 20, "filters": 2}
LOCK = {
    "id": "lock", "kind": "set", "phase": "secure", "shared": "lock", "of": "start of the engine", "to": "locked", "before": "ready",
    "restore": True, "evidence": "required",
}  # fmt: skip
OIL: dict[str, Any] = {
    "id": "oil",
    "tasks": ["oil"],
    "title": {"en": "Change the oil", "de": "Öl wechseln"},
    "people": 2,
    "hours": 3,
    "parts": [{"part": "filter", "count": "card.filters", "title": {"en": "oil filter", "de": "Ölfilter"}}, {"part": "gasket", "count": 1}],
    "oil": {"grade": "plain 40", "litres": "engine.oil_volume_l"},
    "waste": {"oil_l": "engine.oil_volume_l"},
    "tools": ["filter wrench", "tray"],
    "steps": [
        {"id": "hot", "kind": "caution", "phase": "before", "text": {"en": "Hot oil burns.", "de": "Heißes Öl verbrennt."}},
        LOCK,
        {"id": "drain", "kind": "wait", "minutes": "card.drain_min", "text": "Drain by the clock.", "needs": ["lock"]},
        {"id": "sample", "kind": "sample", "phase": "before"},
        {"id": "drained", "kind": "measure", "value": "oil_drained_l", "unit": "L"},
        {"id": "filled", "kind": "measure", "value": "oil_filled_l", "unit": "L",
         "limits": {"at_least": "0.9 x engine.oil_volume_l", "at_most": "1.1 x engine.oil_volume_l"}},
        {"id": "leaks", "kind": "check", "phase": "after", "text": "No leak."},
    ],
}  # fmt: skip
PLUGS: dict[str, Any] = {
    "id": "plugs",
    "tasks": ["plugs"],
    "title": "Change the plugs",
    "people": 1,
    "hours": 2,
    "parts": [{"part": "gasket", "count": 6}],
    "tools": ["tray", "torque wrench"],
    "steps": [
        {"id": "charge", "kind": "caution", "phase": "before", "text": "Coils hold a charge."},
        LOCK,
        {"id": "gap", "kind": "measure", "value": "gap_mm", "unit": "mm", "limits": {"above": 0.2, "below": 0.4},
         "for_each": {"what": {"en": "cylinder", "de": "Zylinder"}, "count": 2}},
    ],
}  # fmt: skip
TASKS = (
    task("oil", every={"running_hours": 1000}, title="Change oil"),
    task("plugs", every={"running_hours": 2000}, title="Change plugs"),
    task("filters", every={"running_hours": 4000}, title="Air filters"),
    task("turbo", every={"running_hours": 5000}, title="Turbocharger", applies_to={"kind": "turbocharger"}),
    task("pump", every={"running_hours": 9000}, title="Pump", applies_to={"fuel": "diesel"}),
)


def card_site(folder: Path, *, procedures: tuple[Mapping[str, Any], ...] = (OIL, PLUGS), **site: object) -> Site:
    """Write the plant into a folder and return its site.

    Args:
        folder: where to write.
        procedures: those of the rule set.
        site: other keys of the site.
    """
    stated = {"in_service": "2026-01-01", "meter_at_start_h": 0, "fuel": "natural-gas"}
    engines = [
        {"id": "G1", "title": "North", **stated, "oil_volume_l": 300, "card": STATED},
        {"id": "G2", **stated},
    ]
    rows = [row for engine in ("G1", "G2") for row in steady("2026-01-01", "2026-03-01", 20, engine=engine)]
    components = [{"id": "TC-1", "kind": "turbocharger", "fitted": [{"engine": "G1", "from": "2026-01-01"}]}]
    # apart from one another: a file of rules may not say the same place twice by a mark
    written = json.loads(json.dumps(procedures))
    keys: dict[str, Any] = {"title": "Plant", "components": components} | site
    return write_site(folder, TASKS, rows, engines=engines, rules={"procedures": written}, **keys)


def cards_of(folder: Path, *, day: date = DAY, **asked: Any) -> tuple[Card, ...]:  # noqa: ANN401 - fields of CardsAsked
    """Return cards of the plant in a folder."""
    return make_cards(read_site(folder), day, CardsAsked(**asked)).cards
