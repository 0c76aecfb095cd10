"""Requests that mean harm, sent to a real server: nothing is read that is no page, nothing is written, and it goes on answering.

What time bounds is moved, not waited for: the bounds are made small where a test has to see them reached.
"""

from __future__ import annotations

import socket
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from http.client import HTTPConnection
from pathlib import Path

import pytest

from intervals.serve import desk_of_server, web_server
from intervals.serve.app import MOST_BODY_BYTES
from intervals.serve.rates import Rate
from tests.unit.serve.served_pages import Person
from tests.unit.serve.test_handing_in import confirmed, files, handed_in

Serve = Callable[..., Person]
REQUESTS = 10_000


def sent_raw(port: int, data: bytes) -> bytes:
    """Send bytes, end the sending, and return all that comes back; nothing where the server hangs up on what it will not read."""
    answer = b""
    # OSError: it hangs up before all was sent, or says nothing more
    with socket.create_connection(("127.0.0.1", port), timeout=60) as wire, suppress(OSError):
        wire.sendall(data)
        wire.shutdown(socket.SHUT_WR)
        while part := wire.recv(65536):
            answer += part
    return answer


@pytest.mark.parametrize(
    "path",
    [
        "/../site.yaml",
        "/%2e%2e/site.yaml",
        "/..%2fsite.yaml",
        "/..%5csite.yaml",
        "/card/../../site.yaml",
        "/card/%2e%2e%2f%2e%2e%2fsite.yaml",
        "/card/..%2f..%2fservices.csv",
        "/card/%00",
        "/cards/../records/serve.log",
        "/records/serve.log",
        "/services.csv",
        "/site.yaml",
        "/static/site.yaml",
        "/month/..%2f..%2fsite.yaml",
        "//evil.example/",
        "/\\evil.example",
        "/card/" + "A" * 20_000,
        "/favicon.ico",
        "http://evil.example/site.yaml",
    ],
)
def test_no_path_leads_to_a_file(serve: Serve, path: str) -> None:
    """However it is written, there is no such page, and no answer leads anywhere else."""
    person = serve()
    answer = sent_raw(person.port, f"GET {path} HTTP/1.1\r\nHost: {person.host}\r\nConnection: close\r\n\r\n".encode())
    assert answer.split()[1] in (b"404", b"400"), answer[:200]
    assert b"time_zone" not in answer
    assert b"location:" not in answer.lower()


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Origin": "", "Referer": "http://evil.example/127.0.0.1"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
        {"Host": "evil.example"},
        {"Host": "localhost.evil.example"},
        {"Content_Type": "text/plain"},
        {"Content_Type": "application/json"},
        {"Content_Type": "multipart/form-data; boundary=x"},
        {"Content_Type": ""},
    ],
)
def test_a_post_from_elsewhere_writes_nothing(serve: Serve, quay: Path, headers: dict[str, str]) -> None:
    """With the right cookie, the right token and the right yes: what another site has a browser send is refused."""
    person = serve()
    address = person.make_card()
    verdict = handed_in(person, address)
    before = files(quay)
    page = confirmed_with(person, address, verdict.form(f"{address}/confirm"), headers)
    assert page in (403, 415, 421)
    assert files(quay) == before
    assert confirmed(person, address, verdict).status == 200


def confirmed_with(person: Person, address: str, fields: dict[str, str], headers: dict[str, str]) -> int:
    """Say yes with other headers than a page of the server sends."""
    return person.post(f"{address}/confirm", fields | {"choice": "write"}, **headers).status


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "PROPFIND"])
def test_other_methods_are_not_taken(serve: Serve, quay: Path, method: str) -> None:
    """Neither on pages nor on cards."""
    person = serve()
    address = person.make_card()
    before = files(quay)
    for path in ("/", address):
        assert person.ask(method, path, None, {"Origin": f"http://{person.host}"}).status == 405
    assert person.post("/", {}).status == 405
    assert person.get(f"{address}/confirm").status == 405
    assert files(quay) == before


def test_two_hosts_and_odd_lengths_are_refused(serve: Serve) -> None:
    """What two readers could read in two ways is read by none."""
    port = serve().port
    host = f"Host: 127.0.0.1:{port}\r\n"
    for lines in (
        f"GET / HTTP/1.1\r\n{host}Host: evil.example\r\n",
        "GET / HTTP/1.1\r\n",
        f"POST /cards HTTP/1.1\r\n{host}Content-Length: 4\r\nTransfer-Encoding: chunked\r\n",
        f"POST /cards HTTP/1.1\r\n{host}Content-Length: -1\r\n",
        f"POST /cards HTTP/1.1\r\n{host}Content-Length: 4\r\nContent-Length: 5\r\n",
        f"GET / HTTP/1.1\r\n{host}X: {'y' * 40_000}\r\n",
        f"G\x00T / HTTP/1.1\r\n{host}",
    ):
        answer = sent_raw(port, lines.encode() + b"Connection: close\r\n\r\nGET / HTTP/1.1\r\n\r\n")
        assert not answer or answer.split()[1] in (b"400", b"403", b"405", b"415", b"421", b"431", b"501"), (lines[:60], answer[:100])


