"""`intervals check --cluster`: the workers of a real cluster give the same bytes as this machine alone."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from intervals.cluster import connected
from intervals.problems import RequestProblemError
from intervals.questions.check.engine_groups import program
from tests.cli.test_report_fleet import write_fleet
from tests.local_cluster import local_cluster

SAMPLE = "sample_logs/brackwater"
# in a process of their own: the library's threads and warnings are not those of the tests
CHECK = [sys.executable, "-m", "intervals", "check"]


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Return the address of the scheduler of a cluster with two workers on this machine, one of them with two threads."""
    with local_cluster(tmp_path_factory.mktemp("cluster")) as made:
        yield made.address


@pytest.mark.slow
@pytest.mark.parametrize("asked", [("--as-of", "2026-10-31"), ("--month", "2026-09", "--engine", "G2", "--engine", "G3")])
def test_a_cluster_gives_the_same_bytes(address: str, asked: tuple[str, ...]) -> None:
    """The whole sample site, and some of its engines over a month; the exit codes are the same, and nothing is said besides."""
    alone, shared = (
        subprocess.run([*CHECK, SAMPLE, *asked, "--format", "json", *more], capture_output=True, check=False)
        for more in ((), ("--cluster", address))
    )
    assert (shared.returncode, shared.stderr) == (alone.returncode, b"")
    assert shared.stdout == alone.stdout
    assert alone.returncode in (0, 1)


@pytest.mark.slow
def test_nobody_answers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A port on which no scheduler listens is refused, and no output file is written."""
    monkeypatch.setattr("intervals.cluster.WAIT_S", 1)
    refused = pytest.raises(RequestProblemError, match=r"CLI140 --cluster\n    tcp://127.0.0.1:9: no scheduler answers there")
    with refused, connected("tcp://127.0.0.1:9", program):
        pytest.fail("somebody answers")
    assert list(tmp_path.iterdir()) == []


def test_options_that_have_no_place_beside_it(tmp_path: Path) -> None:
    """The workers judge, so that no number of processes is wanted; and the page of a month is made by one process."""
    for more, option in ((("--jobs", "2"), "--jobs"), (("--html", str(tmp_path / "page.html")), "--html")):
        told = subprocess.run([*CHECK, SAMPLE, "--cluster", "tcp://127.0.0.1:9", *more], capture_output=True, text=True, check=False)
        assert told.returncode == 2
        assert f"CLI141 {option}" in told.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_other_questions_give_the_same_bytes(address: str, tmp_path: Path) -> None:
    """A month's files, and rules that are changed: the log is read by the workers, and nothing else is different."""
    changed = ("--set", "tasks.oil-change.every.running_hours=2500", "--stops")
    asked = ["what-if", SAMPLE, "--as-of", "2026-10-31", *changed, "--format", "json"]
    alone, shared = (subprocess.run([*CHECK[:-1], *asked, *more], capture_output=True, check=True) for more in ((), ("--cluster", address)))
    assert (shared.stdout, shared.stderr) == (alone.stdout, b"")
    for folder, more in (("alone", ()), ("shared", ("--cluster", address))):
        command = [*CHECK[:-1], "report", SAMPLE, "--month", "2026-10", "--out", str(tmp_path / folder), *more]
        subprocess.run(command, capture_output=True, check=True)
    for name in ("findings.json", "findings.csv"):
        assert (tmp_path / "shared" / name).read_bytes() == (tmp_path / "alone" / name).read_bytes()


@pytest.mark.slow
def test_a_fleet_gives_the_same_pages(address: str, tmp_path: Path) -> None:
    """More engines than one page shows: the overview, and every engine's own page, of rows that the workers read."""
    site = write_fleet(tmp_path / "site").folder
    for folder, more in (("alone", ()), ("shared", ("--cluster", address))):
        command = [*CHECK[:-1], "report", str(site), "--month", "2024-04", "--out", str(tmp_path / folder), *more]
        told = subprocess.run(command, capture_output=True, check=False)
        assert (told.returncode, told.stderr) == (0, b"")
    alone, shared = (sorted(path.relative_to(tmp_path / each) for path in (tmp_path / each).rglob("*")) for each in ("alone", "shared"))
    assert alone == shared
    assert len(list((tmp_path / "shared" / "engines").iterdir())) == 13
    for name in ("findings.json", "findings.csv"):
        assert (tmp_path / "shared" / name).read_bytes() == (tmp_path / "alone" / name).read_bytes()


def test_a_report_is_made_by_one_process_beside_it(tmp_path: Path) -> None:
    """Who asks for a number of processes besides is told, and nothing is written."""
    command = [*CHECK[:-1], "report", SAMPLE, "--month", "2026-10", "--out", str(tmp_path / "out")]
    told = subprocess.run([*command, "--cluster", "tcp://127.0.0.1:9", "--jobs", "2"], capture_output=True, text=True, check=False)
    assert told.returncode == 2
    assert "CLI141 --jobs" in told.stderr
    assert list(tmp_path.iterdir()) == []
