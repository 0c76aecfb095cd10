"""`intervals duty`, `intervals what-if` and `intervals propose` on the sample sites."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from intervals import read_ruleset
from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]
BRACKWATER = ROOT / "sample_logs/brackwater"
SKERRY = ROOT / "sample_logs/skerry-island"


def test_duty_prints_a_row_an_engine_and_a_row_a_changed_interval(run: Run) -> None:
    """The island's sets are within a prime rating, and sulphur takes its share of the oil."""
    result = run("duty", SKERRY, "--since", "2025-11-01", "--until", "2026-10-31")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0] == "skerry-island  duty from 2025-11-01T00:00:00+00:00 to 2026-11-01T00:00:00+00:00  rule set diesel-prime 2026.12.2"
    assert [line.split()[0] for line in lines[3:6]] == ["D1", "D2", "D3"]
    (oil,) = (line for line in lines if line.startswith("D3") and "oil-change" in line)
    assert oil.endswith("sulphur-half")
    # fuel of 0.8 % for the length of an interval: half of 250 h
    assert " 125 h " in oil
    assert "documents, the legal text and the local code come first" in lines[-1]


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("explanation/1", ("explain", BRACKWATER, "G1", "oil-change", "--as-of", "2026-10-31")),
        ("log/1", ("log", BRACKWATER, "--as-of", "2026-10-31")),
        ("duty/1", ("duty", BRACKWATER, "--until", "2026-10-31", "--engine", "G4")),
        ("what-if/2", ("what-if", BRACKWATER, "--as-of", "2026-10-31", "--drop", "heavy-load", "--engine", "G1", "--task", "oil-change")),
    ],
)
def test_documents_keep_their_schema(run: Run, tmp_path: Path, kind: str, words: tuple[str | Path, ...]) -> None:
    """--format json prints one document that keeps the schema which `intervals schema` prints; --output writes the same bytes."""
    printed = run(*words, "--format", "json")
    assert printed.exit_code == 0
    document = json.loads(printed.stdout)
    assert document["schema"] == f"intervals.{kind}"
    jsonschema.validate(document, json.loads(run("schema", kind.partition("/")[0]).stdout))
    file = tmp_path / "out.json"
    assert run(*words, "--format", "json", "--output", file).exit_code == 0
    assert file.read_text(encoding="utf-8") == printed.stdout


def test_what_if_shows_both_sides(run: Run) -> None:
    """Without its rule for heavy load G1's oil is not overdue: 1,886 h on the clock of 2,000."""
    result = run("what-if", BRACKWATER, "--as-of", "2026-10-31", "--drop", "heavy-load", "--engine", "G1")
    assert result.exit_code == 0
    assert "  without heavy-load\n" in result.stdout
    (oil,) = (line for line in result.stdout.splitlines() if line.startswith("G1      oil-change"))
    assert "! overdue -> > upcoming" in oil
    assert "2,277 / 2,000 h -> 1,886 / 2,000 h" in oil
    assert "10 tasks unchanged" in result.stdout


def test_what_if_writes_a_page_besides(run: Run, tmp_path: Path) -> None:
    """--html FILE is one page with both sides; what is printed is the same; a file that cannot be written is refused."""
    words = ("what-if", BRACKWATER, "--as-of", "2026-10-31", "--drop", "heavy-load", "--engine", "G1")
    result = run(*words, "--html", tmp_path / "w.html")
    assert (result.exit_code, result.stdout) == (0, run(*words).stdout)
    page = (tmp_path / "w.html").read_text(encoding="utf-8")
    assert "2,277 / 2,000 h" in page
    assert "1,886 / 2,000 h" in page
    refused = run(*words, "--html", tmp_path / "none" / "w.html")
    assert refused.exit_code == 2
    assert "CLI110" in refused.stderr


def test_what_if_without_a_change_says_so(run: Run) -> None:
    """Nothing changed, nothing different."""
    result = run("what-if", SKERRY, "--as-of", "2026-10-31")
    assert result.exit_code == 0
    assert "nothing is changed" in result.stdout
    assert "->" not in result.stdout


def test_propose_writes_a_rule_set(run: Run, tmp_path: Path) -> None:
    """The file names the rule set it is based on, and can be asked what it would change."""
    file = tmp_path / "proposed.yaml"
    result = run("propose", BRACKWATER, "--as-of", "2026-10-31", "--engine", "G3", "--task", "oil-change", "--output", file)
    assert (result.exit_code, result.stdout) == (0, "")
    assert read_ruleset(file).ruleset == "gas-engine-brackwater"
    asked = run("what-if", BRACKWATER, "--as-of", "2026-10-31", "--ruleset", file, "--engine", "G3")
    assert asked.exit_code == 0
    # its adjustment for starts is worked in: 2,000 x 0.8 = 1,600 h as before, so nothing changes today
    assert "12 tasks unchanged" in asked.stdout
    (oil,) = (line for line in asked.stdout.splitlines() if line.startswith("G3      oil-change"))
    assert ". in interval  2026-11-30  used 1,434 / 1,600 h; " in oil
    printed = run("propose", BRACKWATER, "--as-of", "2026-10-31", "--engine", "G3", "--task", "oil-change")
    assert "  - id: oil-change-of-G3\n" in printed.stdout


@pytest.mark.parametrize(
    ("words", "codes"),
    [
        (("duty", SKERRY, "--until", "2026-02-30"), ["CLI130"]),
        (("duty", SKERRY, "--until", "0001-01-01"), ["CLI130"]),
        (("duty", SKERRY, "--until", "9999-12-31"), ["CLI130"]),
        (("duty", SKERRY, "--since", "1899-12-31"), ["CLI130"]),
        (("duty", SKERRY, "--since", "yesterday", "--until", "2026-02-28"), ["CLI130"]),
        (("duty", SKERRY, "--since", "2026-03-01", "--until", "2026-02-28", "--engine", "D9"), ["CLI010", "CLI130"]),
        (("what-if", SKERRY, "--set", "oil", "--as-of", "2026-10-31"), ["CLI131"]),
        (("what-if", SKERRY, "--drop", "oil", "--as-of", "2026-10-31"), ["CLI131"]),
        (("what-if", SKERRY, "--engine", "D9", "--as-of", "2026-10-31"), ["CLI010"]),
        (("what-if", SKERRY, "--task", "paint", "--as-of", "2026-10-31"), ["CLI011"]),
        (("propose", SKERRY, "--engine", "D9", "--as-of", "2026-10-31"), ["CLI010"]),
        (("propose", SKERRY, "--task", "paint", "--as-of", "2026-10-31"), ["CLI011"]),
    ],
)
def test_what_cannot_be_done_is_refused(run: Run, words: tuple[str | Path, ...], codes: list[str]) -> None:
    """Exit code 2, nothing on standard output, every problem on standard error."""
    result = run(*words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert [line.split()[0] for line in result.stderr.splitlines() if line.startswith("CLI")] == codes
