"""Engines and tasks may be typed in any letter case, and with an umlaut in either encoding, as service records may write them."""

from __future__ import annotations

import json
from pathlib import Path
from unicodedata import normalize

import pytest

from tests.cli.conftest import Run, Stage

LOG = "Time,Engine,Hours,Power\n2026-01-02T00:00,Süd,22.5,430\n2026-03-01T00:00,Süd,1400,430\n"
SERVICES = "at,engine,task,hour_meter_h,outcome,done_by,note,ref\n2026-01-02,Süd,oil-change,22.5,done,,,\n"
# a u, and the dots above it as a letter of their own
DECOMPOSED = normalize("NFD", "sÜD")


@pytest.fixture
def south(site: Path) -> Path:
    """Return the folder of a site whose one engine has an umlaut in its id."""
    text = (site / "site.yaml").read_text(encoding="utf-8")
    (site / "site.yaml").write_text(text.replace("id: G1 ", "id: Süd "), encoding="utf-8")
    (site / "readings/log.csv").write_text(LOG, encoding="utf-8")
    (site / "services.csv").write_text(SERVICES, encoding="utf-8")
    return site


@pytest.mark.parametrize(
    "words",
    [
        ("check", ".", "--engine", DECOMPOSED, "--task", "Oil-Change", "--as-of", "2026-02-28", "--format", "json", "--fail-on", "never"),
        ("explain", ".", DECOMPOSED, "OIL-CHANGE", "--as-of", "2026-02-28", "--format", "json"),
        ("what-if", ".", "--engine", DECOMPOSED, "--task", "Oil-Change", "--as-of", "2026-02-28", "--format", "json"),
        ("duty", ".", "--engine", DECOMPOSED, "--until", "2026-02-28", "--format", "json"),
        ("propose", ".", "--engine", DECOMPOSED, "--task", "Oil-Change", "--as-of", "2026-02-28"),
    ],
)
def test_the_answer_has_the_ids_of_site_and_rule_set(
    run: Run, south: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    """However they are typed, what comes out is what comes out of the ids themselves."""
    monkeypatch.chdir(south)
    exact = {DECOMPOSED: "Süd", "Oil-Change": "oil-change", "OIL-CHANGE": "oil-change"}
    typed, written = run(*words), run(*(exact.get(word, word) for word in words))
    assert (typed.exit_code, typed.stderr) == (0, "")
    assert typed.stdout == written.stdout
    assert "Süd" in typed.stdout


def test_a_name_is_judged_once(run: Run, south: Path, judge: Stage) -> None:
    """Two spellings of one engine are one engine; a name that is none is left for the judge to refuse."""
    run("check", south, "--engine", "süd", "--engine", "Süd", "--engine", "G9", "--task", "oil-CHANGE", "--task", "paint")
    assert (judge.calls[0][1]["engines"], judge.calls[0][1]["tasks"]) == (("Süd", "G9"), ("oil-change", "paint"))


def test_of_two_that_case_alone_tells_apart_the_exact_one_is_meant(run: Run, site: Path, judge: Stage) -> None:
    """A rule set with the tasks `wash` and `Wash`: each is meant by its own spelling, and `WASH` by none."""
    task = "  - {id: %s, title: Wash, every: {running_hours: 100}, because: dirt, source: common practice}\n"
    rules = "ruleset: mine\ntitle: Mine\nversion: '1'\ntasks:\n" + task % "wash" + task % "Wash"
    (site / "rules.yaml").write_text(rules, encoding="utf-8")
    text = (site / "site.yaml").read_text(encoding="utf-8")
    (site / "site.yaml").write_text(text.replace("ruleset: gas-engine ", "ruleset: ./rules.yaml "), encoding="utf-8")
    for typed, meant in (("wash", "wash"), ("Wash", "Wash"), ("WASH", "WASH")):
        run("check", site, "--task", typed)
        assert judge.calls[-1][1]["tasks"] == (meant,)


def test_a_task_of_the_other_rule_set_alone_is_known(run: Run, south: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`what-if --ruleset` knows the tasks of both sides, in any case."""
    monkeypatch.chdir(south)
    rules = "ruleset: mine\ntitle: Mine\nversion: '1'\ntasks:\n"
    rules += "  - {id: wash, title: Wash, every: {running_hours: 100}, because: dirt, source: common practice}\n"
    (south / "rules.yaml").write_text(rules, encoding="utf-8")
    done = run("what-if", ".", "--ruleset", "./rules.yaml", "--task", "Wash", "--as-of", "2026-02-28", "--format", "json")
    assert done.exit_code == 0, done.stderr
    assert [entry["task"] for entry in json.loads(done.stdout)["tasks"] if entry["after"] is not None or entry["before"] is not None] == [
        "wash"
    ]
