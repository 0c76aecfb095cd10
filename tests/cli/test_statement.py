"""`intervals statement`: a month is stated, and every later change to what it rests on is told."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from freezegun import freeze_time

from intervals import read_site
from intervals.questions.statement.chain_heads import write_heads
from tests.cli.conftest import Run
from tests.site_maker import RECORD_COLUMNS, done, steady, task, write_site

OIL = task(every={"running_hours": 300}, tolerance_pct=10)
SERVICES = [done("oil", "2024-01-25"), done("oil", "2024-02-24")]


@pytest.fixture
def stated(run: Run, tmp_path: Path) -> Path:
    """Return a site of which January and February 2024 were stated in March."""
    site(tmp_path)
    for month in ("2024-01", "2024-02"):
        with freeze_time("2024-03-02T12:00:00+00:00"):
            assert run("statement", tmp_path, "--month", month).exit_code == 0
    return tmp_path


def site(folder: Path, last: str = "2024-03-02") -> None:
    """Write a site with 10 h a day up to a day."""
    write_site(folder, [OIL], steady("2024-01-01", last, 10), engine={"in_service": "2024-01-01", "meter_at_start_h": 0}, services=SERVICES)


def verified(run: Run, folder: Path) -> tuple[int, str]:
    """Return exit code and text of a look at every statement, in the summer."""
    with freeze_time("2024-07-01T12:00:00+00:00"):
        result = run("statement", folder, "--month", "2024-02", "--verify")
    assert result.stderr == ""
    return result.exit_code, result.stdout


def replaced(path: Path, old: str, new: str) -> None:
    """Change a file as a person would."""
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_statement_holds_findings_and_digests(stated: Path) -> None:
    """Every file with its SHA-256, each record and each day of rows, the findings, and the statement before."""
    first = json.loads((stated / "statements/2024-01.json").read_text("utf-8"))
    second = json.loads((stated / "statements/2024-02.json").read_text("utf-8"))
    assert first["schema"] == "intervals.statement/1"
    assert (first["previous"], first["as_of"]) == (None, "2024-02-01T00:00:00+00:00")
    digest = hashlib.sha256((stated / "services.csv").read_bytes()).hexdigest()
    assert {entry["path"]: entry["sha256"] for entry in first["inputs"]}["services.csv"] == digest
    assert [entry["place"] for entry in first["records"]] == ["services.csv:2"]
    assert len(second["records"]) == 2
    # rows at every midnight from 1 January: the one of 1 January closes 31 December, that of 1 March closes 29 February
    assert (len(first["rows"]["G1"]), len(second["rows"]["G1"])) == (32, 61)
    assert first["findings"]["findings"][0]["task"] == "oil"
    own = hashlib.sha256((stated / "statements/2024-01.json").read_bytes()).hexdigest()
    assert second["previous"] == {"month": "2024-01", "sha256": own}


def test_everything_as_it_was_holds(run: Run, stated: Path) -> None:
    """Exit 0, and so said."""
    code, text = verified(run, stated)
    assert code == 0
    assert "2 statements: everything is as it was stated" in text


def test_without_a_month_every_statement_is_verified(run: Run, stated: Path) -> None:
    """Up to the last month that was stated; to state or amend, a month is needed."""
    result = run("statement", stated, "--verify")
    assert (result.exit_code, "2 statements: everything is as it was stated" in result.stdout) == (0, True)
    for words in ((), ("--amend", "--reason", "a card", "--by", "A. Person")):
        refused = run("statement", stated, *words)
        assert (refused.exit_code, "CLI125 --month" in refused.stderr) == (2, True)


def test_what_came_after_the_month_does_not_touch_its_statement(run: Run, stated: Path) -> None:
    """Four more months of rows and a service in March: both statements hold, and the files are named as changed."""
    kept = {path.name: path.read_bytes() for path in (stated / "statements").iterdir()}
    SERVICES.append(done("oil", "2024-03-20"))
    try:
        site(stated, last="2024-06-30")
    finally:
        SERVICES.pop()
    assert {path.name: path.read_bytes() for path in (stated / "statements").iterdir()} == kept
    code, text = verified(run, stated)
    assert code == 0
    assert "services.csv was changed, but nothing in it that counted at the month's end" in text


def test_the_next_reading_of_a_weekly_book_does_not_touch_the_month_before(run: Run, tmp_path: Path) -> None:
    """Read on Mondays, last on 26 February, 84 h a week: the row of 4 March tells more of February's last days, and the statement holds.

    Of 84 h from Monday 0:00 to Monday 0:00, 48 h lie in the four days from 26 to 29 February.
    """
    mondays = [*steady("2024-01-01", "2024-03-04", 12)[::7]]
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0}
    write_site(tmp_path, [OIL], mondays[:-1], engine=engine, services=SERVICES)
    with freeze_time("2024-03-02T12:00:00+00:00"):
        assert run("statement", tmp_path, "--month", "2024-02").exit_code == 0
    write_site(tmp_path, [OIL], mondays, engine=engine, services=SERVICES)
    code, text = verified(run, tmp_path)
    assert code == 0, text
    assert "2024-02  holds" in text
    # from noon on 24 February, 36 h before the reading of the 26th: 18 h, and 48 h more
    assert "show more of its last hours: G1 oil: stated in interval, 18 h of 300 h, now in interval, 66 h of 300 h" in text
    with (tmp_path / "services.csv").open("a", encoding="utf-8") as file:
        file.write("2024-02-28,G1,oil,,done" + "," * (len(RECORD_COLUMNS) - 5) + "\n")
    assert verified(run, tmp_path)[0] == 1


def test_a_record_dated_back_is_told(run: Run, stated: Path) -> None:
    """Entered in the summer for 10 February: February no longer matches, January does."""
    with (stated / "services.csv").open("a", encoding="utf-8") as file:
        file.write("2024-02-10,G1,oil,,done" + "," * (len(RECORD_COLUMNS) - 5) + "\n")
    code, text = verified(run, stated)
    assert code == 1
    assert "2024-01  holds" in text
    assert "2024-02  no longer matches" in text
    assert "added later, dated back into the month or before: G1 oil done 2024-02-10 (services.csv:4)" in text


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("2024-02-24,G1,oil", "2024-02-23,G1,oil", "changed: G1 oil done 2024-02-24 (services.csv:3) is now G1 oil done 2024-02-23"),
        ("2024-02-24,G1,oil,,done" + "," * (len(RECORD_COLUMNS) - 5) + "\n", "", "removed: G1 oil done 2024-02-24 (services.csv:3)"),
    ],
)
def test_a_record_that_was_changed_or_taken_away_is_told(run: Run, stated: Path, old: str, new: str, words: str) -> None:
    """With what it was and what it is now; the findings that differ follow."""
    text = (stated / "services.csv").read_text("utf-8").replace("\r\n", "\n")
    (stated / "services.csv").write_text(text, encoding="utf-8")
    replaced(stated / "services.csv", old, new)
    code, told = verified(run, stated)
    assert code == 1
    assert words in told
    assert "findings: G1 oil: stated" in told


def test_a_row_of_the_log_that_was_edited_is_told_with_its_place(run: Run, stated: Path) -> None:
    """The reading of 10 February's midnight: the day that it closes, and the line in which it stands."""
    replaced(stated / "readings/log.csv", "2024-02-10T00:00,G1,400.0", "2024-02-10T00:00,G1,398.0")
    code, text = verified(run, stated)
    assert code == 1
    assert "2024-01  holds" in text
    assert "log: rows changed: G1 2024-02-09 (readings/log.csv:42 to 42)" in text


