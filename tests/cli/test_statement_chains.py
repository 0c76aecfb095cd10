"""`intervals statement` of a site under several rule sets: each has a chain of its own, and statements of former versions go on.

Every site here runs 10 h a day from 1 January 2024. Its own rule set asks for oil every 300 h, the other one for filters every 500 h.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import yaml
from freezegun import freeze_time

from intervals import read_site
from intervals.history.inputs import read_inputs
from intervals.questions.statement.statement_documents import statement_text
from intervals.questions.statement.statement_scopes import Scope
from intervals.questions.statement.statements import state_month
from tests.cli.conftest import Run
from tests.site_maker import RECORD_COLUMNS, done, steady, task, write_site

OIL = task(every={"running_hours": 300}, tolerance_pct=10)
FILTER = task("filter", every={"running_hours": 500})
OTHER = {"ruleset": "federal", "title": "Federal", "version": "3", "tasks": [FILTER]}
ONE = [{"id": "G1", "in_service": "2024-01-01", "meter_at_start_h": 0}]
TWO = [*ONE, {"id": "G2", "in_service": "2024-01-01", "meter_at_start_h": 0, "ruleset": "./federal.yaml"}]
NEW_KEYS = ("ruleset", "ruleset_from", "engines", "site_parts", "sha256")


def site(folder: Path, engines: Sequence[dict[str, Any]] = ONE, **keys: Any) -> None:  # noqa: ANN401 - any key of a site
    """Write a site with logs of two engines, and the other rule set beside its own."""
    ids = [engine["id"] for engine in engines]
    rows = [row for engine in ids for row in steady("2024-01-01", "2024-04-05", 10, engine=engine)]
    services = [done("oil", "2024-01-25T00:00"), *([done("filter", "2024-01-26T00:00", engine="G2")] if "G2" in ids else [])]
    write_site(folder, [OIL], rows, engines=engines, services=services, **keys)
    (folder / "federal.yaml").write_text(yaml.safe_dump(OTHER, sort_keys=False), encoding="utf-8")


def state(run: Run, folder: Path, *months: str, ruleset: str | None = None) -> str:
    """State months in April, and return what was said."""
    said = ""
    with freeze_time("2024-04-06T12:00:00+00:00"):
        for month in months:
            result = run("statement", folder, "--month", month, *(() if ruleset is None else ("--ruleset", ruleset)))
            assert (result.exit_code, result.stderr) == (0, "")
            said += result.stdout
    return said


def verified(run: Run, folder: Path, *words: str) -> tuple[int, str]:
    """Return exit code and text of a look at every statement, in the summer."""
    with freeze_time("2024-07-01T12:00:00+00:00"):
        result = run("statement", folder, "--month", "2024-03", "--verify", *words)
    assert result.stderr == ""
    return result.exit_code, result.stdout


def files(folder: Path) -> list[str]:
    """Return the statements that are there."""
    found = (folder / "statements").rglob("*.json")
    return sorted(path.relative_to(folder / "statements").as_posix() for path in found if path.name != "chains.json")


def document(folder: Path, name: str) -> dict[str, Any]:
    """Return a statement."""
    found: dict[str, Any] = json.loads((folder / "statements" / name).read_text("utf-8"))
    return found


def digest(folder: Path, name: str) -> str:
    """Return the SHA-256 of a statement's file."""
    return hashlib.sha256((folder / "statements" / name).read_bytes()).hexdigest()


def replaced(path: Path, old: str, new: str) -> None:
    """Change a file as a person would."""
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def as_before(folder: Path, name: str) -> None:
    """Leave out of a statement what former versions did not write."""
    body = document(folder, name)
    for key in NEW_KEYS:
        del body[key]
    (folder / "statements" / name).write_text(json.dumps(body, indent=2) + "\n", encoding="utf-8")
    (folder / "statements" / "chains.json").unlink(missing_ok=True)


def stated_together(folder: Path, month: str, last_day: date) -> None:
    """Write a statement of all rule sets of a site together, as former versions did."""
    described = read_site(folder)
    inputs = read_inputs(described, last_day, now_us=None)
    scope = Scope(None, None, None, tuple(machine.id for machine in described.judged_units))
    statement = state_month(inputs, month, scope, None, version="0.1.0")
    (folder / "statements").mkdir(exist_ok=True)
    (folder / "statements" / f"{month}.json").write_text(statement_text(statement), encoding="utf-8")
    as_before(folder, f"{month}.json")


