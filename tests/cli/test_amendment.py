"""`intervals statement --amend`: a record that came late is taken in, and tampering is still told.

Every site here runs 10 h a day from 1 January 2024, and its oil is due every 300 h, with 10 % tolerance. The oil was changed at the first
moment of 25 January, at 240 h. On 1 March the meter shows 600 h: 360 h since, past 330. With a card of the first moment of 24 February, at
540 h, that is 60 h.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import pytest
from freezegun import freeze_time
from typer.testing import CliRunner

from intervals import writing
from intervals.cli.main import app
from tests.cli.conftest import Run
from tests.site_maker import RECORD_COLUMNS, done, steady, task, write_site

OIL = task(every={"running_hours": 300}, tolerance_pct=10)
WHY = ("--reason", "paper card typed late", "--by", "A. Person")
BLANKS = "," * (len(RECORD_COLUMNS) - 5)


@pytest.fixture(scope="module")
def stated_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a site of which January, February and March 2024 were stated in April."""
    folder = tmp_path_factory.mktemp("stated")
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0}
    write_site(folder, [OIL], steady("2024-01-01", "2024-04-05", 10), engine=engine, services=[done("oil", "2024-01-25T00:00")])
    with freeze_time("2024-04-06T12:00:00+00:00"):
        for month in ("2024-01", "2024-02", "2024-03"):
            assert CliRunner().invoke(app, ["statement", str(folder), "--month", month]).exit_code == 0
    return folder


@pytest.fixture
def stated(stated_once: Path, tmp_path: Path) -> Path:
    """Return a copy of that site, to be changed."""
    return Path(shutil.copytree(stated_once, tmp_path / "quay"))


def typed_late(folder: Path, at: str = "2024-02-24T00:00", ends: str = "\r\n") -> None:
    """Type a card of a change of oil."""
    with (folder / "services.csv").open("a", encoding="utf-8", newline="") as file:
        file.write(f"{at},G1,oil,,done{BLANKS}{ends}")


def verified(run: Run, folder: Path, month: str = "2024-03") -> tuple[int, str]:
    """Return exit code and text of a look at every statement, in the summer."""
    with freeze_time("2024-07-01T12:00:00+00:00"):
        result = run("statement", folder, "--month", month, "--verify")
    assert result.stderr == ""
    return result.exit_code, result.stdout


def amended(run: Run, folder: Path, month: str = "2024-02") -> str:
    """Amend a month in May, and return what was said."""
    with freeze_time("2024-05-02T08:00:00+00:00"):
        result = run("statement", folder, "--month", month, "--amend", *WHY)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


def files(folder: Path) -> dict[str, bytes]:
    """Return the statements as they are."""
    found = ((path.relative_to(folder / "statements").as_posix(), path) for path in (folder / "statements").rglob("*.json"))
    return {name: path.read_bytes() for name, path in found if name != "chains.json"}


def replaced(path: Path, old: str, new: str) -> None:
    """Change a file as a person would."""
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_card_typed_late_is_taken_in_and_the_month_holds_as_amended(run: Run, stated: Path) -> None:
    """It does not match before; afterwards the old statement is there as it was, and beside it what changed, why, by whom and when."""
    before = files(stated)
    typed_late(stated)
    code, text = verified(run, stated)
    assert code == 1
    assert "2024-02  no longer matches" in text
    assert f"intervals statement {stated} --month 2024-02 --amend --reason TEXT --by NAME" in text
    said = amended(run, stated)
    assert "2024-02.amended-1.json: amendment 1 of February 2024, SHA-256 " in said
    assert "records: added later, dated back into the month or before: G1 oil done 2024-02-24T00:00:00+00:00 (services.csv:3)" in said
    # 600 - 240 = 360 h before, 600 - 540 = 60 h now
    assert "findings: G1 oil: stated overdue, 360 h of 300 h, now in interval, 60 h of 300 h" in said
    after = files(stated)
    assert {name: after[name] for name in before} == before
    body = json.loads(after["2024-02.amended-1.json"])
    assert (body["schema"], body["month"], body["number"]) == ("intervals.amendment/1", "2024-02", 1)
    assert (body["reason"], body["by"], body["at"]) == ("paper card typed late", "A. Person", "2024-05-02T08:00:00+00:00")
    assert body["amends"] == {"month": "2024-02", "sha256": hashlib.sha256(before["2024-02.json"]).hexdigest()}
    assert body["previous"] == {"month": "2024-03", "sha256": hashlib.sha256(before["2024-03.json"]).hexdigest()}
    (change,) = body["changes"]["records"]
    assert (change["change"], change["was"], change["now"]["place"]) == ("added", None, "services.csv:3")
    (finding,) = body["statement"]["findings"]["findings"]
    assert finding["legs"][0]["used"] == 60.0
    code, text = verified(run, stated)
    assert code == 0
    assert "2024-01  holds\n" in text
    assert "2024-02  holds as amended\n    amendment 1: by A. Person at 2024-05-02T08:00:00+00:00: paper card typed late\n" in text
    assert "3 statements: everything is as it was stated, or amended since" in text