def test_a_rule_that_was_changed_is_told(run: Run, stated: Path) -> None:
    """The interval is 250 h now: rule set and findings of both months differ."""
    replaced(stated / "rules.yaml", "running_hours: 300", "running_hours: 250")
    code, text = verified(run, stated)
    assert code == 1
    assert text.count("rules: rule set written was changed (version 1;") == 2
    assert "no longer matching: January 2024, February 2024" in text


def test_a_statement_that_was_edited_is_told_by_the_next_one(run: Run, stated: Path) -> None:
    """Another figure written into January's file: February says that it is not the file that it followed."""
    replaced(stated / "statements/2024-01.json", '"on_time": 1', '"on_time": 2')
    code, text = verified(run, stated)
    assert code == 1
    assert "the statement of 2024-01 is not the file that it followed" in text
    (stated / "statements/2024-01.json").unlink()
    assert "the statement of 2024-01, which it followed, is gone" in verified(run, stated)[1]


def test_a_month_is_never_stated_twice_with_different_words(run: Run, stated: Path) -> None:
    """The same again is said to be there already; after a change it is refused and the file stays."""
    with freeze_time("2024-03-02T13:00:00+00:00"):
        again = run("statement", stated, "--month", "2024-02")
    assert (again.exit_code, "stated already, and nothing has changed" in again.stdout) == (0, True)
    before = (stated / "statements/2024-02.json").read_bytes()
    replaced(stated / "rules.yaml", "running_hours: 300", "running_hours: 250")
    result = run("statement", stated, "--month", "2024-02")
    assert (result.exit_code, "CLI121" in result.stderr) == (2, True)
    assert (stated / "statements/2024-02.json").read_bytes() == before


