"""A card made, filled in, judged and written over the network; and all the ways in which nothing may be written."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import urlencode

import pytest

from intervals.questions.card.kept_cards import kept_card
from intervals.questions.record.undo import Undoing, undo
from intervals.serve.card_form import TypedCard
from intervals.serve.card_shelf import CardShelf
from intervals.site.model import load_site
from tests.unit.serve.conftest import served
from tests.unit.serve.served_pages import FILLED, NOW, Page, Person, write_quay

Serve = Callable[..., Person]


def services(quay: Path) -> list[str]:
    """Return the rows of the site's service records."""
    return (quay / "services.csv").read_text("utf-8").splitlines()[1:]


def files(quay: Path) -> dict[str, bytes]:
    """Return every file of the site with its bytes, the lock aside."""
    return {path.relative_to(quay).as_posix(): path.read_bytes() for path in quay.rglob("*") if path.is_file() and path.name != ".lock"}


def handed_in(person: Person, address: str, **other: str) -> Page:
    """Hand in a card that was filled in, and return its verdict."""
    return person.post(address, person.fill_in(address, **other))


def confirmed(person: Person, address: str, verdict: Page, **other: str) -> Page:
    """Say yes to a verdict."""
    return person.post(f"{address}/confirm", verdict.form(f"{address}/confirm") | {"choice": "write"} | other)


def test_a_card_is_judged_first_and_written_after_a_yes(serve: Serve, quay: Path) -> None:
    """The verdict writes nothing; the yes appends one row, keeps the card and notes who it was; the list of what is due is new at once."""
    person = serve()
    assert "overdue by 100 h" in person.get("/").text.replace("! overdue", "overdue by 100 h")
    address = person.make_card()
    code = address.rpartition("/")[2]
    before = files(quay)
    verdict = handed_in(person, address)
    assert verdict.status == 200
    assert "Change &lt;b&gt;oil&lt;/b&gt;: credited" in verdict.text
    assert files(quay) == before
    written = confirmed(person, address, verdict)
    assert written.status == 200
    assert "<h1>Written</h1>" in written.text
    assert services(quay) == ["2024-01-01,G1,oil,0.0,done,A. Person,,,,,,", f"2024-03-01,G1,oil,600.0,done,A. Person,,{code},,,,"]
    kept = json.loads((quay / "records" / f"{code}.card.json").read_text("utf-8"))
    assert kept["by"] == "A. Person"
    log = (quay / "records" / "serve.log").read_text("utf-8")
    assert log == f"2024-03-01T12:00:00+00:00\t127.0.0.1\tA. Person\t{code}\twritten: oil credited\n"
    assert "Nothing needs doing." in person.get("/").text
    assert set(files(quay)) - set(before) == {
        f"records/{code}.card.json",
        "records/digests.csv",
        "records/measures.csv",
        "records/serve.log",
    }


def test_a_wait_that_was_too_short_is_credited_in_part_and_says_why(serve: Serve, quay: Path) -> None:
    """Ten minutes where thirty are asked for: the step and both figures stand in the verdict, and the row says partial."""
    person = serve()
    address = person.make_card()
    verdict = handed_in(person, address, **{"s2-ended_at": "2024-03-01T08:20"})
    assert "partial" in verdict.text
    assert "Step 3, " in verdict.text
    assert "10 min" in verdict.text
    confirmed(person, address, verdict)
    assert services(quay)[-1].split(",")[4] == "partial"


def test_what_nothing_was_done_of_cannot_be_written(serve: Serve, quay: Path) -> None:
    """An empty form is refused: there is no button, and a yes that is sent all the same writes nothing."""
    person = serve()
    address = person.make_card()
    verdict = person.post(address, person.get(address).form(address))
    assert "refused" in verdict.text
    assert 'value="write"' not in verdict.text
    assert confirmed(person, address, verdict).status == 422
    assert len(services(quay)) == 1