def test_later_months_that_the_same_card_touches_are_amended_with_it(run: Run, stated: Path) -> None:
    """March counted from January too: 910 - 240 = 670 h on 1 April, now 910 - 540 = 370 h. One command amends both months."""
    typed_late(stated)
    said = amended(run, stated)
    assert "2024-03.amended-1.json: amendment 1 of March 2024, affected by the same change, SHA-256 " in said
    assert "G1 oil: stated overdue, 670 h of 300 h, now overdue, 370 h of 300 h" in said
    first, second = (json.loads(files(stated)[f"{month}.amended-1.json"]) for month in ("2024-02", "2024-03"))
    assert (first["follows_from"], second["follows_from"]) == (None, "2024-02.amended-1.json")
    own = hashlib.sha256(files(stated)["2024-02.amended-1.json"]).hexdigest()
    assert second["previous"] == {"month": "2024-02", "sha256": own, "file": "2024-02.amended-1.json"}
    assert "2024-03  holds as amended" in verified(run, stated)[1]


def test_a_later_month_with_changes_of_its_own_is_left_and_named(run: Run, stated: Path) -> None:
    """A row of 10 March was edited besides: the card's amendment does not cover it, and the command for March is told."""
    typed_late(stated)
    replaced(stated / "readings/log.csv", "2024-03-10T00:00,G1,690.0", "2024-03-10T00:00,G1,688.0")
    said = amended(run, stated)
    assert "2024-03 does not match either, and is not amended by this; see --verify, or: intervals statement " in said
    assert "2024-03.amended-1.json" not in files(stated)
    code, text = verified(run, stated)
    assert (code, "2024-02  holds as amended" in text, "2024-03  no longer matches" in text) == (1, True, True)
    assert "rows changed: G1 2024-03-09 (readings/log.csv:71 to 71)" in text


def test_a_record_that_was_corrected_into_the_next_month_is_one_change(run: Run, stated: Path) -> None:
    """Amended once for 24 February, the card turns out to be of 2 March: taken away from February, changed in March."""
    typed_late(stated)
    amended(run, stated)
    replaced(stated / "services.csv", "2024-02-24T00:00", "2024-03-02T00:00")
    said = amended(run, stated)
    assert "2024-02.amended-2.json: amendment 2 of February 2024" in said
    assert "2024-03.amended-2.json: amendment 2 of March 2024, affected by the same change" in said
    # 910 - 610 = 300 h on 1 April
    assert "changed: G1 oil done 2024-02-24T00:00:00+00:00 (services.csv:3) is now G1 oil done 2024-03-02T00:00:00+00:00" in said
    code, text = verified(run, stated)
    assert (code, text.count("amendment 2: by A. Person")) == (0, 2)


def test_a_later_month_whose_amendment_is_gone_follows_from_the_earlier_one(run: Run, stated: Path) -> None:
    """March's amendment was removed: it does not match, and February's names the same card. It can be amended once it is put back."""
    typed_late(stated)
    amended(run, stated)
    (stated / "statements/2024-03.amended-1.json").unlink()
    code, text = verified(run, stated)
    assert (code, "also: it follows from amendment 1 of 2024-02: amend this month too" in text) == (1, True)
    assert "the row of statements: 2024-03.amended-1.json, the last of 5 that were stated, is gone" in text
    with freeze_time("2024-05-02T08:00:00+00:00"):
        refused = run("statement", stated, "--month", "2024-03", "--amend", *WHY)
    assert (refused.exit_code, refused.stderr.split()[0]) == (2, "CLI126")


