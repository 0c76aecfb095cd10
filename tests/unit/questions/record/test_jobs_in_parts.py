"""Jobs in parts: each part counts once, in its order of time, as it was handed in."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.card.card_models import Card
from intervals.questions.card.make_card import CardsAsked, make_cards
from intervals.questions.record.card_verdict import CardRecord
from intervals.questions.record.handed_in import HandedIn
from intervals.questions.record.remaining_work import remaining_work
from intervals.questions.record.undo import Undoing, undo
from intervals.site.model import Site
from tests.filled_cards import filled
from tests.recorded_sites import NOW, OIL_AND_FILTER, STEPS, card_of, recorded, recorded_site, rules_of, services_of, verdict_of

FIRST, SECOND, THIRD = "2026-03-02T14:00", "2026-03-04T09:00", "2026-03-06T09:00"


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Return the small site."""
    return recorded_site(tmp_path)


def first_part(site: Site) -> CardRecord:
    """Record a card whose filter was left out."""
    return recorded(site, filled(card_of(site), FIRST, steps={"filter": None}))


def rest_of(site: Site, code: str, started_at: str, *, day: int = 10) -> HandedIn:
    """Return a card that tells of the filter alone, and completes another."""
    card = card_of(site, completes=code, on=NOW.date().replace(day=day))
    return filled(card, started_at, steps={step.id: None for step in card.steps if not step.id.endswith(".filter")})


def test_a_part_is_completed_once(site: Site) -> None:
    """A second card that completes the same part would start the interval again without any work."""
    code = first_part(site).handed.code
    assert recorded(site, rest_of(site, code, SECOND)).verdicts == (("oil", "credited"),)
    found = verdict_of(site, rest_of(site, code, THIRD, day=11))
    assert (found.verdict, rules_of(found)) == ("refused", {"completed-before"})


def test_a_whole_job_is_not_completed(site: Site) -> None:
    """It lacks nothing: the interval would start again without any work."""
    whole = recorded(site, filled(card_of(site), FIRST))
    found = verdict_of(site, rest_of(site, whole.handed.code, SECOND))
    assert (found.verdict, rules_of(found)) == ("refused", {"completed-before"})


def test_a_part_that_counts_is_not_taken_back(site: Site) -> None:
    """The card that completes it is taken back first; then the part can be."""
    code = first_part(site).handed.code
    later = recorded(site, rest_of(site, code, SECOND)).handed.code
    before = services_of(site)
    with pytest.raises(RequestProblemError, match=later):
        undo(site, Undoing(code, "wrong", "CD", NOW))
    assert services_of(site) == before
    undo(site, Undoing(later, "wrong", "CD", NOW))
    undo(site, Undoing(code, "wrong", "CD", NOW))


def test_a_part_does_not_come_before_the_one_that_it_completes(site: Site) -> None:
    """The rest of a job is done after its beginning."""
    code = first_part(site).handed.code
    found = verdict_of(site, rest_of(site, code, "2026-03-01T14:00"))
    assert {"ends-before-part"} <= rules_of(found)
    assert found.verdict == "refused"


def test_a_part_that_was_edited_is_refused(site: Site) -> None:
    """Its file is held against the digest that was kept when it was handed in."""
    code = first_part(site).handed.code
    path = site.folder / "records" / f"{code}.card.json"
    path.write_bytes(path.read_bytes() + b" ")
    found = verdict_of(site, rest_of(site, code, SECOND))
    assert (found.verdict, rules_of(found)) == ("refused", {"part-altered"})


def test_evidence_that_was_kept_is_not_written_over(site: Site) -> None:
    """Taken back and handed in again with something else: both files are there, and the digest is that of the later one."""
    first = filled(card_of(site), FIRST, steps={"filter": None})
    recorded(site, first)
    kept = (site.folder / "records" / f"{first.code}.card.json").read_bytes()
    undo(site, Undoing(first.code, "wrong", "CD", NOW))
    recorded(site, filled(first.card, FIRST, remarks="again", steps={"filter": None}))
    assert (site.folder / "records" / f"{first.code}.1.card.json").read_bytes() == kept
    assert b"again" in (site.folder / "records" / f"{first.code}.card.json").read_bytes()
    assert recorded(site, rest_of(site, first.code, SECOND)).verdicts == (("oil", "credited"),)


