"""A card that came back, held against the rule sets, the records and the log of its site."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml

from intervals.questions.card.card_code import card_text, code_of
from intervals.questions.record.handed_in import HandedIn
from intervals.questions.record.record_models import RecordTask
from intervals.site.model import load_site
from tests.filled_cards import filled
from tests.recorded_sites import NOW, card_of, recorded, recorded_site, recording_of, rules_of, services_of, verdict_of

STANDING = "2026-03-02T14:00"
"""The engine stands from ten o'clock on."""


def test_a_card_filled_in_as_it_is_written_is_credited(tmp_path: Path) -> None:
    """Every step done, the wait in full, values within limits, the engine standing: nothing is missing."""
    site = recorded_site(tmp_path)
    found = verdict_of(site, filled(card_of(site), STANDING, hour_meter_h=610))
    assert (found.verdict, rules_of(found)) == ("credited", set())


@pytest.mark.parametrize(
    ("steps", "rule", "verdict"),
    [
        ({"filter": None}, "step-left-out", "partial"),
        ({"pump": {"ended_at": "2026-03-02T14:22"}}, "wait-short", "partial"),
        ({"filled": {"value": 111}}, "value-beyond", "partial"),
        ({"off.restore": None}, "not-restored", "partial"),
        ({"stop": {"answer": "no"}}, "check-failed", "partial"),
        ({"drained": {"at": "2026-03-02T14:05"}}, "out-of-order", "partial"),
        ({"pump": {"ended_at": "2026-03-02T14:01"}}, "times-contradict", "refused"),
        ({"drained": {"value": -3}}, "amount-negative", "refused"),
    ],
)
def test_evidence_of_a_step_decides_its_task(tmp_path: Path, steps: dict[str, Any], rule: str, verdict: str) -> None:
    """The pump starts at 14:03 and has to run 20 min; 0.9 to 1.1 of 100 L are to be filled."""
    site = recorded_site(tmp_path)
    found = verdict_of(site, filled(card_of(site), STANDING, steps=steps))
    assert rule in rules_of(found)
    assert found.verdict == verdict
    assert bool(found.completes_with) == (verdict == "partial")


@pytest.mark.parametrize(
    ("started_at", "changes", "rule"),
    [
        ("2026-03-02T14:00", {"hour_meter_h": 634.4}, "meter-contradicts"),
        ("2026-03-02T14:00", {"hour_meter_h": 586.2}, "meter-contradicts"),
        ("2026-03-02T05:00", {}, "ran-during-work"),
        ("2026-01-31T14:00", {}, "later-record"),
        ("2026-03-11T14:00", {}, "time-in-future"),
        ("2026-03-02T14:00", {"ended_at": "2026-03-02T13:00"}, "job-times-contradict"),
        ("2026-03-02T14:00", {"ended_at": "2026-03-05T14:00"}, "end-beyond-steps"),
        ("2026-03-02T14:00", {"ended_at": "2026-02-20T14:00"}, "job-times-contradict end-beyond-steps far-outside-job"),
        ("2026-03-02T14:00", {"not_done": ["oil"]}, "said-not-done"),
    ],
)
def test_what_the_log_and_the_records_contradict_is_refused(tmp_path: Path, started_at: str, changes: dict[str, Any], rule: str) -> None:
    """On 2 March the meter stands at 610.3 h from ten o'clock on: 24 h off is the most; it ran from midnight to ten."""
    site = recorded_site(tmp_path)
    found = verdict_of(site, filled(card_of(site), started_at, **changes))
    assert (found.verdict, rules_of(found)) == ("refused", set(rule.split()))


@pytest.mark.parametrize("hours", [634.3, 586.3])
def test_a_meter_reading_may_be_a_day_off(tmp_path: Path, hours: float) -> None:
    """24 h from the log's 610.3 h is a reading that agrees with it, as everywhere."""
    site = recorded_site(tmp_path)
    assert verdict_of(site, filled(card_of(site), STANDING, hour_meter_h=hours)).verdict == "credited"


@pytest.mark.parametrize(("hours", "verdict"), [(611, "credited"), (733, "credited"), (760, "refused"), (580, "refused")])
def test_after_the_log_s_end_the_meter_may_have_run_all_the_while(tmp_path: Path, hours: float, verdict: str) -> None:
    """From the end of 2 March at 610.3 h to the work's end at 14:27 on 7 March it can have run 4.6 days: 110.5 h x 1.01 + 0.1, and 24 h."""
    site = recorded_site(tmp_path)
    assert verdict_of(site, filled(card_of(site), "2026-03-07T14:00", hour_meter_h=hours)).verdict == verdict


def test_steps_at_the_edge_of_an_hour_of_running_are_no_contradiction(tmp_path: Path) -> None:
    """The row from 09:00 to 10:00 ran in full; work from 09:57 on stands in it for 3 min, less than the meter may be off."""
    site = recorded_site(tmp_path)
    assert "ran-during-work" not in rules_of(verdict_of(site, filled(card_of(site), "2026-03-02T09:54")))


