"""The workers of a real cluster read the log themselves: one of them is killed half way, and the findings are those of one machine."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.test_addresses import moved
from tests.local_cluster import local_cluster
from tests.object_store import object_store

# in a process of its own: the library's threads and warnings are not those of the tests
KILLS_ONE = """
import os, signal, sys
from datetime import date
from pathlib import Path
from intervals.cluster import connected
from intervals.questions.check import engine_groups
from intervals.questions.check.assess import assess_site
from intervals.questions.check.findings_document import findings_text
from intervals.readings import cut_pieces, read_on_workers
from intervals.site.model import load_site

address, folder, when, pid = sys.argv[1], Path(sys.argv[2]), float(sys.argv[3]), int(sys.argv[4])
engine_groups.MOST_ENGINES = 1
cut_pieces.BYTES_A_PIECE = 50_000
read_on_workers.FEWEST_ROWS_A_SHARE = 5_000
read_on_workers.FAN_IN = 2
site, killed = load_site(folder), []

def progress(_stage, share):
    if share >= when and not killed:
        killed.append(pid)
        os.kill(pid, signal.SIGKILL)

with connected(address, engine_groups.program) as workers:
    def ahead():
        found = read_on_workers.read_on_workers(site, workers, now_us=None)
        assert found is not None, "this machine had to read"
        return found
    findings = assess_site(site, date(2026, 10, 31), workers=workers, ahead=ahead, progress=progress)
assert killed
sys.stdout.write(findings_text(findings))
"""
ALONE = """
import sys
from datetime import date
from pathlib import Path
from intervals import assess, read_site
from intervals.questions.check.findings_document import findings_text
sys.stdout.write(findings_text(assess(read_site(sys.argv[1]), date(2026, 10, 31))))
"""


def _said(code: str, *given: str, environment: dict[str, str] | None = None) -> str:
    """Return what a program says; it must end well."""
    done = subprocess.run(
        [sys.executable, "-c", code, *given], capture_output=True, text=True, check=False, env={**os.environ, **(environment or {})}
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.slow
@pytest.mark.parametrize("sample", ["brackwater", "skerry-island"])
@pytest.mark.parametrize("when", [0.0, 0.5])
def test_a_worker_dies_half_way(sample: str, when: float, tmp_path: Path) -> None:
    """Killed before the log is read, or when some engines were judged: what it had is read and judged anew; the bytes are the same."""
    folder = f"sample_logs/{sample}"
    with local_cluster(tmp_path, threads=(1, 1)) as cluster:
        shared = _said(KILLS_ONE, cluster.address, folder, str(when), str(cluster.workers[0].pid))
    assert shared == _said(ALONE, folder)


@pytest.mark.slow
def test_workers_read_from_an_object_store(tmp_path: Path) -> None:
    """The workers' own environment lets them in; one of them is killed, and the bytes are those of one machine."""
    with object_store() as store:
        folder = str(moved(store, "skerry-island", tmp_path))
        environment = {**os.environ, **store.environment}
        with local_cluster(tmp_path, threads=(1, 1), environment=environment) as cluster:
            shared = _said(KILLS_ONE, cluster.address, folder, "0.5", str(cluster.workers[0].pid), environment=store.environment)
        assert shared == _said(ALONE, folder, environment=store.environment)


@pytest.mark.slow
def test_workers_without_access_are_sent_the_rows(tmp_path: Path) -> None:
    """Workers that may not read the store judge what this machine reads; nothing is said of it, and the bytes are the same."""
    with object_store() as store:
        folder = str(moved(store, "skerry-island", tmp_path))
        closed = {**os.environ, "AWS_ENDPOINT_URL": "http://127.0.0.1:9", "AWS_EC2_METADATA_DISABLED": "true"}
        command = [sys.executable, "-m", "intervals", "check", folder, "--as-of", "2026-10-31", "--format", "json"]
        mine = {**os.environ, **store.environment}
        with local_cluster(tmp_path, threads=(1,), environment=closed) as cluster:
            alone, shared = (
                subprocess.run([*command, *more], capture_output=True, text=True, check=False, env=mine)
                for more in ((), ("--cluster", cluster.address))
            )
    assert (shared.returncode, shared.stderr, shared.stdout) == (alone.returncode, "", alone.stdout)
