"""Requests that no answer would fit are refused in a line, with exit code 2."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.cli.conftest import Run, Stage
from tests.site_maker import steady, task, write_site

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
    "words",
    [
        ("init", ""),
        ("init", "new", "--ruleset", ""),
        ("check", ""),
        ("check", SITE, "--ruleset", ""),
        ("what-if", SITE, "--ruleset", ""),
        ("report", SITE, "--month", "2026-09", "--out", ""),
        ("rules", "pages", "--output", ""),
    ],
)
def test_an_empty_name_is_refused(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str | Path, ...]) -> None:
    """An empty folder is not the working folder, and an empty rule set is not the site's: a script's variable was not set."""
    monkeypatch.chdir(tmp_path)
    done = run(*words)
    assert (done.exit_code, "CLI113" in done.stderr, list(tmp_path.iterdir())) == (2, True, [])


@pytest.mark.parametrize(
    "words", [("rules", "lint", ""), ("rules", "show", ""), ("rules", "test", ""), ("rules", "diff", "gas-engine", "")]
)
def test_no_rule_set_has_an_empty_name(run: Run, words: tuple[str, ...]) -> None:
    """A rule set that is asked for by nothing is a problem, and no fault of the program."""
    done = run(*words)
    assert (done.exit_code, "RUL001" in done.stderr, "fault of the program" in done.stderr) == (2, True, False)


def test_an_output_that_the_site_would_read_is_refused(run: Run, tmp_path: Path) -> None:
    """A file that a pattern of site.yaml matches would be read as a part of the log the next time; beside the log it may lie."""
    write_site(tmp_path, [task(every={"running_hours": 100})], steady("2026-01-01", "2026-01-05", 10))
    asked = ("check", tmp_path, "--as-of", "2026-01-04", "--fail-on", "never", "--output")
    inside, beside = tmp_path / "readings/new.csv", tmp_path / "new.csv"
    refused = run(*asked, inside)
    assert (refused.exit_code, "CLI110" in refused.stderr, inside.exists()) == (2, True, False)
    assert (run(*asked, beside).exit_code, beside.exists()) == (0, True)


@pytest.mark.parametrize("jobs", [(), ("--jobs", "1")])
def test_a_link_that_leads_nowhere_is_no_part_of_the_log(run: Run, tmp_path: Path, jobs: tuple[str, ...]) -> None:
    """With any number of processes it is passed over, as a file is that has just gone."""
    write_site(tmp_path, [task(every={"running_hours": 100})], steady("2026-01-01", "2026-01-05", 10))
    (tmp_path / "readings/gone.csv").symlink_to(tmp_path / "nowhere.csv")
    assert run("check", tmp_path, "--as-of", "2026-01-04", "--fail-on", "never", *jobs).exit_code == 0


@pytest.mark.parametrize(
    ("to", "words", "code"), [("2>&-", "check sample_logs/brackwater --as-of 2026-10-31", 1), ("2>/dev/full", "check nowhere", 2)]
)
def test_the_exit_code_does_not_rest_on_standard_error(to: str, words: str, code: int) -> None:
    """Closed or full, it changes nothing of what is said by the exit code."""
    command = f'"{sys.executable}" -m intervals {words} {to}'
    assert subprocess.run(["sh", "-c", command], cwd=ROOT, capture_output=True, check=False).returncode == code


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


def test_what_a_file_holds_does_not_break_a_problem_in_two(run: Run, site: Path) -> None:
    """Separators of lines in a column's name end no line of a problem: its code, what was found, what to do, three lines each."""
    (site / "readings/log.csv").write_text("Ti\u0085me,En\u2028gine,Ho\u2029urs,Po\u0085wer\n1,2,3,4\n", encoding="utf-8")
    done = run("check", site)
    lines = done.stderr.splitlines()
    assert (done.exit_code, len(lines), lines[-1]) == (2, 3 + 1, "1 problem")
    assert lines[0].startswith("REA003 ")


def test_a_site_without_service_records_says_so(run: Run, site: Path) -> None:
    """Once for the site, however many engines; the starter's file with its header alone is no fault."""
    (site / "readings/log.csv").write_text("Time,Engine,Hours,Power\n2026-01-02T00:00,G1,22.5,430\n", encoding="utf-8")
    assert "no_service_records" not in run("check", site, "--as-of", "2026-01-02").stdout
    (site / "services.csv").unlink()
    shown = run("check", site, "--as-of", "2026-01-02").stdout
    assert shown.count("no_service_records  1  ") == 1
    assert "services.csv is not there: nothing is known to have been done" in shown


BROKEN = "ruleset: mine\ntitle: Mine\nversion: '1'\ntasks:\n  - {id: oil-change, title: Change oil, every: {calendar: 1 yr}}\n"
LOG = "Time,Engine,Hours,Power\n2026-01-02T00:00,G1,22.5,430\n"


@pytest.mark.parametrize(
    "words",
    [
        ("check", "--engine", "G9"),
        ("check", "--engine", "G9", "--jobs", "2"),
        ("check", "--engine", "G9", "--html", "page.html"),
        ("explain", "G9", "oil-change"),
        ("duty", "--engine", "G9"),
        ("what-if", "--engine", "G9"),
        ("propose", "--engine", "G9"),
    ],
)
def test_problems_of_every_stage_are_told_at_once(run: Run, site: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]) -> None:
    """An engine that is not there, broken rules, a log, records and analyses that cannot be read: five problems, in order."""
    monkeypatch.chdir(site)
    (site / "rules.yaml").write_text(BROKEN, encoding="utf-8")
    text = (site / "site.yaml").read_text(encoding="utf-8")
    (site / "site.yaml").write_text(text.replace("ruleset: gas-engine ", "ruleset: ./rules.yaml "), encoding="utf-8")
    (site / "readings/log.csv").write_text(LOG.replace("Hours", "Hrs"), encoding="utf-8")
    (site / "services.csv").write_text("at,engine,job\n", encoding="utf-8")
    (site / "lab.csv").mkdir()
    done = run(words[0], ".", *words[1:])
    codes = [line[:6] for line in done.stderr.splitlines() if not line.startswith(" ")]
    assert (done.exit_code, codes) == (2, ["CLI010", "RUL014", "REA003", "SVC003", "LAB002", "5 prob"])


def test_an_engine_and_a_task_that_are_not_there(run: Run, site: Path) -> None:
    """Both names are told at once, and what there is instead of them."""
    (site / "readings/log.csv").write_text(LOG, encoding="utf-8")
    done = run("check", site, "--engine", "G9", "--task", "zz", "--task", "oil-chnge")
    assert (done.exit_code, done.stderr.count("CLI010"), done.stderr.count("CLI011")) == (2, 1, 2)
    assert 'did you mean "oil-change"?' in done.stderr


def test_a_component_is_no_engine_to_propose_for(run: Run, site: Path) -> None:
    """Proposals are for engines: a component that is asked for is named, and is no fault of the program."""
    text = (site / "site.yaml").read_text(encoding="utf-8")
    part = "components:\n  - {id: TC-7, kind: turbocharger, fitted: [{engine: G1, from: 2026-01-01}]}\n\nreadings:\n"
    (site / "site.yaml").write_text(text.replace("readings:\n", part, 1), encoding="utf-8")
    (site / "readings/log.csv").write_text(LOG, encoding="utf-8")
    done = run("propose", site, "--engine", "TC-7")
    assert (done.exit_code, done.stderr.splitlines()[0]) == (2, "CLI010 --engine")
