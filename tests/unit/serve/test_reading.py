"""Pages to read, who may read them, and what every answer carries."""

from __future__ import annotations

from collections.abc import Callable
from http.client import HTTPConnection
from pathlib import Path

import pytest

from tests.unit.serve.served_pages import Person

Serve = Callable[..., Person]
PHRASE = "slate rivet moon harbour"
PAGES = ("/", "/cards", "/month", "/month/2024-02")


def entered(person: Person, phrase: str = PHRASE) -> int:
    """Enter a passphrase, and return the status."""
    return person.post("/enter", person.get("/enter").form("/enter") | {"passphrase": phrase}).status


def test_what_is_due_stands_first_and_every_text_is_escaped(serve: Serve) -> None:
    """The most urgent of each engine, with a form to make a card of it; the title of the rule set's task is no markup."""
    page = serve().get("/")
    assert page.status == 200
    assert "1 overdue, 0 upcoming" in page.text
    assert "Change &lt;b&gt;oil&lt;/b&gt;" in page.text
    assert "600 / 500 h" in page.text
    assert "Judged 1 March 2024, 12:00 (UTC)." in page.text


def test_the_page_of_a_month_is_the_report_s_own(serve: Serve) -> None:
    """This month as of now, an earlier one at its end; its own scripts run and nothing else."""
    person = serve()
    assert person.get("/month").headers["location"] == "/month/2024-03"
    page = person.get("/month/2024-02")
    assert "Maintenance intervals, February 2024" in page.text
    assert page.headers["content-security-policy"].startswith(
        "default-src 'none'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    )
    assert "script-src 'sha256-" in page.headers["content-security-policy"]
    assert "1 March 2024, 12:00 (UTC)" in person.get("/month/2024-03").text


@pytest.mark.parametrize("month", ["2024-04", "2023-02", "2024-13", "0000-00", "now", "2024-03%00", "../../etc/passwd"])
def test_other_months_are_not_drawn(serve: Serve, month: str) -> None:
    """One to come, one too long ago, and what is none."""
    assert serve().get(f"/month/{month}").status in (404, 422)


@pytest.mark.parametrize("path", [*PAGES, "/enter", "/nothing", "/card/0000-0000-0000-0000"])
def test_every_answer_guards_itself(serve: Serve, path: str) -> None:
    """No other site may frame it, load it or learn of it; no request leaves it; nobody keeps it; nobody learns what serves it."""
    headers = serve().get(path).headers
    assert headers["content-security-policy"].startswith("default-src 'none'; ")
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cache-control"] == "no-store"
    assert headers["cross-origin-opener-policy"] == headers["cross-origin-resource-policy"] == "same-origin"
    assert "server" not in headers
    assert "access-control-allow-origin" not in headers


def test_there_is_one_cookie_and_it_keeps_to_itself(serve: Serve) -> None:
    """No script reads it, no other site sends it; a forged one is nobody's."""
    person = serve(PHRASE)
    set_cookie = person.get("/enter").headers["set-cookie"]
    assert "HttpOnly" in set_cookie
    assert "SameSite=Strict" in set_cookie
    assert list(person.cookies) == ["intervals"]
    assert entered(person) == 303
    body, _, _ = person.cookies["intervals"].rpartition(".")
    for forged in ("", f"{body}.AAAA", "eyJpbiI6dHJ1ZX0.AAAA.AAAA", "x" * 4000):
        assert Person(person.port, {"intervals": forged}).get("/").status == 303


def test_nothing_is_shown_or_taken_before_the_passphrase(serve: Serve, quay: Path) -> None:
    """Every page, one that is not there too, leads to the form; a post is refused. Afterwards all is there, until one leaves."""
    person = serve(PHRASE)
    for path in (*PAGES, "/nothing", "/card/0000-0000-0000-0000"):
        page = person.get(path)
        assert (page.status, page.headers["location"]) == (303, "/enter")
        assert "quay" not in page.text
    assert "quay" not in person.get("/enter").text
    for path in ("/cards", "/card/0000-0000-0000-0000", "/leave"):
        assert person.post(path, {"engine": "G1", "task": "oil"}).status == 403
    assert entered(person, "slate rivet moon harbor") == 403
    assert person.get("/").status == 303
    before = person.cookies["intervals"]
    assert entered(person) == 303
    assert person.cookies["intervals"] != before
    assert person.get("/").status == 200
    assert person.post("/leave", {"token": "forged"}).status == 303
    assert person.get("/").status == 200
    assert person.post("/leave", person.get("/").form("/leave")).headers["location"] == "/enter"
    assert person.get("/").status == 303
    assert not (quay / "cards").exists()


def test_passphrases_cannot_be_tried_at_will(serve: Serve) -> None:
    """After five tries the right one has to wait too; a form of another session, or none, is not even compared."""
    person = serve(PHRASE)
    assert [entered(person, f"wrong wrong {number}") for number in range(5)] == [403] * 5
    assert entered(person) == 429


def test_a_passphrase_needs_its_own_form(serve: Serve) -> None:
    """Without the token of the form, or with that of another session, the right passphrase does not enter."""
    person = serve(PHRASE)
    assert person.post("/enter", {"passphrase": PHRASE}).status == 403
    other = Person(person.port).get("/enter").form("/enter")
    assert person.post("/enter", other | {"passphrase": PHRASE}).status == 403
    assert person.get("/").status == 303


def test_a_name_that_was_stated_is_answered(serve: Serve) -> None:
    """A proxy may stand before the server, with a port of its own."""
    person = serve(names=("engines.plant.example",))
    assert person.get("/cards", Host="engines.plant.example").status == 200
    assert person.get("/cards", Host="evil.example").status == 421


def test_a_site_that_cannot_be_judged_says_why(serve: Serve, quay: Path) -> None:
    """A broken file is told with its place; mended, the page is there again, without a new start."""
    person = serve()
    whole = (quay / "site.yaml").read_text("utf-8")
    (quay / "site.yaml").write_text(whole.replace("time_zone: UTC", "time_zone: Moon/Base"), encoding="utf-8")
    page = person.get("/")
    assert page.status == 422
    assert "site.yaml" in page.text
    (quay / "site.yaml").write_text(whole, encoding="utf-8")
    assert person.get("/").status == 200


def test_a_fault_of_the_program_is_told_where_it_was_started(
    serve: Serve, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The page says nothing of what is inside; the server goes on."""
    person = serve()

    def fail(*_: object, **__: object) -> None:
        message = "secret\ninside"
        raise RuntimeError(message)

    with monkeypatch.context() as patched:
        patched.setattr("intervals.serve.served_site.assess_site", fail)
        page = person.get("/")
        assert page.status == 500
        assert "secret" not in page.text
    assert capsys.readouterr().err == "intervals serve: an error in the program: RuntimeError: secret inside\n"
    assert person.get("/").status == 200


def test_a_page_may_be_asked_for_its_head(serve: Serve) -> None:
    """The headers come without the page."""
    person = serve()
    connection = HTTPConnection("127.0.0.1", person.port, timeout=60)
    connection.request("HEAD", "/cards", headers={"Host": person.host})
    answer = connection.getresponse()
    assert (answer.status, answer.read()) == (200, b"")
    connection.close()