def test_a_site_under_two_rule_sets_states_both(run: Run, tmp_path: Path) -> None:
    """That of its first engine in the folder itself, the other in a folder of its name; each holds its own engines, records and rules."""
    site(tmp_path, TWO)
    said = state(run, tmp_path, "2024-01", "2024-02")
    assert said.count(": stated, SHA-256 ") == 4
    assert files(tmp_path) == ["2024-01.json", "2024-02.json", "federal/2024-01.json", "federal/2024-02.json"]
    own, other = document(tmp_path, "2024-02.json"), document(tmp_path, "federal/2024-02.json")
    assert (own["ruleset"], own["engines"], own["ruleset_from"]) == ("written", ["G1"], "./rules.yaml")
    assert (other["ruleset"], other["engines"], other["ruleset_from"]) == ("federal", ["G2"], "./federal.yaml")
    for each, engine, task_id in ((own, "G1", "oil"), (other, "G2", "filter")):
        assert [entry["ruleset"] for entry in each["findings"]["rulesets"]] == [each["ruleset"]]
        assert [(entry["engine"], entry["task"]) for entry in each["findings"]["findings"]] == [(engine, task_id)]
        assert ([entry["engine"] for entry in each["records"]], list(each["rows"])) == ([engine], [engine])
        assert [entry["kind"] for entry in each["inputs"]].count("rule set") == 1
    assert other["previous"] == {"month": "2024-01", "sha256": digest(tmp_path, "federal/2024-01.json")}
    code, text = verified(run, tmp_path)
    assert code == 0
    assert text.startswith("rule set written\n2024-01  holds\n")
    assert "\nrule set federal\n2024-01  holds\n" in text
    assert "4 statements: everything is as it was stated" in text


def test_each_chain_tells_of_its_own_changes_alone(run: Run, tmp_path: Path) -> None:
    """The other rule set changed, a record of its engine dated back: the chain of the first engine holds; one command amends the other."""
    site(tmp_path, TWO)
    state(run, tmp_path, "2024-01", "2024-02")
    replaced(tmp_path / "federal.yaml", "running_hours: 500", "running_hours: 450")
    code, text = verified(run, tmp_path)
    assert code == 1
    assert "rule set federal was changed (version 3;" in text
    assert "no longer matching: January 2024 by federal, February 2024 by federal" in text
    replaced(tmp_path / "federal.yaml", "running_hours: 450", "running_hours: 500")
    with (tmp_path / "services.csv").open("a", encoding="utf-8") as file:
        file.write("2024-02-10T00:00,G2,filter,,done" + "," * (len(RECORD_COLUMNS) - 5) + "\n")
    code, text = verified(run, tmp_path)
    assert (code, "no longer matching: February 2024 by federal\n" in text) == (1, True)
    with freeze_time("2024-05-02T08:00:00+00:00"):
        result = run("statement", tmp_path, "--month", "2024-02", "--amend", "--reason", "late", "--by", "A. Person")
    assert "nothing to amend: the statement of February 2024 by written holds" in result.stdout
    assert "2024-02.amended-1.json: amendment 1 of February 2024 by federal" in result.stdout
    assert files(tmp_path)[2:] == ["federal/2024-01.json", "federal/2024-02.amended-1.json", "federal/2024-02.json"]
    assert verified(run, tmp_path)[0] == 0


