"""Records as practitioners keep them: a site folder goes in, what a person reads and what a program reads come out."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
import yaml
from icalendar import Calendar
from openpyxl import load_workbook

from intervals import assess, read_site
from intervals.findings import Findings
from intervals.problems import ReadingsProblemError, SiteProblemError
from tests.cli.conftest import Run
from tests.site_maker import done, fault_kinds, finding_for, moment, skipped_of, steady, task, used_of, write_site

TASKS = (task(every={"running_hours": 500}), task("plugs", every={"running_hours": 900}))
G1 = [{"id": "G1", "in_service": "2024-01-01", "meter_at_start_h": 0}]
PAIR = [{"id": name, "in_service": "2024-01-01", "meter_at_start_h": 0} for name in ("AE1", "AE2")]
ROWS = steady("2024-01-01", "2024-04-01", 10)
BOTH = [*steady("2024-01-01", "2024-04-01", 10, engine="AE1"), *steady("2024-01-01", "2024-04-01", 4, engine="AE2")]
AS_OF = "2024-03-31"
"""Its end is 91 days after the first row: 910 h at 10 h a day, 364 h at 4 h a day."""
FEBRUARY = "2024-02-01T00:00"
"""31 days after it: 310 h and 124 h."""
Record = Mapping[str, object]


def write(folder: Path, records: Sequence[Record], words: Mapping[str, object] | None = None, **written: Any) -> Path:  # noqa: ANN401 - what `write_site` takes
    """Write a site of G1 with service records, and what its `services` says of their words."""
    write_site(folder, **{"tasks": TASKS, "rows": ROWS, "engines": G1, **written}, services=records)
    if words is not None:
        path = folder / "site.yaml"
        path.write_text(path.read_text("utf-8") + yaml.safe_dump({"services": words}, allow_unicode=True), encoding="utf-8")
    return folder


def judged(folder: Path, records: Sequence[Record], words: Mapping[str, object] | None = None, **written: Any) -> Findings:  # noqa: ANN401 - what `write_site` takes
    """Write such a site and judge it."""
    return assess(read_site(write(folder, records, words, **written)), date.fromisoformat(AS_OF))


# outcomes


@pytest.mark.parametrize("word", ["erledigt", " Erledigt ", "ERLEDIGT"])
def test_an_outcome_in_the_sites_own_word(tmp_path: Path, word: str) -> None:
    """`erledigt` is done in any letter case: 910 h - 310 h = 600 h since the oil change of 1 February."""
    findings = judged(tmp_path, [done("oil", FEBRUARY, outcome=word)], {"outcome_names": {"erledigt": "done", "ok": "done"}})
    assert (used_of(finding_for(findings)), findings.faults) == (600.0, ())


def test_words_for_every_outcome(tmp_path: Path) -> None:
    """`teils` credits nothing, `storno` takes back the record with its ref: the oil has run all 910 h, the plugs 600 h."""
    records = [
        done("oil", FEBRUARY, ref="J1", outcome="ok"),
        done("oil", "2024-02-10T00:00", ref="J1", outcome="storno"),
        done("oil", "2024-03-01T00:00", outcome="teils"),
        done("plugs", FEBRUARY),
    ]
    findings = judged(tmp_path, records, {"outcome_names": {"ok": "done", "teils": "partial", "storno": "void"}})
    assert (used_of(finding_for(findings)), used_of(finding_for(findings, "plugs"))) == (910.0, 600.0)
    assert "not_credited" in [entry.kind for entry in skipped_of(findings)]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ({"outcome_names": {"ok": "finished"}}, 'got "finished", expected done or partial or deferred or void'),
        ({"outcome_names": {"ok": "done", "OK": "partial"}}, "outcomes must differ by more than letter case"),
        ({"task_names": {"2,000 h": ["oil", "oil"]}}, '"oil" is listed twice'),
        ({"task_names": {"2,000 h": []}}, "at least one name is needed"),
        ({"engine_names": {"both": ["G1", "Nroth"]}}, 'no engine has the id "Nroth"; did you mean "North"?'),
        ({"engine_names": {"both": ["G1", "all"]}}, 'no engine has the id "all"'),
    ],
)
def test_words_that_stand_for_nothing_are_refused(tmp_path: Path, words: dict[str, object], told: str) -> None:
    """What a site file says of words must be known: outcomes and engines, each once; the line is named."""
    with pytest.raises(SiteProblemError) as caught:
        judged(tmp_path, [], words, engines=[{"id": "G1"}, {"id": "North"}])
    (problem,) = caught.value.problems
    assert told in problem.text
    assert problem.line is not None


# one word, several tasks or engines


def test_one_service_is_several_tasks(tmp_path: Path) -> None:
    """The 2,000 h service of 1 February is both tasks, each with the row's line: 600 h since."""
    findings = judged(tmp_path, [done("2,000 h service", FEBRUARY)], {"task_names": {"2,000 h service": ["oil", "plugs"]}})
    for name in ("oil", "plugs"):
        found = finding_for(findings, name)
        assert found.last_done is not None
        assert (used_of(found), found.last_done.record) == (600.0, "services.csv:2")
    assert (findings.faults, findings.warnings) == ((), ())