def altered(handed: HandedIn, *, keeps_code: bool = True, **changes: object) -> HandedIn:
    """Return what was handed in with something else on its card, with the old code or the one that it then has."""
    card = handed.card.model_copy(update=changes)
    return handed.model_copy(update={"card": card if keeps_code else card.model_copy(update={"code": code_of(card)})})


def test_a_card_that_was_altered_is_refused(tmp_path: Path) -> None:
    """Its code is a digest of what it says."""
    site = recorded_site(tmp_path)
    handed = altered(filled(card_of(site), STANDING), made_on="2026-03-09")
    assert rules_of(verdict_of(site, handed)) == {"card-altered"}


@pytest.mark.parametrize(("changes", "rule"), [({"site": "elsewhere"}, "other-site"), ({"engine": "G7"}, "other-engine")])
def test_a_card_of_another_site_or_engine_is_refused(tmp_path: Path, changes: dict[str, Any], rule: str) -> None:
    """Nothing of it is recorded here."""
    site = recorded_site(tmp_path)
    found = verdict_of(site, altered(filled(card_of(site), STANDING), keeps_code=False, **changes))
    assert rule in rules_of(found)
    assert found.verdict == "refused"


def test_a_card_is_recorded_once(tmp_path: Path) -> None:
    """Handing in again what is on record is refused, and writes nothing."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site), STANDING)
    recorded(site, handed)
    before = services_of(site)
    assert {"handed-in-before", "later-record"} == rules_of(verdict_of(site, handed))
    assert services_of(site) == before


def text_of(found: RecordTask, rule: str) -> str:
    """Return the sentence of a rule that fired."""
    return next(reason.text for reason in found.reasons if reason.rule == rule)


def rewrite_rules(site_folder: Path, **changes: object) -> None:
    """Change keys of the site's rule set."""
    path = site_folder / "rules.yaml"
    path.write_text(yaml.safe_dump({**yaml.safe_load(path.read_text("utf-8")), **changes}, sort_keys=False), "utf-8")


def test_a_rule_set_that_changed_elsewhere_is_told(tmp_path: Path) -> None:
    """The digest is another one, the procedure the same: the card counts."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site), STANDING)
    rewrite_rules(tmp_path, version="2")
    found = verdict_of(load_site(tmp_path), handed)
    assert found.verdict == "credited"
    assert [reason.rule for reason in found.reasons if reason.outcome == "told"] == ["card-not-kept", "done-before-card", "rules-changed"]


def test_a_procedure_that_changed_is_refused_and_said_how(tmp_path: Path) -> None:
    """The engine's wait is 25 min now; 20 min were on the card."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site), STANDING)
    described = (tmp_path / "site.yaml").read_text("utf-8").replace("drain_min: 20", "drain_min: 25")
    (tmp_path / "site.yaml").write_text(described, "utf-8")
    found = verdict_of(load_site(tmp_path), handed)
    assert found.verdict == "refused"
    assert "its minutes: 20 on the card, 25 now" in text_of(found, "procedure-changed")


@pytest.mark.parametrize(
    ("step", "changes", "said"),
    [
        ("filter", {"text": "Old filter."}, "its text: Old filter. on the card, New filter. now"),
        ("off", {"to": "on"}, "what it is set to: on on the card, off now"),
        ("off", {"of": "lamp"}, "what it is of: lamp on the card, top-up now"),
        ("off", {"before": "auto"}, "what it is set from: auto on the card, on now"),
        ("filled", {"limits": {"at_least": 1.0}}, "its limits: at_least 1.0 on the card, at_least 90.0 and at_most 110.0 now"),
        ("drained", {"needs": ()}, "what it needs: nothing on the card, oil-and-filter.pump"),
        ("hot", {"place": 2}, "its place: 2 on the card, none now"),
    ],
)
def test_a_card_made_up_with_other_steps_is_refused(tmp_path: Path, step: str, changes: dict[str, Any], said: str) -> None:
    """Its code fits what it says, which anybody can work out; what it says is not the procedure."""
    site = recorded_site(tmp_path)
    card = card_of(site)
    steps = tuple(line.model_copy(update=changes) if line.id.endswith(f".{step}") else line for line in card.steps)
    found = verdict_of(site, altered(filled(card, STANDING), keeps_code=False, steps=steps))
    assert (found.verdict, rules_of(found)) == ("refused", {"procedure-changed"})
    assert said in text_of(found, "procedure-changed")


def test_a_card_in_a_language_of_nobody_is_compared_all_the_same(tmp_path: Path) -> None:
    """It is no error of the program."""
    site = recorded_site(tmp_path)
    assert verdict_of(site, altered(filled(card_of(site), STANDING), keeps_code=False, language="xx")).verdict == "credited"


