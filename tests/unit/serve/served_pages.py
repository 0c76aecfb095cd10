"""A small site that is served: one engine, one oil change that is due, a procedure of four steps, and a person with a browser.

The clock is a fixed moment, so that every run judges the same. What a person's browser does (cookies, the origin of a post, the hidden
fields of a form) is done here by hand, so that a test can leave any of it out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from html import unescape
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode

from intervals.site.model import Site
from tests.site_maker import done, steady, task, write_site

NOW = datetime(2024, 3, 1, 12, tzinfo=UTC)
_HIDDEN = re.compile(r'<form method="post" action="([^"]*)">(.*?)</form>', re.DOTALL)
_FIELD = re.compile(r'<input type="hidden" name="([^"]+)" value="([^"]*)">')
PROCEDURE = {
    "id": "oil-and-filter",
    "tasks": ["oil"],
    "title": "Change the oil",
    "people": 1,
    "hours": 2,
    "source": "none",
    "steps": [
        {"id": "hot", "kind": "caution", "text": "Oil at running temperature burns."},
        {"id": "stopped", "kind": "check", "phase": "secure", "text": "Engine stopped and tagged."},
        {"id": "drain", "kind": "wait", "minutes": 30, "text": "Let it drain."},
        {
            "id": "filled",
            "kind": "measure",
            "value": "oil_filled_l",
            "unit": "L",
            "limits": {"at_least": 90, "at_most": 110},
            "text": "Fill.",
        },
    ],
}


def write_quay(folder: Path, *engines: str) -> Site:
    """Write the site: each engine ran ten hours a day and is to have its oil changed every 500 h; the last change was 600 h ago.

    Args:
        folder: where to write.
        engines: ids of the engines; none means G1.
    """
    ids = engines or ("G1",)
    tasks = [task(every={"running_hours": 500}, title="Change <b>oil</b>")]
    return write_site(
        folder,
        tasks,
        [row for each in ids for row in steady("2024-01-01", "2024-03-01", 10, engine=each)],
        services=[done("oil", "2024-01-01", 0.0, done_by="A. Person", engine=each) for each in ids],
        rules={"procedures": [PROCEDURE]},
        engines=[{"id": each, "meter_at_start_h": 0, "in_service": "2024-01-01"} for each in ids],
    )


@dataclass
class Page:
    """An answer: its status, its headers by small names, its text."""

    status: int
    headers: dict[str, str]
    text: str

    def form(self, action: str) -> dict[str, str]:
        """Return the hidden fields of the form that is sent to an address."""
        found = next(inner for address, inner in _HIDDEN.findall(self.text) if address == action)
        return {name: unescape(value) for name, value in _FIELD.findall(found)}


@dataclass
class Person:
    """Somebody with a browser of their own, which keeps cookies and says where a form was sent from.

    Attributes:
        port: of the server.
        cookies: what the browser keeps.
    """

    port: int
    cookies: dict[str, str] = field(default_factory=dict)

    @property
    def host(self) -> str:
        """The server as the browser is given it."""
        return f"127.0.0.1:{self.port}"

    def get(self, path: str, **headers: str) -> Page:
        """Ask for a page."""
        return self.ask("GET", path, None, headers)

    def post(self, path: str, fields: Mapping[str, str | Sequence[str]], **headers: str) -> Page:
        """Send a form from a page of the server."""
        body = urlencode(fields, doseq=True).encode()
        standard = {"Origin": f"http://{self.host}", "Content-Type": "application/x-www-form-urlencoded"}
        return self.ask("POST", path, body, standard | {name.replace("_", "-"): value for name, value in headers.items()})

    def ask(self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]) -> Page:
        """Send a request; a header that is empty is left out."""
        sent = {"Host": self.host, **headers}
        if self.cookies:
            sent["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        connection = HTTPConnection("127.0.0.1", self.port, timeout=120)
        try:
            connection.request(method, path, body, {name: value for name, value in sent.items() if value})
            answer = connection.getresponse()
            text = answer.read().decode("utf-8")
        finally:
            connection.close()
        got = {name.lower(): value for name, value in answer.getheaders()}
        if "set-cookie" in got:
            name, _, value = got["set-cookie"].partition(";")[0].partition("=")
            self.cookies[name] = value
        return Page(answer.status, got, text)

    def make_card(self, engine: str = "G1") -> str:
        """Make the card of what is due of an engine, and return its address."""
        made = self.post("/cards", self.get("/").form("/cards") | {"engine": engine, "task": "oil"})
        assert made.status == 303, made.text
        return made.headers["location"]

    def fill_in(self, address: str, **other: str) -> dict[str, str]:
        """Open a card, and return its form as somebody fills it in who did everything."""
        return self.get(address).form(address) | FILLED | other


FILLED = {
    "by": "A. Person",
    "started_at": "2024-03-01T08:00",
    "ended_at": "2024-03-01T10:00",
    "hour_meter_h": "600",
    "s0-answer": "done",
    "s1-answer": "yes",
    "s1-at": "2024-03-01T08:05",
    "s2-answer": "done",
    "s2-started_at": "2024-03-01T08:10",
    "s2-ended_at": "2024-03-01T08:45",
    "s3-answer": "done",
    "s3-value": "100,5",
    "s3-at": "2024-03-01T09:30",
    "released_by": "B. Person",
}
"""A whole card: 35 min where 30 are asked for, 100.5 L where 90 to 110 are."""
