"""What engines state that no rule can compare is refused: site folders in, exit codes and messages out."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest

from intervals.problems import SiteProblemError
from tests.cli.conftest import Run
from tests.site_maker import meter, write_site

ENGINE = {"fuel": "natural-gas", "duty": "continuous", "rated_kw": 1000, "in_service": "2024-01-01", "meter_at_start_h": 0}
ROWS = [meter("2024-03-01T00:00", 1000), meter("2024-07-01T00:00", 2500)]


def checked(run: Run, folder: Path, ruleset: str = "gas-engine", task: str = "air-filter", **engine: object) -> tuple[int, str]:
    """Write a site of one engine judged by a shipped rule set; return exit code and output of its check."""
    with suppress(SiteProblemError):
        write_site(folder, [], ROWS, engine={**ENGINE, **engine}, ruleset=ruleset)
    answer = run("check", folder, "--as-of", "2024-06-30", "--task", task)
    return answer.exit_code, answer.output


def line_of(folder: Path, word: str) -> int:
    """Return the line of the site file that holds a word."""
    lines = (folder / "site.yaml").read_text(encoding="utf-8").splitlines()
    return next(number for number, line in enumerate(lines, 1) if word in line)


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("dusty_air", "ja", ('dusty_air is "ja"', "write true or false")),
        ("dusty_air", "wahr", ('dusty_air is "wahr"', "write true or false")),
        ("dusty_air", 1, ("dusty_air is 1,", "write true or false")),
        ("dusty_air", "yes", ('"yes" is text here', "write true or false")),
        ("dusty-air", True, ('no rule asks for "dusty-air"', 'did you mean "dusty_air"?')),
        ("dusty_aire", True, ('no rule asks for "dusty_aire"', 'did you mean "dusty_air"?')),
    ],
)
def test_an_attribute_that_no_rule_can_compare_is_refused(
    run: Run, tmp_path: Path, name: str, value: object, words: tuple[str, ...]
) -> None:
    """Exit code 2, and the line of site.yaml with what would be accepted."""
    code, output = checked(run, tmp_path, attributes={name: value})
    assert code == 2
    assert f"site.yaml:{line_of(tmp_path, name)}" in output
    assert all(word in output for word in words)


def test_what_rules_can_compare_shortens_the_interval(run: Run, tmp_path: Path) -> None:
    """2,500 h since new: past half of 4,000 h in dust, well inside 4,000 in clean air and where nothing is stated."""
    assert "2,500 / 2,000 h" in checked(run, tmp_path / "dust", attributes={"dusty_air": True})[1]
    for folder, attributes in (("clean", {"dusty_air": False}), ("unstated", {})):
        assert "2,500 / 4,000 h" in checked(run, tmp_path / folder, attributes=attributes)[1]


@pytest.mark.parametrize(
    ("ruleset", "engine", "word", "meant"),
    [
        ("gas-engine", {"fuel": "erdgas"}, "erdgas", '"natural-gas", "biogas"'),
        ("gas-engine", {"fuel": "natural gas"}, "natural gas", 'did you mean "natural-gas"?'),
        ("diesel-prime", {"fuel": "Diesel"}, "Diesel", 'did you mean "diesel"?'),
        ("gas-engine", {"duty": "Continuous"}, "Continuous", 'did you mean "continuous"?'),
    ],
)
def test_a_word_that_no_rule_names_is_refused(
    run: Run, tmp_path: Path, ruleset: str, engine: dict[str, str], word: str, meant: str
) -> None:
    """The oil change would not be asked for, and nobody would know."""
    code, output = checked(run, tmp_path, ruleset, **engine)
    assert code == 2
    assert f"SIT013 {tmp_path / 'site.yaml'}:{line_of(tmp_path, word)}" in output
    assert f'"{word}", which no rule names' in output
    assert meant in output


def test_every_engine_and_every_command_is_told(run: Run, tmp_path: Path) -> None:
    """Two engines, two problems, at once; `explain` and `report` refuse as `check` does."""
    engines = [{"id": "G1", **ENGINE, "attributes": {"dusty_air": "ja"}}, {"id": "G2", **ENGINE, "attributes": {"dusty-air": True}}]
    write_site(tmp_path, [], ROWS, engines=engines, ruleset="gas-engine")
    for words in (["check"], ["explain"], ["duty"]):
        more = ["G1", "air-filter"] if words == ["explain"] else []
        when = ["--until", "2024-06-30"] if words == ["duty"] else ["--as-of", "2024-06-30"]
        answer = run(*words, tmp_path, *more, *when)
        assert answer.exit_code == 2
        assert answer.output.count("SIT046") == 2


def test_a_slip_is_told_once_and_at_the_site(run: Run, tmp_path: Path) -> None:
    """Not once more at the rule set that asks for it."""
    _, output = checked(run, tmp_path, attributes={"dusty-air": True})
    assert "1 problem" in output
    assert "RUL026" not in output