def test_what_cannot_be_is_refused(run: Run, tmp_path: Path) -> None:
    """A month that has not ended, nothing to verify, a file that is no statement: exit 2."""
    site(tmp_path)
    with freeze_time("2024-02-20T12:00:00+00:00"):
        early = run("statement", tmp_path, "--month", "2024-02")
        nothing = run("statement", tmp_path, "--month", "2024-02", "--verify")
    assert (early.exit_code, "CLI120" in early.stderr) == (2, True)
    assert (nothing.exit_code, "CLI122" in nothing.stderr) == (2, True)
    (tmp_path / "statements").mkdir()
    for text in ("{", "[]", '{"schema": "intervals.statement/1", "site": 3}'):
        (tmp_path / "statements/2024-01.json").write_text(text, encoding="utf-8")
        odd = run("statement", tmp_path, "--month", "2024-02", "--verify")
        assert (odd.exit_code, "CLI123" in odd.stderr) == (2, True)


def test_statements_are_never_read_as_logs(run: Run, stated: Path) -> None:
    """A pattern that takes in every folder still reads the readings alone."""
    replaced(stated / "site.yaml", "- readings/*.csv", "- '*/*.csv'")
    (stated / "statements/copy.csv").write_text("at,engine,hour_meter_h\n2024-02-01T12:00,G1,9999\n", encoding="utf-8")
    with freeze_time("2024-07-01T12:00:00+00:00"):
        result = run("check", stated, "--as-of", "2024-02-29", "--format", "json")
    assert json.loads(result.stdout)["rows"]["read"] == 62