def test_another_rule_set_that_is_asked_for_has_a_chain_of_its_own(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By --ruleset, which the site does not name: it judges every engine, and neither chain reads as changed files of the other."""
    site(tmp_path)
    monkeypatch.chdir(tmp_path)
    state(run, tmp_path, "2024-01", "2024-02")
    state(run, tmp_path, "2024-02", ruleset="./federal.yaml")
    assert files(tmp_path) == ["2024-01.json", "2024-02.json", "federal/2024-02.json"]
    other = document(tmp_path, "federal/2024-02.json")
    assert (other["engines"], other["ruleset_from"], other["previous"]) == (["G1"], "./federal.yaml", None)
    monkeypatch.chdir("/")
    assert verified(run, tmp_path)[0] == 0
    code, text = verified(run, tmp_path, "--ruleset", str(tmp_path / "federal.yaml"))
    assert (code, "1 statement: everything is as it was stated" in text, "2024-01" in text) == (0, True, False)
    for words in (("--verify",), ("--amend", "--reason", "late", "--by", "A. Person")):
        nothing = run("statement", tmp_path, "--month", "2024-01", "--ruleset", tmp_path / "federal.yaml", *words)
        assert (nothing.exit_code, "CLI122 --ruleset" in nothing.stderr) == (2, True)
    (tmp_path / "federal.yaml").unlink()
    code, text = verified(run, tmp_path)
    assert (code, "rule set federal is gone or cannot be used, it was found as ./federal.yaml" in text) == (1, True)
    assert "no longer matching: February 2024 by federal\n" in text


def test_a_rule_set_of_the_site_that_is_asked_for_judges_its_own_engines(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """--ruleset with one of the site's own states that chain, as without it."""
    site(tmp_path, TWO)
    monkeypatch.chdir(tmp_path)
    state(run, tmp_path, "2024-02", ruleset="federal.yaml")
    assert files(tmp_path) == ["federal/2024-02.json"]
    assert document(tmp_path, "federal/2024-02.json")["engines"] == ["G2"]
    said = state(run, tmp_path, "2024-02")
    assert (": stated, SHA-256 " in said, "stated already, and nothing has changed" in said) == (True, True)


def test_a_site_that_gets_a_second_rule_set_or_another_one_goes_on(run: Run, tmp_path: Path) -> None:
    """G2 comes with the other set: a chain of its own. Then G1 goes by it too: its old chain holds, by the set that it was stated by."""
    site(tmp_path)
    state(run, tmp_path, "2024-01")
    site(tmp_path, TWO)
    state(run, tmp_path, "2024-02")
    assert files(tmp_path) == ["2024-01.json", "2024-02.json", "federal/2024-02.json"]
    assert verified(run, tmp_path)[0] == 0
    site(tmp_path, TWO, ruleset="./federal.yaml")
    state(run, tmp_path, "2024-03")
    assert files(tmp_path)[2:] == ["federal/2024-02.json", "federal/2024-03.json"]
    assert document(tmp_path, "federal/2024-03.json")["engines"] == ["G1", "G2"]
    code, text = verified(run, tmp_path)
    assert (code, "4 statements: everything is as it was stated" in text) == (0, True)


def test_statements_of_former_versions_are_found_and_followed(run: Run, tmp_path: Path) -> None:
    """They carry no digest and name no rule set: they hold, and the next one of the same rule set follows them."""
    site(tmp_path)
    state(run, tmp_path, "2024-01")
    as_before(tmp_path, "2024-01.json")
    assert "stated already, and nothing has changed" in state(run, tmp_path, "2024-01")
    state(run, tmp_path, "2024-02")
    assert document(tmp_path, "2024-02.json")["previous"] == {"month": "2024-01", "sha256": digest(tmp_path, "2024-01.json")}
    code, text = verified(run, tmp_path)
    assert (code, text.count("stated by a former version: it carries no digest of its own content")) == (0, 1)
    replaced(tmp_path / "statements/2024-01.json", '"used": 70.0', '"used": 71.0')
    code, text = verified(run, tmp_path)
    assert (code, "the statement of 2024-01 is not the file that it followed" in text) == (1, True)


def test_rule_sets_that_a_former_version_stated_together_are_followed_by_a_chain_each(run: Run, tmp_path: Path) -> None:
    """One file for both: verified as such, and never stated again; the next month has a statement for each, which follow it."""
    site(tmp_path, TWO)
    stated_together(tmp_path, "2024-01", date(2024, 1, 31))
    assert state(run, tmp_path, "2024-01").count("stated already") == 2
    state(run, tmp_path, "2024-02")
    assert files(tmp_path) == ["2024-01.json", "2024-02.json", "federal/2024-02.json"]
    first = {"month": "2024-01", "sha256": digest(tmp_path, "2024-01.json")}
    assert document(tmp_path, "2024-02.json")["previous"] == first
    assert document(tmp_path, "federal/2024-02.json")["previous"] == {**first, "file": "2024-01.json"}
    code, text = verified(run, tmp_path)
    assert (code, "rule sets federal, written (stated together by a former version)\n2024-01  holds\n" in text) == (0, True)


def test_a_version_that_knew_fewer_keys_is_compared_by_those_it_knew(run: Run, tmp_path: Path) -> None:
    """Findings without a key of today, by another version: they hold. One with another value does not, and both versions are told."""
    site(tmp_path)
    state(run, tmp_path, "2024-01")
    body = document(tmp_path, "2024-01.json")
    for key in NEW_KEYS:
        del body[key]
    body["version"], body["findings"]["schema"] = "0.1.0", "intervals.findings/0"
    for finding in body["findings"]["findings"]:
        del finding["forecast"], finding["within_tolerance"]
    body["findings"]["compliance"].pop("occurrences")
    path = tmp_path / "statements/2024-01.json"
    path.write_text(json.dumps(body), encoding="utf-8")
    (tmp_path / "statements/chains.json").unlink()
    assert verified(run, tmp_path)[0] == 0
    replaced(path, '"on_time": 1', '"on_time": 2')
    code, text = verified(run, tmp_path)
    assert code == 1
    (line,) = [each for each in text.splitlines() if "compliance: " in each]
    assert line.startswith("    findings: compliance: stated 2 on time, 0 late")
    assert ", now 1 on time, 0 late" in line
    assert "it was made by another version of the program than the one that reads it now (version 0.1.0 made it" in text


def test_a_component_of_another_rule_set_rests_on_the_rows_of_its_engine(run: Run, tmp_path: Path) -> None:
    """The turbocharger on G1 goes by the other set: G1's row of 10 February counts in both chains, G1's records in its own alone."""
    fitted = {"id": "TC-7", "kind": "turbocharger", "fitted": [{"engine": "G1", "from": "2024-01-01"}], "ruleset": "./federal.yaml"}
    site(tmp_path, components=[fitted])
    assert "not stated by federal: no task of federal fits TC-7" in state(run, tmp_path, "2024-01")
    turbo = {**OTHER, "tasks": [{**FILTER, "applies_to": {"kind": "turbocharger"}}]}
    (tmp_path / "federal.yaml").write_text(yaml.safe_dump(turbo, sort_keys=False), encoding="utf-8")
    state(run, tmp_path, "2024-02")
    other = document(tmp_path, "federal/2024-02.json")
    assert (other["engines"], list(other["rows"]), other["records"]) == (["TC-7"], ["G1"], [])
    # 60 days of 10 h up to 1 March
    assert other["findings"]["findings"][0]["legs"][0]["used"] == 600.0
    assert verified(run, tmp_path)[0] == 0
    replaced(tmp_path / "readings/log.csv", "2024-02-10T00:00,G1,400.0", "2024-02-10T00:00,G1,398.0")
    code, text = verified(run, tmp_path)
    assert (code, text.count("rows changed: G1 2024-02-09 (readings/log.csv:42 to 42)")) == (1, 2)


def test_an_engine_that_left_the_site_is_told(run: Run, tmp_path: Path) -> None:
    """The other set judged G2 alone, and nothing is left of it."""
    site(tmp_path, TWO)
    state(run, tmp_path, "2024-02")
    site(tmp_path)
    code, text = verified(run, tmp_path)
    assert (code, "none of the engines that it judged is at the site any more: G2" in text) == (1, True)
    assert "no longer matching: February 2024 by federal\n" in text


def test_a_statement_that_was_edited_is_told_by_itself(run: Run, tmp_path: Path) -> None:
    """The last one, which no other follows: even a place or a total that nothing else shows."""
    site(tmp_path)
    state(run, tmp_path, "2024-01")
    for old, new in (('"services.csv:2"', '"services.csv:9"'), ('"read": ', '"read": 1'), ('"version": "', '"version": "9.')):
        kept = (tmp_path / "statements/2024-01.json").read_bytes()
        replaced(tmp_path / "statements/2024-01.json", old, new)
        code, text = verified(run, tmp_path)
        assert (code, "tampered with: 2024-01.json was edited after it was written" in text) == (1, True)
        (tmp_path / "statements/2024-01.json").write_bytes(kept)
    assert verified(run, tmp_path)[0] == 0


def test_a_statement_in_the_place_of_another_is_told(run: Run, tmp_path: Path) -> None:
    """January's file copied to December, and a statement of another site."""
    site(tmp_path)
    state(run, tmp_path, "2024-01")
    kept = (tmp_path / "statements/2024-01.json").read_bytes()
    (tmp_path / "statements/2023-12.json").write_bytes(kept)
    code, text = verified(run, tmp_path)
    assert (code, "2023-12.json says that it is of 2024-01" in text) == (1, True)
    assert "it cannot be judged any more: no engine was in service yet at 2024-01-01" in text
    assert "it says that nothing was stated before it, and so does 2023-12.json" in text
    (tmp_path / "statements/2023-12.json").unlink()
    replaced(tmp_path / "site.yaml", "site: quay", "site: pier")
    code, text = verified(run, tmp_path)
    assert (code, "2024-01.json is a statement of site quay" in text) == (1, True)


def test_names_that_no_statement_has_are_told(run: Run, tmp_path: Path) -> None:
    """A month that does not exist, an ending in capitals, one that was moved into another folder: the others hold."""
    site(tmp_path)
    state(run, tmp_path, "2024-01")
    for name in ("2024-13.json", "2024-02.JSON", "2024-02.amended-0.json"):
        (tmp_path / "statements" / name).write_text("{}", encoding="utf-8")
    code, text = verified(run, tmp_path)
    assert (code, text.count("is not a statement of this site, by its name or its folder; it was not checked")) == (0, 3)
    for name in ("2024-13.json", "2024-02.JSON", "2024-02.amended-0.json"):
        (tmp_path / "statements" / name).unlink()
    (tmp_path / "statements/old").mkdir()
    for name in ("2024-01.json", "chains.json"):
        (tmp_path / "statements" / name).rename(tmp_path / "statements/old" / name)
    state(run, tmp_path, "2024-01")
    code, text = verified(run, tmp_path)
    assert (code, "old/2024-01.json  is not a statement of this site" in text) == (0, True)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"month": "2024-01"', '"month": "2024-01", "month": "2024-01"', 'the key "month" is written twice in one object'),
        ('"used": 70.0', '"used": NaN', "NaN is no figure"),
        ('"standing": "', '"stand": "', "not a statement as this version reads them: findings.findings.0: Value error, lacks standing"),
    ],
)
def test_a_file_that_is_no_statement_is_refused(run: Run, tmp_path: Path, old: str, new: str, words: str) -> None:
    """A key twice, of which only the last would be read; a figure that is none; a finding without its word. Exit 2."""
    site(tmp_path)
    state(run, tmp_path, "2024-01")
    replaced(tmp_path / "statements/2024-01.json", old, new)
    result = run("statement", tmp_path, "--month", "2024-03", "--verify")
    assert (result.exit_code, "CLI123" in result.stderr, words in result.stderr) == (2, True, True)


