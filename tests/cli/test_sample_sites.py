"""The whole program on the sample sites that come with it."""

from __future__ import annotations

import csv
import json
from collections import Counter
from io import StringIO
from pathlib import Path

import jsonschema
import pytest

from intervals.reports.document_schemas import findings_schema
from tests.cli.conftest import Run

SAMPLES = Path(__file__).parents[2] / "sample_logs"
SITES = sorted(path.parent.name for path in SAMPLES.glob("*/site.yaml"))
AS_OF = "2026-05-31"


@pytest.mark.parametrize("site", SITES)
def test_every_form_tells_the_same(run: Run, site: str) -> None:
    """Document, sheet and table hold the same findings, the document keeps its schema, and the exit code fits the totals."""
    document_run = run("check", SAMPLES / site, "--as-of", AS_OF, "--format", "json")
    document = json.loads(document_run.stdout)
    jsonschema.Draft202012Validator(findings_schema()).validate(document)
    standings = Counter(each["standing"] for each in document["findings"])
    assert {key: standings[key] for key in ("overdue", "upcoming", "in_interval", "unknown")} == {
        key: value for key, value in document["totals"].items() if key != "skipped_open"
    }
    assert document["rows"]["read"] == document["rows"]["accepted"] + document["rows"]["set_aside"]
    worst = document["totals"]["overdue"] + document["totals"]["unknown"] + document["totals"]["skipped_open"]
    assert document_run.exit_code == int(worst > 0)

    rows = list(csv.DictReader(StringIO(run("check", SAMPLES / site, "--as-of", AS_OF, "--format", "csv").stdout)))
    assert [(row["engine"], row["task"], row["standing"]) for row in rows] == [
        (each["engine"], each["task"], each["standing"]) for each in document["findings"]
    ]

    table = run("check", SAMPLES / site, "--as-of", AS_OF, "--all").stdout.split("\n\n")[1].splitlines()[1:]
    assert sorted(tuple(line.split()[:2]) for line in table) == sorted((each["engine"], each["task"]) for each in document["findings"])
    words = {tuple(line.split()[:2]): line for line in table}
    assert all(each["standing"].replace("_", " ") in words[each["engine"], each["task"]] for each in document["findings"])
    marks = [line.split()[2] for line in table]
    assert marks == sorted(marks, key="!?>.".index)


def test_the_same_site_gives_the_same_bytes(run: Run) -> None:
    """Two runs print the same document."""
    first, second = (run("check", SAMPLES / SITES[0], "--as-of", AS_OF, "--format", "json").stdout for _ in range(2))
    assert first == second


@pytest.mark.parametrize("site", SITES)
def test_the_worst_finding_can_be_explained(run: Run, site: str) -> None:
    """The command that the table's hint names explains its finding, as text and as a document."""
    hint = next(line for line in run("check", SAMPLES / site, "--as-of", AS_OF).stdout.splitlines() if "intervals explain" in line)
    words = hint.split("intervals ")[1].split()
    text = run(*words)
    assert text.exit_code == 0
    assert text.stdout.startswith(f"{words[2]} {words[3]}")
    document = json.loads(run(*words, "--format", "json").stdout)
    assert (document["finding"]["engine"], document["finding"]["task"]) == (words[2], words[3])


@pytest.mark.parametrize("site", SITES)
def test_the_log_of_a_sample_is_told(run: Run, site: str) -> None:
    """Each engine of the site has a row."""
    result = run("log", SAMPLES / site, "--as-of", AS_OF, "--format", "json")
    assert result.exit_code == 0
    table = run("log", SAMPLES / site, "--as-of", AS_OF).stdout
    for engine in json.loads(result.stdout)["engines"]:
        assert f"\n{engine['engine']} " in table


def test_a_month_comes_with_its_figure(run: Run) -> None:
    """With --month the document has the month, without it has none, and both keep the schema."""
    document = json.loads(run("check", SAMPLES / SITES[0], "--month", "2026-04", "--format", "json").stdout)
    jsonschema.Draft202012Validator(findings_schema()).validate(document)
    assert document["compliance"]["month"] == "2026-04"
    assert list(document)[-1] == "compliance"


@pytest.mark.parametrize("option", ["--engine", "--task"])
def test_an_engine_or_task_that_is_not_there_is_a_problem(run: Run, option: str) -> None:
    """What was asked for is named beside its option; nothing is judged."""
    result = run("check", SAMPLES / SITES[0], option, "no-such-thing", option, "nor-this")
    assert result.exit_code == 2
    assert option in result.stderr
    assert '"no-such-thing"' in result.stderr
    assert result.stderr.endswith("2 problems\n")
    assert result.stdout == ""


def test_a_new_site_lacks_nothing_but_its_log(run: Run, site: Path) -> None:
    """What is missing after init is the log: one problem that says so."""
    result = run("check", site)
    assert result.exit_code == 2
    assert "readings/*.csv" in result.stderr
    assert result.stderr.endswith("1 problem\n")


def test_the_examples_of_shipped_rule_sets_come_out(run: Run) -> None:
    """Every worked example that comes with the program is judged as it expects."""
    result = run("rules", "test")
    assert result.exit_code == 0, result.stdout