def test_voids_and_deferrals_of_a_service_act_on_all_its_tasks(tmp_path: Path) -> None:
    """The service of February is taken back, and what is due is put off: 910 h each, both held until the end of April."""
    records = [
        done("Service", FEBRUARY, ref="J1"),
        done("Service", "2024-02-02T00:00", ref="J1", outcome="void"),
        done("Service", "2024-03-30T00:00", outcome="deferred", until_date="2024-04-30", approved_by="chief"),
    ]
    findings = judged(tmp_path, records, {"task_names": {"Service": ["oil", "plugs"]}})
    for name in ("oil", "plugs"):
        found = finding_for(findings, name)
        assert found.deferred_until is not None
        assert (used_of(found), found.standing, found.deferred_until.date) == (910.0, "upcoming", "2024-04-30")
    assert findings.faults == ()


def test_a_list_written_once_is_of_all_engines(tmp_path: Path) -> None:
    """Work on the whole fleet on 1 February: 600 h since for AE1, 364 h - 124 h = 240 h for AE2; two words for the same two."""
    records = [done("oil", FEBRUARY, engine="fleet"), done("plugs", FEBRUARY, engine="both")]
    words = {"engine_names": {"fleet": "all", "both": ["AE1", "AE2"]}}
    findings = judged(tmp_path, records, words, engines=PAIR, rows=BOTH)
    for name in ("oil", "plugs"):
        assert [used_of(finding_for(findings, name, engine)) for engine in ("AE1", "AE2")] == [600.0, 240.0]
    assert findings.faults == ()


def test_one_meter_reading_is_not_that_of_two_engines(tmp_path: Path) -> None:
    """A reading on a row of both engines says nothing of either: it is left out, and a fault says so; the log's hours count."""
    records = [done("oil", FEBRUARY, 310, engine="both")]
    findings = judged(tmp_path, records, {"engine_names": {"both": ["AE1", "AE2"]}}, engines=PAIR, rows=BOTH)
    assert [used_of(finding_for(findings, "oil", engine)) for engine in ("AE1", "AE2")] == [600.0, 240.0]
    assert [fault.text for fault in findings.faults] == [
        "hour_meter_h 310 cannot be the reading of AE1, AE2 at the same time; it is taken as blank"
    ]


def test_an_engine_without_one_of_the_tasks_is_left_in_peace(tmp_path: Path) -> None:
    """AE2 has a rule set of its own without plugs: the service is its oil change alone, and no fault, for the row is used."""
    rules = {"ruleset": "other", "title": "Another", "version": "1", "tasks": [TASKS[0]]}
    write(
        tmp_path,
        [done("Service", FEBRUARY, engine="fleet")],
        {"engine_names": {"fleet": "all"}, "task_names": {"Service": ["oil", "plugs"]}},
        engines=[PAIR[0], {**PAIR[1], "ruleset": "./other.yaml"}],
        rows=BOTH,
    )
    (tmp_path / "other.yaml").write_text(yaml.safe_dump(rules), encoding="utf-8")
    findings = assess(read_site(tmp_path), date.fromisoformat(AS_OF))
    assert {(each.engine, each.task): used_of(each) for each in findings.findings} == {
        ("AE1", "oil"): 600.0,
        ("AE1", "plugs"): 600.0,
        ("AE2", "oil"): 240.0,
    }
    assert findings.faults == ()