def test_two_rule_sets_of_one_id_are_refused(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Statements are kept by id: a draft that calls itself as the site's own set would read as the site's set changed."""
    site(tmp_path)
    monkeypatch.chdir(tmp_path)
    text = (tmp_path / "rules.yaml").read_text("utf-8").replace("running_hours: 300", "running_hours: 250")
    (tmp_path / "draft.yaml").write_text(text, encoding="utf-8")
    with freeze_time("2024-04-06T12:00:00+00:00"):
        result = run("statement", tmp_path, "--month", "2024-01", "--ruleset", "./draft.yaml")
    assert (result.exit_code, "CLI124" in result.stderr, (tmp_path / "statements").exists()) == (2, True, False)


def test_an_engine_that_came_later_does_not_keep_the_others_from_being_stated(run: Run, tmp_path: Path) -> None:
    """G2 came in February: in January only the rule set of G1 is stated, and the other one says why not."""
    site(tmp_path, [*ONE, {**TWO[1], "in_service": "2024-02-10"}])
    said = state(run, tmp_path, "2024-01")
    assert "not stated by federal: no engine was in service yet at 2024-02-01" in said
    assert files(tmp_path) == ["2024-01.json"]
    neither = run("statement", tmp_path, "--month", "2023-11")
    assert (neither.exit_code, neither.stderr.count("no engine was in service yet"), files(tmp_path)) == (2, 1, ["2024-01.json"])