def rest_card(site: Site, code: str, *tasks: str, engine: str = "G1", day: int = 10) -> Card:
    """Return the card for what remains of another, as `intervals card --completes` makes it."""
    on = NOW.date().replace(day=day)
    asked = CardsAsked(
        engines=(engine,), tasks=tasks, on=on, completes=code, remains=lambda inputs: remaining_work(inputs, code, engine, tasks)
    )
    (card,) = make_cards(site, NOW.date(), asked).cards
    return card


def names_of(*steps: str) -> list[str]:
    """Return the ids of steps on a card."""
    return [f"oil-and-filter.{step}" for step in steps]


def test_the_card_for_the_rest_has_what_remains(site: Site) -> None:
    """Cautions, the filter that was left out, and what secures the engine, of the one open task; both cards together are the job."""
    code = first_part(site).handed.code
    card = rest_card(site, code)
    assert [task.task for task in card.tasks] == ["oil"]
    assert [step.id for step in card.steps] == names_of("hot", "off", "stop", "filter", "off.restore")
    assert any(code in remark for remark in card.remarks)
    assert recorded(site, filled(card, SECOND)).verdicts == (("oil", "credited"),)


def test_what_comes_after_a_step_that_remains_is_on_the_card_and_named_at_once(site: Site) -> None:
    """The oil is measured after it was pumped out: a pump of a later day makes the measure too early, so both are asked for."""
    first = recorded(site, filled(card_of(site), FIRST, steps={"pump": None}))
    assert first.tasks[0].completes_with == ("evidence of oil-and-filter.pump", "and again, after it: oil-and-filter.drained")
    card = rest_card(site, first.handed.code)
    assert [step.id for step in card.steps] == names_of("hot", "off", "stop", "pump", "drained", "off.restore")
    assert recorded(site, filled(card, SECOND)).verdicts == (("oil", "credited"),)


def test_what_was_set_again_is_put_back_again(site: Site) -> None:
    """A position that was not set is set on the later card, and put back after it."""
    procedures = [{**OIL_AND_FILTER, "steps": [{**step, "evidence": "required"} for step in STEPS]}]
    other = recorded_site(site.folder.parent / "other", procedures=procedures)
    first = recorded(other, filled(card_of(other), FIRST, steps={"oil-and-filter.off": None}))
    assert [step.id for step in rest_card(other, first.handed.code).steps] == names_of("hot", "off", "stop", "off.restore")


LOCKED: list[dict[str, object]] = [
    {
        "id": "lock", "kind": "set", "phase": "secure", "of": "start", "to": "locked", "before": "ready", "restore": True,
        "evidence": "required",
    },
    {"id": "proved", "kind": "check", "phase": "secure", "needs": ["lock"], "text": "Nothing turns.", "evidence": "required"},
    {"id": "drain", "kind": "do", "needs": ["proved"], "text": "Drain.", "evidence": "required"},
    {"id": "filter", "kind": "do", "needs": ["drain"], "text": "New filter.", "evidence": "required"},
    {"id": "valve", "kind": "set", "of": "drain valve", "to": "open", "before": "closed", "restore": True},
    {"id": "tidy", "kind": "check", "phase": "restore", "text": "Tools counted."},
    {"id": "start", "kind": "do", "phase": "after", "text": "Start."},
    {"id": "pressure", "kind": "measure", "phase": "after", "value": "oil_pressure_bar", "unit": "bar", "text": "Pressure."},
    {"id": "leaks", "kind": "check", "phase": "after", "text": "No leak.", "evidence": "required"},
]  # fmt: skip


def locked_site(folder: Path) -> Site:
    """Return a site whose oil change locks the engine, puts it back and starts it."""
    return recorded_site(folder, procedures=[{**OIL_AND_FILTER, "steps": LOCKED}])


def test_the_rest_locks_the_engine_again_and_looks_at_it_again(tmp_path: Path) -> None:
    """Only the filter lacks: lock and proof come before it, put back, start and leaks after it; the drain of the first day stays right."""
    site = locked_site(tmp_path)
    first = recorded(site, filled(card_of(site), FIRST, steps={"filter": None}))
    assert first.verdicts == (("oil", "partial"),)
    card = rest_card(site, first.handed.code)
    assert [step.id for step in card.steps] == names_of("lock", "proved", "filter", "tidy", "lock.restore", "start", "leaks")
    found = verdict_of(site, filled(card, SECOND))
    assert (found.verdict, rules_of(found)) == ("credited", set())