def test_what_is_wrong_can_be_corrected_with_all_that_was_typed(serve: Serve, quay: Path) -> None:
    """A number that is none comes back beside its field; from the verdict one may go back too; then it is written."""
    person = serve()
    address = person.make_card()
    fields = person.fill_in(address, remarks="two\nlines <b>")
    again = person.post(address, fields | {"hour_meter_h": "six hundred"})
    assert again.status == 422
    assert 'value="six hundred"' in again.text
    assert "not a number" in again.text
    assert "two\nlines &lt;b&gt;" in again.text
    verdict = person.post(address, fields | again.form(address))
    back = person.post(f"{address}/confirm", verdict.form(f"{address}/confirm") | {"choice": "correct"})
    assert 'value="2024-03-01T08:45"' in back.text
    assert len(services(quay)) == 1
    verdict = person.post(address, fields | back.form(address))
    assert confirmed(person, address, verdict).status == 200
    assert len(services(quay)) == 2


def test_a_replay_says_so_and_writes_nothing(serve: Serve, quay: Path) -> None:
    """The same yes, the same form, and the same card in a new form: one row, and the log notes who tried."""
    person = serve()
    address = person.make_card()
    fields = person.fill_in(address)
    verdict = person.post(address, fields)
    confirmed(person, address, verdict)
    after = files(quay)
    for page in (confirmed(person, address, verdict), person.post(address, fields)):
        assert page.status == 409
        assert "handed in before" in page.text
    anew = handed_in(person, address)
    assert "handed in before" in anew.text
    assert 'value="write"' not in anew.text
    assert {name: data for name, data in files(quay).items() if name != "records/serve.log"} == {
        name: data for name, data in after.items() if name != "records/serve.log"
    }
    assert (quay / "records" / "serve.log").read_text("utf-8").count("handed in before, nothing written") == 2


def test_a_yes_counts_for_the_verdict_that_was_shown(serve: Serve, quay: Path) -> None:
    """Handed in again in another window: the yes of the first window shows the verdict of the second, and writes nothing."""
    person = serve()
    address = person.make_card()
    fields = person.fill_in(address)
    first = person.post(address, fields)
    person.post(address, fields | {"by": "B. Person"})
    shown = confirmed(person, address, first)
    assert shown.status == 409
    assert "in another window" in shown.text
    assert len(services(quay)) == 1
    confirmed(person, address, shown)
    assert "B. Person" in services(quay)[-1]


def test_records_that_changed_meanwhile_are_shown_and_asked_about_again(serve: Serve, quay: Path) -> None:
    """Somebody typed a later oil change into the file after the verdict: nothing is written, and the verdict is the one of now."""
    person = serve()
    address = person.make_card()
    verdict = handed_in(person, address)
    with (quay / "services.csv").open("a", encoding="utf-8") as stream:
        stream.write("2024-03-01T11:00,G1,oil,600,done,C. Person,,,,,,\n")
    page = confirmed(person, address, verdict)
    assert page.status == 409
    assert "different now" in page.text
    assert len(services(quay)) == 2


def test_a_token_is_worth_nothing_in_another_hand_or_for_another_card(serve: Serve, quay: Path) -> None:
    """The form comes back filled in, to be handed in again; nothing is judged or written."""
    person = serve()
    address = person.make_card()
    other = Person(person.port)
    other.get(address)
    stolen = other.post(address, person.fill_in(address))
    assert stolen.status == 409
    assert "no longer open here" in stolen.text
    assert 'value="2024-03-01T08:45"' in stolen.text
    verdict = handed_in(person, address)
    assert confirmed(other, address, verdict).status == 409
    assert confirmed(Person(person.port), address, verdict).status == 409
    without = person.post(f"{address}/confirm", {"choice": "write"})
    assert without.status == 409
    assert len(services(quay)) == 1


