"""Tasks done once after an event, through every command that shows them. The site runs 10 h a day from 1 January 2024."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.site_maker import done, steady, task, write_site

TASKS = [
    task("overhaul", every={"running_hours": 12000}),
    task("re-check", once=True, after={"done": "overhaul"}, within={"running_hours": 50}),
    task("first-test", once=True, after="start_up", within={"calendar": "P1Y"}),
    task("look", due_when={"load_pct": {"above": 90}}),
    task("sailing", once=True, after={"planned": "departure", "ahead": "PT12H"}, within={"elapsed_hours": 12}),
]


@pytest.fixture
def site(tmp_path: Path) -> str:
    """Return a site that was overhauled on 1 February, ran at 95 % load from then on, and sails on 1 March at 14:00."""
    rows = [*steady("2024-01-01", "2024-01-31", 10, load_pct=60), *steady("2024-02-01", "2024-03-31", 10, start_h=310, load_pct=95)]
    write_site(
        tmp_path,
        TASKS,
        rows,
        services=[done("overhaul", "2024-02-01T00:00")],
        engine={"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 400},
        planned={"departure": ["2024-03-01T14:00"]},
    )
    return str(tmp_path)


def test_check_says_what_each_waits_for(run: Run, site: str) -> None:
    """At the end of February: 290 h of 50 after the overhaul, due at once since the first row at 95 %, 12 h before sailing not yet."""
    found = run("check", site, "--as-of", "2024-02-29", "--format", "json")
    standings = {entry["task"]: (entry["standing"], entry["reasons"][0]["rule"]) for entry in json.loads(found.stdout)["findings"]}
    assert standings == {
        "overhaul": ("in_interval", "in-interval"),
        "re-check": ("overdue", "past-interval"),
        "first-test": ("in_interval", "in-interval"),
        "look": ("overdue", "past-interval"),
        "sailing": ("in_interval", "waits-for-event"),
    }
    shown = run("check", site, "--as-of", "2024-02-29", "--all").stdout
    assert "290 running hours since 2024-02-01 (overhaul done, services.csv:2), allowed 50" in " ".join(shown.split())
    assert "nothing is due until 12 h before a planned departure; next planned for 2024-03-01 14:00" in " ".join(shown.split())


def test_explain_begins_at_the_event(run: Run, site: str) -> None:
    """The window is from the overhaul, with its record; a task that waits has no window, and says for what."""
    assert "overhaul done (services.csv:2)" in run("explain", site, "G1", "re-check", "--as-of", "2024-02-29").stdout
    waits = run("explain", site, "G1", "sailing", "--as-of", "2024-02-29")
    assert waits.exit_code == 0
    assert "nothing due" in waits.stdout


@pytest.mark.parametrize("command", ["what-if", "duty", "propose"])
def test_commands_that_reckon_with_intervals_come_to_an_end(run: Run, site: str, command: str) -> None:
    """What is due at once has no interval: nothing is divided by it, and no due point follows it."""
    asked = {
        "what-if": ("--as-of", "2024-02-29", "--set", "tasks.re-check.within.running_hours=80"),
        "duty": ("--since", "2024-01-01", "--until", "2024-02-29"),
        "propose": ("--as-of", "2024-02-29"),
    }
    assert run(command, site, *asked[command]).exit_code == 0


def test_the_month_counts_each_once(run: Run, site: str) -> None:
    """February: the re-check was late at 50 h, and the look at once; a due point of each, both open."""
    found = json.loads(run("check", site, "--month", "2024-02", "--format", "json").stdout)["compliance"]
    assert [(entry["task"], entry["met"], entry["open"]) for entry in found["occurrences"] if entry["task"] != "overhaul"] == [
        ("re-check", "late", True),
        ("look", "late", True),
    ]


def test_a_card_and_its_record_do_what_was_due(run: Run, site: str) -> None:
    """A job without a card answers its event: done once, with that record as the last."""
    typed = run("record", site, "--engine", "G1", "--task", "re-check", "--at", "2024-02-03T08:00", "--by", "A. Person", "--yes")
    assert typed.exit_code == 0
    found = json.loads(run("check", site, "--as-of", "2024-02-29", "--task", "re-check", "--format", "json").stdout)["findings"]
    assert [(entry["reasons"][0]["rule"], entry["last_done"]["record"]) for entry in found] == [("done-once", "services.csv:3")]


def test_rules_are_read_back_in_words(run: Run, site: str) -> None:
    """A page names the event and how long after it the line is, and no interval."""
    shown = run("rules", "show", str(Path(site) / "rules.yaml")).stdout
    assert "done once after: overhaul is done" in shown
    assert "within: at once" in shown
    assert "done once after: 12 h before a planned departure" in shown


def test_a_planned_list_that_the_site_does_not_have_is_refused(run: Run, tmp_path: Path) -> None:
    """A slip in the list's name would wait for ever."""
    write_site(
        tmp_path, [task("sailing", once=True, after={"planned": "departures"}, at_once=True)], steady("2024-01-01", "2024-01-05", 10)
    )
    site = tmp_path / "site.yaml"
    site.write_text(site.read_text() + "planned: {departure: ['2024-03-01T14:00']}\n")
    refused = run("check", str(tmp_path), "--as-of", "2024-01-05")
    assert refused.exit_code == 2
    assert 'no planned list "departures"; did you mean "departure"?' in refused.stderr


def test_an_example_counts_from_the_event(run: Run, tmp_path: Path) -> None:
    """50 h after the event are at the line, 51 past it; 12 h by the clock and a minute are past 12 h."""
    path = tmp_path / "ours.yaml"
    path.write_text(
        """ruleset: ours
title: Ours
version: "1"
source: none
tasks:
  - {id: overhaul, title: Overhaul, every: {running_hours: 12000}}
  - {id: re-check, title: Check again, once: true, after: {done: overhaul}, within: {running_hours: 50}}
  - {id: sailing, title: Before sailing, once: true, after: {planned: departure, ahead: PT12H}, within: {elapsed_hours: 12}}
examples:
  - {name: At it, since_last: {running_hours: 50, days: 6}, task: re-check, expect: {used: 50, allowed: 50, standing: upcoming}}
  - {name: Past it, since_last: {running_hours: 51, days: 6}, task: re-check, expect: {used: 51, standing: overdue}}
  - name: Done
    since_last: {running_hours: 51, days: 6}
    done_since: {re-check: {days: 3}}
    task: re-check
    expect: {standing: in_interval}
  - {name: Sailing, since_last: {elapsed_hours: 12.02}, task: sailing, expect: {used: 12.02, allowed: 12, standing: overdue}}
""",
        encoding="utf-8",
    )
    tested = run("rules", "test", str(path))
    assert tested.exit_code == 0, tested.stdout