def rewritten(stated: Path, old: str, new: str, name: str = "2024-02.json") -> None:
    """Write something else into a statement, as another version of the program might have stated it: with the digest that fits."""
    path = stated / "statements" / name
    replaced(path, old, new)
    body = json.loads(path.read_text("utf-8"))
    del body["sha256"]
    canonical = json.dumps(body, sort_keys=True, separators=(",", ":"))
    sealed = {**body, "sha256": hashlib.sha256(canonical.encode("ascii")).hexdigest()}
    path.write_text(json.dumps(sealed, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    # whoever can write one file can write the list of them too
    write_heads(read_site(stated))


def test_a_key_that_differs_where_the_figures_are_the_same_is_told_with_both_values(run: Run, stated: Path) -> None:
    """The figures are the same, and the due date is stated a year later: that key alone is told."""
    rewritten(stated, '"due_on": "2024-03-', '"due_on": "2025-03-')
    code, text = verified(run, stated)
    assert code == 1
    (line,) = [each for each in text.splitlines() if "findings:" in each]
    now = line.rsplit(" ", 1)[1]
    assert line == f"    findings: G1 oil: due_on stated 2025{now[4:]}, now {now}"
    assert "no record, row or rule changed up to its end, nor any file" in text
    assert "it was made by another version of the program than the one that reads it now (both call themselves " in text


def test_another_version_of_the_program_is_named_as_a_cause(run: Run, stated: Path) -> None:
    """By itself it is none of the statement's business; where a finding differs, both versions are told."""
    rewritten(stated, '"version": "', '"version": "0.0.1-')
    assert verified(run, stated)[0] == 0
    rewritten(stated, '"crossed_at": null', '"crossed_at": "2024-02-28T00:00:00+00:00"')
    text = verified(run, stated)[1]
    assert "findings: G1 oil: crossed_at stated 2024-02-28T00:00:00+00:00, now none" in text
    assert "it was made by another version of the program than the one that reads it now (version 0.0.1-" in text
    replaced(stated / "rules.yaml", "running_hours: 300", "running_hours: 250")
    assert "another version of the program may be behind it too: version 0.0.1-" in verified(run, stated)[1]


def test_a_site_file_that_was_changed_is_named_as_a_cause(run: Run, stated: Path) -> None:
    """Of the files only site.yaml is another one: neither readings nor records are said to be behind it."""
    rewritten(stated, '"unknown_hours_h": 0.0', '"unknown_hours_h": 2.5')
    with (stated / "site.yaml").open("a", encoding="utf-8") as file:
        file.write("# looked at\n")
    text = verified(run, stated)[1]
    assert "unknown_hours_h stated 2.5, now 0.0" in text
    assert "what may be behind it: site.yaml was changed, or another version of the program" in text
    assert "later readings" not in text


def test_later_readings_are_named_as_a_cause_only_where_there_are_any(run: Run, stated: Path) -> None:
    """The log goes on until the summer; the site file is as it was."""
    rewritten(stated, '"unknown_hours_h": 0.0', '"unknown_hours_h": 2.5')
    site(stated, last="2024-06-30")
    text = verified(run, stated)[1]
    assert "what may be behind it: later readings or records show more of its last hours, or another version" in text


def test_a_reason_that_reads_otherwise_is_told_by_its_rule(run: Run, stated: Path) -> None:
    """The sentence in quotation marks, before and now."""
    rewritten(stated, '"text": "in interval,', '"text": "within interval,')
    text = verified(run, stated)[1]
    assert 'findings: G1 oil: reasons[in-interval].text stated "within interval, ' in text
    assert ', now "in interval, ' in text


def test_each_skipped_occurrence_that_differs_is_told(run: Run, tmp_path: Path) -> None:
    """The oil, due after 300 h, was first changed at 650 h: missed once. Stated under another time it is another occurrence."""
    rows, engine = steady("2024-01-01", "2024-03-08", 10), {"in_service": "2024-01-01", "meter_at_start_h": 0}
    write_site(tmp_path, [OIL], rows, engine=engine, services=[done("oil", "2024-03-06")])
    with freeze_time("2024-04-02T12:00:00+00:00"):
        assert run("statement", tmp_path, "--month", "2024-03").exit_code == 0
    path = tmp_path / "statements/2024-03.json"
    (skipped,) = json.loads(path.read_text("utf-8"))["findings"]["skipped"]
    rewritten(tmp_path, '"open": false', '"open": true', "2024-03.json")
    with freeze_time("2024-07-01T12:00:00+00:00"):
        text = run("statement", tmp_path, "--month", "2024-03", "--verify").stdout
    assert f"findings: skipped: G1 oil at {skipped['at']}: open stated yes, now no" in text
    rewritten(tmp_path, f'"at": "{skipped["at"]}"', '"at": "2024-02-01T00:00:00+00:00"', "2024-03.json")
    with freeze_time("2024-07-01T12:00:00+00:00"):
        text = run("statement", tmp_path, "--month", "2024-03", "--verify").stdout
    assert f"no longer skipped: G1 oil, {skipped['text']}" in text
    assert f"newly skipped: G1 oil, {skipped['text']}" in text
