"""`intervals check` where the inference engine fails: exit code 2 and a name, and no task is quietly in interval."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from intervals.rulebook import inference
from intervals.rulebook.standings import shared_standings
from tests.cli.conftest import Run
from tests.site_maker import done, rule, steady, task, write_site


@pytest.mark.parametrize("fail_on", ["overdue", "never"])
@pytest.mark.parametrize("output_format", ["json", "table"])
def test_a_silent_engine_makes_no_task_in_interval(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fail_on: str, output_format: str
) -> None:
    """Some 600 h of 1,000 were run, each counted twice above 90 % load. The engine stops answering before that is judged."""
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2.0)
    rows = steady("2026-01-01", "2026-05-01", 5, load_pct=97.0)
    write_site(
        tmp_path,
        [task("oil", every={"running_hours": 1000})],
        rows,
        services=[done("oil", "2026-01-01", 0)],
        rules={"adjustments": [heavy]},
    )
    asked = ("check", tmp_path, "--as-of", "2026-04-30", "--fail-on", fail_on, "--format", output_format, "--all")
    assert run(*asked).exit_code == (1 if fail_on == "overdue" else 0)

    def says_nothing(*_: Any) -> int:  # noqa: ANN401 - stands in for a call of the library
        return 0

    shared_standings.cache_clear()
    monkeypatch.setattr(inference._QuietHost, "assert_fact", says_nothing)
    result = run(*asked)
    shared_standings.cache_clear()
    assert result.exit_code == 2
    if output_format == "json" and result.stdout:
        found = json.loads(result.stdout)
        assert {finding["standing"] for finding in found["findings"]} <= {"unknown"}
        assert "inference_fault" in {fault["kind"] for fault in found["faults"]}
    assert "did not" in result.stdout + result.stderr
