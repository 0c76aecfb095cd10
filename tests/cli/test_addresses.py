"""A log that lies in an object store: what is found in it is what is found in the same files below the site's folder."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.object_store import BUCKET, ObjectStore, object_store

INTERVALS = [sys.executable, "-m", "intervals"]
SAMPLES = Path("sample_logs")


@pytest.fixture(scope="module")
def store() -> Iterator[ObjectStore]:
    """Return an object store."""
    with object_store() as made:
        yield made


def moved(store: ObjectStore, sample: str, folder: Path) -> Path:
    """Return a copy of a sample site of which the log lies in the store."""
    site = folder / sample
    shutil.copytree(SAMPLES / sample, site)
    for log in ("readings", "gas"):
        for path in sorted((site / log).glob("*")):
            store.put(f"{sample}/{log}/{path.name}", path)
        shutil.rmtree(site / log, ignore_errors=True)
    text = (site / "site.yaml").read_text(encoding="utf-8")
    for log in ("readings", "gas"):
        text = text.replace(f'files: ["{log}/', f'files: ["s3://{BUCKET}/{sample}/{log}/')
    (site / "site.yaml").write_text(text, encoding="utf-8")
    return site


def asked(store: ObjectStore, *command: str) -> subprocess.CompletedProcess[str]:
    """Return what a command says to whom may read the store."""
    environment = {**os.environ, **store.environment}
    return subprocess.run([*INTERVALS, *command], capture_output=True, text=True, env=environment, check=False)


@pytest.mark.slow
@pytest.mark.parametrize("sample", ["brackwater", "harbour-clinic", "skerry-island"])
def test_findings_are_those_of_the_folder(store: ObjectStore, sample: str, tmp_path: Path) -> None:
    """Text files, a workbook and Parquet files: the same findings, and each row and fault under the address of its file."""
    options = ("--as-of", "2026-10-31", "--format", "json")
    here, there = (asked(store, "check", site, *options) for site in (str(SAMPLES / sample), str(moved(store, sample, tmp_path))))
    assert (there.returncode, there.stderr) == (here.returncode, here.stderr)
    assert there.stdout.replace(f"s3://{BUCKET}/{sample}/", "") == here.stdout
    assert here.returncode in (0, 1)


@pytest.mark.slow
def test_a_statement_holds_the_digests_of_addressed_files(store: ObjectStore, tmp_path: Path) -> None:
    """The digest of each file of the log stands beside its address."""
    site = moved(store, "harbour-clinic", tmp_path)
    made = asked(store, "statement", str(site), "--month", "2026-09")
    assert made.returncode == 0, made.stderr
    path = site / "statements" / "2026-09.json"
    files = {entry["path"]: entry["sha256"] for entry in json.loads(path.read_text(encoding="utf-8"))["inputs"]}
    content = (SAMPLES / "harbour-clinic" / "readings" / "weekly.xlsx").read_bytes()
    assert files[f"s3://{BUCKET}/harbour-clinic/readings/weekly.xlsx"] == hashlib.sha256(content).hexdigest()


def test_an_address_that_names_nothing(store: ObjectStore, tmp_path: Path) -> None:
    """A bucket that is not there, a pattern that nothing matches, a password: one problem each, with the place in the site file."""
    site = tmp_path / "site"
    shutil.copytree(SAMPLES / "harbour-clinic", site)
    text = (site / "site.yaml").read_text(encoding="utf-8")
    for address, said in (
        ("s3://no-such-bucket/*.xlsx", "REA016"),
        (f"s3://{BUCKET}/nothing/*.xlsx", "REA001"),
        ("s3://key:very-secret@bucket/*.xlsx", "no name, password or port"),
    ):
        (site / "site.yaml").write_text(text.replace("readings/weekly.xlsx", address), encoding="utf-8")
        told = asked(store, "check", str(site), "--as-of", "2026-10-31")
        assert told.returncode == 2
        assert said in told.stderr
        assert "$.readings.files" in told.stderr
        assert "1 problem" in told.stderr or told.stderr.count("$.readings") == 1
        assert "very-secret" not in told.stderr
