"""Requests that no answer would fit are refused in a line, with exit code 2."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.cli.conftest import Run, Stage

ROOT = Path(__file__).parents[2]
SITE = ROOT / "sample_logs/brackwater"  # lies in Europe/Amsterdam


@pytest.mark.parametrize(
    ("words", "to"),
    [("check sample_logs/brackwater --as-of 2026-10-31", ">&-"), ("rules list", "> /dev/full"), ("--version", "> /dev/full")],
)
def test_output_that_cannot_be_written_is_told_as_a_problem(words: str, to: str) -> None:
    """Standard output that is closed or full is a problem, CLI111, and no fault of the program."""
    command = f'"{sys.executable}" -c "from intervals.cli.main import app; app()" {words} {to}'
    done = subprocess.run(["sh", "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr.startswith("CLI111 standard output")
    assert "fault of the program" not in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "words", [("init", ""), ("init", "new", "--ruleset", ""), ("check", SITE, "--ruleset", ""), ("what-if", SITE, "--ruleset", "")]
)
def test_an_empty_name_is_refused(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str | Path, ...]) -> None:
    """An empty folder is not the working folder, and an empty rule set is not the site's: a script's variable was not set."""
    monkeypatch.chdir(tmp_path)
    done = run(*words)
    assert (done.exit_code, "CLI113" in done.stderr, list(tmp_path.iterdir())) == (2, True, [])


def test_lint_takes_the_name_of_a_shipped_rule_set(run: Run) -> None:
    """`rules lint gas-engine` looks at the file that comes with the program; a name that none has is a problem."""
    by_name = run("rules", "lint", "gas-engine")
    by_path = run("rules", "lint", ROOT / "rulesets/gas/gas-engine.yaml")
    assert (by_name.exit_code, by_name.stdout) == (by_path.exit_code, by_path.stdout)
    assert by_name.exit_code != 2
    unknown = run("rules", "lint", "gas-engin")
    assert (unknown.exit_code, "RUL001" in unknown.stderr) == (2, True)


# November begins at the site on 31 October at 23:00 UTC: winter time, an hour ahead
@pytest.mark.parametrize(("now", "code"), [("2026-10-31T22:59:59+00:00", 2), ("2026-10-31T23:00:00+00:00", 1)])
def test_a_month_that_has_not_begun_is_refused(run: Run, judge: Stage, now: str, code: int) -> None:
    """By the site's own clock: a second before its first moment there is nothing of it to judge."""
    with freeze_time(now):
        done = run("check", SITE, "--month", "2026-11")
    assert (done.exit_code, "CLI012" in done.stderr, len(judge.calls)) == (code, code == 2, int(code == 1))


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        # Directive 2000/84/EC: back on the last Sunday of October, forward on that of March, both at 01:00 UTC
        ("2026-10-25T02:30", "2026-10-25T02:30+01:00"),
        ("2026-03-29T02:30", "2026-03-29T02:30+01:00"),
    ],
)
def test_a_time_that_the_clock_skips_or_repeats_needs_an_offset(run: Run, typed: str, told: str) -> None:
    """Such a local time is no instant or two; with the offset that is proposed it is one."""
    done = run("log", SITE, "--as-of", typed)
    assert (done.exit_code, "CLI014" in done.stderr, told in done.stderr) == (2, True, True)
    assert "CLI014" not in run("log", SITE, "--as-of", told).stderr