def test_a_task_that_no_rule_set_has_is_reported_where_it_is_stated(tmp_path: Path) -> None:
    """A slip in a list of tasks would lose that task of every service without a word."""
    findings = judged(tmp_path, [done("Service", FEBRUARY)], {"task_names": {"Service": ["oil", "plgus"]}})
    assert [(fault.kind, fault.file, fault.text) for fault in findings.faults] == [
        (
            "unknown_task",
            "site.yaml",
            'services.task_names: "Service" stands for "plgus", which no rule set here has; did you mean "plugs"?',
        )
    ]


FUEL = {"files": ["fuel.csv"], "timestamp": {"column": "at", "covers": "after"}, "gap_h": 1_000_000}
METERS = {
    "files": ["readings/*.csv"], "timestamp": {"column": "at"}, "engine": {"column": "engine"}, "gap_h": 1_000_000,
    "quantities": {"hour_meter_h": {"column": "hour_meter_h"}},
}  # fmt: skip
SULPHUR = {"fuel_sulphur_pct": {"column": "S", "holds_for": "P90D"}}
HALVED = {
    "adjustments": [
        {
            "id": "sulphur", "tasks": ["oil"], "when": {"fuel_sulphur_pct": {"above": 0.5}}, "counts_as": 2,
            "because": "a test asks for it", "source": "none",
        }
    ]
}  # fmt: skip


@pytest.mark.parametrize(
    ("block", "fuel"),
    [
        ({"engine": {"value": "all"}}, "at,S\n2024-01-01T00:00,0.1\n2024-02-01T00:00,2.0\n"),
        ({"engine": {"value": ["AE1", "AE2"]}}, "at,S\n2024-01-01T00:00,0.1\n2024-02-01T00:00,2.0\n"),
        (
            {"engine": {"column": "unit"}, "engine_names": {"ship": "all", "both": ["AE2", "AE1"]}},
            "at,unit,S\n2024-01-01T00:00,ship,0.1\n2024-02-01T00:00,both,2.0\n",
        ),
    ],
)
def test_the_fuel_of_a_ship_is_written_once(tmp_path: Path, block: dict[str, object], fuel: str) -> None:
    """Sulphur changes on 1 February for both: AE1 310 h + 2 x 600 h = 1510, AE2 124 h + 2 x 240 h = 604; each file row counts once."""
    readings = [METERS, {**FUEL, "quantities": SULPHUR, **block}]
    write(tmp_path, [], engines=PAIR, rows=BOTH, readings=readings, rules=HALVED)
    (tmp_path / "fuel.csv").write_text(fuel, encoding="utf-8")
    findings = assess(read_site(tmp_path), date.fromisoformat(AS_OF))
    assert [used_of(finding_for(findings, "oil", engine)) for engine in ("AE1", "AE2")] == [1510.0, 604.0]
    assert (findings.rows.read, findings.rows.accepted, findings.rows.set_aside) == (len(BOTH) + 2, len(BOTH) + 2, 0)


def test_a_row_of_all_engines_that_is_set_aside_is_one_row(tmp_path: Path) -> None:
    """A row whose time cannot be read and one before any engine was there are set aside, once each; the third counts for both."""
    readings = [METERS, {**FUEL, "quantities": {"fuel_sulphur_pct": {"column": "S"}}, "engine": {"value": "all"}}]
    write(tmp_path, [], engines=PAIR, rows=BOTH, readings=readings)
    (tmp_path / "fuel.csv").write_text("at,S\nlater,0.1\n2023-01-01T00:00,1.0\n2024-01-01T00:00,x\n", encoding="utf-8")
    findings = assess(read_site(tmp_path), date.fromisoformat(AS_OF))
    assert (findings.rows.read, findings.rows.accepted, findings.rows.set_aside) == (len(BOTH) + 3, len(BOTH) + 1, 2)
    assert [(fault.engine, fault.kind, fault.line) for fault in findings.faults] == [
        (None, "unreadable_time", 2),
        ("AE1", "row_before_in_service", 3),
        ("AE2", "row_before_in_service", 3),
        ("AE1", "unreadable_cell", 4),
        ("AE2", "unreadable_cell", 4),
    ]


AWAY = [PAIR[0], {**PAIR[1], "in_service": "2024-02-01", "meter_at_start_h": 124}]
"""AE2 comes a month after AE1, at its 124 h."""


