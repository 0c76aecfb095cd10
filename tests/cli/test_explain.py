"""`intervals explain` and `intervals log`."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

from intervals.problems import Problem, RequestProblemError
from tests.cli.conftest import Run, Stage


def test_explain_prints_the_sum(run: Run, site: Path, explainer: Stage) -> None:
    """Site, engine, task and date are passed on; however the task stands, the exit code is 0."""
    result = run("explain", site, "G1", "oil-change", "--as-of", "2026-10-31", "--ruleset", "gas-engine")
    assert result.exit_code == 0
    assert "G1 oil-change  Change lube oil and filters" in result.stdout
    assert "used  1,685.5 + 625.5 = 2,311 h" in result.stdout
    (loaded, engine, task, as_of), options = explainer.calls[0]
    assert (loaded.site, engine, task, as_of, options["ruleset"]) == ("brackwater", "G1", "oil-change", date(2026, 10, 31), "gas-engine")


def test_explain_as_json(run: Run, site: Path, explainer: Stage, tmp_path: Path) -> None:
    """The document goes to standard output, or whole to a file."""
    assert not explainer.calls
    shown = run("explain", site, "G1", "oil-change", "--format", "json")
    run("explain", site, "G1", "oil-change", "--format", "json", "--output", tmp_path / "sum.json")
    assert json.loads(shown.stdout)["schema"] == "intervals.explanation/1"
    assert (tmp_path / "sum.json").read_text(encoding="utf-8") == shown.stdout


def test_explain_of_what_is_not_there(run: Run, site: Path, explainer: Stage) -> None:
    """A task that the engine does not have is the judge's to refuse: exit 2."""
    explainer.error = RequestProblemError([Problem("CLI011", "TASK", None, None, 'no task "oil"; did you mean "oil-change"?')])
    result = run("explain", site, "G1", "oil")
    assert result.exit_code == 2
    assert 'no task "oil"; did you mean "oil-change"?' in result.stderr


def test_log_prints_what_was_read(run: Run, site: Path, log_reader: Stage) -> None:
    """A row an engine and the faults below; faults in the data do not change the exit code."""
    result = run("log", site, "--as-of", "2026-10-31")
    assert result.exit_code == 0
    assert "52,560 rows read: 52,541 accepted, 19 set aside" in result.stdout
    assert "Faults in the data: 1" in result.stdout
    assert log_reader.calls[0][0][1] == date(2026, 10, 31)


def test_log_as_json(run: Run, site: Path, log_reader: Stage) -> None:
    """One document on standard output."""
    assert not log_reader.calls
    assert json.loads(run("log", site, "--format", "json").stdout)["schema"] == "intervals.log/1"