def test_what_holds_is_not_amended(run: Run, stated: Path) -> None:
    """Nothing changed, or everything was amended already: so said, exit 0, and no file is written."""
    before = files(stated)
    assert "nothing to amend: the statement of February 2024 holds" in amended(run, stated)
    assert files(stated) == before
    typed_late(stated)
    amended(run, stated)
    once = files(stated)
    assert "nothing to amend" in amended(run, stated)
    assert files(stated) == once
    with freeze_time("2024-05-02T08:00:00+00:00"):
        again = run("statement", stated, "--month", "2024-02")
    assert (again.exit_code, "stated already as amended, and nothing has changed" in again.stdout) == (0, True)


def test_another_late_record_is_told_until_it_is_amended_too(run: Run, stated: Path) -> None:
    """Against the amended month: only the second card differs."""
    typed_late(stated)
    amended(run, stated)
    typed_late(stated, at="2024-02-26T00:00")
    code, text = verified(run, stated)
    assert (code, "2024-02  no longer matches" in text) == (1, True)
    (line,) = {each for each in text.splitlines() if each.startswith("    records: ")}
    assert line.endswith("G1 oil done 2024-02-26T00:00:00+00:00 (services.csv:4)")
    amended(run, stated)
    assert verified(run, stated)[0] == 0


@pytest.mark.parametrize(
    ("name", "old", "new", "words"),
    [
        ("2024-02.amended-1.json", "typed late", "typed in time", "amendment 1: tampered with: 2024-02.amended-1.json was edited after"),
        ("2024-02.amended-1.json", '"used": 60.0', '"used": 59.0', "amendment 1: tampered with: 2024-02.amended-1.json was edited after"),
        ("2024-02.json", '"used": 360.0', '"used": 299.0', "tampered with: 2024-02.json was edited after it was written"),
        ("2024-02.json", '"used": 360.0', '"used": 299.0', "amendment 1: the statement of 2024-02 is not the file that it amends"),
    ],
)
def test_an_amended_month_that_was_tampered_with_is_told(run: Run, stated: Path, name: str, old: str, new: str, words: str) -> None:
    """A reason or a figure edited, in the amendment or in the statement under it; and such a month is not amended."""
    typed_late(stated)
    amended(run, stated)
    replaced(stated / "statements" / name, old, new)
    code, text = verified(run, stated)
    assert (code, words in text) == (1, True)
    typed_late(stated, at="2024-02-26T00:00")
    before = files(stated)
    result = run("statement", stated, "--month", "2024-02", "--amend", *WHY)
    assert (result.exit_code, "CLI126" in result.stderr, files(stated)) == (2, True, before)


def test_an_amendment_that_says_other_changes_than_its_statement_holds_is_told(run: Run, stated: Path) -> None:
    """Its list of records emptied, and the digest made to fit."""
    typed_late(stated)
    amended(run, stated, "2024-03")
    path = stated / "statements/2024-03.amended-1.json"
    body = json.loads(path.read_text("utf-8"))
    del body["sha256"]
    body["changes"]["records"] = []
    canonical = json.dumps(body, sort_keys=True, separators=(",", ":"))
    sealed = {**body, "sha256": hashlib.sha256(canonical.encode("ascii")).hexdigest()}
    path.write_text(json.dumps(sealed), encoding="utf-8")
    code, text = verified(run, stated)
    assert (code, "the records that it names as changed are not the ones that differ in its statement" in text) == (1, True)
    assert "tampered with" not in text


def test_an_earlier_month_that_the_change_touches_too_is_named(run: Run, stated: Path) -> None:
    """Only March is amended, as asked; February is told with its command."""
    typed_late(stated)
    said = amended(run, stated, "2024-03")
    assert "2024-02 does not match either, and is not amended by this; see --verify, or: " in said
    assert [name for name in files(stated) if "amended" in name] == ["2024-03.amended-1.json"]
    assert "2024-02.amended-1.json" in amended(run, stated, "2024-02")
    assert verified(run, stated)[0] == 0