def test_two_people_at_once_lose_nothing(serve: Serve, quay: Path) -> None:
    """One card in eight hands at one moment: the first is credited, the others see it, and no row is lost or doubled."""
    people = [Person(serve().port)]
    people += [Person(people[0].port) for _ in range(7)]
    address = people[0].make_card()
    verdicts = [handed_in(person, address) for person in people]
    with ThreadPoolExecutor(len(people)) as pool:
        pages = list(pool.map(lambda pair: confirmed(pair[0], address, pair[1]), zip(people, verdicts, strict=True)))
    # who found no place in the queue asks again
    pages = [
        confirmed(person, address, verdict) if page.status == 503 else page
        for person, verdict, page in zip(people, verdicts, pages, strict=True)
    ]
    assert [page.status for page in pages].count(200) == 1
    assert {page.status for page in pages} <= {200, 409, 422}
    assert len(services(quay)) == 2


def test_people_at_pages_and_at_a_terminal_write_at_once_and_lose_nothing(tmp_path: Path) -> None:
    """Four cards from browsers and one by the command, all at one moment: five rows, none half, none twice."""
    engines = ("G1", "G2", "G3", "G4", "G5")
    site = write_quay(tmp_path / "quay", *engines)
    with served(site) as port:
        people = [Person(port) for _ in engines]
        addresses = [person.make_card(engine) for person, engine in zip(people, engines, strict=True)]
        verdicts = [handed_in(person, address) for person, address in zip(people[:4], addresses[:4], strict=True)]
        card = kept_card(site.folder, addresses[4].rpartition("/")[2])
        assert card is not None
        file = tmp_path / "typed.card.json"
        file.write_bytes(TypedCard(card, FILLED).handed_in())
        command = [sys.executable, "-m", "intervals", "record", str(site.folder), str(file), "--yes"]
        with (
            subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as program,
            ThreadPoolExecutor(4) as pool,
        ):
            pages = list(pool.map(confirmed, people, addresses, verdicts))
            told = program.communicate(timeout=120)[0]
        assert {page.status for page in pages} == {200}, [page.text for page in pages]
        assert program.returncode == 0, told
    rows = [line.split(",") for line in services(site.folder)]
    assert sorted(row[1] for row in rows[5:]) == list(engines)
    assert {(row[4], row[7]) for row in rows[5:]} == {("done", address.rpartition("/")[2]) for address in addresses}


def test_nothing_is_written_under_a_code_that_is_none(serve: Serve, quay: Path) -> None:
    """A card that the site does not keep is not there, whatever is sent to it."""
    person = serve()
    fields = person.fill_in(person.make_card())
    before = files(quay)
    for code in ("0000-0000-0000-0000", "..", "%2e%2e%2fservices.csv", "x" * 3000):
        assert person.post(f"/card/{code}", fields).status == 404
        assert person.post(f"/card/{code}/confirm", fields | {"choice": "write"}).status == 404
    assert files(quay) == before


@pytest.mark.parametrize(
    "fields",
    [
        {"task": "oil"},
        {"engine": "G1"},
        {"engine": "G9", "task": "oil"},
        {"engine": "G1", "task": "polish"},
        {"engine": "../G1", "task": "oil"},
    ],
)
def test_a_card_is_made_only_of_what_the_site_has(serve: Serve, quay: Path, fields: dict[str, str]) -> None:
    """Nothing ticked, an engine or a task that is not there: said so, and no file is made."""
    person = serve()
    token = {"token": person.get("/").form("/cards")["token"]}
    assert person.post("/cards", token | fields).status == 422
    assert person.post("/cards", fields | {"engine": "G1", "task": "oil"}).status == 403
    assert not (quay / "cards").exists()


def test_a_form_sent_twice_makes_the_card_once(serve: Serve, quay: Path) -> None:
    """The same card of the same day has the same code; in another language it is another card."""
    person = serve()
    assert person.make_card() == person.make_card()
    german = person.post("/cards", person.get("/").form("/cards") | {"task": "oil", "language": "de"}).headers["location"]
    assert "Warnhinweise" in person.get(german).text
    assert len(list((quay / "cards").glob("*.json"))) == 2
    assert person.get("/cards").text.count("not yet") == 2


