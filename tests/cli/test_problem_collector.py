"""What is wrong with what was asked for, with the site file and with what it names is told in one go."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run

LOG = "Time,Engine,Hours,Power\n2026-01-02T00:00,G1,22.5,430\n"
BROKEN = "ruleset: mine\ntitle: Mine\nversion: '1'\ntasks:\n  - {id: oil-change, title: Change oil, every: {calendar: 1 yr}}\n"


@pytest.fixture
def broken(site: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder of a site of which rules, log and records cannot be used, and stand in it."""
    monkeypatch.chdir(site)
    (site / "rules.yaml").write_text(BROKEN, encoding="utf-8")
    text = (site / "site.yaml").read_text(encoding="utf-8")
    (site / "site.yaml").write_text(text.replace("ruleset: gas-engine ", "ruleset: ./rules.yaml "), encoding="utf-8")
    (site / "readings/log.csv").write_text(LOG.replace("Hours", "Hrs"), encoding="utf-8")
    (site / "services.csv").write_text("at,engine,job\n", encoding="utf-8")
    return site


@pytest.fixture
def sound(site: Path) -> Path:
    """Return the folder of a site that can be judged."""
    (site / "readings/log.csv").write_text(LOG, encoding="utf-8")
    return site


def misspell(site: Path) -> None:
    """Put a key that no engine has into the site file."""
    text = (site / "site.yaml").read_text(encoding="utf-8")
    (site / "site.yaml").write_text(text.replace("    fuel: ", "    feul: "), encoding="utf-8")


def codes_of(stderr: str) -> list[str]:
    """Return the codes of the problems that were told, in order."""
    return [line[:6] for line in stderr.splitlines() if not line.startswith(" ")][:-1]


@pytest.mark.parametrize(
    ("words", "codes"),
    [
        (("check", ".", "--as-of", "soon", "--month", "Oct", "--engine", "G9"), ["CLI101", "CLI012", "CLI010"]),
        (("check", ".", "--month", "2199-01", "--html", "site.yaml", "--ics", "readings/a.csv"), ["CLI012", "CLI110", "CLI110"]),
        (("check", ".", "--as-of", "2026-01-30", "--month", "2026-01", "--output", "lab.csv"), ["CLI103", "CLI110"]),
        (("explain", ".", "G9", "oil-change", "--as-of", "soon", "--output", "services.csv"), ["CLI101", "CLI110", "CLI010"]),
        (("report", ".", "--month", "2026-13", "--out", "q"), ["CLI012"]),
        (("statement", ".", "--month", "2026-13"), ["CLI012"]),
        (("statement", ".", "--month", "2026-01", "--verify"), ["CLI122"]),
        (("duty", ".", "--since", "x", "--until", "y", "--output", "site.yaml"), ["CLI130", "CLI130", "CLI110"]),
        (("what-if", ".", "--as-of", "soon", "--set", "x", "--output", "site.yaml"), ["CLI101", "CLI131", "CLI110"]),
        (("propose", ".", "--as-of", "soon", "--output", "site.yaml"), ["CLI101", "CLI110"]),
        (("log", ".", "--as-of", "soon", "--output", "site.yaml"), ["CLI101", "CLI110"]),
        (
            ("check", ".", "--as-of", "2026-01-32", "--output", "no/x", "--html", "readings", "--engine", "G9"),
            ["CLI101", *2 * ["CLI110"], "CLI010"],
        ),
        (("check", ".", "--as-of", "soon", "--month", "2026-01"), ["CLI101", "CLI103"]),
        (("report", ".", "--month", "2026-13", "--out", "no/q"), ["CLI012", "CLI110"]),
        (("report", ".", "--month", "2026-13", "--out", "site.yaml"), ["CLI012", "CLI110"]),
    ],
)
def test_dates_and_outputs_are_refused_together_with_the_site(run: Run, broken: Path, words: tuple[str, ...], codes: list[str]) -> None:
    """What was asked for is told first; then the rules, the log and the records of the site, in that order. Nothing is written."""
    before = sorted(broken.rglob("*"))
    done = run(*words)
    assert (done.exit_code, done.stdout) == (2, "")
    assert codes_of(done.stderr) == [*codes, "RUL014", "REA003", "SVC003"]
    assert sorted(broken.rglob("*")) == before


@pytest.mark.parametrize(
    "words",
    [
        ("check", ".", "--as-of", "soon"),
        ("explain", ".", "G1", "oil-change", "--as-of", "soon"),
        ("propose", ".", "--as-of", "soon"),
        ("log", ".", "--as-of", "soon"),
    ],
)
def test_the_rule_set_is_looked_at_where_the_site_file_is_wrong(run: Run, broken: Path, words: tuple[str, ...]) -> None:
    """A misspelt key of site.yaml does not hide what is wrong with the rule set that it names, nor a date that is none."""
    misspell(broken)
    done = run(*words)
    assert (done.exit_code, codes_of(done.stderr)) == (2, ["CLI101", "SIT010", "RUL014"])


def test_the_rule_set_asked_for_stands_for_the_one_that_is_named(run: Run, broken: Path) -> None:
    """With --ruleset the rule sets of site.yaml do not matter, and are not told of."""
    misspell(broken)
    assert codes_of(run("check", ".", "--ruleset", "gas-engine").stderr) == ["SIT010"]
    assert codes_of(run("check", ".", "--ruleset", "gas-engin").stderr) == ["SIT010", "RUL001"]


