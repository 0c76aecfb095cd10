"""No command writes over what it reads."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]


@pytest.fixture
def clinic(tmp_path: Path) -> Path:
    """Return a copy of a small sample site."""
    return Path(shutil.copytree(ROOT / "sample_logs/harbour-clinic", tmp_path / "clinic"))


@pytest.mark.parametrize("name", ["site.yaml", "services.csv", "readings/weekly.xlsx"])
@pytest.mark.parametrize("command", ["check", "log", "duty", "propose"])
def test_an_input_is_not_written_over(clinic: Path, run: Run, command: str, name: str) -> None:
    """The site's own files are refused as output, before anything is judged, and stay as they were."""
    target = clinic / name
    before = target.read_bytes()
    done = run(command, clinic, "--output", target)
    assert done.exit_code == 2
    assert "CLI110" in done.stderr
    assert target.read_bytes() == before


def test_one_file_is_not_named_for_two_outputs(clinic: Path, run: Run, tmp_path: Path) -> None:
    """Two options that name the same file are refused."""
    done = run("check", clinic, "--as-of", "2026-10-31", "--xlsx", tmp_path / "a", "--ics", tmp_path / "a")
    assert (done.exit_code, (tmp_path / "a").exists()) == (2, False)


def test_a_rule_set_is_not_written_over_by_its_page(tmp_path: Path, run: Run) -> None:
    """`rules show FILE --output FILE` is refused."""
    rules = Path(shutil.copy(ROOT / "rulesets/gas/gas-engine.yaml", tmp_path))
    before = rules.read_bytes()
    done = run("rules", "show", rules, "--output", rules)
    assert (done.exit_code, rules.read_bytes() == before) == (2, True)


def test_a_schema_does_not_take_the_place_of_a_site_file(clinic: Path, run: Run) -> None:
    """`schema --output services.csv` beside a site.yaml is refused."""
    assert run("schema", "site", "--output", clinic / "services.csv").exit_code == 2


def test_a_year_beyond_all_engines_is_no_date_of_judging(clinic: Path, run: Run) -> None:
    """9999-12-30 is refused as any other that is no date."""
    done = run("check", clinic, "--as-of", "9999-12-30")
    assert (done.exit_code, "CLI101" in done.stderr) == (2, True)


def test_another_name_of_an_input_is_no_way_around(clinic: Path, run: Run, tmp_path: Path) -> None:
    """A link to services.csv, of either kind, is refused like the file itself."""
    services = clinic / "services.csv"
    before = services.read_bytes()
    (tmp_path / "soft").symlink_to(services)
    (tmp_path / "hard").hardlink_to(services)
    for name in ("soft", "hard"):
        done = run("check", clinic, "--as-of", "2026-10-31", "--ics", tmp_path / name)
        assert (done.exit_code, "CLI110" in done.stderr, services.read_bytes() == before) == (2, True, True)


def test_what_a_rule_set_is_based_on_is_not_written_over(clinic: Path, run: Run, tmp_path: Path) -> None:
    """The base of a rule set is read as well: `rules show`, `rules diff` and `what-if` refuse to write over it."""
    base = Path(shutil.copy(ROOT / "rulesets/gas/gas-engine.yaml", tmp_path))
    own = tmp_path / "own.yaml"
    own.write_text("ruleset: own\nversion: 1\ntitle: Own\nbased_on: ./gas-engine.yaml\n", "utf-8")
    before = base.read_bytes()
    for words in (("rules", "show", own), ("rules", "diff", own, own), ("what-if", clinic, "--ruleset", own)):
        done = run(*words, "--output", base)
        assert (done.exit_code, "CLI110" in done.stderr, base.read_bytes() == before) == (2, True, True)


def test_a_report_does_not_take_the_place_of_the_records(clinic: Path, run: Run) -> None:
    """Where the site's records are kept in a file that `report` would write, its folder is refused and nothing is written."""
    records = (clinic / "services.csv").rename(clinic / "findings.csv")
    described = (clinic / "site.yaml").read_text("utf-8")
    assert "  file: services.csv\n" in described
    (clinic / "site.yaml").write_text(described.replace("  file: services.csv", "  file: findings.csv"), "utf-8")
    before = records.read_bytes()
    done = run("report", clinic, "--month", "2026-10", "--out", clinic)
    assert (done.exit_code, "CLI110" in done.stderr, records.read_bytes() == before) == (2, True, True)
    assert not (clinic / "index.html").exists()
