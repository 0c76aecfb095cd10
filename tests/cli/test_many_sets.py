"""A site folder under two shipped rule sets, from the files to what is printed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.cli.conftest import Run
from tests.site_maker import done, steady, write_site

SETS = ["standby-hospital", "us-area-source"]
ONE_JOB = [["standby-hospital.oil-change", "us-area-source.oil-change-emergency-ci"]]
AS_OF = ("--as-of", "2026-10-31")
FACTS = {"exercise_reaches_30_pct": True, "oil_analysed": False, "rating": "emergency-standby"}
FACTS |= {"constructed": "2004-05-01", "ignition": "compression", "role": "emergency", "power_hp": 540}
ENGINE = {"id": "S1", "fuel": "diesel", "duty": "standby", "rated_kw": 400, "in_service": "2025-01-01", "meter_at_start_h": 0}


def clinic(folder: Path, *services: dict[str, object], **site: Any) -> Path:  # noqa: ANN401 - what `write_site` takes
    """Write a clinic whose set runs half an hour a day at 60 % load, under the hospital's programme and the law."""
    rows = steady("2025-01-01", "2026-11-01", 0.5, engine="S1", load_kw=240)
    records = [{**record, "engine": "S1"} for record in services]
    named: dict[str, Any] = {"ruleset": SETS, **site}
    write_site(folder, [{"id": "unused", "title": "Unused", "every": {"calendar": "P1Y"}}], rows, services=records,
               engines=[{**ENGINE, "attributes": FACTS}], **named)  # fmt: skip
    return folder


def document(run: Run, folder: Path, *options: str) -> dict[str, Any]:
    """Return the document that `check` prints."""
    found: dict[str, Any] = json.loads(run("check", folder, *AS_OF, "--format", "json", *options).stdout)
    return found


def due_on(found: dict[str, Any], ruleset: str, task: str) -> tuple[str, str]:
    """Return the record that a task was done by, and when it falls due."""
    (one,) = (each for each in found["findings"] if (each["ruleset"], each["task"]) == (ruleset, task))
    return one["last_done"]["record"], one["due_on"]


def test_one_record_serves_both_laws_by_the_sites_word(run: Run, tmp_path: Path) -> None:
    """Oil was changed on 1 June 2026: the hospital wants it after six months, 1 December, the law after a year and 30 days, 1 July.

    A year from 1 June 2026 is 1 June 2027, and 30 days later is 1 July 2027. The law's change renews its filter.
    """
    found = document(run, clinic(tmp_path, done("oil-change", "2026-06-01"), one_job=ONE_JOB))
    assert due_on(found, "standby-hospital", "oil-change") == ("services.csv:2", "2026-12-01")
    assert due_on(found, "us-area-source", "oil-change-emergency-ci") == ("services.csv:2", "2027-07-01")
    assert due_on(found, "us-area-source", "oil-filter-emergency-ci") == ("services.csv:2", "2027-07-01")
    assert [each["ruleset"] for each in found["rulesets"]] == SETS
    sets = [each["ruleset"] for each in found["findings"]]
    assert sets == sorted(sets)
    assert "unknown_task" not in {fault["kind"] for fault in found["faults"]}


def test_one_record_serves_both_laws_by_a_rule_sets_own_word(run: Run, tmp_path: Path) -> None:
    """The site's own rule set, based on the hospital's, says `same_as`; the law's record is the hospital's too."""
    own: dict[str, Any] = {"ruleset": "our-hospital", "title": "Ours", "version": "1", "based_on": "standby-hospital"}
    own |= {"tasks": [{"id": "oil-change", "same_as": "us-area-source.oil-change-emergency-ci"}]}
    (tmp_path / "ours.yaml").write_text(yaml.safe_dump(own, sort_keys=False), encoding="utf-8")
    folder = clinic(tmp_path, done("oil-change-emergency-ci", "2026-06-01"), ruleset=["./ours.yaml", "us-area-source"])
    assert "RUL076" not in run("rules", "lint", tmp_path / "ours.yaml").output
    assert due_on(document(run, folder), "our-hospital", "oil-change") == ("services.csv:2", "2026-12-01")


def test_a_misspelt_fellow_is_found_by_lint(run: Run, tmp_path: Path) -> None:
    """The shipped rule set is named, and has no such task."""
    own: dict[str, Any] = {"ruleset": "our-hospital", "title": "Ours", "version": "1", "based_on": "standby-hospital"}
    own |= {"tasks": [{"id": "oil-change", "same_as": "us-area-source.oil-change-emergncy-ci"}]}
    (tmp_path / "ours.yaml").write_text(yaml.safe_dump(own, sort_keys=False), encoding="utf-8")
    result = run("rules", "lint", tmp_path / "ours.yaml")
    assert "RUL076" in result.output
    assert 'no task "oil-change-emergncy-ci" in rule set us-area-source; did you mean "oil-change-emergency-ci"?' in result.output