def test_a_list_from_before_an_engine_came_holds_on_its_first_day(tmp_path: Path) -> None:
    """2 % since New Year, written once for all: AE1 2 x 910 h = 1820, AE2, which came on 1 February, 2 x 240 h = 480; no fault."""
    rows = [row for row in BOTH if row["engine"] == "AE1" or str(row["at"]) >= FEBRUARY]
    readings = [METERS, {**FUEL, "quantities": SULPHUR, "engine": {"value": "all"}}]
    write(tmp_path, [], engines=AWAY, rows=rows, readings=readings, rules=HALVED)
    (tmp_path / "fuel.csv").write_text("at,S\n2024-01-01T00:00,2.0\n", encoding="utf-8")
    findings = assess(read_site(tmp_path), date.fromisoformat(AS_OF))
    assert [used_of(finding_for(findings, "oil", engine)) for engine in ("AE1", "AE2")] == [1820.0, 480.0]
    assert (fault_kinds(findings, "AE1"), fault_kinds(findings, "AE2"), findings.rows.set_aside) == ([], [], 0)


@pytest.mark.parametrize("written", [FEBRUARY, "2024-01-31"])
def test_an_engine_that_was_gone_is_no_fault_of_a_row_of_all(tmp_path: Path, written: str) -> None:
    """AE2 is gone on 10 January: the change of February is AE1's, 310 h + 2 x 600 h (a day earlier, 300 h + 2 x 610 h)."""
    engines = [PAIR[0], {**PAIR[1], "out_of_service": "2024-01-10"}]
    rows = [row for row in BOTH if row["engine"] == "AE1" or str(row["at"]) < "2024-01-10"]
    readings = [METERS, {**FUEL, "quantities": SULPHUR, "engine": {"value": "all"}}]
    write(tmp_path, [], engines=engines, rows=rows, readings=readings, rules=HALVED)
    (tmp_path / "fuel.csv").write_text(f"at,S\n2024-01-01T00:00,0.1\n{written},2.0\n", encoding="utf-8")
    findings = assess(read_site(tmp_path), date.fromisoformat(AS_OF))
    assert used_of(finding_for(findings, "oil", "AE1")) == (1510.0 if written == FEBRUARY else 1520.0)
    assert findings.faults == ()


def test_a_list_of_changes_breaks_no_silence(tmp_path: Path) -> None:
    """No meter reading for 48 h, and a change of fuel in the middle of it: still one gap of 48 h, none before New Year's first row."""
    rows = [row for row in steady("2024-01-01", "2024-01-31", 10) if row["at"] != "2024-01-11T00:00"]
    readings = [{**METERS, "gap_h": 36}, {**FUEL, "quantities": SULPHUR, "engine": {"value": "G1"}}]
    write(tmp_path, [], rows=rows, readings=readings)
    (tmp_path / "fuel.csv").write_text("at,S\n2023-12-01T00:00,0.1\n2024-01-11T00:00,0.5\n", encoding="utf-8")
    findings = assess(read_site(tmp_path), date(2024, 1, 30))
    assert [(fault.kind, fault.text.split(":")[-1]) for fault in findings.faults] == [("gap", " the hours count, the levels are unknown")]
    assert "(48.0 h)" in findings.faults[0].text


def test_a_record_of_all_engines_is_one_of_those_that_were_there(tmp_path: Path) -> None:
    """An oil change of "all" in January is not AE2's, which came on 1 February new: 910 h - 150 h = 760 h, and 364 h - 124 h = 240 h."""
    rows = [row for row in BOTH if row["engine"] == "AE1" or str(row["at"]) >= FEBRUARY]
    findings = judged(tmp_path, [done("oil", "2024-01-16T00:00", engine="all")], {"engine_names": {"all": "all"}}, engines=AWAY, rows=rows)
    assert [used_of(finding_for(findings, "oil", engine)) for engine in ("AE1", "AE2")] == [760.0, 240.0]
    last = [finding_for(findings, "oil", engine).last_done for engine in ("AE1", "AE2")]
    assert [None if each is None else each.at[:10] for each in last] == ["2024-01-16", None]


def test_a_record_from_before_all_of_its_engines_counts_for_all(tmp_path: Path) -> None:
    """Overhauled on the bench a day before both came: 910 h and 364 h since the first day, and the record is the last that is known."""
    findings = judged(tmp_path, [done("oil", "2023-12-31", engine="all")], {"engine_names": {"all": "all"}}, engines=PAIR, rows=BOTH)
    last = [finding_for(findings, "oil", engine).last_done for engine in ("AE1", "AE2")]
    assert [None if each is None else each.at[:10] for each in last] == ["2023-12-31", "2023-12-31"]


