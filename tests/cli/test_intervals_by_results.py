"""An interval that failures choose, through the command line: the emergency diesels of nuclear plants as their guides tell it.

Tested every 31 days, and every 7 days after two failures or more in the last 20 tests, or five or more in the last 100.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from intervals.cli.main import app
from tests.site_maker import meter, task, write_site

FIRST = datetime.fromisoformat("2021-01-04T08:00")
TABLE = [
    {"when": {"failures_in_last_20": {"at_least": 2}}, "every": {"calendar": "P7D"}, "source": "table 1"},
    {"when": {"failures_in_last_100": {"at_least": 5}}, "every": {"calendar": "P7D"}, "source": "table 1"},
]
TEST = task(
    "monthly-test",
    every={"calendar": "P31D"},
    interval_from="results",
    table=TABLE,
    outside="every",
    tolerance_pct=25,
    done_when={"running_min": 60, "load_pct": {"at_least": 90, "at_most": 100}},
)


def log_of(failed: Sequence[int], count: int) -> list[dict[str, object]]:
    """Return the log of so many tests 28 days apart; a test that failed was run for 40 min of 60."""
    rows, hours = [], 0.0
    for number in range(count):
        began = FIRST + timedelta(days=28 * number)
        rows.append(meter(began.isoformat(), round(hours, 6), load_kw=0))
        minutes = 40 if number in failed else 60
        for at in range(10, minutes + 1, 10):
            hours += 10 / 60
            rows.append(meter((began + timedelta(minutes=at)).isoformat(), round(hours, 6), load_kw=95))
        rows.append(meter((began + timedelta(minutes=minutes + 10)).isoformat(), round(hours, 6), load_kw=0))
    return rows


def checked(folder: Path, failed: Sequence[int], count: int, days_after: int, **engine: Any) -> dict[str, Any]:  # noqa: ANN401 - what an engine states
    """Return the finding of the test so many days after the last of so many."""
    stated = {"in_service": "2021-01-04", "meter_at_start_h": 0, "rated_kw": 100, **engine}
    write_site(folder, [TEST], log_of(failed, count), engine=stated, gap_h=1000)
    as_of = FIRST.date() + timedelta(days=28 * (count - 1) + days_after)
    result = CliRunner().invoke(app, ["check", str(folder), "--as-of", as_of.isoformat(), "--format", "json"])
    assert result.exit_code in (0, 1), result.output
    finding: dict[str, Any] = json.loads(result.stdout)["findings"][0]
    return finding


@pytest.mark.parametrize(
    ("failed", "allowed", "standing", "by"),
    [
        ((), 31.0, "in_interval", "as every says"),
        ((5,), 31.0, "in_interval", "as every says"),
        ((5, 20), 7.0, "overdue", "by row 1 of its table"),
        # the first two of 25 tests are not among the last 20
        ((0, 1, 20), 31.0, "in_interval", "as every says"),
        # five of the last hundred, of which one is among the last 20
        ((0, 1, 2, 3, 20), 7.0, "overdue", "by row 2 of its table"),
    ],
)
def test_failures_make_the_test_weekly(tmp_path: Path, failed: tuple[int, ...], allowed: float, standing: str, by: str) -> None:
    """25 tests, the last of them passed; nine days later a week is over, with its 25 %, and a month is not."""
    finding = checked(tmp_path, failed, 25, 9)
    assert (finding["standing"], finding["legs"][0]["allowed"], finding["within_tolerance"]) == (standing, allowed, False)
    assert any(by in reason["text"] for reason in finding["reasons"] if reason["rule"] == "interval-from-results")


def test_within_a_quarter_of_the_week(tmp_path: Path) -> None:
    """7 d x 1.25 = 8.75 d: on the eighth day it is overdue, within its tolerance."""
    finding = checked(tmp_path, (20, 21), 25, 8)
    assert (finding["standing"], finding["within_tolerance"], finding["due_on"]) == ("overdue", True, "2022-11-14")


def test_records_that_do_not_reach_back_to_a_hundred_tests(tmp_path: Path) -> None:
    """Of 25 known tests one failed: four more of the 75 before would make it weekly, and nobody knows; two failures are enough."""
    assert checked(tmp_path / "a", (20,), 25, 9, in_service="2000-01-01", records_from="2021-01-04")["standing"] == "unknown"
    assert checked(tmp_path / "b", (20, 21), 25, 9, in_service="2000-01-01", records_from="2021-01-04")["standing"] == "overdue"


def test_lint_and_test_pass_on_such_a_rule_set(tmp_path: Path) -> None:
    """A level that the site declares is described; an example states its results; the pages show the table."""
    (tmp_path / "rules.yaml").write_text(
        """
