"""`intervals report` for more than a dozen engines: an overview, a page for each engine, links both ways, all of it or nothing."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from html import unescape
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from freezegun import freeze_time

from intervals.site.model import Site
from tests.cli.conftest import Run
from tests.site_maker import done, steady, task, write_site

NOON = "2024-05-02T12:00:00+00:00"
HOSTILE = '<b>"x"</b>/../&'
ENGINES = ("G1", "g1", "CON", HOSTILE, *(f"E{number}" for number in range(1, 10)))
_LINK = re.compile(r'<a href="([^"]*)"')
_ID = re.compile(r'\bid="([^"]*)"')


def write_fleet(folder: Path, ids: tuple[str, ...] = ENGINES) -> Site:
    """Write a site of some engines: each runs 10 h a day; oil every 500 h, hoses yearly; the first engine's oil was never changed."""
    engines = [
        {"id": each, "title": f"Engine {place}", "in_service": "2024-01-01", "meter_at_start_h": 0} for place, each in enumerate(ids)
    ]
    rows = [row for each in ids for row in steady("2024-01-01", "2024-05-01", 10, engine=each, load_kw=90)]
    tasks = [
        task(every={"running_hours": 500}, tolerance_pct=10, title="Change <oil>"),
        task("hoses", every={"calendar": "P1Y"}, title="Look at the hoses"),
        task("frame", every={"calendar": "P4Y"}, title="Look at the frame"),
    ]
    services = [done("oil", "2024-02-15", engine=each) for each in ids[1:]] + [done("oil", "2024-04-01", engine=each) for each in ids[2:]]
    return write_site(folder, tasks, rows, engines=engines, services=services)


def reported(run: Run, site: Path, out: Path, *words: str) -> str:
    """Write the report of April; return what was printed."""
    with freeze_time(NOON):
        result = run("report", site, "--month", "2024-04", "--out", out, *words)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


@pytest.fixture
def fleet(run: Run, tmp_path: Path) -> Path:
    """Return the folder of a fleet's report."""
    write_fleet(tmp_path / "site")
    reported(run, tmp_path / "site", tmp_path / "out")
    return tmp_path / "out"


def test_thirteen_engines_get_an_overview_and_a_page_each(run: Run, tmp_path: Path) -> None:
    """Thirteen pages whose names differ in more than capital letters; one engine fewer stays on one page."""
    site = write_fleet(tmp_path / "site")
    told = reported(run, site.folder, tmp_path / "out")
    assert "index.html, findings.xlsx, due.ics, findings.csv, findings.json, engines/ (13 pages)" in " ".join(told.split())
    names = [path.name for path in (tmp_path / "out/engines").iterdir()]
    assert len({name.casefold() for name in names}) == len(ENGINES) == 13
    assert {f"E{number}.html" for number in range(1, 10)} <= set(names)
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+\.html", name) and not name.casefold().startswith("con.") for name in names)
    smaller = write_fleet(tmp_path / "smaller", ENGINES[:12])
    reported(run, smaller.folder, tmp_path / "one")
    assert not (tmp_path / "one/engines").exists()


def test_links_lead_both_ways_and_nowhere_else(fleet: Path) -> None:
    """Every link of every page leads to a file of the report and a place in it; the overview leads to each page and each page back."""
    pages = {path: path.read_text("utf-8") for path in (fleet / "index.html", *(fleet / "engines").iterdir())}
    ids = {path: set(map(unescape, _ID.findall(text))) for path, text in pages.items()}
    led_to: dict[Path, set[Path]] = {}
    for path, text in pages.items():
        for address in map(unescape, _LINK.findall(text)):
            parts = urlsplit(address)
            assert not parts.scheme
            assert not parts.netloc
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            assert target in pages
            assert not parts.fragment or unquote(parts.fragment) in ids[target]
            led_to.setdefault(path, set()).add(target)
    assert led_to[fleet / "index.html"] >= set(pages) - {fleet / "index.html"}
    assert all(fleet / "index.html" in led_to[path] for path in pages)


def test_no_page_asks_anybody_for_anything(fleet: Path) -> None:
    """No address but those of the drawing language; no markup from a file; styles and scripts stand inside."""
    for path in (fleet / "index.html", *(fleet / "engines").iterdir()):
        text = path.read_text("utf-8")
        assert set(re.findall(r"https?://[^\s\"'<]+", text)) == set()
        assert not re.search(r"<(?:link|img|iframe)|\bsrc=|@import|url\((?!#)", text)
        assert "<b>&#34;x" not in text
        assert HOSTILE not in text
        assert "<oil>" not in text


