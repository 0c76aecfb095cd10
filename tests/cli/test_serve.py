"""`intervals serve`: what it refuses before it listens, and a whole run of the program that ends with Ctrl-C."""

from __future__ import annotations

import importlib.util
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable
from http.client import HTTPConnection
from importlib.machinery import ModuleSpec
from pathlib import Path

import pytest
import typer
from typer.testing import Result

from tests.unit.serve.served_pages import write_quay

Run = Callable[..., Result]


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--bind", "engines.plant.example"), 'CLI193 --bind\n    not an address; got "engines.plant.example"'),
        (("--bind", "192.0.2.10"), "CLI192 --passphrase-file\n    others would reach the pages without a passphrase"),
        (("--name", "engines.plant.example"), "CLI192 --passphrase-file\n    others would reach the pages without a passphrase"),
        (("--bind", "0.0.0.0", "--passphrase-file", "short.txt"), "the passphrase has 5 characters; expected 12 to 1,000"),
        (("--passphrase-file", "missing.txt"), "CLI192 missing.txt\n    cannot be read"),
        (("--passphrase-file", "odd.txt"), "CLI192 odd.txt\n    cannot be read: it is not UTF-8 text"),
        (("--name", "http://engines.plant.example/"), "CLI193 --name\n    not the name of a machine"),
        (("--bind", "192.0.2.10", "--passphrase-file", "good.txt"), "CLI191 --bind\n    cannot listen on 192.0.2.10"),
    ],
)
def test_what_cannot_be_served_is_refused(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...], told: str
) -> None:
    """An address that is none or not this machine's, no passphrase where one is needed, a short one, a file that is not there."""
    monkeypatch.chdir(tmp_path)
    write_quay(tmp_path / "quay")
    Path("short.txt").write_text("short\nthe rest does not count\n", encoding="utf-8")
    Path("good.txt").write_text("slate rivet moon harbour\n", encoding="utf-8")
    Path("odd.txt").write_bytes(b"\xff\xfe\xff")
    result = run("serve", "quay", *options)
    assert result.exit_code == 2
    assert told in result.stderr


def test_a_terminal_is_asked_for_a_passphrase(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twice, unseen; a short one is refused like one of a file."""
    write_quay(tmp_path / "quay")
    typed: list[str] = ["slate rivet moon harbour", "short"]
    monkeypatch.setattr("intervals.cli.serve._is_terminal", lambda: True)
    monkeypatch.setattr(
        typer, "prompt", lambda *_, hide_input, confirmation_prompt, **__: typed.pop(0) if hide_input and confirmation_prompt else ""
    )
    told = [run("serve", tmp_path / "quay", "--bind", "192.0.2.10").stderr for _ in range(2)]
    assert "CLI191" in told[0]
    assert "the passphrase has 5 characters" in told[1]


def test_a_port_that_is_taken_is_refused(run: Run, tmp_path: Path) -> None:
    """Two servers do not share a port."""
    write_quay(tmp_path / "quay")
    with socket.create_server(("127.0.0.1", 0)) as taken:
        result = run("serve", tmp_path / "quay", "--port", taken.getsockname()[1])
    assert result.exit_code == 2
    assert "CLI191" in result.stderr
    assert "choose another --port" in result.stderr


def test_without_its_libraries_it_says_how_to_install_them(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One problem, which names both and the command."""
    write_quay(tmp_path / "quay")
    found = importlib.util.find_spec

    def find(name: str, package: str | None = None) -> ModuleSpec | None:
        return None if name in ("flask", "waitress") else found(name, package)

    monkeypatch.setattr(importlib.util, "find_spec", find)
    result = run("serve", tmp_path / "quay")
    assert result.exit_code == 2
    assert "CLI190 serve\n    not installed: flask, waitress\n    pip install 'engine-intervals[serve]'" in result.stderr
    assert result.stderr.endswith("1 problem\n")


@pytest.mark.skipif(os.name != "posix", reason="there it is another signal")
@pytest.mark.parametrize("ended_by", [signal.SIGINT, signal.SIGTERM])
def test_the_program_serves_until_it_is_ended(tmp_path: Path, ended_by: signal.Signals) -> None:
    """It says where it is, answers, and ends cleanly with Ctrl-C or a polite end by the system."""
    write_quay(tmp_path / "quay")
    command = [sys.executable, "-m", "intervals", "serve", str(tmp_path / "quay"), "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8") as program:
        assert program.stdout is not None
        assert program.stderr is not None
        told = program.stdout.readline()
        assert told.startswith("http://127.0.0.1:")
        assert told.endswith("/ (Ctrl-C ends it)\n")
        host = told.split("/")[2]
        connection = HTTPConnection(host, timeout=60)
        connection.request("GET", "/")
        assert b"What needs doing" in connection.getresponse().read()
        program.send_signal(ended_by)
        assert program.wait(60) == 0
        assert program.stdout.read() == "stopped\n"
        assert program.stderr.read() == ""
        connection.close()


def test_other_machines_are_warned_of(tmp_path: Path) -> None:
    """On every address of the machine: warnings, and the form that asks for the passphrase instead of pages."""
    write_quay(tmp_path / "quay")
    phrase = tmp_path / "phrase.txt"
    phrase.write_text("slate rivet moon harbour\n", encoding="utf-8")
    phrase.chmod(0o644)
    options = ["--bind", "0.0.0.0", "--port", "0", "--passphrase-file", str(phrase), "--name", "engines.plant.example"]
    command = [sys.executable, "-m", "intervals", "serve", str(tmp_path / "quay"), *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8") as program:
        assert program.stdout is not None
        assert program.stderr is not None
        told = program.stdout.readline()
        assert told.startswith("http://engines.plant.example:")
        connection = HTTPConnection("127.0.0.1", int(told.split("/")[2].partition(":")[2]), timeout=60)
        connection.request("GET", "/")
        assert connection.getresponse().getheader("Location") == "/enter"
        connection.close()
        program.terminate()
        warned = program.communicate(timeout=60)[1]
    lines = warned.splitlines()
    if os.name == "posix":
        assert lines.pop(0) == f"! {phrase} can be read by other people of this machine: chmod 600 {phrase}"
    assert lines[0].startswith("! Every machine that reaches 0.0.0.0 reaches these pages.")
    assert "travel unencrypted" in lines[0]
    assert len(lines) == 2
    assert "slate" not in warned