def test_the_table_names_the_set_or_is_one_for_each(run: Run, tmp_path: Path) -> None:
    """By engine there is a column for the rule set; by rule set each has a table under its own name."""
    folder = clinic(tmp_path, done("oil-change", "2026-06-01"), one_job=ONE_JOB)
    by_engine = run("check", folder, *AS_OF, "--all").stdout.splitlines()
    assert by_engine[2].split()[:4] == ["engine", "rule", "set", "task"]
    assert sum(line.startswith("S1      us-area-source") for line in by_engine) > 3
    by_set = run("check", folder, *AS_OF, "--group", "ruleset").stdout.splitlines()
    assert by_set[2] == "standby-hospital 2026.12.2"
    assert by_set[3].split()[:2] == ["engine", "task"]
    assert any(line.startswith("us-area-source 20") for line in by_set)


def test_a_task_of_both_sets_is_explained_by_its_full_name(run: Run, tmp_path: Path) -> None:
    """Both files have the task `oil`: the bare word is refused with the two to write; either of them is explained."""
    for name in ("one", "two"):
        rules = {"ruleset": name, "title": name, "version": "1", "tasks": [{"id": "oil", "title": "Oil", "every": {"calendar": "P1Y"}}]}
        (tmp_path / f"{name}.yaml").write_text(yaml.safe_dump(rules), encoding="utf-8")
    folder = clinic(tmp_path, done("oil", "2026-06-01"), ruleset=["./one.yaml", "./two.yaml"])
    refused = run("explain", folder, "S1", "oil", *AS_OF)
    assert refused.exit_code == 2
    assert refused.stderr.splitlines()[:3] == [
        "CLI016 TASK",
        '    "oil" is a task of several rule sets that judge S1',
        "    write one.oil or two.oil",
    ]
    assert run("explain", folder, "S1", "two.oil", *AS_OF).stdout.startswith("S1 oil  Oil")
    assert "no task" in run("explain", folder, "S1", "three.oil", *AS_OF).stderr


def test_an_unknown_task_under_one_job_is_refused_with_its_line(run: Run, tmp_path: Path) -> None:
    """The line is that of site.yaml."""
    folder = clinic(tmp_path, one_job=[["standby-hospital.oil-chnge", "us-area-source.oil-change-emergency-ci"]])
    result = run("check", folder, *AS_OF)
    line = 1 + next(number for number, text in enumerate((folder / "site.yaml").read_text().splitlines()) if "oil-chnge" in text)
    assert result.exit_code == 2
    assert f"site.yaml:{line}" in result.stderr
    assert 'no task "oil-chnge" in rule set standby-hospital; did you mean "oil-change"?' in result.stderr


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("report", "--month", "2026-09", "--out", "{out}"), 0),
        (("statement", "--month", "2026-09"), 0),
        (("duty", "--until", "2026-10-31"), 0),
        (("log", *AS_OF), 0),
        (("what-if", *AS_OF, "--set", "tasks.oil-change.every.calendar=P1Y"), 0),
        (("propose", *AS_OF, "--ruleset", "us-area-source"), 0),
        (("propose", *AS_OF), 2),
        (("check", *AS_OF, "--format", "csv"), 1),
        (("check", *AS_OF, "--html", "{out}/page.html", "--xlsx", "{out}/book.xlsx", "--ics", "{out}/days.ics"), 1),
    ],
    ids=lambda words: " ".join(words[:3]) if isinstance(words, tuple) else str(words),
)
def test_every_command_takes_a_list_of_rule_sets(run: Run, tmp_path: Path, words: tuple[str, ...], code: int) -> None:
    """None of them fails on a site with several rule sets for one engine."""
    (tmp_path / "out").mkdir()
    folder = clinic(tmp_path / "site", done("oil-change", "2026-06-01"), one_job=ONE_JOB)
    command, *options = (word.replace("{out}", str(tmp_path / "out")) for word in words)
    result = run(command, folder, *options)
    assert (result.exit_code, result.exception is None or isinstance(result.exception, SystemExit)) == (code, True), result.output


def test_a_statement_of_two_sets_is_verified(run: Run, tmp_path: Path) -> None:
    """What was stated of both sets matches when it is judged again."""
    folder = clinic(tmp_path, done("oil-change", "2026-06-01"), one_job=ONE_JOB)
    assert run("statement", folder, "--month", "2026-09").exit_code == 0
    assert run("statement", folder, "--month", "2026-09", "--verify").exit_code == 0


def test_csv_has_a_column_for_the_rule_set(run: Run, tmp_path: Path) -> None:
    """Behind the columns that were there before."""
    lines = run("check", clinic(tmp_path, one_job=ONE_JOB), *AS_OF, "--format", "csv").stdout.splitlines()
    assert ",why,ruleset,skipped_open" in lines[0]


def test_each_set_judges_as_it_would_alone(run: Run, tmp_path: Path) -> None:
    """Without jobs in common, what is found under two sets is what is found under the one, and then under the other."""
    records = [done("oil-change", "2026-06-01"), done("hoses-belts-emergency-ci", "2026-02-10"), done("batteries", "2026-10-10")]
    both = document(run, clinic(tmp_path / "both", *records))["findings"]
    alone = [document(run, clinic(tmp_path / name, *records, ruleset=name))["findings"] for name in SETS]
    assert both == [finding for findings in alone for finding in findings]