def test_what_cannot_be_written_is_said_and_the_form_comes_back(serve: Serve, quay: Path) -> None:
    """The folder of records is a file: nothing is recorded, and nothing typed is lost."""
    person = serve()
    address = person.make_card()
    verdict = handed_in(person, address)
    (quay / "records").write_text("in the way")
    page = confirmed(person, address, verdict)
    assert page.status == 422
    assert "cannot be written" in page.text
    assert 'value="2024-03-01T08:45"' in page.text
    (quay / "records").unlink()
    again = person.post(address, person.fill_in(address) | page.form(address))
    assert confirmed(person, address, again).status == 200


def test_a_fault_while_writing_leaves_the_form_open(serve: Serve, quay: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The program fails before anything is written: the same yes may be said again, and then it is written."""
    person = serve()
    address = person.make_card()
    verdict = handed_in(person, address)

    def fail(*_: object) -> None:
        message = "no luck"
        raise RuntimeError(message)

    with monkeypatch.context() as patched:
        patched.setattr("intervals.serve.site_desk.SiteDesk.write", fail)
        assert confirmed(person, address, verdict).status == 500
    assert len(services(quay)) == 1
    assert confirmed(person, address, verdict).status == 200
    assert len(services(quay)) == 2


def test_a_form_of_odd_bytes_breaks_nothing(serve: Serve, quay: Path) -> None:
    """Fields twice, no UTF-8, thousands of names: a page comes back, and nothing is written."""
    person = serve()
    address = person.make_card()
    token = urlencode(person.get(address).form(address))
    headers = {"Origin": f"http://{person.host}", "Content-Type": "application/x-www-form-urlencoded"}
    bodies = (
        b"&by=%ff%fe%00&by=x",
        b"&" + b"&".join(b"s%d-answer=done" % number for number in range(20_000)),
        b"&s0-answer=%F0%9F",
        b"&&&=&",
    )
    for body in bodies:
        assert person.ask("POST", address, token.encode() + body, headers).status in (200, 422)
    assert len(services(quay)) == 1


def test_a_card_counts_as_handed_in_while_a_record_of_it_stands(serve: Serve, quay: Path) -> None:
    """A kept file alone says nothing; a record does, until it is taken back."""
    person = serve()
    address = person.make_card()
    code = address.rsplit("/", 1)[-1]
    shelf = CardShelf(quay)
    (quay / "records").mkdir(exist_ok=True)
    (quay / "records" / f"{code}.card.json").write_text("{}", "utf-8")
    assert not shelf.is_handed_in(code)
    confirmed(person, address, handed_in(person, address))
    assert shelf.is_handed_in(code)
    assert [listed.is_handed_in for listed in shelf.listed()] == [True]
    undo(load_site(quay), Undoing(code, "wrong engine", "A. Person", NOW))
    assert not shelf.is_handed_in(code)


def test_a_figure_that_cannot_be_is_said_beside_its_field(serve: Serve, quay: Path) -> None:
    """An hour meter of twelve digits: no words of a library, nothing above the form; it can be corrected."""
    person = serve()
    address = person.make_card()
    page = person.post(address, person.fill_in(address, hour_meter_h="999999999999"))
    assert page.status == 422
    assert '<p class="wrong" id="hour_meter_h-wrong" lang="en">no hour meter shows this' in page.text
    assert "Input should" not in page.text
    assert not (quay / "records").exists()


def test_an_engine_that_is_not_there_is_told_without_options_of_a_terminal(serve: Serve) -> None:
    """Whoever reads a page has no options to correct."""
    person = serve()
    made = person.post("/cards", person.get("/").form("/cards") | {"engine": "G9", "task": "oil"})
    assert made.status == 422
    assert "no engine &#34;G9&#34; at this site" in made.text
    assert "CLI" not in made.text
    assert "--engine" not in made.text
