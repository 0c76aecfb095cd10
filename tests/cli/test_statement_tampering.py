"""What somebody might do to statements and to what they rest on: each is named, or cannot be seen from inside and needs the check code.

The site runs 10 h a day from 1 January 2024, and January to March were stated in April.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml
from freezegun import freeze_time

from intervals import read_site
from intervals.questions.statement.chain_heads import write_heads
from tests.cli.conftest import Run
from tests.site_maker import done, steady, task, write_site

MONTHS = ("2024-01", "2024-02", "2024-03")
CODE = re.compile(r"[A-Z2-7]{4}(?:-[A-Z2-7]{4}){3}")
ENGINE: dict[str, Any] = {
    "id": "G1",
    "in_service": "2024-01-01",
    "meter_at_start_h": 0,
    "rated_kw": 500,
    "attributes": {"extended_pan": False},
    # the new meter goes on where the old one stopped, 45 days in
    "meter_changes": [{"at": "2024-02-15T00:00", "old_read_h": 450.0, "new_read_h": 450.0}],
    "laid_up": [{"from": "2024-06-01", "to": "2024-07-01"}],
}


def write(folder: Path, engine: dict[str, Any] | None = None, **keys: Any) -> None:  # noqa: ANN401 - any key of a site
    """Write the site, its engine as it is or otherwise."""
    fitted = {"id": "TC-7", "kind": "turbocharger", "fitted": [{"engine": "G1", "from": "2024-01-10", "hours_at_fitting_h": 90}]}
    tasks = [task(every={"running_hours": 300}), task("wash", every={"running_hours": 400}, applies_to={"kind": "turbocharger"})]
    stated: dict[str, Any] = {"components": [fitted], "oil_density_kg_per_l": 0.9} | keys
    rows = steady("2024-01-01", "2024-04-05", 10)
    records = [done("oil", "2024-01-25"), {**done("wash", "2024-01-20"), "engine": "TC-7"}]
    write_site(folder, tasks, rows, engines=[engine or ENGINE], services=records, **stated)


@pytest.fixture
def stated(run: Run, tmp_path: Path) -> Path:
    """Return the site with its statements."""
    write(tmp_path)
    with freeze_time("2024-04-06T12:00:00+00:00"):
        for month in MONTHS:
            assert run("statement", tmp_path, "--month", month).exit_code == 0
    return tmp_path


def verified(run: Run, folder: Path, *words: str) -> tuple[int, str]:
    """Return exit code and text of a look at every statement, in the summer."""
    with freeze_time("2024-07-01T12:00:00+00:00"):
        result = run("statement", folder, "--verify", *words)
    return result.exit_code, result.stdout + result.stderr


def sealed(path: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """Change a document and give it the digest that fits, as whoever knows how may do."""
    body = json.loads(path.read_text("utf-8"))
    del body["sha256"]
    change(body)
    canonical = json.dumps(body, sort_keys=True, separators=(",", ":"))
    digest = hashlib.sha256(canonical.encode("ascii")).hexdigest()
    path.write_text(json.dumps({**body, "sha256": digest}, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")


def test_nothing_is_missed_where_nothing_was_done(run: Run, stated: Path) -> None:
    """Three hold."""
    code, text = verified(run, stated)
    assert (code, text.count("  holds\n"), "also:" in text) == (0, 3, False)


@pytest.mark.parametrize("gone", [["2024-03"], ["2024-02", "2024-03"]])
def test_statements_removed_from_the_end_are_missed(run: Run, stated: Path, gone: list[str]) -> None:
    """The last one, or the last two: the others hold, and the list says how many there were."""
    for month in gone:
        (stated / f"statements/{month}.json").unlink()
    code, text = verified(run, stated)
    assert code == 1
    assert "2024-03.json, the last of 3 that were stated, is gone" in text
    with freeze_time("2024-05-06T12:00:00+00:00"):
        again = run("statement", stated, "--month", "2024-03")
    # stating it again would hide it
    assert (again.exit_code, again.stderr.split()[0]) == (2, "CLI126")


def test_all_statements_removed_but_the_list(run: Run, stated: Path) -> None:
    """Nothing is left of the chain."""
    for month in MONTHS:
        (stated / f"statements/{month}.json").unlink()
    code, text = verified(run, stated)
    assert code == 1
    assert "all 3 statements by written up to 2024-03.json are gone" in text


def test_the_list_is_missed_too(run: Run, stated: Path) -> None:
    """Removed together with the last statement."""
    (stated / "statements/2024-03.json").unlink()
    (stated / "statements/chains.json").unlink()
    code, text = verified(run, stated)
    assert code == 1
    assert "chains.json, which lists what was stated last, is gone: statements may be missing at the end" in text


def test_a_list_that_was_edited_is_refused(run: Run, stated: Path) -> None:
    """One statement fewer, its own digest left as it was; a list that is none."""
    path = stated / "statements/chains.json"
    path.write_text(path.read_text("utf-8").replace('"count": 3', '"count": 2'), encoding="utf-8")
    code, text = verified(run, stated)
    assert (code, text.split()[0], "tampered with" in text) == (2, "CLI123", True)
    path.write_text("[]", encoding="utf-8")
    code, text = verified(run, stated)
    assert (code, text.split()[0]) == (2, "CLI123")


def test_a_first_statement_that_says_nothing_came_before_it(run: Run, stated: Path) -> None:
    """January is removed, and February says that it is the first: the list counts three."""
    (stated / "statements/2024-01.json").unlink()
    sealed(stated / "statements/2024-02.json", lambda body: body.update(previous=None))
    code, text = verified(run, stated)
    assert code == 1
    assert "1 of 3 that were stated up to 2024-03.json are gone" in text


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda body: body["findings"]["totals"].update(overdue=0), "findings: totals"),
        (lambda body: body["findings"]["findings"].reverse(), "findings"),
        (lambda body: body["findings"]["findings"].append(body["findings"]["findings"][0]), "findings"),
        (lambda body: body.update(as_of="2024-03-31T00:00:00+00:00"), "as_of: stated 2024-03-31T00:00:00+00:00"),
        (lambda body: body["records"][0].update(outcome="deferred"), "records: changed: G1 oil deferred"),
        (lambda body: body["records"][0].update(place="services.csv:9"), ""),
        (lambda body: body["inputs"].pop(), ""),
        (lambda body: body.update(version="0.0.1"), ""),
        (lambda body: body.update(site="elsewhere"), "elsewhere"),
        (lambda body: body["findings"]["rows"].update(read=1), ""),
        (lambda body: body["findings"]["faults"].append({"kind": "x"}), ""),
    ],
)
def test_the_last_statement_edited_by_whoever_can_seal_it_again(
    run: Run, stated: Path, change: Callable[[dict[str, Any]], None], said: str
) -> None:
    """Whatever was changed: the list misses the file as it was, and most of it is named besides."""
    sealed(stated / "statements/2024-03.json", change)
    code, text = verified(run, stated)
    assert code == 1
    assert "2024-03.json is not the file that was stated last" in text
    assert said in text


def test_everything_made_anew_is_seen_by_the_check_code_alone(run: Run, stated: Path) -> None:
    """A row is edited, the statements made again: from inside all is well, and the code of then is that of no statement."""
    code, before = verified(run, stated)
    (written_down,) = CODE.findall(before)
    assert verified(run, stated, "--head", written_down)[0] == 0
    log = stated / "readings/log.csv"
    log.write_text(log.read_text("utf-8").replace("2024-02-10T00:00,G1,400", "2024-02-10T00:00,G1,399"), encoding="utf-8")
    shutil.rmtree(stated / "statements")
    with freeze_time("2024-04-06T12:00:00+00:00"):
        for month in MONTHS:
            assert run("statement", stated, "--month", month).exit_code == 0
    assert verified(run, stated)[0] == 0
    code, text = verified(run, stated, "--head", written_down)
    assert code == 1
    assert f"check code {written_down}  no statement has it" in text


def test_a_check_code_of_an_earlier_month_still_counts(run: Run, tmp_path: Path) -> None:
    """That of February, typed in small letters without dashes, once March was stated too."""
    write(tmp_path)
    with freeze_time("2024-04-06T12:00:00+00:00"):
        said = [run("statement", tmp_path, "--month", month).stdout for month in MONTHS]
    codes = [CODE.findall(text)[0] for text in said]
    assert len(set(codes)) == 3
    code, text = verified(run, tmp_path, "--head", codes[1].lower().replace("-", ""))
    assert (code, f"check code {codes[1]}  is that of 2024-02.json" in text) == (0, True)
    # the first 80 bits of the file's digest in base32, as RFC 4648 has it
    digest = hashlib.sha256((tmp_path / "statements/2024-02.json").read_bytes()).digest()
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
    bits = int.from_bytes(digest[:10], "big")
    assert codes[1].replace("-", "") == "".join(letters[bits >> shift & 31] for shift in range(75, -1, -5))


@pytest.mark.parametrize(
    ("words", "code"), [(("--verify", "--head", "nonsense"), "CLI127"), (("--month", "2024-03", "--head", "A"), "CLI125")]
)
def test_a_check_code_that_cannot_be_used_is_refused(run: Run, stated: Path, words: tuple[str, ...], code: str) -> None:
    """One that is none; one without --verify."""
    result = run("statement", stated, *words)
    assert result.exit_code == 2
    assert code in result.stderr


def test_two_keys_of_one_name_are_refused(run: Run, stated: Path) -> None:
    """Of which most readers would take the last."""
    path = stated / "statements/2024-03.json"
    path.write_text(path.read_text("utf-8").replace('"month": "2024-03"', '"month": "2024-03", "month": "2024-03"', 1), encoding="utf-8")
    code, text = verified(run, stated)
    assert (code, text.split()[0]) == (2, "CLI123")


def changed(**keys: Any) -> dict[str, Any]:  # noqa: ANN401 - any key of an engine
    """Return the engine with other keys."""
    return {**ENGINE, **keys}


METER = {"at": "2024-02-15T00:00", "old_read_h": 450.0, "new_read_h": 450.0}


@pytest.mark.parametrize(
    ("engine", "site", "months", "said"),
    [
        (changed(meter_changes=[{**METER, "old_read_h": 440.0}]), {}, "23", "meter change of G1 on 2024-02-15T00:00:00 was changed"),
        (changed(meter_changes=[]), {}, "23", "meter change of G1 on 2024-02-15T00:00:00 was taken away"),
        (
            changed(meter_changes=[METER, {"at": "2024-03-10T00:00", "old_read_h": 690.0, "new_read_h": 690.0}]),
            {},
            "3",
            "meter change of G1 on 2024-03-10T00:00:00 was added later",
        ),
        (changed(laid_up=[{"from": "2024-03-20", "to": "2024-03-22"}]), {}, "3", "lay-up of G1 from 2024-03-20 was added later"),
        (changed(rated_kw=400), {}, "123", "rated_kw of G1 was changed"),
        (changed(attributes={"extended_pan": True}), {}, "123", "attribute extended_pan of G1 was changed"),
        (changed(attributes={}), {}, "123", "attribute extended_pan of G1 was taken away"),
        (ENGINE, {"oil_density_kg_per_l": 0.85}, "123", "oil_density_kg_per_l of the site was changed"),
        (
            ENGINE,
            {
                "components": [
                    {"id": "TC-7", "kind": "turbocharger", "fitted": [{"engine": "G1", "from": "2024-01-11", "hours_at_fitting_h": 90}]}
                ]
            },
            "123",
            "fitting of TC-7 on 2024-01-10 was taken away",
        ),
    ],
)
def test_a_part_of_the_site_file_that_counted_is_named(
    run: Run, stated: Path, engine: dict[str, Any], site: dict[str, Any], months: str, said: str
) -> None:
    """With each month in which it counted, and no other; whether the month comes to something else or not."""
    write(stated, engine, **site)
    code, text = verified(run, stated)
    assert code == 1
    assert text.count(f"site: site.yaml: {said}") == len(months)
    for number in "123":
        assert (f"2024-0{number}  no longer matches" in text) == (number in months)


def test_readings_that_are_read_otherwise_are_named(run: Run, stated: Path) -> None:
    """The gap of the log, from which on it counts as silent."""
    path = stated / "site.yaml"
    body = yaml.safe_load(path.read_text("utf-8"))
    body["readings"]["gap_h"] = 900_000
    path.write_text(yaml.safe_dump(body, sort_keys=False), encoding="utf-8")
    code, text = verified(run, stated)
    assert (code, text.count("site: site.yaml: readings block 1 was changed")) == (1, 3)


@pytest.mark.parametrize(
    ("engine", "site"),
    [
        (changed(title="The first one"), {}),
        (changed(laid_up=[{"from": "2024-06-10", "to": "2024-07-01"}]), {}),
        (changed(out_of_service="2024-06-01"), {}),
        (changed(meter_changes=[METER, {"at": "2024-05-01", "old_read_h": 1000.0, "new_read_h": 0.0}]), {}),
        (
            ENGINE,
            {
                "title": "The quay",
                "notes": "painted",
                "crew": {"hours_per_week": 40},
                "prefer": "weekend",
            },
        ),
        (ENGINE, {"planned": {"departure": ["2024-06-01T10:00"]}}),
    ],
)
def test_what_did_not_count_in_any_month_touches_none(run: Run, stated: Path, engine: dict[str, Any], site: dict[str, Any]) -> None:
    """Names, plans, and what is dated after the last month."""
    write(stated, engine, **site)
    code, text = verified(run, stated)
    assert (code, text.count("  holds\n")) == (0, 3)
    assert text.count("also: site.yaml was changed, but nothing in it that counted at the month's end") == 3


def test_what_is_stated_for_the_first_time_is_told_and_touches_nothing(run: Run, stated: Path) -> None:
    """An attribute that a new rule asks for."""
    write(stated, changed(attributes={"extended_pan": False, "ignition": "spark"}))
    code, text = verified(run, stated)
    assert (code, text.count("also: site.yaml: attribute ignition of G1 was not stated then")) == (0, 3)


def test_a_correction_of_the_site_file_is_taken_in_like_any_other(run: Run, stated: Path) -> None:
    """The rated power was wrong: one amendment of January covers the months after it, and all hold as amended."""
    write(stated, changed(rated_kw=400))
    with freeze_time("2024-05-06T12:00:00+00:00"):
        result = run("statement", stated, "--month", "2024-01", "--amend", "--reason", "wrong plate", "--by", "A. Person")
    assert result.exit_code == 0
    assert result.stdout.count("site: site.yaml: rated_kw of G1 was changed") == 3
    code, text = verified(run, stated)
    assert (code, text.count("  holds as amended\n")) == (0, 3)


def test_a_list_that_a_killed_program_left_behind_is_written_anew(run: Run, stated: Path) -> None:
    """March's statement is there and the list knows two: nothing is missing, and stating March again renews the list."""
    march = (stated / "statements/2024-03.json").read_bytes()
    (stated / "statements/2024-03.json").unlink()
    (stated / "statements/chains.json").unlink()
    write_heads(read_site(stated))
    (stated / "statements/2024-03.json").write_bytes(march)
    assert verified(run, stated)[0] == 0
    with freeze_time("2024-04-06T12:00:00+00:00"):
        assert run("statement", stated, "--month", "2024-03").exit_code == 0
    assert json.loads((stated / "statements/chains.json").read_text("utf-8"))["chains"]["written"]["count"] == 3
