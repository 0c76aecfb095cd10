"""Deferrals held against what the rule set allows, and records taken back: worked out by hand."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.record.deferral import DeferralAsked, judge_deferral, write_deferral
from intervals.questions.record.undo import Undoing, undo
from intervals.readings import read_records
from intervals.site.model import Site
from tests.filled_cards import filled
from tests.recorded_sites import NOW, card_of, recorded, recorded_site, services_of
from tests.site_maker import task

BOUNDED: dict[str, Any] = {"deferral": {"at_most_pct": 10, "times": 1, "approval": "required"}}
STANDING = "2026-03-02T14:00"


def yearly(folder: Path, **keys: object) -> Site:
    """Return a site whose task falls due every 100 days: last done on 1 February, due on 12 May 2026."""
    return recorded_site(folder, tasks=[task("oil", every={"calendar": "P100D"}, **keys)], procedures=[])


def asked(until: date | None = None, hours: float | None = None, approved_by: str = "AB") -> DeferralAsked:
    """Return a deferral of the oil change."""
    return DeferralAsked("G1", "oil", until, hours, approved_by, "no oil", NOW)


@pytest.mark.parametrize(("until", "past_pct", "rules"), [(22, 10.0, []), (23, 11.0, ["deferral-too-far"])])
def test_ten_per_cent_of_a_hundred_days_is_ten_days(tmp_path: Path, until: int, past_pct: float, rules: list[str]) -> None:
    """1 February and 100 days is 12 May; ten days later is the last that is allowed."""
    verdict = judge_deferral(yearly(tmp_path, **BOUNDED), asked(date(2026, 5, until)))
    assert verdict.past_pct == past_pct
    assert [reason.rule for reason in verdict.reasons] == rules
    assert verdict.is_refused == bool(rules)


@pytest.mark.parametrize(("hours", "rules"), [(1420.3, []), (1420.5, ["deferral-too-far"])])
def test_hours_past_the_line_are_told_by_the_meter(tmp_path: Path, hours: float, rules: list[str]) -> None:
    """Changed at 320.3 h with 1,000 h to run: the line is at 1,320.3 h, and a tenth of 1,000 h later is the end."""
    site = recorded_site(tmp_path, tasks=[task("oil", every={"running_hours": 1000}, **BOUNDED)], procedures=[])
    assert [reason.rule for reason in judge_deferral(site, asked(hours=hours)).reasons] == rules


def test_nobody_s_approval_is_none(tmp_path: Path) -> None:
    """A task that says nothing of deferrals needs an approval and knows no bound."""
    site = yearly(tmp_path)
    assert [reason.rule for reason in judge_deferral(site, asked(date(2026, 9, 1), approved_by=" ")).reasons] == [
        "deferral-unapproved",
        "deferral-unbounded",
    ]
    assert not judge_deferral(site, asked(date(2026, 9, 1))).is_refused


def test_a_deferral_that_nothing_bounds_is_told(tmp_path: Path) -> None:
    """1 September is 112 days after 12 May, of an interval of 100 days: allowed, with how far that is; up to the line nothing is said."""
    site = yearly(tmp_path)
    (reason,) = judge_deferral(site, asked(date(2026, 9, 1))).reasons
    assert (reason.rule, reason.outcome) == ("deferral-unbounded", "told")
    assert "112 % of the interval past its line" in reason.text
    assert judge_deferral(site, asked(date(2026, 5, 12))).reasons == ()


def test_a_deferral_whose_reach_is_not_known_is_refused_only_where_it_is_bounded(tmp_path: Path) -> None:
    """Never done, as far as anything says: no line to be past. The rule decides, by whether the rule set bounds it."""
    for name, keys, rules in (("a", BOUNDED, ["deferral-not-known"]), ("b", {}, ["deferral-of-no-line"])):
        tasks = [task("plugs", every={"calendar": "P100D"}, **keys), task("oil", every={"calendar": "P100D"})]
        site = recorded_site(tmp_path / name, tasks=tasks, procedures=[], records_from="2026-03-01")
        verdict = judge_deferral(site, asked(date(2026, 9, 1))._replace(task="plugs"))
        assert [reason.rule for reason in verdict.reasons] == rules
        assert verdict.is_refused == bool(keys)


def test_a_deferral_is_taken_back_by_its_reference(tmp_path: Path) -> None:
    """Its row has one of its own; after that the occurrence was put off not at all."""
    site = yearly(tmp_path, **BOUNDED)
    done = write_deferral(site, asked(date(2026, 5, 15)))
    undo(site, Undoing(done.ref, "oil came", "CD", NOW))
    assert [record.outcome for record in read_records(site, now_us=None).records] == ["done", "deferred", "void"]
    assert judge_deferral(site, asked(date(2026, 5, 20))).reasons == ()


def test_an_approval_may_be_left_out_where_the_rule_set_says_so(tmp_path: Path) -> None:
    """`approval: not_required`."""
    site = yearly(tmp_path, deferral={"at_most_pct": 10, "approval": "not_required"})
    assert not judge_deferral(site, asked(date(2026, 5, 20), approved_by="")).is_refused


def test_one_occurrence_is_put_off_as_often_as_the_rule_set_says(tmp_path: Path) -> None:
    """Once is allowed; the second one is refused, and nothing is written of it."""
    site = yearly(tmp_path, **BOUNDED)
    first = write_deferral(site, asked(date(2026, 5, 15)))
    assert first.written is not None
    after = services_of(site)
    second = write_deferral(site, asked(date(2026, 5, 20))._replace(at=NOW + timedelta(minutes=1)))
    assert [reason.rule for reason in second.reasons] == ["deferral-too-often", "deferral-repeated"]
    assert services_of(site) == after


@pytest.mark.parametrize(("until", "rule"), [(date(2026, 3, 9), "deferral-over"), (date(2026, 4, 1), "deferral-ends-before-line")])
def test_an_end_that_puts_nothing_off_is_told(tmp_path: Path, until: date, rule: str) -> None:
    """Yesterday is refused; a day before the line is allowed and said to be useless."""
    assert rule in [reason.rule for reason in judge_deferral(yearly(tmp_path, **BOUNDED), asked(until)).reasons]


def test_a_deferral_is_read_back_as_what_was_asked_for(tmp_path: Path) -> None:
    """Task, end, approval and reason stand in the site's own columns."""
    site = yearly(tmp_path, **BOUNDED)
    write_deferral(site, asked(date(2026, 5, 15), hours=900))
    record = read_records(site, now_us=None).records[-1]
    assert (record.outcome, record.until_date, record.until_h, record.approved_by) == ("deferred", date(2026, 5, 15), 900.0, "AB")


