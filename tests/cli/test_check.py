"""`intervals check`: what it passes on, what it prints, and its exit code."""

from __future__ import annotations

import csv
import json
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from freezegun import freeze_time

from intervals.findings import Findings
from intervals.problems import Problem, RuleSetProblemError
from tests.cli.conftest import Run, Stage
from tests.unit.reports.made_findings import finding, made_findings, skipped_oil

OVERDUE = made_findings((finding(past_by=311.0),), skipped=())
SKIPPED = made_findings((finding(standing="in_interval"),), skipped=(skipped_oil(),))
SKIPPED_AND_DONE = made_findings((finding(standing="in_interval"),), skipped=(skipped_oil(still_open=False),))
UNKNOWN = made_findings((finding(standing="unknown"),), skipped=())
UPCOMING = made_findings((finding(standing="upcoming"),), skipped=())
IN_INTERVAL = made_findings((finding(standing="in_interval"),), skipped=())


@pytest.mark.parametrize(
    ("findings", "codes"),
    [
        # --fail-on  overdue, skipped, unknown, upcoming, never
        (OVERDUE, (1, 1, 1, 1, 0)),
        (SKIPPED, (0, 1, 1, 1, 0)),
        (SKIPPED_AND_DONE, (0, 0, 0, 0, 0)),
        (UNKNOWN, (0, 0, 1, 1, 0)),
        (UPCOMING, (0, 0, 0, 1, 0)),
        (IN_INTERVAL, (0, 0, 0, 0, 0)),
    ],
)
def test_each_line_of_the_scale_includes_what_stands_before_it(
    run: Run, site: Path, judge: Stage, findings: Findings, codes: tuple[int, ...]
) -> None:
    """Exit 1 where something stands at the line drawn or before it; what is skipped but done since does not count."""
    judge.answer = findings
    lines = ("overdue", "skipped", "unknown", "upcoming", "never")
    assert tuple(run("check", site, "--fail-on", line).exit_code for line in lines) == codes


@pytest.mark.parametrize(("findings", "code"), [(OVERDUE, 1), (SKIPPED, 1), (UNKNOWN, 1), (UPCOMING, 0), (IN_INTERVAL, 0)])
def test_without_a_word_the_line_is_unknown(run: Run, site: Path, judge: Stage, findings: Findings, code: int) -> None:
    """A scheduler that only looks at the exit code hears of anything overdue, skipped and still open, or unknown."""
    judge.answer = findings
    assert run("check", site).exit_code == code