# words that are not known


def _unknown_words() -> list[dict[str, object]]:
    """Return 42 records: 24 of a word, 12 of another, slips of the pen, and three that are right."""
    records = [done("Ölwechsel", f"2024-01-{day:02d}") for day in range(2, 26)]
    records += [done("Zündkerzen", f"2024-02-{day:02d}") for day in range(2, 14)]
    records += [done("oil", FEBRUARY, engine="Unit II"), done("oil", FEBRUARY, outcome="fertig"), done("plgus", FEBRUARY)]
    return [*records, *(done("oil", f"2024-03-{day:02d}") for day in (1, 2, 3))]


def test_a_word_is_reported_once_with_lines_to_paste(run: Run, tmp_path: Path) -> None:
    """One line for each word with its count and first place; what is meant stands there only where it is clear; `log` says the same."""
    folder = write(tmp_path, _unknown_words(), engines=[*G1, {"id": "Unit-3"}])
    block = (
        "Words that are not known here; complete these lines and add them to site.yaml:\n"
        "services:\n"
        "  engine_names:\n"
        '    "Unit II": ...  # 1 record, first services.csv:38; choose one of: G1, Unit-3, all\n'
        "  outcome_names:\n"
        '    "fertig": ...  # 1 record, first services.csv:39; choose one of: done, partial, deferred, void\n'
        "  task_names:\n"
        '    "Ölwechsel": ...   # 24 records, first services.csv:2; choose one of: oil, plugs\n'
        '    "Zündkerzen": ...  # 12 records, first services.csv:26; choose one of: oil, plugs\n'
        '    "plgus": plugs     # 1 record, first services.csv:40\n'
    )
    for command in ("check", "log"):
        printed = run(command, folder, "--as-of", AS_OF).stdout
        assert block in printed
        assert printed.count("Ölwechsel") == 2
        assert "unknown_task  37  " in printed
        assert 'no task "Ölwechsel" in rule set written; the record is set aside; 24 records of this word\n' in printed


def test_all_words_of_a_record_are_told_at_once(run: Run, tmp_path: Path) -> None:
    """Engine, outcome and task of two records are each unknown: three words to paste, of two records each."""
    folder = write(tmp_path, [done("Ölwechsel", f"2024-02-0{day}", engine="Nordseite", outcome="fertig") for day in (1, 2)])
    printed = run("check", folder, "--as-of", AS_OF).stdout
    for word in ("Nordseite", "fertig", "Ölwechsel"):
        assert f'"{word}": ...  # 2 records, first services.csv:2' in printed
    assert "unknown_engine  2  " in printed
    known = write(tmp_path / "known", [done("Oil", FEBRUARY, engine="Nordseite")])
    assert "task_names" not in run("check", known, "--as-of", AS_OF).stdout


def test_the_lines_to_paste_are_right(run: Run, tmp_path: Path) -> None:
    """Pasted and completed, they leave no word unknown."""
    folder = write(tmp_path, _unknown_words(), engines=[*G1, {"id": "Unit-3"}])
    printed = run("check", folder, "--as-of", AS_OF).stdout
    block = printed[printed.index("\nservices:\n") : printed.index("\nthe whole sum")]
    meant = {"Unit II": "G1", "fertig": "done", "Ölwechsel": "oil", "Zündkerzen": "plugs"}
    for word, stands_for in meant.items():
        block = block.replace(f'"{word}": ...', f'"{word}": {stands_for}')
    path = folder / "site.yaml"
    path.write_text(path.read_text("utf-8") + block, encoding="utf-8")
    kinds = {fault["kind"] for fault in json.loads(run("check", folder, "--as-of", AS_OF, "--format", "json").stdout)["faults"]}
    assert not kinds & {"unknown_task", "unknown_engine", "unreadable_record"}


def test_the_document_still_has_every_record(run: Run, tmp_path: Path) -> None:
    """A program finds each of the 39 records that are set aside by its file and line."""
    folder = write(tmp_path, _unknown_words())
    document = json.loads(run("check", folder, "--as-of", AS_OF, "--format", "json").stdout)
    kinds = ("unknown_task", "unknown_engine", "unreadable_record")
    places = [(fault["file"], fault["line"]) for fault in document["faults"] if fault["kind"] in kinds]
    assert sorted(places) == [("services.csv", line) for line in range(2, 41)]