def test_an_amendment_that_was_removed_or_renamed_is_told(run: Run, stated: Path) -> None:
    """February's: March's amendment followed it. Under another number it says what it is."""
    typed_late(stated)
    amended(run, stated)
    folder = stated / "statements"
    (folder / "2024-02.amended-1.json").rename(folder / "2024-02.amended-2.json")
    code, text = verified(run, stated)
    assert code == 1
    assert "amendment 2: 2024-02.amended-2.json says that it is amendment 1" in text
    assert "amendment 2: amendment 1 of 2024-02 is gone" in text
    (folder / "2024-02.amended-2.json").unlink()
    code, text = verified(run, stated)
    assert (code, "2024-02  no longer matches" in text) == (1, True)
    assert "amendment 1: amendment 1 of 2024-02, which it followed, is gone" in text
    assert "it follows from" not in text
    (folder / "2024-03.json").unlink()
    assert "amendment 1: the statement of 2024-03 is gone" in verified(run, stated)[1]


def test_the_next_statement_follows_the_amendment(run: Run, stated: Path) -> None:
    """April is stated after February was amended, March with it: it follows March's amendment, and tells where that is gone."""
    typed_late(stated)
    amended(run, stated)
    with freeze_time("2024-05-03T12:00:00+00:00"):
        assert run("statement", stated, "--month", "2024-04").exit_code == 0
    april = json.loads(files(stated)["2024-04.json"])
    own = hashlib.sha256(files(stated)["2024-03.amended-1.json"]).hexdigest()
    assert april["previous"] == {"month": "2024-03", "sha256": own, "file": "2024-03.amended-1.json"}
    assert verified(run, stated, "2024-04")[0] == 0
    (stated / "statements/2024-03.amended-1.json").unlink()
    assert "the row of statements: amendment 1 of 2024-03, which it followed, is gone" in verified(run, stated, "2024-04")[1]


def test_line_ends_of_windows_change_nothing(run: Run, stated: Path) -> None:
    """Records and statements saved with other line ends hold as they did, and are amended as they would be."""
    typed_late(stated, ends="\n")
    amended(run, stated)
    for path in [stated / "services.csv", *(stated / "statements").iterdir()]:
        path.write_bytes(path.read_bytes().replace(b"\r\n", b"\n").replace(b"\n", b"\r\n"))
    assert verified(run, stated)[0] == 0


def test_both_amendments_are_written_or_none(run: Run, stated: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full at the second file: the first is not there either."""
    typed_late(stated)
    before, write = files(stated), writing._write_new

    def full(part: Path, data: bytes) -> None:
        if "2024-03" in part.name:
            raise OSError(28, "No space left on device")
        write(part, data)

    monkeypatch.setattr(writing, "_write_new", full)
    with freeze_time("2024-05-02T08:00:00+00:00"):
        result = run("statement", stated, "--month", "2024-02", "--amend", *WHY)
    assert (result.exit_code, "CLI110" in result.stderr, files(stated)) == (2, True, before)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--amend",), ["CLI125 --reason", "CLI125 --by"]),
        (("--amend", "--reason", "late", "--by", "  "), ["CLI125 --by"]),
        (("--amend", "--reason", "a\x1b[2Jb", "--by", "A\nB"), ["CLI125 --reason", "CLI125 --by"]),
        (("--reason", "late"), ["CLI125 --reason"]),
        (("--amend", "--verify", *WHY), ["CLI125 --amend"]),
    ],
)
def test_options_that_do_not_go_together_are_refused(run: Run, stated: Path, words: tuple[str, ...], told: list[str]) -> None:
    """Each of them, with what to write; nothing is written."""
    typed_late(stated)
    before = files(stated)
    result = run("statement", stated, "--month", "2024-02", *words)
    assert (result.exit_code, files(stated)) == (2, before)
    assert [line for line in result.stderr.splitlines() if line.startswith("CLI")] == told


def test_a_month_that_was_never_stated_is_not_amended(run: Run, stated: Path) -> None:
    """Exit 2: state it first."""
    result = run("statement", stated, "--month", "2023-12", "--amend", *WHY)
    assert (result.exit_code, "CLI122 --amend" in result.stderr) == (2, True)