def test_work_before_the_lock_of_its_own_day_is_out_of_order(tmp_path: Path) -> None:
    """That the engine was locked on the first day as well makes it no better."""
    procedure = {**OIL_AND_FILTER, "steps": [{**step, "needs": ["proved"]} if step["id"] == "filter" else step for step in LOCKED]}
    site = recorded_site(tmp_path, procedures=[procedure])
    first = recorded(site, filled(card_of(site), FIRST, steps={"filter": None}))
    rest = filled(rest_card(site, first.handed.code), SECOND)
    times = rest.steps["oil-and-filter.proved"], rest.steps["oil-and-filter.filter"]
    swapped = {"oil-and-filter.proved": times[1], "oil-and-filter.filter": times[0]}
    found = verdict_of(site, rest.model_copy(update={"steps": {**rest.steps, **swapped}}))
    assert (found.verdict, rules_of(found)) == ("partial", {"out-of-order"})


def test_to_secure_the_engine_is_no_work_on_a_task(tmp_path: Path) -> None:
    """A card for the rest on which nothing that lacked was done is no further part."""
    site = locked_site(tmp_path)
    first = recorded(site, filled(card_of(site), FIRST, steps={"filter": None}))
    rest = filled(rest_card(site, first.handed.code), SECOND, steps={"filter": None})
    assert verdict_of(site, rest).verdict == "refused"


def test_what_lacks_of_the_running_engine_alone_asks_for_no_standstill(tmp_path: Path) -> None:
    """Only the pressure was left out: the engine is not locked for it."""
    site = locked_site(tmp_path)
    first = recorded(site, filled(card_of(site), FIRST, steps={"pressure": None}))
    assert [step.id for step in rest_card(site, first.handed.code).steps] == names_of("pressure")


def test_a_third_part_leaves_both_days_before_it_in_order(tmp_path: Path) -> None:
    """Drain on the first day, filter on the second, the leak check of a third: each day has its own lock."""
    site = locked_site(tmp_path)
    first = recorded(site, filled(card_of(site), FIRST, steps={"filter": None, "drain": None}))
    rest = filled(rest_card(site, first.handed.code), SECOND, steps={"filter": None})
    second = recorded(site, rest)
    assert second.verdicts == (("oil", "partial"),)
    third = rest_card(site, second.handed.code, day=11)
    assert [step.id for step in third.steps] == names_of("lock", "proved", "filter", "tidy", "lock.restore", "start", "leaks")
    assert verdict_of(site, filled(third, THIRD)).verdict == "credited"


def two_tasks(folder: Path) -> Site:
    """Return a site with two tasks whose procedures share a step under two names."""
    plugs = [
        {"id": "stopped", "kind": "check", "phase": "secure", "text": "Stopped.", "evidence": "required", "shared": "stop"},
        {"id": "gap", "kind": "do", "text": "Set the gaps.", "evidence": "required", "needs": ["stopped"]},
        {"id": "torque", "kind": "do", "text": "Tighten.", "evidence": "required", "needs": ["stopped"]},
    ]
    oil = [{**step, "shared": "stop"} if step["id"] == "stop" else step for step in STEPS]
    return recorded_site(
        folder, procedures=[{**OIL_AND_FILTER, "steps": oil}, {"id": "new-plugs", "tasks": "plugs", "title": "New plugs", "steps": plugs}]
    )


def test_the_card_for_the_rest_is_of_the_open_tasks_alone(tmp_path: Path) -> None:
    """The oil was credited; of the plugs one step remains, and the step that both tasks share was done on the first card."""
    site = two_tasks(tmp_path)
    first = recorded(site, filled(card_of(site, "oil", "plugs"), FIRST, steps={"torque": None}))
    assert first.verdicts == (("oil", "credited"), ("plugs", "partial"))
    card = rest_card(site, first.handed.code)
    assert ([task.task for task in card.tasks], [step.id for step in card.steps]) == (
        ["plugs"],
        ["new-plugs.stopped", "new-plugs.torque"],
    )
    assert recorded(site, filled(card, SECOND)).verdicts == (("plugs", "credited"),)
    with pytest.raises(RequestProblemError, match=f"nothing is open; it was completed by {card.code}"):
        rest_card(site, first.handed.code, day=11)


