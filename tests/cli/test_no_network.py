"""No command that reads a site asks the network for anything: with every socket refused, each does its work."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.site_maker import done, steady, task, write_site

_BLOCKED = """
import socket, sys

def refused(*_args, **_options):
    sys.stderr.write("a socket was asked for\\n")
    sys.stderr.flush()
    import os
    os._exit(97)

for name in ("getaddrinfo", "gethostbyname", "create_connection"):
    setattr(socket, name, refused)
socket.socket.connect = socket.socket.connect_ex = socket.socket.bind = refused
sys.argv[0] = "intervals"
from intervals.cli.main import app
app()
"""


@pytest.mark.parametrize(
    "words",
    [
        ["check", "{site}", "--as-of", "2026-03-31", "--format", "json", "--jobs", "2"],
        ["check", "{sites}", "--as-of", "2026-03-31", "--html", "{out}/all.html", "--xlsx", "{out}/all.xlsx", "--ics", "{out}/all.ics"],
        ["explain", "{site}", "G1", "oil", "--as-of", "2026-03-31"],
        ["report", "{site}", "--month", "2026-02", "--out", "{out}/report"],
        ["statement", "{site}", "--month", "2026-02"],
        ["plan", "{site}", "--as-of", "2026-03-31", "--output", "{out}/plan.json", "--format", "json"],
        ["card", "{site}", "G1", "--as-of", "2026-03-31", "--out", "{out}/cards"],
        ["what-if", "{site}", "--as-of", "2026-03-31", "--set", "tasks.oil.every.running_hours=400"],
        ["duty", "{site}"],
        ["log", "{site}"],
        ["rules", "list"],
        ["handbook", "fleets"],
        ["schema", "site"],
    ],
    ids=lambda words: " ".join(words[:2]),
)
def test_a_command_opens_no_socket(tmp_path: Path, words: list[str]) -> None:
    """Exit code 97 would be the socket's."""
    site = tmp_path / "sites" / "quay"
    site.mkdir(parents=True)
    rows = steady("2026-01-01", "2026-04-01", 5)
    write_site(site, [task("oil", every={"running_hours": 500}, stops_engine=True)], rows, services=[done("oil", "2026-01-01", 0)])
    (tmp_path / "out").mkdir()
    places = {"site": site, "sites": site.parent, "out": tmp_path / "out"}
    typed = [word.format(**places) for word in words]
    ran = subprocess.run([sys.executable, "-c", _BLOCKED, *typed], capture_output=True, text=True, timeout=240, check=False)
    assert "a socket was asked for" not in ran.stderr
    assert ran.returncode in (0, 1), ran.stderr
