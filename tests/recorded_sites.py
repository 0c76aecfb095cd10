"""A small site that cards are made of, filled in and recorded at: one engine, a procedure with every kind of step, a log to midnight.

The engine runs 10 h a day until 2 March 2026, from 00:00 to 10:00, by hourly rows; then it stands. The oil was last changed on 1 February.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import yaml

from intervals.questions.card.card_models import Card
from intervals.questions.card.make_card import CardsAsked, make_cards
from intervals.questions.record.card_verdict import CardRecord
from intervals.questions.record.handed_in import HandedIn
from intervals.questions.record.record_models import RecordTask
from intervals.questions.record.record_site import Given, Recording
from intervals.site.model import Site, load_site
from tests.site_maker import done, task, write_site

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
TODAY = date(2026, 3, 10)
RUNS_H = 10
STARTS_H = 0.3
STEPS: list[dict[str, object]] = [
    {"id": "hot", "kind": "caution", "text": "Hot oil burns."},
    {"id": "off", "kind": "set", "phase": "before", "of": "top-up", "to": "off", "before": "on", "restore": True},
    {"id": "stop", "kind": "check", "phase": "secure", "text": "Stopped.", "evidence": "required"},
    {"id": "pump", "kind": "wait", "minutes": "card.drain_min", "text": "Pump out."},
    {"id": "drained", "kind": "measure", "value": "oil_drained_l", "unit": "L", "needs": ["pump"]},
    {"id": "filter", "kind": "do", "text": "New filter.", "evidence": "required"},
    {
        "id": "filled", "kind": "measure", "value": "oil_filled_l", "unit": "L",
        "limits": {"at_least": "0.9 x engine.oil_volume_l", "at_most": "1.1 x engine.oil_volume_l"},
    },
]  # fmt: skip
OIL_AND_FILTER: dict[str, object] = {"id": "oil-and-filter", "tasks": "oil", "title": "Change the oil", "steps": STEPS}


def recorded_site(
    folder: Path,
    *,
    tasks: list[dict[str, object]] | None = None,
    procedures: list[dict[str, object]] | None = None,
    reads_records: dict[str, object] | None = None,
    **site: Any,  # noqa: ANN401 - what `write_site` takes
) -> Site:
    """Write the site and return it: the tasks oil (1,000 h or half a year) and plugs, which has no procedure.

    Args:
        folder: where to write.
        tasks: other tasks.
        procedures: other procedures.
        reads_records: the key `services` of site.yaml.
        site: what `write_site` takes.
    """
    made = write_site(
        folder,
        tasks or [task("oil", every={"running_hours": 1000, "calendar": "P6M"}), task("plugs", every={"running_hours": 2000})],
        log_rows(),
        engine={"in_service": "2026-01-01", "meter_at_start_h": STARTS_H, "oil_volume_l": 100, "card": {"drain_min": 20}},
        services=[done("oil", "2026-02-01T12:00", 320, ref="old-1")],
        rules={"procedures": procedures if procedures is not None else [OIL_AND_FILTER]},
        **site,
    )
    if reads_records is None:
        return made
    path = folder / "site.yaml"
    path.write_text(yaml.safe_dump({**yaml.safe_load(path.read_text("utf-8")), "services": reads_records}, allow_unicode=True), "utf-8")
    return load_site(folder)


def log_rows() -> list[dict[str, object]]:
    """Return hourly rows: each day running from 00:00 to 10:00, to the end of 2 March 2026."""
    rows: list[dict[str, object]] = []
    at, hours = datetime(2026, 1, 1), STARTS_H  # noqa: DTZ001 - the site's own clock
    while at <= datetime(2026, 3, 3):  # noqa: DTZ001 - as above
        rows.append({"at": at.isoformat(timespec="minutes"), "hour_meter_h": hours})
        hours += 1.0 if at.hour < RUNS_H else 0.0
        at += timedelta(hours=1)
    return rows


def card_of(site: Site, *tasks: str, on: date = TODAY, completes: str | None = None) -> Card:
    """Return the card of tasks of G1, made on 10 March 2026."""
    (card,) = make_cards(site, TODAY, CardsAsked(engines=("G1",), tasks=tasks or ("oil",), on=on, completes=completes)).cards
    return card


def recording_of(site: Site, *handed: HandedIn, now: datetime = NOW) -> Recording:
    """Return cards on their way into the records, judged."""
    recording = Recording(site, [Given(each) for each in handed], now)
    recording.judge()
    return recording


def recorded(site: Site, *handed: HandedIn, now: datetime = NOW) -> CardRecord:
    """Record cards and return what became of the last one."""
    recording = recording_of(site, *handed, now=now)
    recording.write()
    return recording.found[-1]


def verdict_of(site: Site, handed: HandedIn, task_id: str = "oil", now: datetime = NOW) -> RecordTask:
    """Return the verdict on one task of a card, without writing."""
    (found,) = (task for task in recording_of(site, handed, now=now).found[0].tasks if task.task == task_id)
    return found


def rules_of(found: RecordTask) -> set[str]:
    """Return the rules that fired, but for those that only tell."""
    return {reason.rule for reason in found.reasons if reason.outcome != "told"}


def services_of(site: Site) -> bytes:
    """Return the bytes of the service records."""
    return (site.folder / site.services.file).read_bytes()
