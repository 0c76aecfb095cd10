"""A fleet that is served: the overview of a month, and the page of each engine behind it."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import unescape
from pathlib import Path

from tests.unit.serve.served_pages import Person, write_quay

Serve = Callable[..., Person]


def test_the_overview_leads_to_each_engine_and_back(serve: Serve, quay: Path) -> None:
    """Thirteen engines: thirteen pages with their own script alone, each leads back; other names lead nowhere."""
    write_quay(quay, *(f"G{number}" for number in range(1, 13)), "North/1")
    person = serve()
    overview = person.get("/month/2024-02")
    assert overview.status == 200
    addresses = {unescape(each) for each in re.findall(r'<tr><th scope="row"><a href="([^"]+)"', overview.text)}
    assert len(addresses) == 13
    assert "/month/2024-02/engines/G1.html" in addresses
    for address in addresses:
        page = person.get(address)
        assert page.status == 200
        assert 'href="/month/2024-02"' in page.text
        assert "script-src 'sha256-" in page.headers["content-security-policy"]
    for wrong in ("/month/2024-02/engines/G99.html", "/month/2024-02/engines/..%2f..%2fsite.yaml", "/month/2024-02/engines/.html"):
        assert person.get(wrong).status == 404


def test_a_page_of_an_engine_may_be_asked_for_first(serve: Serve, quay: Path) -> None:
    """Nobody has asked for the month yet: it is drawn, and the engine's page is there; a site of one page has none."""
    write_quay(quay, *(f"G{number}" for number in range(1, 14)))
    assert "G13" in serve().get("/month/2024-02/engines/G13.html").text
    write_quay(quay)
    assert serve().get("/month/2024-02/engines/G1.html").status == 404