def test_the_next_command_names_the_site_as_it_can_be_typed(run: Run, site: Path, judge: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder whose name begins with a dash is named by its path."""
    monkeypatch.chdir(site.rename(site.parent / "-x").parent)
    assert "intervals explain ./-x G1 oil-change\n" in run("check", "--", "-x").stdout
    assert len(judge.calls) == 1


def test_the_table_is_plain_and_complete(run: Run, site: Path, judge: Stage) -> None:
    """Printed to a file or pipe, the table has no colour and nothing on standard error."""
    assert not judge.calls
    result = run("check", site, "--as-of", "2026-10-31", "--all")
    assert result.exit_code == 1
    assert result.stderr == ""
    assert "\x1b" not in result.stdout
    assert "G1      oil-change   ! overdue          2,311 / 2,000 h           311 h past  2026-10-09" in result.stdout
    assert f"intervals explain {site} G1 oil-change --as-of 2026-10-31" in result.stdout


def test_the_table_begins_with_what_needs_doing(run: Run, site: Path, judge: Stage) -> None:
    """Without an option a task in interval is only counted; of a task that was named, every row is shown."""
    assert not judge.calls
    assert "G1      hoses" not in run("check", site).stdout
    assert "1 task in interval is not shown: --all shows every task" in run("check", site).stdout
    assert "G1      hoses" in run("check", site, "--all").stdout
    assert "is not shown" not in run("check", site, "--task", "oil-change").stdout


def test_a_span_counts_from_the_last_day_that_is_covered(run: Run, site: Path, judge: Stage) -> None:
    """As of the end of 2026-10-31 one day on is 2026-11-01, on which the plugs fall due; with no day at all they are left out."""
    assert not judge.calls
    assert "spark-plugs  > upcoming" in run("check", site, "--due", "P1D").stdout
    assert "spark-plugs  > upcoming" not in run("check", site, "--due", "P0D").stdout


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("--due", "14 days"), "CLI105", "write P14D"),
        (("--due", "P14D", "--all"), "CLI104", "leave out one of the two"),
        (("--due", "P14D", "--format", "csv"), "CLI104", "its own due_on"),
    ],
)
def test_a_span_that_serves_no_purpose_is_refused(run: Run, site: Path, judge: Stage, words: tuple[str, ...], code: str, told: str) -> None:
    """No span, or one beside what holds every task anyway: exit 2, with what to write."""
    result = run("check", site, *words)
    assert (result.exit_code, judge.calls) == (2, [])
    assert code in result.stderr
    assert told in result.stderr


def test_json_is_the_document(run: Run, site: Path, judge: Stage) -> None:
    """Standard output holds one JSON document and nothing else."""
    assert not judge.calls
    result = run("check", site, "--format", "json")
    document = json.loads(result.stdout)
    assert document["schema"] == "intervals.findings/2"
    assert document["totals"] == {"overdue": 1, "upcoming": 2, "in_interval": 1, "unknown": 1, "skipped_open": 1}


def test_csv_has_a_row_a_finding(run: Run, site: Path, judge: Stage) -> None:
    """Standard output holds the sheet and nothing else."""
    assert not judge.calls
    rows = list(csv.DictReader(StringIO(run("check", site, "--format", "csv").stdout)))
    assert len(rows) == 5


@pytest.mark.parametrize("form", ["table", "json", "csv"])
def test_output_goes_to_the_file_and_not_to_the_screen(run: Run, site: Path, judge: Stage, tmp_path: Path, form: str) -> None:
    """The file holds what the screen would have shown; the exit code is the same."""
    assert not judge.calls
    shown = run("check", site, "--format", form)
    written = run("check", site, "--format", form, "--output", tmp_path / "out")
    assert written.stdout == ""
    assert (tmp_path / "out").read_text(encoding="utf-8") == shown.stdout
    assert written.exit_code == shown.exit_code == 1


def test_an_output_that_cannot_be_written_is_a_problem(run: Run, site: Path, judge: Stage, tmp_path: Path) -> None:
    """No folder, no file: exit 2 and one problem."""
    assert not judge.calls
    result = run("check", site, "--output", tmp_path / "none" / "out.json")
    assert result.exit_code == 2
    assert "CLI110" in result.stderr
    assert "make the folder first" in result.stderr


def test_what_was_asked_for_reaches_the_judge(run: Run, site: Path, judge: Stage) -> None:
    """Engines, tasks and rule set are passed on as typed; nobody watches, so no progress is told."""
    run("check", site, "--as-of", "2026-10-31", "--engine", "G1", "--engine", "G2", "--task", "oil-change", "--ruleset", "diesel-prime")
    (loaded, as_of), options = judge.calls[0]
    assert loaded.site == "brackwater"
    assert as_of == date(2026, 10, 31)
    assert (options["engines"], options["tasks"], options["ruleset"], options["month"]) == (
        ("G1", "G2"),
        ("oil-change",),
        "diesel-prime",
        None,
    )
    assert options["progress"] is None


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("2026-10-31", date(2026, 10, 31)),
        ("2026-10-31T14:00", datetime(2026, 10, 31, 14, 0)),  # noqa: DTZ001 - local to the site, as it is typed
        ("2026-10-31 14:00:30", datetime(2026, 10, 31, 14, 0, 30)),  # noqa: DTZ001 - local to the site, as it is typed
        ("2026-10-31T14:00Z", datetime(2026, 10, 31, 14, 0, tzinfo=UTC)),
    ],
)
def test_a_date_is_a_date_and_a_moment_a_moment(run: Run, site: Path, judge: Stage, typed: str, meant: date | datetime) -> None:
    """A bare date stands for its end; with a time it is that moment, local to the site unless it has an offset."""
    run("check", site, "--as-of", typed)
    given = judge.calls[0][0][1]
    assert given == meant
    assert type(given) is type(meant)


@freeze_time("2026-10-31 12:34:56.789")
def test_without_a_date_it_is_now(run: Run, site: Path, judge: Stage) -> None:
    """The clock is read once: the moment of judging and the moment past which rows are in the future are the same."""
    run("check", site)
    (_, as_of), options = judge.calls[0]
    assert as_of == datetime(2026, 10, 31, 12, 34, 56, tzinfo=UTC)
    assert options["now_us"] == (as_of - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


@pytest.mark.parametrize(
    ("month", "end"), [("2026-10", date(2026, 10, 31)), ("2024-02", date(2024, 2, 29)), ("2025-12", date(2025, 12, 31))]
)
def test_a_month_is_judged_at_its_end(run: Run, site: Path, judge: Stage, month: str, end: date) -> None:
    """The month's last day is the date of judging, and the hint repeats it."""
    result = run("check", site, "--month", month)
    assert judge.calls[0][0][1] == end
    assert judge.calls[0][1]["month"] == month
    assert f"--as-of {end.isoformat()}" in result.stdout


def test_a_month_with_its_own_end_is_no_contradiction(run: Run, site: Path, judge: Stage) -> None:
    """Both given and both the same: judged."""
    assert run("check", site, "--month", "2026-10", "--as-of", "2026-10-31").exit_code == 1
    assert len(judge.calls) == 1


@pytest.mark.parametrize(
    ("words", "codes", "said"),
    [
        (("--as-of", "31.10.2026"), ["CLI101"], 'got "31.10.2026", expected for example 2026-10-31'),
        (("--as-of", "2026-02-30"), ["CLI101"], 'got "2026-02-30"'),
        (("--as-of", "20261031"), ["CLI101"], 'got "20261031"'),
        (("--month", "2026-13"), ["CLI012"], 'got "2026-13", expected for example 2026-10'),
        (("--month", "October"), ["CLI012"], 'got "October"'),
        (("--month", "0000-01"), ["CLI012"], 'got "0000-01"'),
        (("--month", "9999-12"), ["CLI012"], 'got "9999-12"'),
        # the third one is that the new site has no log yet
        (("--as-of", "now", "--month", "soon"), ["CLI101", "CLI012"], "3 problems"),
        (("--as-of", "2026-10-30", "--month", "2026-10"), ["CLI103"], "a month is judged at its end, 2026-10-31"),
    ],
)
def test_a_date_that_is_none_is_a_problem(run: Run, site: Path, judge: Stage, words: tuple[str, ...], codes: list[str], said: str) -> None:
    """Every problem is listed on standard error, with what was found and what was expected; nothing is judged."""
    result = run("check", site, *words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert [line.split()[0] for line in result.stderr.splitlines() if line.startswith("CLI")] == codes
    assert said in result.stderr
    assert not judge.calls


def test_all_problems_of_a_stage_are_printed(run: Run, site: Path, judge: Stage) -> None:
    """Two problems of a rule set are both on standard error, as problems are printed, and then counted."""
    first = Problem("RUL014", "rules.yaml", 41, "$.tasks[3].every.calendar", 'not an ISO 8601 duration; got "1 yr"', "write P1Y")
    second = Problem("RUL010", "rules.yaml", 50, "$.tasks[4].evry", 'unknown key "evry"; did you mean "every"?')
    judge.error = RuleSetProblemError([first, second])
    result = run("check", site)
    assert result.exit_code == 2
    assert result.stderr == (
        "RUL014 rules.yaml:41  $.tasks[3].every.calendar\n"
        '    not an ISO 8601 duration; got "1 yr"\n'
        "    write P1Y\n"
        "RUL010 rules.yaml:50  $.tasks[4].evry\n"
        '    unknown key "evry"; did you mean "every"?\n'
        "2 problems\n"
    )


def test_a_fault_of_the_program_is_one_line(run: Run, site: Path, judge: Stage) -> None:
    """What nobody foresaw is said in one line without a traceback, with the way to see more; exit 2."""
    judge.error = ZeroDivisionError("float division\nby zero")
    result = run("check", site)
    assert result.exit_code == 2
    assert result.stderr == (
        "intervals: an error in the program, not in your files: ZeroDivisionError: float division by zero; "
        "run it again as `intervals --debug ...` to see where\n"
    )


def test_debug_shows_the_traceback(run: Run, site: Path, judge: Stage) -> None:
    """With --debug see the traceback above that line."""
    judge.error = ZeroDivisionError("by zero")
    result = run("--debug", "check", site)
    assert result.exit_code == 2
    assert "Traceback (most recent call last)" in result.stderr
    assert result.stderr.splitlines()[-1].startswith("intervals: an error in the program")


def test_a_file_that_cannot_be_read_is_a_problem(run: Run, site: Path, judge: Stage) -> None:
    """The system's own refusal names the file and is no fault of the program."""
    judge.error = PermissionError(13, "Permission denied", "readings/a.csv")
    result = run("check", site)
    assert result.exit_code == 2
    assert result.stderr == "CLI111 readings/a.csv\n    Permission denied\n1 problem\n"


def test_a_folder_that_is_no_site_is_a_problem(run: Run, tmp_path: Path) -> None:
    """Without site.yaml nothing can be judged: exit 2 and the file that is missing."""
    result = run("check", tmp_path)
    assert result.exit_code == 2
    assert "site.yaml" in result.stderr
    assert "SIT" in result.stderr
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize("words", [("--format", "xml"), ("--fail-on", "late"), ("--engines", "G1")])
def test_a_word_that_is_no_option_is_refused(run: Run, site: Path, words: tuple[str, ...]) -> None:
    """A choice or option that does not exist exits 2 and is named."""
    result = run("check", site, *words)
    assert result.exit_code == 2
    assert words[0] in result.stderr