def test_an_unknown_engine_of_the_log_is_reported_once(run: Run, tmp_path: Path) -> None:
    """91 rows of a unit that nobody declared are a line of the block; so is a slip, with the engine that is meant."""
    rows = [*ROWS, *steady("2024-01-01", "2024-03-31", 3, engine="Unit II"), *steady("2024-01-01", "2024-01-02", 3, engine="Nroth")]
    folder = write(tmp_path, [], engines=[*G1, {"id": "Unit-3"}, {"id": "North"}], rows=rows)
    printed = run("log", folder, "--as-of", AS_OF).stdout
    assert '    "Unit II": ...  # 91 rows, first readings/log.csv:94; choose one of: G1, Unit-3, North, all\n' in printed
    assert '    "Nroth": North  # 2 rows, first readings/log.csv:185\n' in printed


def test_a_task_of_another_rule_set_is_not_offered_to_be_mapped(run: Run, tmp_path: Path) -> None:
    """AE2's own rule set has no plugs: its record is a fault, but to map the word would take the plugs of AE1 away."""
    rules = {"ruleset": "other", "title": "Another", "version": "1", "tasks": [TASKS[0]]}
    records = [done("plugs", FEBRUARY, engine=engine) for engine in ("AE1", "AE2")]
    folder = write(tmp_path, records, engines=[PAIR[0], {**PAIR[1], "ruleset": "./other.yaml"}], rows=BOTH)
    (folder / "other.yaml").write_text(yaml.safe_dump(rules), encoding="utf-8")
    printed = run("check", folder, "--as-of", AS_OF).stdout
    assert 'AE2 services.csv:3  no task "plugs" in rule set other; the record is set aside\n' in printed
    assert "Words that are not known" not in printed


# records that mostly cannot be used

MOSTLY = "39 of 42 service records could not be used: 37 of an unknown task, 1 of an unknown engine, 1 with an unknown outcome"
REST = "the findings rest on the other 3"


def test_records_that_mostly_cannot_be_used_are_told_first(run: Run, tmp_path: Path) -> None:
    """Of 42 records 39 are set aside: every report begins with it, long before what it says was skipped."""
    folder = write(tmp_path, _unknown_words(), rules=HALVED)
    first = f"! {MOSTLY}; {REST}\n"
    for words in (("check",), ("log",), ("explain", "G1", "oil")):
        printed = run(words[0], folder, *words[1:], "--as-of", AS_OF).stdout
        assert printed.startswith(first)
    assert run("what-if", folder, "--as-of", AS_OF, "--drop", "sulphur").stdout.startswith(first)
    assert run("report", folder, "--month", "2024-03", "--out", tmp_path / "out").stdout.startswith(first)
    assert run("statement", folder, "--month", "2024-03").stdout.startswith(first)


def test_every_file_says_that_few_records_could_be_used(run: Run, tmp_path: Path) -> None:
    """Page, sheet, workbook, calendar and documents say it where it is seen before the findings."""
    folder = write(tmp_path, _unknown_words())
    out = tmp_path / "out"
    assert run("report", folder, "--month", "2024-03", "--out", out).exit_code == 0
    page = (out / "index.html").read_text("utf-8")
    assert page.index(MOSTLY) < page.index('class="verdict"')
    rows = list(csv.DictReader(StringIO((out / "findings.csv").read_text("utf-8"))))
    assert all(MOSTLY in row["warning"] for row in rows)
    book = load_workbook(out / "findings.xlsx")
    assert book.sheetnames[0] == "read first"
    assert [cell.value for cell in book["read first"][2]] == [f"{MOSTLY}; {REST}", 42, 3, 39]
    calendar = Calendar.from_ical((out / "due.ics").read_bytes())
    assert MOSTLY in str(calendar["x-wr-caldesc"])
    assert all(str(event["description"]).startswith(f"! {MOSTLY}") for event in calendar.walk("vevent"))
    document = json.loads((out / "findings.json").read_text("utf-8"))
    assert list(document).index("warnings") < list(document).index("findings")
    (warning,) = document["warnings"]
    assert warning == {"kind": "records_mostly_unusable", "text": f"{MOSTLY}; {REST}", "read": 42, "used": 3, "set_aside": 39}
    log = json.loads(run("log", folder, "--as-of", AS_OF, "--format", "json").stdout)
    assert log["warnings"] == document["warnings"]