def test_the_overview_holds_what_the_pages_hold(fleet: Path) -> None:
    """39 tasks; in the matrix each task of each engine as findings.json has it, and on each page its own three."""
    found = json.loads((fleet / "findings.json").read_text("utf-8"))
    overview = (fleet / "index.html").read_text("utf-8")
    rows = re.findall(r'<tr><th scope="row">.*?</tr>', overview[overview.index('id="matrix"') :].split("</table>")[0], re.DOTALL)
    assert len(rows) == 13
    cells = [re.findall(r'<td class="?(\w+)', row) for row in rows]
    by_engine = [[each["standing"] for each in found["findings"] if each["engine"] == engine] for engine in ENGINES]
    assert cells == by_engine
    # 1,210 h since new of 500; 760 h since 15 February; 300 h since 1 April, with every other engine
    assert [row[0] for row in by_engine] == ["overdue", "overdue", *["in_interval"] * 11]
    assert "2 of 39 tasks are overdue" in overview
    pages = [path.read_text("utf-8") for path in (fleet / "engines").iterdir()]
    assert all(page.count("<article ") == 3 for page in pages)
    assert sum("1 of 3 tasks is overdue" in page for page in pages) == 2


def test_processes_give_the_same_pages(run: Run, tmp_path: Path, fleet: Path) -> None:
    """One process or two, the first report or one over an older one: the same bytes in every file."""
    reported(run, tmp_path / "site", tmp_path / "two", "--jobs", "2")
    reported(run, tmp_path / "site", tmp_path / "two", "--jobs", "2")
    files = sorted(path.relative_to(fleet) for path in fleet.rglob("*") if path.is_file())
    assert files == sorted(path.relative_to(tmp_path / "two") for path in (tmp_path / "two").rglob("*") if path.is_file())
    assert all((fleet / path).read_bytes() == (tmp_path / "two" / path).read_bytes() for path in files)


def test_json_and_csv_are_those_of_check(run: Run, tmp_path: Path, fleet: Path) -> None:
    """What check --month prints, byte for byte."""
    for name in ("json", "csv"):
        with freeze_time(NOON):
            run("check", tmp_path / "site", "--month", "2024-04", "--format", name, "--output", tmp_path / name)
        assert (fleet / f"findings.{name}").read_bytes() == (tmp_path / name).read_bytes()


def test_the_calendar_holds_a_year(fleet: Path) -> None:
    """Oil and hoses of thirteen engines fall due within a year of 30 April 2024, the frame in four years."""
    calendar = (fleet / "due.ics").read_bytes()
    assert calendar.count(b"BEGIN:VEVENT") == 26
    assert b"frame" not in calendar


def test_a_page_of_an_engine_that_is_gone_goes_too(run: Run, tmp_path: Path, fleet: Path) -> None:
    """The folder of pages is replaced as a whole; one that holds anything else is left alone, and nothing is written."""
    (fleet / "engines/old.html").write_text("old", "utf-8")
    reported(run, tmp_path / "site", fleet)
    assert not (fleet / "engines/old.html").exists()
    (fleet / "engines/mine.txt").write_text("mine", "utf-8")
    before = (fleet / "index.html").read_bytes()
    with freeze_time(NOON):
        result = run("report", tmp_path / "site", "--month", "2024-03", "--out", fleet)
    assert (result.exit_code, "CLI110" in result.stderr, "mine.txt" in result.stderr) == (2, True, True)
    assert (fleet / "index.html").read_bytes() == before
    assert sorted(path.name for path in fleet.iterdir()) == [
        "due.ics",
        "engines",
        "findings.csv",
        "findings.json",
        "findings.xlsx",
        "index.html",
    ]


KILLED = """
import os, signal, sys
from intervals.cli.main import app
left = [int(sys.argv.pop())]
real = os.fsync

def fsync(descriptor):
    left[0] -= 1
    if not left[0]:
        os.kill(os.getpid(), signal.SIGKILL)
    real(descriptor)

os.fsync = fsync
app(sys.argv[1:])
"""


@pytest.mark.parametrize("call", [1, 7, 14, 18, 19])
def test_a_report_that_is_killed_leaves_no_set_that_looks_whole(tmp_path: Path, call: int) -> None:
    """Killed at its first page, among them, at the files, at the folder: no folder under the name that was asked for."""
    write_fleet(tmp_path / "site")
    words = ("report", tmp_path / "site", "--month", "2024-04", "--out", tmp_path / "out", "--jobs", "1", call)
    ended = subprocess.run([sys.executable, "-c", KILLED, *map(str, words)], check=False, capture_output=True, cwd=tmp_path)
    assert ended.returncode == -signal.SIGKILL
    assert not (tmp_path / "out").exists()