def test_rule_sets_of_single_engines_are_looked_at_too(run: Run, broken: Path) -> None:
    """Of two engines one has a rule set of its own, which is not there: both rule sets are told of, each once."""
    misspell(broken)
    text = (broken / "site.yaml").read_text(encoding="utf-8")
    more = "engines:\n  - {id: G2, ruleset: ./none.yaml}\n  - {id: G3, ruleset: ./none.yaml}\n"
    (broken / "site.yaml").write_text(text.replace("engines:\n", more, 1), encoding="utf-8")
    assert codes_of(run("check", ".").stderr) == ["SIT010", "RUL001", "RUL014"]


@pytest.mark.parametrize("text", ["site: [", "- a list\n", "site: x\nruleset: 7\n", "site: x\nengines: G1\nruleset: {a: b}\n", ""])
def test_a_site_file_that_names_no_rule_set_is_told_alone(run: Run, broken: Path, text: str) -> None:
    """What cannot be parsed, or names a number or a mapping, leads to no rule set."""
    (broken / "site.yaml").write_text(text, encoding="utf-8")
    done = run("check", ".")
    assert done.exit_code == 2
    assert {code[:3] for code in codes_of(done.stderr)} == {"SIT"}


def test_one_problem_is_told_once(run: Run, broken: Path) -> None:
    """The same month is read in two places, and refused once."""
    assert run("report", broken, "--month", "soon", "--out", "q").stderr.count("CLI012") == 1


def test_the_rule_set_of_a_what_if_is_looked_at_besides_the_site(run: Run, broken: Path) -> None:
    """A date that is none does not hide what is wrong with the other rule set, whatever the site's own and the site file are like."""
    (broken / "bad.yaml").write_text(BROKEN.replace("1 yr", "2 yr"), encoding="utf-8")
    words = ("what-if", ".", "--ruleset", "./bad.yaml", "--as-of", "soon")
    done = run(*words)
    assert codes_of(done.stderr) == ["CLI101", "RUL014", "RUL014", "REA003", "SVC003"]
    assert [told in done.stderr for told in ("1 yr", "2 yr")] == [True, True]
    assert codes_of(run(*words[:-2]).stderr) == ["RUL014", "RUL014", "REA003", "SVC003"]
    misspell(broken)
    assert codes_of(run(*words).stderr) == ["CLI101", "RUL014", "SIT010", "RUL014"]


def test_a_missing_folder_is_told_before_anything_is_judged(run: Run, sound: Path) -> None:
    """Of two files that cannot be written both are told, by name and in one go, and a third that could be is not written."""
    done = run("check", sound, "--as-of", "2026-01-30", "--output", sound / "no/x", "--xlsx", sound / "no/y", "--ics", sound / "z.ics")
    assert (done.exit_code, done.stdout, codes_of(done.stderr)) == (2, "", ["CLI110", "CLI110"])
    assert [str(sound / f"no/{name}") in done.stderr for name in "xy"] == [True, True]
    assert f"there is no folder {sound / 'no'}" in done.stderr
    assert not (sound / "z.ics").exists()


def test_a_missing_folder_is_told_with_a_site_that_cannot_be_used(run: Run, broken: Path) -> None:
    """The place of the output needs no site to be looked at."""
    misspell(broken)
    assert codes_of(run("log", ".", "--output", "no/x").stderr) == ["CLI110", "SIT010", "RUL014"]
    assert codes_of(run("report", ".", "--month", "2026-01", "--out", "no/x").stderr) == ["CLI110", "SIT010", "RUL014"]


def test_a_folder_of_a_report_that_holds_something_else_under_a_name_is_told(run: Run, sound: Path) -> None:
    """A folder where the report's page would be."""
    (sound / "out/index.html").mkdir(parents=True)
    done = run("report", sound, "--month", "2026-13", "--out", sound / "out")
    assert codes_of(done.stderr) == ["CLI012", "CLI110"]
    assert "index.html" in done.stderr


@pytest.mark.parametrize(
    ("words", "codes"),
    [
        (("G1", "nope", "--as-of", "soon"), ["CLI101", "CLI011"]),
        (("G1", "oil-change", "--as-of", "soon"), ["CLI101"]),
        (("G9", "nope"), ["CLI010", "CLI011"]),
        (("G9", "oil-change"), ["CLI010"]),
        (("G1", "nope"), ["CLI011"]),
    ],
)
def test_an_unknown_task_is_told_with_what_else_is_wrong(run: Run, sound: Path, words: tuple[str, ...], codes: list[str]) -> None:
    """`explain` names its arguments as its help does; a task that there is is no problem."""
    done = run("explain", sound, *words)
    assert (done.exit_code, codes_of(done.stderr)) == (2, codes)
    assert ("CLI011 TASK" in done.stderr, "CLI010 ENGINE" in done.stderr) == ("CLI011" in codes, "CLI010" in codes)


def test_rule_sets_are_refused_together_with_the_place_of_the_output(run: Run, broken: Path) -> None:
    """`rules show` and `rules diff`: the output first, then each rule set that cannot be used."""
    assert codes_of(run("rules", "show", broken / "rules.yaml", "--output", "no/x").stderr) == ["CLI110", "RUL014"]
    assert codes_of(run("rules", "diff", "none", broken / "rules.yaml", "--output", "no/x").stderr) == ["CLI110", "RUL001", "RUL014"]
