"""The commands `record` and `defer` as people call them: shown, asked, written; refused with its reason and nothing written."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime
from pathlib import Path

import jsonschema
import pytest
from typer.testing import CliRunner, Result

from intervals.cli.common import site_request
from intervals.cli.main import app
from intervals.reports.schemas import schema_of
from intervals.site.model import Site
from tests.filled_cards import filled, write_filled
from tests.recorded_sites import NOW, card_of, recorded_site, services_of

STANDING = "2026-03-02T14:00"


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let it be noon on 10 March 2026."""
    monkeypatch.setattr(site_request, "read_clock", lambda: NOW)


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Return the small site."""
    return recorded_site(tmp_path / "quay")


def run(*words: object, typed: str | None = None) -> Result:
    """Return the result of a command line."""
    return CliRunner().invoke(app, [str(word) for word in words], input=typed)


def card_file(site: Site, tmp_path: Path, **changes: object) -> Path:
    """Return the file of a card that was filled in."""
    return write_filled(filled(card_of(site), STANDING, **changes), tmp_path)  # type: ignore[arg-type]


def test_the_whole_line_from_card_to_in_interval(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A task that is overdue: card, filled in, recorded, and the check says in interval and names the card; explain leads to the value."""
    monkeypatch.setattr(site_request, "read_clock", lambda: datetime(2026, 8, 10, 12, tzinfo=UTC))
    site = recorded_site(tmp_path / "quay")
    checked = run("check", site.folder, "--as-of", "2026-08-10", "--task", "oil", "--all")
    assert "! overdue" in checked.output
    made = run("card", site.folder, "G1", "--tasks", "oil", "--as-of", "2026-08-10", "--on", "2026-08-10")
    assert made.exit_code == 0
    (kept,) = (site.folder / "cards").glob("*.json")
    from intervals.questions.card.kept_cards import read_card

    handed = filled(read_card(kept), "2026-08-10T08:00", hour_meter_h=650)
    recorded = run("record", site.folder, write_filled(handed, tmp_path), "--yes")
    assert recorded.exit_code == 0, recorded.output
    assert "credited  oil" in recorded.output
    checked = run("check", site.folder, "--as-of", "2026-08-10", "--task", "oil", "--all")
    assert ". in interval" in checked.output
    assert f"(services.csv:3, card {handed.code})" in checked.output
    explained = run("explain", site.folder, "G1", "oil", "--as-of", "2026-08-10").output
    assert f"{handed.code} (records/{handed.code}.card.json), by AB" in explained
    assert "100 L, measured in step oil-and-filter.filled" in explained


def test_rows_are_shown_and_written_after_a_yes(site: Site, tmp_path: Path) -> None:
    """Without `--yes` the person is asked; `y` writes, anything else does not."""
    path = card_file(site, tmp_path)
    before = services_of(site)
    declined = run("record", site.folder, path, typed="n\n")
    assert (declined.exit_code, services_of(site)) == (1, before)
    assert "nothing was written" in declined.output
    silent = run("record", site.folder, path)
    assert (silent.exit_code, services_of(site)) == (1, before)
    agreed = run("record", site.folder, path, typed="y\n")
    assert agreed.exit_code == 0
    assert services_of(site).removeprefix(before).decode() == f"2026-03-02T14:27,G1,oil,,done,AB,,{path.name[:19]},,,,\r\n"


def test_the_document_says_what_became_of_each_task(site: Site, tmp_path: Path) -> None:
    """`intervals.record/1` on standard output, and nothing else."""
    path = card_file(site, tmp_path, steps={"filter": None})
    result = run("record", site.folder, path, "--yes", "--format", "json")
    assert result.exit_code == 1
    document = json.loads(result.stdout)
    jsonschema.Draft202012Validator(schema_of("record")).validate(document)
    jsonschema.Draft202012Validator(schema_of("handed-in")).validate(json.loads(path.read_text("utf-8")))
    assert document["schema"] == "intervals.record/1"
    assert (document["card"], document["engine"], document["written"], document["lines"]) == (path.name[:19], "G1", True, [3])
    (task,) = document["tasks"]
    assert (task["verdict"], task["missing"]) == ("partial", ["oil-and-filter.filter"])
    assert task["completes_with"] == ["evidence of oil-and-filter.filter"]
    assert [(reason["rule"], reason["step"], reason["outcome"]) for reason in task["reasons"]] == [
        ("card-not-kept", "", "told"),
        ("done-before-card", "", "told"),
        ("step-left-out", "oil-and-filter.filter", "lacks"),
    ]