def test_a_card_that_the_site_does_not_keep_is_told(tmp_path: Path) -> None:
    """Anybody can work out a code: that the card lies in `cards/` shows that it was made here."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site), STANDING, by=None)
    assert {"card-not-kept", "not-signed", "done-before-card"} == {reason.rule for reason in verdict_of(site, handed).reasons}
    (tmp_path / "cards").mkdir()
    (tmp_path / "cards" / f"{handed.code}.json").write_text(card_text(handed.card), "utf-8")
    assert {"not-signed", "done-before-card"} == {reason.rule for reason in verdict_of(site, handed).reasons}


def test_a_task_stands_on_a_card_once(tmp_path: Path) -> None:
    """Twice it would be recorded twice, however it is spelled."""
    site = recorded_site(tmp_path)
    card = card_of(site)
    again = card.tasks[0].model_copy(update={"task": f"{card.tasks[0].ruleset}.oil"})
    record = recording_of(site, altered(filled(card, STANDING), keeps_code=False, tasks=(*card.tasks, again))).found[0]
    assert not record.rows
    assert all("task-twice" in rules_of(found) for found in record.tasks)


def test_too_few_times_to_tell_whether_the_engine_stood_are_told(tmp_path: Path) -> None:
    """The steps are ticked and have no times: the log cannot be asked."""
    site = recorded_site(tmp_path)
    times = {"stop": {"at": None}, "drained": {"at": None}, "filter": {"at": None}, "filled": {"at": None}, "pump": None, "hot": None}
    found = verdict_of(site, filled(card_of(site), STANDING, steps=times))
    assert "standstill-not-known" in {reason.rule for reason in found.reasons}


def test_a_task_without_a_procedure_is_credited_by_its_one_step(tmp_path: Path) -> None:
    """Plugs have no procedure: done or not done is all there is to it."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site, "oil", "plugs"), STANDING, steps={"plugs.do": None})
    assert verdict_of(site, handed, "plugs").verdict == "refused"
    assert verdict_of(site, filled(card_of(site, "oil", "plugs"), STANDING), "plugs").verdict == "credited"


def test_of_one_card_each_task_has_its_own_verdict(tmp_path: Path) -> None:
    """What is credited is written; what is refused is not."""
    site = recorded_site(tmp_path)
    record = recorded(site, filled(card_of(site, "oil", "plugs"), STANDING, steps={"plugs.do": None}))
    assert record.verdicts == (("oil", "credited"), ("plugs", "refused"))
    assert services_of(site).decode().splitlines()[2:] == [
        f"2026-03-02 14:28,G1,oil,,done,AB,,{record.handed.code},,,,".replace("2026-03-02 ", "2026-03-02T")
    ]


def test_a_later_card_completes_a_job_in_parts(tmp_path: Path) -> None:
    """The filter was left out first; the second card tells of it alone, and both together are the job."""
    site = recorded_site(tmp_path)
    first = recorded(site, filled(card_of(site), STANDING, steps={"filter": None}))
    assert first.verdicts == (("oil", "partial"),)
    later = card_of(site, completes=first.handed.code)
    only = {step.id: None for step in later.steps if not step.id.endswith(".filter")}
    handed = filled(later, "2026-03-04T09:00", steps=only)
    record = recorded(site, handed, now=NOW)
    assert record.verdicts == (("oil", "credited"),)
    assert f"completes {first.handed.code}" in services_of(site).decode()


def test_a_card_that_completes_what_is_not_on_record_is_refused(tmp_path: Path) -> None:
    """There is no first part that could be completed."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site, completes="0000-0000-0000-0000"), STANDING)
    assert rules_of(verdict_of(site, handed)) == {"completes-nothing"}


def test_times_with_an_offset_are_instants(tmp_path: Path) -> None:
    """A phone on summer time says 16:00+02:00, which is 14:00 at this site."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site), STANDING, ended_at="2026-03-02T16:27+02:00")
    record = recorded(site, handed)
    assert record.at is not None
    assert record.at.utcoffset() == timedelta(0)
    assert (record.at.hour, record.at.minute) == (14, 27)


def test_what_was_measured_and_found_is_kept(tmp_path: Path) -> None:
    """Each value with its time, task, unit and card; how the part was found is a word."""
    site = recorded_site(tmp_path)
    record = recorded(site, filled(card_of(site), STANDING, as_found={"oil": "worn"}))
    rows = (tmp_path / "records" / "measures.csv").read_text("utf-8").splitlines()
    code = record.handed.code
    assert rows == [
        "at,engine,task,measure,value,unit,card",
        f"2026-03-02T14:23+00:00,G1,oil,oil_drained_l,100,L,{code}",
        f"2026-03-02T14:25+00:00,G1,oil,oil_filled_l,100,L,{code}",
        f"2026-03-02T14:27+00:00,G1,oil,as_found,worn,,{code}",
    ]


def test_in_a_file_of_days_alone_two_records_of_a_day_are_one(tmp_path: Path) -> None:
    """Both would stand at noon: the second is refused, and not left to be counted once."""
    site = recorded_site(tmp_path)
    path = tmp_path / "services.csv"
    path.write_bytes(path.read_bytes().replace(b"2026-02-01T12:00", b"2026-02-01"))
    recorded(site, filled(card_of(site, "plugs"), "2026-03-02T10:30"))
    assert services_of(site).decode().splitlines()[-1].startswith("2026-03-02,G1,plugs,")
    found = verdict_of(site, filled(card_of(site, "plugs", on=NOW.date().replace(day=3)), STANDING), "plugs")
    assert (found.verdict, rules_of(found)) == ("refused", {"later-record"})
