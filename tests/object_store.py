"""An object store on this machine, which a program reaches as it reaches any other: by address, and by what its environment says."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pyarrow import fs

BUCKET = "plant-log"
STARTED_WITHIN_S = 60
_KEYS = {"AWS_ACCESS_KEY_ID": "made-up-key", "AWS_SECRET_ACCESS_KEY": "made-up-secret", "AWS_DEFAULT_REGION": "us-east-1"}


class ObjectStore:
    """A store with one bucket.

    Args:
        endpoint: where it answers.
    """

    def __init__(self, endpoint: str) -> None:
        self.environment = {**_KEYS, "AWS_ENDPOINT_URL": endpoint, "AWS_EC2_METADATA_DISABLED": "true"}
        self._system = fs.S3FileSystem(
            access_key=_KEYS["AWS_ACCESS_KEY_ID"],
            secret_key=_KEYS["AWS_SECRET_ACCESS_KEY"],
            region="us-east-1",
            endpoint_override=endpoint,
            allow_bucket_creation=True,
        )

    def make_bucket(self) -> None:
        """Make the bucket."""
        self._system.create_dir(BUCKET)

    def put(self, key: str, content: bytes | Path) -> str:
        """Keep an object; return its address."""
        with self._system.open_output_stream(f"{BUCKET}/{key}") as stream:
            stream.write(content.read_bytes() if isinstance(content, Path) else content)
        return f"s3://{BUCKET}/{key}"


@contextmanager
def object_store() -> Iterator[ObjectStore]:
    """Yield a store in a process of its own, which ends with it."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    command = [sys.executable, "-W", "ignore", "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ, **_KEYS})
    try:
        latest_s = time.monotonic() + STARTED_WITHIN_S
        while time.monotonic() < latest_s:
            with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
                break
            time.sleep(0.1)
        store = ObjectStore(f"http://127.0.0.1:{port}")
        store.make_bucket()
        yield store
    finally:
        process.terminate()
        process.wait()
