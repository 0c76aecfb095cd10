"""Figures that nothing can have: each is blanked or refused where it is read, and no library says a word."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.site_maker import done, steady, task, write_site

AS_OF = ("--as-of", "2026-03-31")
HUGE = ("1e308", "-1e308", "1.7976931348623157e308", "1e13", "9" * 30)


def plant(folder: Path, figure: str, column: str) -> Path:
    """Write a site whose engine runs 5 h a day from 2026-01-01, with one figure in the middle that cannot be."""
    rows = steady("2026-01-01", "2026-04-01", 5, load_kw=100, oil_temp_c=80, energy_kwh=10)
    rows[40] = {**rows[40], column: figure}
    write_site(folder, [task("oil", every={"running_hours": 500})], rows, services=[done("oil", "2026-01-01", 0)])
    return folder


@pytest.mark.parametrize("column", ["hour_meter_h", "load_kw", "oil_temp_c", "energy_kwh"])
@pytest.mark.parametrize("figure", HUGE)
def test_a_figure_of_the_log_that_cannot_be_is_blank(run: Run, tmp_path: Path, figure: str, column: str) -> None:
    """90 days of 5 h are 450 h with or without it; its row is a fault."""
    site = plant(tmp_path, figure, column)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        result = run("check", site, *AS_OF, "--format", "json")
    found = json.loads(result.stdout)
    assert [leg["used"] for finding in found["findings"] for leg in finding["legs"]] == [450.0]
    assert {(fault["kind"], fault["line"]) for fault in found["faults"]} == {("impossible_value", 42)}
    assert result.stderr == ""


@pytest.mark.parametrize("unit", ["MW", "TW"])
def test_a_figure_that_overflows_in_another_unit_is_blank_too(run: Run, tmp_path: Path, unit: str) -> None:
    """1e308 MW are more kW than a number can hold."""
    rows = steady("2026-01-01", "2026-04-01", 5, load_kw=0.1)
    rows[40] = {**rows[40], "load_kw": "1e308"}
    tasks = [task("oil", every={"running_hours": 500})]
    write_site(tmp_path, tasks, rows, services=[done("oil", "2026-01-01", 0)], quantities={"load_kw": {"unit": unit}})
    result = run("check", tmp_path, *AS_OF, "--format", "json")
    found = json.loads(result.stdout)
    assert ("impossible_value", 42) in {(fault["kind"], fault["line"]) for fault in found["faults"]}
    assert result.stderr == ""


@pytest.mark.parametrize("figure", HUGE)
def test_a_figure_of_a_record_that_cannot_be_is_blank(run: Run, tmp_path: Path, figure: str) -> None:
    """The meter typed into the record of 1 February; the record counts all the same, at noon of its day: 58.5 days of 5 h since."""
    rows = steady("2026-01-01", "2026-04-01", 5)
    records = [done("oil", "2026-01-01", 0), {**done("oil", "2026-02-01"), "hour_meter_h": figure}]
    write_site(tmp_path, [task("oil", every={"running_hours": 500})], rows, services=records)
    found = json.loads(run("check", tmp_path, *AS_OF, "--format", "json").stdout)
    assert [leg["used"] for finding in found["findings"] for leg in finding["legs"]] == [292.5]
    assert [(fault["kind"], fault["file"], fault["line"]) for fault in found["faults"]] == [("impossible_value", "services.csv", 3)]


@pytest.mark.parametrize("every", [{"running_hours": 1e300}, {"running_hours": 1e13}])
def test_a_figure_of_a_rule_that_cannot_be_is_refused_at_its_place(run: Run, tmp_path: Path, every: dict[str, float]) -> None:
    """With file, line and path."""
    write_site(tmp_path, [task("oil", every=every)], steady("2026-01-01", "2026-04-01", 5), services=[done("oil", "2026-01-01", 0)])
    result = run("check", tmp_path, *AS_OF)
    assert result.exit_code == 2
    assert "rules.yaml:" in result.stderr
    assert "no figure here is beyond 1,000,000,000,000" in result.stderr


def test_a_figure_that_is_typed_is_refused_too(run: Run, tmp_path: Path) -> None:
    """In `what-if`."""
    site = plant(tmp_path, "100", "load_kw")
    result = run("what-if", site, *AS_OF, "--set", "tasks.oil.every.running_hours=1e308")
    assert (result.exit_code, result.stderr.split()[0]) == (2, "CLI131")
