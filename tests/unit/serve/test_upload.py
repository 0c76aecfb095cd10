"""A card that was saved as a file and is handed in: judged as every other one, and nothing that means harm gets further than the judge."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from intervals.problems import ProblemsError
from intervals.questions.card.card_models import Card
from intervals.questions.card.kept_cards import kept_card
from intervals.questions.record.handed_in import handed_in_text
from intervals.serve.app import MOST_BODY_BYTES
from intervals.serve.site_desk import SiteDesk
from intervals.serve.upload_views import MOST_UPLOADED_BYTES
from tests.filled_cards import filled
from tests.unit.serve.served_pages import Page, Person
from tests.unit.serve.test_handing_in import confirmed, files

Serve = Callable[..., Person]
UPLOAD = "/cards/hand-in"
BORDER = "a-border-that-no-file-holds"


def part(name: str, data: bytes, file: str | None = None) -> bytes:
    """Return one part of a form."""
    named = "" if file is None else f'; filename="{file}"\r\nContent-Type: application/json'
    return f'--{BORDER}\r\nContent-Disposition: form-data; name="{name}"{named}\r\n\r\n'.encode() + data + b"\r\n"


def sent(person: Person, *parts: bytes, **headers: str) -> Page:
    """Send a form of some parts from a page of the server."""
    standard = {"Origin": f"http://{person.host}", "Content-Type": f"multipart/form-data; boundary={BORDER}"}
    return person.ask("POST", UPLOAD, b"".join(parts) + f"--{BORDER}--\r\n".encode(), standard | headers)


def token_of(person: Person) -> bytes:
    """Return the part with the token of the form."""
    page = person.get("/cards").text
    return part("token", page.partition(f'action="{UPLOAD}"')[2].partition('name="token" value="')[2].partition('"')[0].encode())


def uploaded(person: Person, data: bytes, name: str = "card.json") -> Page:
    """Hand in a file as the page of the cards does."""
    return sent(person, token_of(person), part("card", data, name))


def saved(quay: Path, address: str) -> bytes:
    """Return the file that the card of an address saves when everything is done."""
    card = kept_card(quay, address.rpartition("/")[2])
    assert card is not None
    return handed_in_text(filled(card, "2024-03-01T08:00", hour_meter_h=600)).encode()


def test_a_saved_card_is_judged_first_and_written_after_a_yes(serve: Serve, quay: Path) -> None:
    """The same verdict and the same yes as of a form; the very bytes are kept, and the log names who did it."""
    person = serve()
    address = person.make_card()
    data, before = saved(quay, address), files(quay)
    code = address.rpartition("/")[2]
    verdict = uploaded(person, data, f"{code}.card (1).json")
    assert verdict.status == 200
    assert "Change &lt;b&gt;oil&lt;/b&gt;: credited" in verdict.text
    assert "Leave it" in verdict.text
    assert files(quay) == before
    written = confirmed(person, address, verdict)
    assert written.status == 200
    assert (quay / "records" / f"{code}.card.json").read_bytes() == data
    assert len((quay / "services.csv").read_text("utf-8").splitlines()) == 3
    assert "\tAB\t" in (quay / "records" / "serve.log").read_text("utf-8")
    assert confirmed(person, address, verdict).status == 409
    assert "Nothing of this card can be credited" in uploaded(person, data).text


def test_a_saved_card_can_be_left(serve: Serve, quay: Path) -> None:
    """Nothing is written, and it is said."""
    person = serve()
    address = person.make_card()
    verdict, before = uploaded(person, saved(quay, address)), files(quay)
    page = confirmed(person, address, verdict, choice="correct")
    assert page.status == 200
    assert "Nothing was written" in page.text
    assert files(quay) == before


def test_what_cannot_be_written_is_told(serve: Serve, quay: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """There is no form to go back to; the reason stands on the page, and the yes can be given again."""
    person = serve()
    address = person.make_card()
    verdict = uploaded(person, saved(quay, address))
    with monkeypatch.context() as broken:
        broken.setattr(SiteDesk, "write", _failing)
        page = confirmed(person, address, verdict)
    assert page.status == 422
    assert "Nothing was written" in page.text
    assert confirmed(person, address, verdict).status == 200


def _failing(*_: object) -> None:
    """Refuse to write."""
    raise ProblemsError([])


@pytest.mark.parametrize(
    "name",
    [
        "../../site.yaml",
        "..\\..\\site.json",
        "/etc/passwd",
        "card.html",
        "card.json.exe",
        ".json",
        "-card.json",
        "x" * 200 + ".json",
        "",
        "card\u202e.json",
    ],
)
def test_a_file_of_another_name_is_refused(serve: Serve, quay: Path, name: str) -> None:
    """A name is used for nothing, and one that no card saves is not read any further."""
    person = serve()
    data, before = saved(quay, person.make_card()), files(quay)
    assert uploaded(person, data, name).status == 422
    assert files(quay) == before


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x00" * 1000,
        b"{}",
        b"[" * 100_000,
        b'{"schema": "intervals.handed-in/1"}',
        b"\xff\xfe{}",
        b"<script>alert(1)</script>",
        b"PK\x03\x04" + b"x" * 1000,
    ],
)
def test_what_is_no_card_is_refused(serve: Serve, quay: Path, data: bytes) -> None:
    """Whatever it holds, it is said that it is none, and nothing of it stands in the page as markup."""
    person = serve()
    before = files(quay)
    page = uploaded(person, data)
    assert page.status == 422
    assert "cannot be handed in" in page.text
    assert "<script>" not in page.text
    assert files(quay) == before


def altered(data: bytes, card: Card) -> bytes:
    """Return a saved card whose card says something else, under the same code."""
    assert b"Let it drain." in data
    assert card.code.encode() in data
    return data.replace(b"Let it drain.", b"Do not drain.")


def test_an_altered_card_and_one_of_no_site_are_refused(serve: Serve, quay: Path) -> None:
    """An altered card has no longer its code, so that nothing of it is credited; a code that the site does not keep is none of its own."""
    person = serve()
    address = person.make_card()
    data = saved(quay, address)
    card = kept_card(quay, address.rpartition("/")[2])
    assert card is not None
    before = files(quay)
    assert "Nothing of this card can be credited" in uploaded(person, altered(data, card)).text
    other = uploaded(person, data.replace(card.code.encode(), b"0000-0000-0000-0000"))
    assert other.status == 422
    assert "keeps no card of this code" in other.text
    assert files(quay) == before


def test_a_file_that_is_too_large_is_not_read(serve: Serve, quay: Path) -> None:
    """The file by its own bound, the request by that of every request, and a form of many parts by their number."""
    person = serve()
    before = files(quay)
    assert uploaded(person, b" " * (MOST_UPLOADED_BYTES + 1)).status == 413
    assert uploaded(person, b" " * MOST_BODY_BYTES).status == 413
    assert sent(person, token_of(person), *(part(f"p{number}", b"x") for number in range(50))).status == 413
    assert files(quay) == before


def test_a_form_without_its_token_or_from_elsewhere_is_refused(serve: Serve, quay: Path) -> None:
    """With the right cookie: no token, one of another form or person, another site, another kind of form, two files, no file."""
    person = serve()
    address = person.make_card()
    file, before = part("card", saved(quay, address), "card.json"), files(quay)
    assert sent(person, file).status == 403
    assert sent(person, part("token", person.get("/").form("/cards")["token"].encode()), file).status == 403
    assert sent(person, token_of(Person(person.port)), file).status == 403
    token = token_of(person)
    assert sent(person, token, file, Origin="http://evil.example").status == 403
    assert sent(person, token, file, **{"Content-Type": "application/x-www-form-urlencoded"}).status == 415
    assert person.post(UPLOAD, {"card": "x"}).status == 415
    assert sent(person, token, file, file).status == 422
    assert sent(person, token).status == 422
    assert person.get(UPLOAD).status == 405
    assert files(quay) == before
