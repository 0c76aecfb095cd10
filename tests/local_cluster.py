"""A cluster of two workers on this machine: a scheduler and two processes, which can be killed."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import NamedTuple

STARTED_WITHIN_S = 60
WAITS = "import sys; from distributed import Client; Client(sys.argv[1]).wait_for_workers(int(sys.argv[2]), timeout=int(sys.argv[3]))"


class LocalCluster(NamedTuple):
    """A cluster: the address of its scheduler, and its workers."""

    address: str
    workers: tuple[subprocess.Popen[bytes], ...]


def _started(held: ExitStack, environment: Mapping[str, str] | None, *command: str) -> subprocess.Popen[bytes]:
    """Start a part of the cluster, which ends with the test."""
    process = held.enter_context(
        subprocess.Popen([sys.executable, "-m", "dask", *command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment)
    )
    held.callback(process.terminate)
    return process


@contextmanager
def local_cluster(folder: Path, threads: Sequence[int] = (1, 2), environment: Mapping[str, str] | None = None) -> Iterator[LocalCluster]:
    """Yield a cluster of a worker for each number of threads.

    Args:
        folder: where the scheduler writes its address.
        threads: of each worker.
        environment: of the workers; None: that of the tests.
    """
    file = folder / "scheduler.json"
    with ExitStack() as held:
        _started(held, None, "scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", str(file))
        command = ("worker", "--no-dashboard", "--no-nanny", "--scheduler-file", str(file), "--nthreads")
        workers = tuple(_started(held, environment, *command, str(count)) for count in threads)
        latest_s = time.monotonic() + STARTED_WITHIN_S
        while time.monotonic() < latest_s and not (file.exists() and file.stat().st_size):
            time.sleep(0.1)
        address = str(json.loads(file.read_text(encoding="utf-8"))["address"])
        subprocess.run([sys.executable, "-c", WAITS, address, str(len(threads)), str(STARTED_WITHIN_S)], capture_output=True, check=True)
        yield LocalCluster(address, workers)
