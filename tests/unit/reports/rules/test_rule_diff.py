"""What differs between two rule sets, in words and as a document."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from intervals.reports.lines import plain_text
from intervals.reports.rules.rule_diff import Difference, diff_document, diff_lines, differences_of
from intervals.rules.ruleset import RuleSet, load_ruleset

TEXT = """\
ruleset: plant
title: The plant
version: "1"
source: the plant's book
tasks:
  - {id: oil, title: Change oil, every: {running_hours: 500, calendar: P1Y}, tolerance_pct: 5, source: page 3}
  - id: hoses
    title: Hoses
    every: [{in_force_from: 2013-05-03, calendar: P1Y, source: old}, {in_force_from: 2024-08-30, calendar: P1Y30D}]
conditions:
  light: {load_pct: {below: 25}}
adjustments:
  - {id: heat, tasks: [oil], when: {oil_temp_c: {above: 95}}, counts_as: 2, because: Heat.}
limits: {counts_as_at_most: 3}
examples:
  - {name: Half way, since_last: {running_hours: 250}, task: oil, expect: {used: 250}}
"""


def made(folder: Path, text: str) -> RuleSet:
    """Return the rule set of a text."""
    path = folder / "rules.yaml"
    path.write_text(text, encoding="utf-8")
    return load_ruleset(path)


def differences(folder: Path, *changes: tuple[str, str]) -> list[Difference]:
    """Return what differs between the text and the text with changes."""
    text = TEXT
    for before, after in changes:
        assert before in text
        text = text.replace(before, after, 1)
    return differences_of(made(folder, TEXT), made(folder, text))


HOURS = "{} h or 1 year, whichever comes first"
WEIGHT = "each such hour counts as {} h"


@pytest.mark.parametrize(
    ("change", "section", "subject", "after", "before"),
    [
        (("running_hours: 500", "running_hours: 400"), "tasks", "oil: the interval", HOURS.format(400), HOURS.format(500)),
        (("P1Y30D", "P1Y"), "tasks", "hoses: the interval in force from 2024-08-30", "1 year", "1 year and 30 days"),
        (("source: old", "source: new"), "tasks", "hoses: the source of the interval in force from 2013-05-03", "new", "old"),
        (("tolerance_pct: 5, ", ""), "tasks", "oil: tolerance", "nothing", "5 %"),
        (
            ("tolerance_pct: 5,", "tolerance_pct: 5, whichever: last,"),
            "tasks",
            "oil: the interval",
            HOURS.format(500)[:-5] + "last",
            HOURS.format(500),
        ),
        (("source: page 3", "source: page 4"), "tasks", "oil: source", "page 4", "page 3"),
        (("above: 95", "at_least: 95"), "adjustments", "heat: the condition", "oil_temp_c at least 95", "oil_temp_c above 95"),
        (("counts_as: 2,", "counts_as: 1.5,"), "adjustments", "heat: the effect", WEIGHT.format(1.5), WEIGHT.format(2)),
        (("because: Heat.", "because: It ages."), "adjustments", "heat: the reason", "It ages.", "Heat."),
        (("below: 25", "below: 30"), "conditions", "light: the condition", "load_pct below 30", "load_pct below 25"),
        (('version: "1"', 'version: "2"'), "rule_set", "version", "2", "1"),
        (("source: the plant's book", "source: our book"), "rule_set", "source", "our book", "the plant's book"),
        (("used: 250}", "used: 251}"), "examples", "Half way: expect", "used 251", "used 250"),
    ],
)
def test_each_change_is_one_sentence(tmp_path: Path, change: tuple[str, str], section: str, subject: str, after: str, before: str) -> None:
    """It names the entry, what it says now and what it said before."""
    found = differences(tmp_path, change)
    assert [(each.section, each.text) for each in found] == [(section, f"{subject} is now {after}; was {before}")]


def test_an_entry_of_another_name_is_gone_and_new(tmp_path: Path) -> None:
    """Both are told whole, without their grounds."""
    told = "tasks oil; oil_temp_c above 95; then each such hour counts as 2 h; if unknown it does not hold, and the hours are reported"
    assert [each.text for each in differences(tmp_path, ("id: heat, ", "id: hot, "))] == [f"heat is gone: {told}", f"hot is new: {told}"]


def test_new_and_moved_tasks_are_told(tmp_path: Path) -> None:
    """A new task with its interval; another order of those that stay."""
    lines = TEXT.splitlines(keepends=True)
    moved = "".join([*lines[:5], *lines[6:9], lines[5], "  - {id: belts, title: Belts, every: {calendar: P6M}}\n", *lines[9:]])
    assert [(each.change, each.text) for each in differences_of(made(tmp_path, TEXT), made(tmp_path, moved))] == [
        ("added", "belts is new: Belts; every 6 months"),
        ("moved", "the tasks are in another order: hoses, oil; was oil, hoses"),
    ]


def test_comments_and_the_order_of_keys_are_no_difference(tmp_path: Path) -> None:
    """Nothing is said of what changes no rule."""
    assert differences(tmp_path, ("ruleset: plant\ntitle: The plant\n", "# a comment\ntitle: The plant\nruleset: plant\n")) == []
    one = made(tmp_path, TEXT)
    assert plain_text(diff_lines(one, one)) == "from plant 1 to plant 1\nno difference\n"


def test_how_a_rule_set_is_based_on_another_is_no_difference(tmp_path: Path) -> None:
    """What counts is what it says as a whole: only its own name and the examples, which are not inherited, differ."""
    (tmp_path / "base.yaml").write_text(TEXT, encoding="utf-8")
    own = 'ruleset: plant\ntitle: The plant\nversion: "1"\nsource: the plant\'s book\nbased_on: base.yaml\n'
    found = differences_of(made(tmp_path, TEXT), made(tmp_path, own))
    assert {(each.section, each.field) for each in found} == {("tasks", "source"), ("adjustments", "source"), ("examples", "")}


def test_the_document_holds_every_difference(tmp_path: Path) -> None:
    """One entry a difference, with both sides in words; the digests say which files were compared."""
    one, other = made(tmp_path, TEXT), made(tmp_path, TEXT.replace("counts_as_at_most: 3", "counts_as_at_most: 4"))
    document = json.loads(diff_document(one, other))
    assert document["schema"] == "intervals.rules-diff/1"
    assert document["from"] == {"ruleset": "plant", "version": "1", "sha256": one.sha256}
    assert document["differences"] == [
        {
            "section": "limits", "entry": "counts_as_at_most", "change": "changed", "field": "counts_as_at_most", "from": "3", "to": "4",
            "text": "an hour counts at most 4 now; was 3",
        }
    ]  # fmt: skip


def test_lines_keep_to_the_width_of_a_terminal(tmp_path: Path) -> None:
    """Long sentences are wrapped, marks stand before each difference, the count below."""
    one, other = made(tmp_path, TEXT), made(tmp_path, TEXT.replace("running_hours: 500", "running_hours: 400"))
    lines = plain_text(diff_lines(one, other, width=60)).splitlines()
    assert max(map(len, lines)) <= 60
    assert lines[:2] == ["from plant 1 to plant 1", "tasks"]
    assert lines[2].startswith("  ~ oil: the interval is now 400 h")
    assert lines[-1] == "1 difference"


PROCEDURE = """\
procedures:
  - id: oil-change
    tasks: [oil]
    title: {en: Change oil, nl: Olie verversen}
    hours: 2
    steps:
      - {id: hot, kind: caution, text: {en: Hot, nl: Heet}}
      - {id: pump, kind: wait, minutes: 20, text: Pump}
      - {id: filled, kind: measure, value: oil_l, unit: L, limits: {at_least: 0.9 x engine.oil_volume_l}}