ruleset: emergency
title: Emergency diesel
version: "1"
source: told
quantities: {exhaust_back_pressure_kpa: before the silencer}
tasks:
  - id: monthly-test
    title: Test
    every: {calendar: P31D}
    interval_from: results
    table: [{when: {failures_in_last_20: {at_least: 2}}, every: {calendar: P7D}, source: table 1}]
    outside: every
  - {id: silencer, title: Clean the silencer, every: {running_hours: 500}}
adjustments:
  - {id: clogged, tasks: [silencer], when: {exhaust_back_pressure_kpa: {above: 8}}, unknown: true, because: the table ends there}
examples:
  - name: One failure of the last 20 changes nothing
    since_last: {days: 8}
    results: {failures_in_last_20: 1}
    task: monthly-test
    expect: {used: 8, allowed: 31, standing: in_interval}
  - name: Two make it weekly
    since_last: {days: 8}
    results: {failures_in_last_20: 2}
    task: monthly-test
    expect: {used: 8, allowed: 7, standing: overdue}
  - name: Beyond 8 kPa no interval is known
    since_last: {running_hours: 10, days: 1, exhaust_back_pressure_kpa: 9}
    task: silencer
    expect: {standing: unknown, fired: [clogged]}
""",
        encoding="utf-8",
    )
    rules = str(tmp_path / "rules.yaml")
    for command in (["lint", rules], ["test", rules]):
        result = CliRunner().invoke(app, ["rules", *command])
        assert (result.exit_code, result.stderr) == (0, ""), result.output
    shown = " ".join(CliRunner().invoke(app, ["rules", "show", rules]).stdout.split())
    table = "the first that holds when a window begins of failures_in_last_20 at least 2: 7 days (table 1); else as every says"
    assert f"interval by results: {table}" in shown
    assert "asks of the log: exhaust_back_pressure_kpa: before the silencer" in shown
    assert "then: there the interval is unknown" in shown


def test_a_site_that_declares_a_level_is_judged_though_lint_refuses_it(tmp_path: Path) -> None:
    """Lint alone refuses what is not described: exit code 2; `check` on a site that declares it judges as before."""
    rows = [meter("2024-01-01T00:00", 0, boost_kpa=90), meter("2024-01-02T00:00", 10, boost_kpa=90)]
    adjustments = [{"id": "high", "tasks": "all", "when": {"boost_kpa": {"above": 80}}, "counts_as": 2, "because": "x", "source": "y"}]
    write_site(
        tmp_path,
        [task("oil", every={"running_hours": 100}, source="y")],
        rows,
        engine={"in_service": "2024-01-01", "meter_at_start_h": 0},
        rules={"adjustments": adjustments},
        quantities={"boost_kpa": {"unit": "kPa", "kind": "level"}},
    )
    lint = CliRunner().invoke(app, ["rules", "lint", str(tmp_path / "rules.yaml")])
    assert lint.exit_code == 2
    assert 'nothing can ever supply "boost_kpa"' in lint.output
    result = CliRunner().invoke(app, ["check", str(tmp_path), "--as-of", "2024-01-01", "--format", "json"])
    assert json.loads(result.stdout)["findings"][0]["legs"][0]["used"] == 20.0


def test_a_table_is_changed_as_a_whole_and_compared(tmp_path: Path) -> None:
    """Based on another rule set a table replaces the base's; the comparison says what it is now; a quantity is added by name."""
    head = 'title: T\nversion: "1"\n'
    (tmp_path / "base.yaml").write_text(
        f"ruleset: base\n{head}quantities: {{a_kpa: first}}\ntasks:\n"
        "  - {id: t, title: T, every: {calendar: P31D}, interval_from: results, outside: every,\n"
        "     table: [{when: {failures_in_last_20: {at_least: 2}}, every: {calendar: P7D}}]}\n",
        encoding="utf-8",
    )
    (tmp_path / "own.yaml").write_text(
        f"ruleset: own\n{head}based_on: ./base.yaml\nquantities: {{b_kpa: second}}\n"
        "tasks:\n  - {id: t, table: [{when: {failures_in_last_20: {at_least: 1}}, every: {calendar: P14D}}]}\n",
        encoding="utf-8",
    )
    result = CliRunner().invoke(app, ["rules", "diff", str(tmp_path / "base.yaml"), str(tmp_path / "own.yaml")])
    shown = " ".join(result.stdout.split())
    assert "t: interval by results is now the first that holds when a window begins of failures_in_last_20 at least 1: 14 days" in shown
    assert 'meaning of the quantity "b_kpa" is now second' in shown
    assert "a_kpa" not in shown