@pytest.mark.parametrize(("wrong", "is_reported"), [(1, False), (2, True)])
def test_half_of_the_records_is_most_of_them(tmp_path: Path, wrong: int, is_reported: bool) -> None:
    """One record of three set aside is a fault like any other; two of four are as many as the findings rest on."""
    records = [done("oil", f"2024-02-0{day}") for day in (1, 2)] + [done("Öl", f"2024-02-1{day}") for day in range(wrong)]
    findings = judged(tmp_path, records)
    assert [each.kind for each in findings.warnings] == ["records_mostly_unusable"] * is_reported
    assert fault_kinds(findings).count("unknown_task") == wrong


def test_records_of_which_none_can_be_used(tmp_path: Path) -> None:
    """Then the findings rest on nothing that was done."""
    (warning,) = judged(tmp_path, [done("Öl", FEBRUARY)]).warnings
    assert warning.text == "1 of 1 service record could not be used: 1 of an unknown task; the findings rest on no record of any work"


def test_outcomes_that_are_all_blank_are_told(tmp_path: Path) -> None:
    """A column for the outcome in which nobody wrote counts all work as done: that is said first."""
    records = [done("oil", FEBRUARY, outcome=""), done("plugs", FEBRUARY, outcome="")]
    findings = judged(tmp_path, records)
    assert used_of(finding_for(findings)) == 600.0
    assert [(each.kind, each.text) for each in findings.warnings] == [
        (
            "outcomes_all_blank",
            "the outcome of all 2 service records is blank: each counts as done, whether the work was done or not",
        )
    ]


@pytest.mark.parametrize(("stated", "is_said"), [({}, True), ({"records_from": "2023-12-01"}, False), ({"engines": [{"id": "G1"}]}, False)])
def test_records_that_begin_long_after_the_engine_are_told(tmp_path: Path, stated: dict[str, Any], is_said: bool) -> None:
    """In service since 2020, first record of 2024: without records_from all that fell due before it counts as skipped."""
    engines = [{"id": "G1", "in_service": "2020-01-01", "meter_at_start_h": 0}]
    findings = judged(tmp_path, [done("oil", FEBRUARY)], **{"engines": engines, **stated})
    assert [each.kind for each in findings.warnings] == ["records_from_missing"] * is_said
    if is_said:
        assert "(G1 in service since 2020-01-01, first record of 2024-02-01)" in findings.warnings[0].text


def test_records_that_can_be_used_need_no_word(run: Run, tmp_path: Path) -> None:
    """A document without warnings has no key for them."""
    folder = write(tmp_path, [done("oil", FEBRUARY)])
    for command in ("check", "log"):
        assert "warnings" not in json.loads(run(command, folder, "--as-of", AS_OF, "--format", "json").stdout)
    assert run("check", folder, "--as-of", AS_OF).stdout.startswith("quay  as of")


# columns, times, signals


def test_a_misspelt_column_of_many_files_is_one_problem(run: Run, tmp_path: Path) -> None:
    """Six months without the column Hours are one problem with the first file and their number; so are two columns."""
    files = {f"2024-0{month}.csv": [{"at": f"2024-0{month}-01T00:00", "hour_meter_h": month, "load_kw": 5}] for month in range(1, 7)}
    block = {**METERS, "quantities": {"hour_meter_h": {"column": "Hours"}, "load_kw": {"column": "Load"}}}
    write(tmp_path, [], rows=files, readings=block)
    with pytest.raises(ReadingsProblemError) as caught:
        assess(read_site(tmp_path), date.fromisoformat(AS_OF))
    (problem,) = caught.value.problems
    assert (problem.code, problem.file, problem.line) == ("REA003", "readings/2024-01.csv", 1)
    assert problem.text.startswith(
        'there are no columns "Hours", "Load" in any of 6 files; the first of them has "at", "engine", "hour_meter_h", "load_kw"'
    )
    assert run("check", tmp_path, "--as-of", AS_OF).stderr.count("REA003") == 1