"""


@pytest.mark.parametrize(
    ("change", "subject", "after", "before"),
    [
        (("hours: 2", "hours: 3"), "takes", "1 person, 3 h", "1 person, 2 h"),
        (("minutes: 20", "minutes: 30"), "pump", "wait: Pump; 30 min", "wait: Pump; 20 min"),
        (("0.9 x", "0.8 x"), "filled", *(f"measure; kept as oil_l in L; at least {x} x engine.oil_volume_l L" for x in (0.8, 0.9))),
        (("nl: Heet", "nl: Erg heet"), "in Nederlands", *(f"title: Olie verversen | hot: {word}" for word in ("Erg heet", "Heet"))),
        (("en: Change oil", "en: Renew oil"), "title", "Renew oil", "Change oil"),
        (("id: hot,", "id: heat,"), None, None, None),
    ],
)
def test_each_change_of_a_procedure_is_told_by_its_step(
    tmp_path: Path, change: tuple[str, str], subject: str | None, after: str | None, before: str | None
) -> None:
    """Step by step, the order of steps and each language too; a step of another id is gone and new, and the order is another."""
    found = differences_of(made(tmp_path, TEXT + PROCEDURE), made(tmp_path, TEXT + PROCEDURE.replace(*change)))
    assert {each.section for each in found} == {"procedures"}
    if subject is None:
        told = {each.field: (each.before, each.after) for each in found}
        assert told["steps.hot"] == ("caution: Hot", None)
        assert told["steps.heat"] == (None, "caution: Hot")
        assert told["order of steps"] == ("hot, pump, filled", "heat, pump, filled")
    else:
        assert [each.text for each in found] == [f"oil-change: {subject} is now {after}; was {before}"]