def test_a_card_for_the_rest_of_nothing_is_refused_when_it_is_made(tmp_path: Path) -> None:
    """An unknown code, a whole job, a task that is not open, a file that is gone: said before any work is done."""
    site = two_tasks(tmp_path)
    with pytest.raises(RequestProblemError, match="there is no record that stands"):
        rest_card(site, "0000-0000-0000-0000")
    whole = recorded(site, filled(card_of(site), FIRST)).handed.code
    with pytest.raises(RequestProblemError, match="nothing is open"):
        rest_card(site, whole)
    part = recorded(site, filled(card_of(site, "plugs"), SECOND, steps={"torque": None})).handed.code
    with pytest.raises(RequestProblemError, match="nothing is open of oil") as found:
        rest_card(site, part, "oil")
    assert found.value.problems[0].fix == "leave --tasks out: open are plugs"
    (site.folder / "records" / f"{part}.card.json").unlink()
    with pytest.raises(RequestProblemError, match="is not in records/"):
        rest_card(site, part)
    undo(site, Undoing(part, "wrong", "CD", NOW))
    with pytest.raises(RequestProblemError, match="there is no record that stands"):
        rest_card(site, part)


def test_a_card_for_the_rest_of_what_was_done_whole_since_is_not_made(tmp_path: Path) -> None:
    """The oil was changed by a card of its own: the work on a card for its rest would be refused, so none is made; plugs are still open."""
    site = oil_and_plugs(tmp_path)
    first = recorded(site, filled(card_of(site, "oil", "plugs"), FIRST, steps={"plugs.new": None, "filter": None}))
    assert [task.task for task in rest_card(site, first.handed.code).tasks] == ["oil", "plugs"]
    recorded(site, filled(card_of(site, on=NOW.date().replace(day=9)), SECOND))
    with pytest.raises(RequestProblemError, match=r"nothing is open of oil; oil was done whole since \(services.csv:5\)"):
        rest_card(site, first.handed.code, "oil")
    assert [task.task for task in rest_card(site, first.handed.code).tasks] == ["plugs"]


PLUGS: dict[str, object] = {
    "id": "plugs",
    "tasks": "plugs",
    "title": "Change the plugs",
    "steps": [{"id": name, "kind": "do", "text": f"{name}.", "evidence": "required"} for name in ("gap", "new")],
}


def oil_and_plugs(folder: Path) -> Site:
    """Return the site with a procedure for plugs too."""
    return recorded_site(folder, procedures=[OIL_AND_FILTER, PLUGS])


def part_of(site: Site, code: str, started_at: str, *done: str, day: int = 10) -> HandedIn:
    """Return a card of both tasks that completes another, of which only some steps were done."""
    card = card_of(site, "oil", "plugs", completes=code, on=NOW.date().replace(day=day))
    return filled(
        card, started_at, steps={step.id: None for step in card.steps if not step.id.endswith(tuple(f".{each}" for each in done))}
    )


def test_what_was_credited_is_not_credited_again(tmp_path: Path) -> None:
    """Oil was whole and plugs were not: the rest of the plugs restarts the plugs alone."""
    site = oil_and_plugs(tmp_path)
    first = recorded(site, filled(card_of(site, "oil", "plugs"), FIRST, steps={"plugs.new": None}))
    assert first.verdicts == (("oil", "credited"), ("plugs", "partial"))
    rest = part_of(site, first.handed.code, SECOND, "new")
    found = verdict_of(site, rest, "oil")
    assert (found.verdict, rules_of(found)) == ("refused", {"completed-before"})
    (said,) = (reason.text for reason in found.reasons if reason.rule == "completed-before")
    assert said == "it was credited already (services.csv:3): nothing is left to complete"
    assert [(row.task, row.outcome) for row in recorded(site, rest).rows] == [("plugs", "done")]


