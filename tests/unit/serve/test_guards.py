"""Which requests are meant for this server, and which posts its own pages have sent."""

from __future__ import annotations

import re
from base64 import b64encode
from hashlib import sha256
from ipaddress import ip_address

import pytest
from werkzeug.datastructures import Headers

from intervals.serve.guards import Hosts, headers_of_page, headers_of_report, is_from_here

LOOPBACK = Hosts(ip_address("127.0.0.1"), 8460)
ONE = Hosts(ip_address("192.0.2.10"), 8460, ["engines.plant.example"])
ANY = Hosts(ip_address("0.0.0.0"), 80)
SIX = Hosts(ip_address("::1"), 8460)


@pytest.mark.parametrize(
    ("hosts", "asked"),
    [
        (LOOPBACK, "127.0.0.1:8460"),
        (LOOPBACK, "LocalHost:8460"),
        (ONE, "192.0.2.10:8460"),
        (ONE, "Engines.Plant.example:8460"),
        (ONE, "engines.plant.example"),
        (ANY, "198.51.100.3"),
        (ANY, "localhost:80"),
        (SIX, "[::1]:8460"),
        (SIX, "[0:0:0:0:0:0:0:1]:8460"),
        (SIX, "localhost:8460"),
    ],
)
def test_own_names_are_answered(hosts: Hosts, asked: str) -> None:
    """The address listened on, the loopback's name, names that were stated; on every address any address, for none can be led elsewhere."""
    assert hosts.allows(asked)


@pytest.mark.parametrize(
    ("hosts", "asked"),
    [
        (LOOPBACK, None),
        (LOOPBACK, ""),
        (LOOPBACK, "127.0.0.1"),
        (LOOPBACK, "127.0.0.1:80"),
        (LOOPBACK, "evil.example:8460"),
        (LOOPBACK, "127.0.0.1.evil.example:8460"),
        (LOOPBACK, "127.0.0.1:8460, evil.example"),
        (LOOPBACK, "evil.example@127.0.0.1:8460"),
        (LOOPBACK, "127.0.0.1:8460/"),
        (LOOPBACK, "127.0.0.1:8460\n"),
        (LOOPBACK, "127.1:8460"),
        (ONE, "localhost:8460"),
        (ONE, "127.0.0.1:8460"),
        (ONE, "xengines.plant.example:8460"),
        (ANY, "evil.example"),
        (SIX, "::1:8460"),
        (SIX, "127.0.0.1:8460"),
    ],
)
def test_other_names_are_not(hosts: Hosts, asked: str | None) -> None:
    """A name that somebody has pointed at this machine, another port, two names in one header."""
    assert not hosts.allows(asked)


HOST = {"Host": "127.0.0.1:8460"}


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://127.0.0.1:8460"},
        {"Origin": "https://127.0.0.1:8460", "Sec-Fetch-Site": "same-origin"},
        {"Referer": "http://127.0.0.1:8460/card/X"},
    ],
)
def test_a_post_of_an_own_page_is_let_in(headers: dict[str, str]) -> None:
    """The browser says that it was sent from here."""
    assert is_from_here(Headers(HOST | headers))


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "null"},
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1"},
        {"Origin": "http://127.0.0.1:84600"},
        {"Origin": "http://127.0.0.1:8460.evil.example"},
        {"Origin": "http://x@127.0.0.1:8460"},
        {"Origin": "file://127.0.0.1:8460"},
        {"Origin": "http://[:8460"},
        {"Origin": "http://127.0.0.1:8460", "Sec-Fetch-Site": "cross-site"},
        {"Origin": "http://evil.example", "Referer": "http://127.0.0.1:8460/"},
        {"Referer": "http://evil.example/?http://127.0.0.1:8460"},
    ],
)
def test_a_post_of_another_page_is_not(headers: dict[str, str]) -> None:
    """One that says where it comes from and it is elsewhere, and one that says nothing."""
    assert not is_from_here(Headers(HOST | headers))


def test_the_policy_names_the_scripts_of_a_report_and_no_other() -> None:
    """Each script that stands in the page by its digest; the server's own pages have none."""
    policy = headers_of_report("<script>one()</script><p><script>two()</script>")["Content-Security-Policy"]
    for script in ("one()", "two()"):
        assert b64encode(sha256(script.encode()).digest()).decode() in policy
    assert "script-src 'none'" in headers_of_report("<p>")["Content-Security-Policy"]
    own = headers_of_page("p {}")
    assert re.fullmatch(
        r"default-src 'none'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; style-src 'sha256-[^' ]+'",
        own["Content-Security-Policy"],
    )
    assert own["X-Content-Type-Options"] == "nosniff"