def test_a_job_without_a_card_is_typed(site: Site) -> None:
    """The task has no procedure: it is credited on the word of who typed it; a second time it is on record already."""
    words = ["--engine", "g1", "--task", "Plugs", "--at", "2026-03-02T14:00", "--meter", "610", "--by", "AB", "--as-found", "worn", "--yes"]
    result = run("record", site.folder, *words)
    assert result.exit_code == 0, result.output
    line = services_of(site).decode().splitlines()[-1]
    assert line.startswith("2026-03-02T14:00,G1,plugs,610.0,done,AB,found worn,")
    again = run("record", site.folder, *words)
    assert again.exit_code == 1
    assert "handed in before" in again.output


def test_a_job_without_a_card_whose_procedure_asks_for_evidence_is_partial(site: Site) -> None:
    """Somebody's word does not wait twenty minutes."""
    result = run("record", site.folder, "--engine", "G1", "--task", "oil", "--at", "2026-03-02T14:00", "--yes")
    assert result.exit_code == 1
    assert "its procedure asks for evidence, and no card was handed in" in result.output


def test_what_is_missing_is_asked_for_at_a_terminal(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Engine, tasks, time, meter and name, one after the other."""
    from intervals.cli import record as command

    monkeypatch.setattr(command, "at_terminal", lambda: True)
    result = run("record", site.folder, "--yes", typed="G1\nplugs\n2026-03-02T14:00\n610,5\nAB\n")
    assert result.exit_code == 0, result.output
    assert b"2026-03-02T14:00,G1,plugs,610.5,done,AB" in services_of(site)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "--engine"),
        (["--engine", "G9", "--task", "oil", "--at", "2026-03-02T14:00"], 'no engine "G9"'),
        (["--engine", "G1", "--task", "oyl", "--at", "2026-03-02T14:00"], 'no task "oyl"'),
        (["--engine", "G1", "--task", "oil", "--at", "2026-03-02"], "a time of day is needed"),
        (["--engine", "G1", "--task", "oil", "--at", "soon"], "not a date"),
        (["--engine", "G1", "--task", "oil", "--at", "2026-03-02T14:00", "--as-found", "fine"], "not a grade"),
        (["--engine", "G1", "--task", "oil", "--at", "1900-03-02T14:00"], "the year 1900 cannot be"),
        (["--engine", "G1", "--task", "oil", "--at", "2026-03-02T14:00", "--meter", "1e308"], "no hour meter shows 1e+308 h"),
        (["--engine", "G1", "--task", "oil", "--at", "2026-03-02T14:00", "--meter", "inf"], "no hour meter shows inf h"),
        (["x.card.json", "--engine", "G1"], "job without a card"),
        (["x.card.json", "--by", "AB"], "job without a card"),
        (["--undo", "7K3M-9QXT-02HD-15WV"], "--reason"),
        (["--undo", "7K3M-9QXT-02HD-15WV", "--reason", "x", "--by", "AB"], "no record has the reference"),
        (["--reason", "x", "--engine", "G1", "--task", "oil", "--at", "2026-03-02T14:00"], "only with --undo"),
        (["gone.card.json", "gone.pdf"], "gone.card.json"),
    ],
)
def test_what_cannot_be_used_is_refused_and_nothing_is_written(site: Site, words: list[str], said: str) -> None:
    """Exit code 2, the reason on standard error, the records as they were."""
    before = services_of(site)
    result = run("record", site.folder, *words, "--yes")
    assert result.exit_code == 2
    assert said in result.stderr
    assert services_of(site) == before
    assert not (site.folder / "records" / "measures.csv").exists()


def test_a_meter_reading_of_a_card_can_be_set_right(site: Site, tmp_path: Path) -> None:
    """Typed a digit too many: refused; with `--meter` in its place the card counts."""
    path = card_file(site, tmp_path, hour_meter_h=6103)
    assert run("record", site.folder, path, "--yes").exit_code == 1
    assert run("record", site.folder, path, "--meter", "610.3", "--yes").exit_code == 0
    assert b",610.3,done," in services_of(site)


def test_several_cards_at_once_are_judged_one_after_the_other(site: Site, tmp_path: Path) -> None:
    """The same card named twice is recorded once; the second is told."""
    path = card_file(site, tmp_path)
    plugs = write_filled(filled(card_of(site, "plugs"), STANDING), tmp_path)
    result = run("record", site.folder, path, plugs, "--yes", "--format", "json")
    assert result.exit_code == 0
    assert [each["written"] for each in json.loads(result.stdout)["cards"]] == [True, True]
    other = write_filled(filled(card_of(site, "plugs"), "2026-03-05T14:00"), tmp_path)
    twice = run("record", site.folder, other, other, "--yes")
    assert (twice.exit_code, "handed in before" in twice.output) == (1, True)


@pytest.mark.parametrize("output_format", ["text", "json"])
def test_cards_before_one_that_cannot_be_written_are_said_to_be_written(site: Site, tmp_path: Path, output_format: str) -> None:
    """Of three cards the second has a folder in the place of its file: the first is in the records, and each card is told with its own."""
    cards = [write_filled(filled(card_of(site, task), STANDING), tmp_path) for task in ("plugs", "oil")]
    (tmp_path / "later").mkdir()
    last = write_filled(filled(card_of(site, "oil", on=date(2026, 3, 5)), "2026-03-05T14:00"), tmp_path / "later")
    (site.folder / "records" / cards[1].name).mkdir(parents=True)
    before = services_of(site)
    result = run("record", site.folder, *cards, last, "--yes", "--format", output_format)
    added = services_of(site)[len(before) :].decode().splitlines()
    assert (result.exit_code, len(added)) == (2, 1)
    assert "CLI110" in result.stderr
    assert f"the card {cards[1].name[:19]} is not recorded, nor is any after it" in " ".join(result.stderr.split())
    assert "nothing is recorded" not in result.output
    if output_format == "json":
        told = json.loads(result.stdout)["cards"]
        assert [(each["written"], each["rows"], each["lines"]) for each in told] == [(True, added, [3]), (False, [], []), (False, [], [])]
    else:
        assert "written to services.csv:3" in result.stdout
        assert result.stdout.count("nothing is written") == len(cards[1:]) + 1


def test_a_record_is_taken_back(site: Site, tmp_path: Path) -> None:
    """The row that voids is shown and written; the check no longer counts the work."""
    path = card_file(site, tmp_path)
    run("record", site.folder, path, "--yes")
    code = path.name[:19]
    declined = run("record", site.folder, "--undo", code, "--reason", "wrong engine", "--by", "CD", typed="\n")
    assert declined.exit_code == 1
    result = run("record", site.folder, "--undo", code, "--reason", "wrong engine", "--by", "CD", "--yes")
    assert result.exit_code == 0
    assert services_of(site).decode().splitlines()[-1] == f"2026-03-10T12:00,G1,oil,,void,CD,wrong engine,{code},,,,"
    assert "services.csv:2" in run("explain", site.folder, "G1", "oil").output


def test_a_task_is_put_off(site: Site) -> None:
    """Approved it is written; without approval, an end or a reason it is not."""
    words = ["defer", site.folder, "G1", "oil", "--until-date", "2026-09-01", "--reason", "no oil"]
    refused = run(*words, "--yes")
    assert refused.exit_code == 1
    assert "somebody has to approve it" in refused.output
    assert run(*words, "--approved-by", "AB", typed="no\n").exit_code == 1
    done = run(*words, "--approved-by", "AB", "--yes")
    assert done.exit_code == 0
    assert re.fullmatch(
        r"2026-03-10T12:00,G1,oil,,deferred,,no oil,D-[0-9A-F]{12},,2026-09-01,AB,", services_of(site).decode().splitlines()[-1]
    )
    assert run("defer", site.folder, "G1", "oil", "--yes").exit_code == 2
    for odd in ("1e308", "inf"):
        result = run("defer", site.folder, "G1", "oil", "--until-h", odd, "--reason", "x", "--yes")
        assert (result.exit_code, "no hour meter shows" in result.stderr) == (2, True)
    assert "an end is missing" in run("defer", site.folder, "G1", "oil", "--reason", "x").stderr


def test_records_in_a_workbook_are_refused_with_what_to_do(tmp_path: Path) -> None:
    """A row cannot be appended to it."""
    site = recorded_site(tmp_path / "quay")
    card = card_file(site, tmp_path)
    import pandas as pd

    pd.read_csv(site.folder / "services.csv").to_excel(site.folder / "services.xlsx", index=False, engine="xlsxwriter")
    described = (site.folder / "site.yaml").read_text("utf-8")
    (site.folder / "site.yaml").write_text(f"{described}services: {{file: services.xlsx}}\n", "utf-8")
    result = run("record", site.folder, card, "--yes")
    assert result.exit_code == 2
    assert "save it as CSV" in result.stderr


def test_the_rest_of_a_job_from_card_to_explain(site: Site, tmp_path: Path) -> None:
    """Left in part, the rest on a card of its own, and `explain` names both cards, with the values of the first."""
    first = card_file(site, tmp_path, steps={"filter": None})
    assert run("record", site.folder, first, "--yes").exit_code == 1
    code = first.name[:19]
    made = run("card", site.folder, "G1", "--completes", code.lower(), "--as-of", "2026-03-09")
    assert made.exit_code == 0, made.output
    assert "oil: 5 steps" in made.output
    (kept,) = (site.folder / "cards").glob("*.json")
    from intervals.questions.card.kept_cards import read_card

    rest = filled(read_card(kept), "2026-03-09T08:00", by="CD")
    assert run("record", site.folder, write_filled(rest, tmp_path), "--yes").exit_code == 0
    explained = run("explain", site.folder, "G1", "oil", "--as-of", "2026-03-10").output
    assert f"{rest.code} (records/{rest.code}.card.json), by CD" in explained
    assert f"{code} (records/{code}.card.json), by AB: the part before it" in " ".join(explained.split())
    assert "100 L, measured in step oil-and-filter.filled" in explained
    (site.folder / "records" / first.name).unlink()
    explained = run("explain", site.folder, "G1", "oil", "--as-of", "2026-03-10").output
    assert f"{code}, the part before it, which is not in records/" in " ".join(explained.split())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("G1", "--completes", "0000-0000-0000-0000"), "there is no record that stands"),
        (("G1", "--tasks", "oil", "--completes", "0000-0000-0000-0000"), "there is no record that stands"),
        (("G1", "--tasks", "plugs", "--completes", "CODE"), "nothing is open of plugs"),
    ],
)
def test_a_card_that_completes_nothing_is_not_made(site: Site, tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    """Exit 2 before any work is done, and no file."""
    first = card_file(site, tmp_path, steps={"filter": None})
    run("record", site.folder, first, "--yes")
    result = run("card", site.folder, *(first.name[:19] if word == "CODE" else word for word in words), "--as-of", "2026-03-09")
    assert result.exit_code == 2
    assert "CLI151 --completes" in result.output
    assert said in result.output
    assert not (site.folder / "cards").exists()


def test_an_hour_meter_is_of_one_file(site: Site, tmp_path: Path) -> None:
    """Of two cards each has its own; where a record is taken back none is read off."""
    path = card_file(site, tmp_path)
    before = services_of(site)
    for words in ((path, path), ("--undo", "old-1", "--reason", "wrong", "--by", "CD")):
        result = run("record", site.folder, *words, "--meter", "610", "--yes")
        assert (result.exit_code, services_of(site)) == (2, before)
        assert "CLI161 --meter" in result.output


@pytest.mark.parametrize(("typed", "said"), [("46.990", "can be read as 46990 and as 46.99"), ("much", "not a number")])
def test_an_hour_meter_that_is_typed_at_a_terminal_is_asked_again(
    site: Site, monkeypatch: pytest.MonkeyPatch, typed: str, said: str
) -> None:
    """It is not guessed, and not passed over."""
    from intervals.cli import record as command

    monkeypatch.setattr(command, "at_terminal", lambda: True)
    before = services_of(site)
    result = run("record", site.folder, "--yes", typed=f"G1\nplugs\n2026-03-02T14:00\n{typed}\nAB\n")
    assert (result.exit_code, services_of(site)) == (2, before)
    assert said in result.output


def test_a_folder_in_the_place_of_the_trial_is_refused_with_what_to_do(site: Site, tmp_path: Path) -> None:
    """Nothing is written."""
    (site.folder / "records" / ".trial.csv").mkdir(parents=True)
    before = services_of(site)
    result = run("record", site.folder, card_file(site, tmp_path), "--yes")
    assert (result.exit_code, services_of(site)) == (2, before)
    assert "CLI110" in result.output
    assert "nothing is recorded" in result.output


@pytest.mark.parametrize(
    ("at", "said"),
    [
        ("2026-03-29T02:30", "never shows 2026-03-29T02:30"),
        ("2025-10-26T02:30", "2025-10-26T02:30+02:00 or 2025-10-26T02:30+01:00"),
    ],
)
def test_a_time_that_the_clock_never_shows_or_shows_twice_is_asked_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: str, said: str
) -> None:
    """At Amsterdam the clock is set forward on 29 March 2026 at 02:00, and back on 26 October 2025 at 03:00."""
    monkeypatch.setattr(site_request, "read_clock", lambda: datetime(2026, 4, 10, 12, tzinfo=UTC))
    site = recorded_site(tmp_path / "quay", time_zone="Europe/Amsterdam")
    before = services_of(site)
    result = run("record", site.folder, "--engine", "G1", "--task", "plugs", "--by", "AB", "--at", at, "--yes")
    assert (result.exit_code, services_of(site)) == (2, before)
    assert said in " ".join(result.output.split())
    assert run("record", site.folder, "--engine", "G1", "--task", "plugs", "--by", "AB", "--at", f"{at}+01:00", "--yes").exit_code == 0


def test_a_deferral_to_a_year_that_cannot_be_is_refused_as_that(site: Site) -> None:
    """Nothing about the form of the file, which is not at fault."""
    result = run("defer", site.folder, "G1", "oil", "--until-date", "9999-12-31", "--approved-by", "AB", "--reason", "x", "--yes")
    assert result.exit_code == 2
    assert "the year 9999 cannot be" in result.output
    assert "CLI164" not in result.output
