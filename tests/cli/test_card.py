"""`intervals card`: whole output, files and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import yaml

from intervals.cli.card import CardLanguage
from intervals.language.words import LANGUAGES
from intervals.questions.card.kept_cards import kept_card
from tests.card_site import LOCK, OIL, PLUGS, card_site
from tests.cli.conftest import Run

AS_OF = ("--as-of", "2026-02-28")


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    """Return the folder of a plant with procedures."""
    card_site(tmp_path / "plant")
    return tmp_path / "plant"


def files_of(folder: Path) -> set[str]:
    """Return the names of the files of a folder."""
    return {path.name for path in folder.iterdir()}


def code_in(output: str) -> str:
    """Return the code of the one card of an output."""
    return output.split()[2]


def test_a_card_is_written_beside_what_the_site_keeps(run: Run, plant: Path) -> None:
    """Page and document stand in the site's cards folder; what is printed names engine, day, code, tasks and page."""
    result = run("card", plant, "G1", *AS_OF)
    assert result.exit_code == 0
    code = code_in(result.stdout)
    assert result.stdout == f"G1  2026-02-28  {code}\n  oil: 8 steps\n  {plant}/cards/{code}.html\n"
    assert files_of(plant / "cards") == {f"{code}.html", f"{code}.json"}
    card = kept_card(plant, code)
    assert card is not None
    assert (card.engine, [task.task for task in card.tasks]) == ("G1", ["oil"])


def test_the_kept_card_keeps_its_schema(run: Run, plant: Path) -> None:
    """`schema card` describes what is kept."""
    code = code_in(run("card", plant, "G1", *AS_OF).stdout)
    schema = json.loads(run("schema", "card").stdout)
    document = json.loads((plant / "cards" / f"{code}.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(schema).validate(document)
    assert document["schema"] == "intervals.card/1"


def test_a_card_that_is_there_stays(run: Run, plant: Path) -> None:
    """The same request again writes the same bytes, or nothing; a page for paper takes the place of one for the screen."""
    first = run("card", plant, "G1", *AS_OF)
    code = code_in(first.stdout)
    page = plant / "cards" / f"{code}.html"
    before = page.stat().st_mtime_ns
    again = run("card", plant, "G1", *AS_OF)
    assert (again.exit_code, again.stdout, page.stat().st_mtime_ns) == (0, first.stdout, before)
    assert "<script" in page.read_text("utf-8")
    assert run("card", plant, "G1", *AS_OF, "--paper").exit_code == 0
    assert "<script" not in page.read_text("utf-8")


def test_pages_and_sheets_go_where_they_are_asked_for(run: Run, plant: Path, tmp_path: Path) -> None:
    """All engines with something due, each with a page and a sheet in a new folder; the site keeps the documents."""
    result = run("card", plant, "all", *AS_OF, "--out", tmp_path / "out", "--sheet", "xlsx")
    assert result.exit_code == 0
    assert {name.partition(".")[2] for name in files_of(tmp_path / "out")} == {"html", "xlsx"}
    assert len(files_of(tmp_path / "out")) == 4
    assert {name.partition(".")[2] for name in files_of(plant / "cards")} == {"json"}


def test_a_sheet_that_was_typed_into_is_not_written_over(run: Run, plant: Path) -> None:
    """The sheet holds values now: exit 2, and they stay."""
    code = code_in(run("card", plant, "G1", *AS_OF, "--sheet", "csv").stdout)
    sheet = plant / "cards" / f"{code}.csv"
    typed = sheet.read_text("utf-8").replace("oil.drained,measure", "oil.drained,measure ")
    sheet.write_text(typed, encoding="utf-8")
    result = run("card", plant, "G1", *AS_OF, "--sheet", "csv")
    assert result.exit_code == 2
    assert f"CLI110 {sheet}" in result.stderr
    assert sheet.read_text("utf-8") == typed


def test_nothing_due_is_said_and_no_fault(run: Run, plant: Path) -> None:
    """Ten days in, nothing is due: one line, exit 0, no folder."""
    result = run("card", plant, "G1", "--as-of", "2026-01-10")
    assert (result.exit_code, result.stdout) == (
        0, "Nothing is overdue or upcoming: no card is needed. Name tasks with --tasks for a card all the same.\n",
    )  # fmt: skip
    assert not (plant / "cards").exists()


def test_tasks_day_language_and_the_card_completed(run: Run, plant: Path) -> None:
    """Tasks by name in any letter case, another day, in German, completing an earlier card."""
    words = ("--tasks", "Plugs, filters", "--on", "2026-03-03", "--language", "de", "--completes", "7k3m9qxt02hd15wv")
    result = run("card", plant, "g1", *AS_OF, *words)
    assert result.exit_code == 0
    card = kept_card(plant, code_in(result.stdout))
    assert card is not None
    assert ([task.task for task in card.tasks], card.stop.on, card.language) == (["plugs", "filters"], "2026-03-03", "de")
    assert card.stop.completes == "7K3M-9QXT-02HD-15WV"


def test_the_tasks_of_a_stop(run: Run, plant: Path) -> None:
    """The plan's stop says which tasks."""
    (plant / "plan.yaml").write_text("stops:\n  - {engine: G2, day: 2026-03-03, tasks: [plugs]}\n", encoding="utf-8")
    result = run("card", plant, "all", *AS_OF, "--stop", "2026-03-03")
    assert result.exit_code == 0
    assert result.stdout.startswith("G2  2026-03-03  ")
    assert "  plugs: " in result.stdout


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("G9", "--tasks", "oyl"), ['CLI010 ENGINE\n    no engine "G9" at this site', 'CLI011 --tasks\n    no task "oyl"']),
        (("G1", "--tasks", ","), ["CLI151 --tasks\n    no task is named"]),
        (("G1", "--tasks", "pump"), ["CLI015 --tasks\n    pump: not for G1"]),
        (("G1", "--tasks", "oil", "--stop", "2026-03-03"), ["CLI151 --stop"]),
        (("G1", "--stop", "2026-03-03"), ["plan.yaml\n    there is no plan"]),
        (("G1", "--on", "soon", "--as-of", "never"), ["CLI130 --on", "CLI101 --as-of"]),
        (("G1", "--completes", "ABC"), ['CLI151 --completes\n    not the code of a card; got "ABC"']),
        (("all", "--completes", "7K3M-9QXT-02HD-15WV"), ["CLI151 --completes\n    one card is completed by one card"]),
        (("G1", "--out", "no/where"), ["CLI110 no/where"]),
    ],
)
def test_what_cannot_be_asked_is_refused_at_once(run: Run, plant: Path, words: tuple[str, ...], told: list[str]) -> None:
    """Exit 2, every problem listed, nothing written."""
    result = run("card", plant, *words, *(() if "--as-of" in words else AS_OF))
    assert result.exit_code == 2
    for part in told:
        assert part in result.stderr
    assert not (plant / "cards").exists()