def test_a_column_that_some_files_lack_is_one_problem(tmp_path: Path) -> None:
    """Two files of three were written by another program."""
    files: dict[str, list[Record]] = {
        "a.csv": [{"at": "2024-01-01T00:00", "hour_meter_h": 1}],
        "b.csv": [{"at": "2024-01-02T00:00", "hour_meter_h": 2}],
        "c.csv": [{"at": "2024-01-03T00:00", "hour_meter_h": 3}],
    }
    write(tmp_path, [], rows=files)
    for name in ("b.csv", "c.csv"):
        (tmp_path / "readings" / name).write_text("at,engine,Stunden,x\n2024-01-02T00:00,G1,2,\n", encoding="utf-8")
    with pytest.raises(ReadingsProblemError) as caught:
        assess(read_site(tmp_path), date.fromisoformat(AS_OF))
    (problem,) = caught.value.problems
    assert (problem.file, problem.text.split(";")[0]) == ("readings/b.csv", 'there is no column "hour_meter_h" in 2 of 3 files')


@pytest.mark.parametrize("at", ["2024-02-01", "2024-02-01 00:00", "01.02.2024", "01.02.2024 00:00"])
def test_the_logs_time_format_does_not_bind_records(tmp_path: Path, at: str) -> None:
    """The log's stamps need a format; records are written as people write dates. A record at 31 days is at 310 h."""
    rows = [{**row, "at": f"{str(row['at'])[5:7]}/{str(row['at'])[8:10]}/{str(row['at'])[:4]} 00h00"} for row in ROWS]
    block = {**METERS, "timestamp": {"column": "at", "format": "%m/%d/%Y %Hh%M"}}
    findings = judged(tmp_path, [done("oil", at, 310)], rows=rows, readings=block)
    assert (used_of(finding_for(findings)), findings.faults) == (600.0, ())


@pytest.mark.parametrize("at", ["02/01/2024 00:00", "02/01/2024", "2024-02-01", "1 Feb 2024"])
def test_a_stated_format_of_records_says_what_comes_first(tmp_path: Path, at: str) -> None:
    """With %m/%d/%Y %H:%M stated, a date alone is in that order too, and one that leaves no doubt is read as it is."""
    record = done("oil", at, 310, outcome="deferred", until_date="04/05/2024", approved_by="chief")
    findings = judged(tmp_path, [done("plugs", at, 310), record], {"timestamp_format": "%m/%d/%Y %H:%M"})
    deferral = finding_for(findings).deferred_until
    assert deferral is not None
    assert (used_of(finding_for(findings, "plugs")), deferral.date, findings.faults) == (600.0, "2024-04-05", ())


@pytest.mark.parametrize(("on", "off"), [("1", "0"), ("true", "false"), ("ON", "OFF")])
def test_a_signal_needs_no_unit(tmp_path: Path, on: str, off: str) -> None:
    """Run is on from 8 to 18 h of each of 10 days: 100 h, without an hour meter and without a unit."""
    rows = [{"at": f"2024-01-{day:02d}T{hour:02d}:00", "Run": on if hour == 18 else off} for day in range(1, 11) for hour in (0, 8, 18)]
    block = {**METERS, "quantities": {"run": {"column": "Run", "kind": "level"}}}
    write(tmp_path, [], rows=rows, readings=block, engines=[{"id": "G1", "in_service": "2024-01-01"}], running_when={"run": 1})
    findings = assess(read_site(tmp_path), moment("2024-01-10T18:00"))
    assert (used_of(finding_for(findings)), findings.faults) == (100.0, ())


def test_a_signal_is_zero_or_one(tmp_path: Path) -> None:
    """A figure without a unit that is neither is no signal, and a word is no number: both are taken as blank."""
    rows = [{"at": f"2024-01-{day:02d}T00:00", "hour_meter_h": day, "Run": cell} for day, cell in ((1, "1"), (2, "7.5"), (3, "ja"))]
    block = {**METERS, "quantities": {**METERS["quantities"], "run": {"column": "Run", "kind": "level"}}}  # type: ignore[dict-item]
    write(tmp_path, [], rows=rows, readings=block, engines=[{"id": "G1"}])
    findings = assess(read_site(tmp_path), date(2024, 1, 3))
    assert [(fault.line, fault.text) for fault in findings.faults if fault.file and fault.file.startswith("readings")] == [
        (3, "run 7.5 is neither 0 nor 1, as a signal must be; it is taken as blank; if it is not a signal, state its unit"),
        (4, 'run "ja" in column "Run" is not a number; it is taken as blank'),
    ]