def test_a_task_of_which_a_part_did_nothing_stays_as_it_was(tmp_path: Path) -> None:
    """Both in part; a second card has plugs alone, a third one oil alone: each is credited once, by the card that did it."""
    site = oil_and_plugs(tmp_path)
    first = recorded(site, filled(card_of(site, "oil", "plugs"), FIRST, steps={"plugs.new": None, "filter": None}))
    second = recorded(site, part_of(site, first.handed.code, SECOND, "new"))
    assert second.verdicts == (("oil", "refused"), ("plugs", "credited"))
    assert {reason.rule for reason in second.tasks[0].reasons if reason.outcome == "refuses"} == {"nothing-done"}
    third = recorded(site, part_of(site, second.handed.code, THIRD, "filter", day=11))
    assert third.verdicts == (("oil", "credited"), ("plugs", "refused"))


def test_a_task_that_an_earlier_card_did_not_have_is_judged_by_its_own_evidence(tmp_path: Path) -> None:
    """Plugs were not on the first card: of them the second one has everything, or nothing."""
    site = oil_and_plugs(tmp_path)
    first = recorded(site, filled(card_of(site), FIRST, steps={"filter": None}))
    assert verdict_of(site, part_of(site, first.handed.code, SECOND, "filter"), "plugs").verdict == "refused"
    whole = part_of(site, first.handed.code, SECOND, "filter", "gap", "new")
    assert recorded(site, whole).verdicts == (("oil", "credited"), ("plugs", "credited"))


def test_a_part_before_a_later_whole_job_is_not_completed(site: Site) -> None:
    """The oil was changed since, by another card: the rest of the first job restarts nothing."""
    code = first_part(site).handed.code
    recorded(site, filled(card_of(site, on=NOW.date().replace(day=9)), SECOND))
    found = verdict_of(site, rest_of(site, code, THIRD))
    assert (found.verdict, rules_of(found)) == ("refused", {"completed-before"})


def test_a_part_of_which_no_digest_is_kept_is_told(site: Site) -> None:
    """Without records/digests.csv nothing shows whether the first part was edited since."""
    code = first_part(site).handed.code
    (site.folder / "records" / "digests.csv").unlink()
    found = verdict_of(site, rest_of(site, code, SECOND))
    assert found.verdict == "credited"
    assert [reason.text for reason in found.reasons if reason.rule == "part-not-proved" and code in reason.text]


def test_a_part_whose_file_is_lost_is_named(site: Site) -> None:
    """Its record stands, so it is not said that there is none; what to do is said."""
    code = first_part(site).handed.code
    path = site.folder / "records" / f"{code}.card.json"
    content = path.read_bytes()
    path.unlink()
    found = verdict_of(site, rest_of(site, code, SECOND))
    assert "part-lost" in rules_of(found)
    assert "completes-nothing" not in rules_of(found)
    assert any(code in reason.text and "put the file that was handed in back" in reason.text for reason in found.reasons)
    path.write_bytes(content)
    assert verdict_of(site, rest_of(site, code, SECOND)).verdict == "credited"


def test_a_kept_card_that_cannot_be_read_does_not_keep_others_from_being_taken_back(site: Site) -> None:
    """It is passed over, unless its record says that it completes the one that is taken back."""
    code = first_part(site).handed.code
    later = recorded(site, rest_of(site, code, SECOND)).handed.code
    other = recorded(site, filled(card_of(site, "plugs"), THIRD)).handed.code
    (site.folder / "records" / f"{later}.card.json").write_text("garbage", "utf-8")
    undo(site, Undoing(other, "wrong", "CD", NOW))
    with pytest.raises(RequestProblemError, match=later):
        undo(site, Undoing(code, "wrong", "CD", NOW))
    undo(site, Undoing(later, "wrong", "CD", NOW))
    undo(site, Undoing(code, "wrong", "CD", NOW))


def test_a_part_that_cannot_be_read_is_refused_with_what_helps(site: Site) -> None:
    """Nobody hands that file in: it is to be put back."""
    code = first_part(site).handed.code
    (site.folder / "records" / f"{code}.card.json").write_text("garbage", "utf-8")
    with pytest.raises(RequestProblemError, match="put the file back") as refusal:
        verdict_of(site, rest_of(site, code, SECOND))
    assert "hand in the file" not in str(refusal.value)