def test_a_card_can_be_asked_for_in_each_language() -> None:
    """The words of --language are the languages that texts may be given in."""
    assert [word.value for word in CardLanguage] == list(LANGUAGES)


def test_a_folder_that_cannot_be_written_is_refused(run: Run, plant: Path) -> None:
    """A file stands where the site would keep its cards."""
    (plant / "cards").write_text("not a folder", encoding="utf-8")
    result = run("card", plant, "G1", *AS_OF)
    assert result.exit_code == 2
    assert f"CLI110 {plant}/cards\n    is not a folder" in result.stderr


def test_one_step_is_one_step(run: Run, plant: Path) -> None:
    """A task without a procedure."""
    assert "  filters: 1 step\n" in run("card", plant, "G1", *AS_OF, "--tasks", "filters").stdout


def plant_with_one_conflict(folder: Path) -> Path:
    """Write a plant where the plugs' procedure leaves open what the oil's locks, on gas engines only; G1 is one, G2 is not."""
    left_open = {**LOCK, "to": "free", "text": "Free", "when": {"fuel": "natural-gas"}}
    del left_open["shared"]
    card_site(folder, procedures=(OIL, {**PLUGS, "steps": [left_open]}))
    path = folder / "site.yaml"
    site = yaml.safe_load(path.read_text("utf-8"))
    for engine, fuel in zip(site["engines"], ("natural-gas", "diesel"), strict=True):
        engine["fuel"] = fuel
    path.write_text(yaml.safe_dump(site), "utf-8")
    return folder


def test_the_conflict_of_one_engine_does_not_stop_the_cards_of_others(run: Run, tmp_path: Path) -> None:
    """The card of G2 is written, G1 is named with its reason, and the exit code tells that something is missing."""
    plant = plant_with_one_conflict(tmp_path / "plant")
    result = run("card", plant, "all", "--tasks", "oil,plugs", *AS_OF)
    assert result.exit_code == 1
    assert result.stdout.startswith("G2  2026-02-28  ")
    assert "G1" not in result.stdout
    assert result.stderr.startswith("CLI150 card of G1\n")
    assert "1 problem\n" in result.stderr
    assert {path.suffix for path in (plant / "cards").iterdir()} == {".html", ".json"}
    assert len(list((plant / "cards").iterdir())) == 2


def test_where_no_card_can_be_made_the_run_is_refused(run: Run, tmp_path: Path) -> None:
    """Of G1 alone there is nothing to write."""
    plant = plant_with_one_conflict(tmp_path / "plant")
    result = run("card", plant, "G1", "--tasks", "oil,plugs", *AS_OF)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "CLI150 card of G1" in result.stderr
    assert not (plant / "cards").exists()


def test_a_stop_with_a_task_that_is_not_for_its_engine_stops_that_card_alone(run: Run, plant: Path) -> None:
    """The plan gives G1 oil and G2 a task of the turbocharger: G1's card is written, G2 is named."""
    stops = "stops: [{engine: G1, day: 2026-03-03, tasks: [oil]}, {engine: G2, day: 2026-03-03, tasks: [oil, turbo]}]\n"
    (plant / "plan.yaml").write_text(stops, "utf-8")
    result = run("card", plant, "all", "--stop", "2026-03-03", *AS_OF)
    assert result.exit_code == 1
    assert result.stdout.startswith("G1  2026-03-03  ")
    assert "turbo: not for G2" in result.stderr
    assert len(list((plant / "cards").iterdir())) == 2