@pytest.mark.parametrize(("engine", "name", "said"), [("G2", "oil", 'no engine "G2"'), ("G1", "oyl", 'no task "oyl"')])
def test_what_does_not_exist_is_not_put_off(tmp_path: Path, engine: str, name: str, said: str) -> None:
    """An engine or a task that is none."""
    with pytest.raises(RequestProblemError, match=said):
        judge_deferral(yearly(tmp_path), asked(date(2026, 5, 15))._replace(engine=engine, task=name))


def test_a_card_taken_back_and_recorded_again_stands(tmp_path: Path) -> None:
    """Done, void, done again, void again: each void takes back the record before it."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site), STANDING)
    taken = Undoing(handed.code.lower(), "wrong engine", "CD", NOW)
    for _ in range(2):
        record = recorded(site, handed)
        assert record.verdicts == (("oil", "credited"),)
        undo(site, taken)
        assert "oil_drained_l" not in (tmp_path / "records" / "measures.csv").read_text("utf-8")
    outcomes = [record.outcome for record in read_records(site, now_us=None).records]
    assert outcomes == ["done", "done", "void", "done", "void"]
    with pytest.raises(RequestProblemError, match="was taken back before"):
        undo(site, taken)


def test_a_record_typed_by_hand_is_taken_back_by_its_reference(tmp_path: Path) -> None:
    """Any reference will do; one that is none is met with the nearest."""
    site = recorded_site(tmp_path)
    undo(site, Undoing("old-1", "entered twice", "CD", NOW))
    assert services_of(site).decode().splitlines()[-1] == "2026-03-10T12:00,G1,oil,,void,CD,entered twice,old-1,,,,"
    with pytest.raises(RequestProblemError, match='did you mean "old-1"'):
        undo(site, Undoing("old-2", "x", "CD", NOW))