def test_a_body_that_is_too_large_is_not_read(serve: Serve, quay: Path) -> None:
    """By what it says of itself, and by what comes in pieces."""
    person = serve()
    address = person.make_card()
    before = files(quay)
    head = f"POST {address} HTTP/1.1\r\nHost: {person.host}\r\nOrigin: http://{person.host}\r\nConnection: close\r\n"
    assert sent_raw(person.port, f"{head}Content-Length: 99999999999\r\n\r\n".encode()).split()[1] == b"413"
    connection = HTTPConnection("127.0.0.1", person.port, timeout=60)
    pieces = (b"x" * 65536 for _ in range(MOST_BODY_BYTES // 65536 + 2))
    # the server may have answered and closed before all was sent
    with suppress(BrokenPipeError, ConnectionResetError):
        connection.request("POST", address, pieces, {"Origin": f"http://{person.host}"}, encode_chunked=True)
        assert connection.getresponse().status == 413
    connection.close()
    assert person.post(address, {"remarks": "x" * (MOST_BODY_BYTES - 100)}).status == 409
    assert files(quay) == before


def test_a_cut_connection_writes_nothing_half(serve: Serve, quay: Path) -> None:
    """A yes that ends in its middle is none; one whose sender has gone before the answer is written whole, once."""
    person = serve()
    address = person.make_card()
    verdict = handed_in(person, address)
    fields = verdict.form(f"{address}/confirm")
    body = f"token={fields['token']}&of={fields['of']}&choice=write".encode()
    cookie = f"Cookie: intervals={person.cookies['intervals']}\r\n"
    head = (
        f"POST {address}/confirm HTTP/1.1\r\nHost: {person.host}\r\nOrigin: http://{person.host}\r\n{cookie}"
        f"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {len(body)}\r\n\r\n"
    ).encode()
    before = files(quay)
    for cut in (10, len(head), len(head) + len(body) // 2, len(head) + len(body) - 1):
        with socket.create_connection(("127.0.0.1", person.port), timeout=60) as wire:
            wire.sendall((head + body)[:cut])
    assert person.get("/cards").status == 200
    assert files(quay) == before
    with socket.create_connection(("127.0.0.1", person.port), timeout=60) as wire:
        wire.sendall(head + body)
    assert confirmed(person, address, verdict).status in (200, 409)
    # the judge does one thing after the other: this one comes after the writing
    assert "handed in before" in handed_in(person, address).text
    assert len((quay / "services.csv").read_text("utf-8").splitlines()) == 3


def test_slow_requests_keep_nobody_waiting_and_are_cut_off(serve: Serve, monkeypatch: pytest.MonkeyPatch) -> None:
    """Thirty connections that send a letter now and then: others are answered, and the slow ones are closed when their time is over."""
    monkeypatch.setattr(web_server, "REQUEST_TAKES_S", 0.0)
    monkeypatch.setattr(web_server, "LOOKS_EVERY_S", 0)
    person = serve()
    slow = [socket.create_connection(("127.0.0.1", person.port), timeout=60) for _ in range(30)]
    for wire in slow:
        wire.sendall(b"GET / HTTP/1.1\r\nX-Slow: ")
    assert person.get("/cards").status == 200
    for wire in slow:
        # closed by the server: the end of what it has to say, or a refusal to hear more
        with wire:
            assert wire.recv(1) == b""


def test_one_address_cannot_take_all_connections(serve: Serve, monkeypatch: pytest.MonkeyPatch) -> None:
    """Connections that wait for nothing give way, the oldest first: behind a proxy, where all are one address, nobody is kept out."""
    monkeypatch.setattr(web_server, "MOST_OF_ONE", 5)
    person = serve()
    held = [socket.create_connection(("127.0.0.1", person.port), timeout=60) for _ in range(5)]
    for wire in held:
        wire.sendall(f"GET /nothing HTTP/1.1\r\nHost: {person.host}\r\n\r\n".encode())
        assert wire.recv(12) == b"HTTP/1.1 404"
    slow = [socket.create_connection(("127.0.0.1", person.port), timeout=60) for _ in range(5)]
    for wire in slow:
        wire.sendall(b"GET / HTTP/1.1\r\nX-Slow: ")
    for wire in held:
        with wire:
            # its answer to the end, and then the end of the connection
            while wire.recv(4096):
                pass
    asked = f"GET /nothing HTTP/1.1\r\nHost: {person.host}\r\nConnection: close\r\n\r\n".encode()
    assert [sent_raw(person.port, asked)[:12] for _ in range(3)] == [b"HTTP/1.1 404"] * 3
    for wire in slow:
        wire.close()


@pytest.mark.slow
def test_ten_thousand_requests_are_answered_or_sent_away(serve: Serve, quay: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of one address so many are answered as its rate allows and the rest is asked to wait; what the server holds stays bounded."""
    monkeypatch.setattr(desk_of_server, "OF_ONE", Rate(300, 0.001))
    person = serve()
    address = person.make_card()
    before = files(quay)
    # two were used to make the card
    left = 298

    def ask_many(_: int) -> Counter[int]:
        counts: Counter[int] = Counter()
        connection = HTTPConnection("127.0.0.1", person.port, timeout=120)
        for _ in range(REQUESTS // 10):
            connection.request("GET", address, headers={"Host": person.host})
            answer = connection.getresponse()
            answer.read()
            counts[answer.status] += 1
        connection.close()
        return counts

    with ThreadPoolExecutor(10) as pool:
        counts = sum(pool.map(ask_many, range(10)), Counter())
    assert counts == {200: left, 429: REQUESTS - left}
    assert person.get("/").headers["retry-after"] == "30"
    assert files(quay) == before
