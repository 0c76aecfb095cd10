"""Where rules stand, as commands print it: shipped rule sets by the name of their file, a site's own from the site's folder."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from intervals.places import shipped_folder, shown_file
from tests.cli.conftest import Run
from tests.site_maker import meter, write_site

ENGINE = {"fuel": "natural-gas", "rated_kw": 1000, "in_service": "2024-01-01", "meter_at_start_h": 0}
ROWS = [meter("2024-03-01T00:00", 1000), meter("2024-07-01T00:00", 2500)]
OWN = """\
ruleset: ours
title: Ours
version: 1
based_on: gas-engine
tasks:
  - id: oil-change
    every: {running_hours: 1500, calendar: P1Y}
    source: the supplier's letter
"""


def line_of(path: Path, word: str) -> int:
    """Return the first line of a file that holds a word."""
    return next(number for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if word in line)


def gas_engine() -> Path:
    """Return the file of the shipped rule set."""
    folder = shipped_folder()
    assert folder is not None
    return folder / "gas" / "gas-engine.yaml"


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    """Return a site that is judged by a rule set of its own, in a folder below it, based on a shipped one."""
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "ours.yaml").write_text(OWN, encoding="utf-8")
    write_site(tmp_path, [], ROWS, engine=ENGINE, ruleset="./rules/ours.yaml")
    return tmp_path


def test_a_shipped_rule_set_is_shown_by_its_name(run: Run, tmp_path: Path) -> None:
    """In the text and the document of `explain`, with the line of the task; no path of the installation is told."""
    write_site(tmp_path, [], ROWS, engine=ENGINE, ruleset="gas-engine")
    when = ("--as-of", "2024-06-30")
    text = run("explain", tmp_path, "G1", "oil-change", *when).output
    told = run("explain", tmp_path, "G1", "oil-change", *when, "--format", "json").output
    place = f"gas-engine.yaml:{line_of(gas_engine(), 'id: oil-change')}"
    assert f"({place})" in text
    assert json.loads(told)["rules"][0]["place"] == place
    for output in (text, told, run("check", tmp_path, *when, "--format", "json").output):
        assert str(gas_engine().parent) not in output
        assert "gas/gas-engine.yaml" not in output


def test_a_sites_own_rule_set_keeps_its_path_from_the_site(run: Run, plant: Path) -> None:
    """The task that it writes stands in its own file, the one that it inherits in the shipped one."""
    own = run("explain", plant, "G1", "oil-change", "--as-of", "2024-06-30").output
    assert "(rules/ours.yaml:6)" in own
    inherited = run("explain", plant, "G1", "air-filter", "--as-of", "2024-06-30").output
    assert f"(gas-engine.yaml:{line_of(gas_engine(), 'id: air-filter')})" in inherited


def test_a_fault_about_a_rule_names_its_file_from_the_site(run: Run, plant: Path) -> None:
    """A task that fits no engine: the own one by the path from the site, an inherited one by the shipped name."""
    own = OWN + "  - {id: decoking, title: Decoke, applies_to: {fuel: diesel}, every: {running_hours: 900}}\n"
    (plant / "rules" / "ours.yaml").write_text(own, encoding="utf-8")
    faults = json.loads(run("check", plant, "--as-of", "2024-06-30", "--format", "json").output)["faults"]
    assert [(fault["file"], fault["line"]) for fault in faults if fault["kind"] == "task_fits_no_engine"] == [("rules/ours.yaml", 9)]


def test_a_problem_of_a_shipped_rule_set_names_its_file_alone(run: Run, tmp_path: Path) -> None:
    """The site declares as a counter what the fuel limit asks for as a level."""
    quantities = {"in_control_area": {"unit": "count", "kind": "counter"}}
    rows = [{**row, "in_control_area": 0} for row in ROWS]
    write_site(tmp_path, [], rows, engine=ENGINE, ruleset="ship-auxiliary", quantities=quantities)
    answer = run("check", tmp_path, "--as-of", "2024-06-30")
    assert answer.exit_code == 2
    assert "RUL024 ship-auxiliary.yaml:" in answer.output


def test_warnings_of_lint_name_a_file_as_it_was_typed(run: Run, plant: Path) -> None:
    """A rule set of one's own is found by the path that was given."""
    path = plant / "rules" / "ours.yaml"
    answer = run("rules", "lint", path)
    assert f"RUL063 {path}:1" in answer.output


def test_a_site_in_the_working_folder_and_a_file_beside_it_are_shown_as_given() -> None:
    """Relative paths stay relative; what lies beside the site's folder keeps its dots."""
    assert shown_file("rules.yaml", Path()) == "rules.yaml"
    assert shown_file("plant/rules.yaml", Path("plant")) == "rules.yaml"
    assert shown_file("plant/../shared/rules.yaml", Path("plant")) == "../shared/rules.yaml"
    assert shown_file("other/rules.yaml", Path("plant")) == "other/rules.yaml"
