"""What a machine lacks is installed or named in one line before anything is made, and the commands of README.md look first."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
COMMANDS = re.compile(r"^(?:.* && )?python3 -m venv .*$", re.MULTILINE)
# answers what it is asked by its exit code: whether it can make environments, and whether its headers are there
PYTHON = 'case "$2" in *ensurepip*) exit "${VENV:-0}";; *Python.h*) exit "${HEADERS:-0}";; esac'
pytestmark = pytest.mark.skipif(shutil.which("sh") is None, reason="needs a POSIX shell")


def write_program(folder: Path, name: str, text: str) -> None:
    """Put a program of the shell into a folder."""
    (folder / name).write_text(f"#!/bin/sh\n{text}\n", encoding="utf-8")
    (folder / name).chmod(0o755)


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    """Return the folder of all programs of a machine that has Python and a compiler, and no browser; nobody is root there."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for name in ("cat", "mktemp", "rm", "sh", "tail"):
        (folder / name).symlink_to(str(shutil.which(name)))
    write_program(folder, "python3", PYTHON)
    write_program(folder, "cc", "cat >/dev/null")
    write_program(folder, "id", "echo 1000")
    return folder


def prepare(machine: Path, *words: str, **surroundings: str) -> subprocess.CompletedProcess[str]:
    """Run the script on such a machine."""
    environment = {"PATH": str(machine), "CC": "cc", **surroundings}
    script = [str(machine / "sh"), str(ROOT / ".ci/prepare"), *words]
    return subprocess.run(script, env=environment, capture_output=True, text=True, check=False)


def test_a_machine_that_has_everything_is_told_nothing(machine: Path) -> None:
    """No word, exit code 0."""
    done = prepare(machine)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_what_is_missing_is_one_line_with_the_command_that_installs_it(machine: Path) -> None:
    """Without a compiler, and as anyone but root."""
    (machine / "cc").unlink()
    write_program(machine, "apt-get", "exit 9")
    done = prepare(machine)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "missing: a C compiler; this installs it: sudo apt-get install gcc libc6-dev\n"


def test_all_that_is_missing_is_told_together(machine: Path) -> None:
    """A compiler without the headers of C, a Python without its own and without environments, no browser; Python's parts by its name."""
    write_program(machine, "cc", "exit 1")
    write_program(machine, "apt-get", "exit 9")
    (machine / "python3").rename(machine / "python3.12")
    done = prepare(machine, "--browser", "python3.12", VENV="1", HEADERS="1")
    assert done.returncode == 1
    assert done.stderr == (
        "missing: Python's venv, Python's C headers, a C compiler, a browser, the browser's driver, a reader of PDF; this installs it: "
        "sudo apt-get install python3.12-venv python3.12-dev gcc libc6-dev chromium chromium-driver poppler-utils\n"
    )


def test_a_machine_without_python(machine: Path) -> None:
    """Python and its parts."""
    (machine / "python3").unlink()
    write_program(machine, "apt-get", "exit 9")
    done = prepare(machine)
    assert done.returncode == 1
    assert done.stderr == "missing: Python (python3); this installs it: sudo apt-get install python3 python3-venv python3-dev\n"


def test_another_system_is_told_the_packages_by_their_names_in_debian(machine: Path) -> None:
    """Where there is no apt-get."""
    (machine / "cc").unlink()
    done = prepare(machine)
    assert done.returncode == 1
    assert done.stderr == "missing: a C compiler; install it as this system does (Debian calls it: gcc libc6-dev)\n"


def test_root_gets_what_is_missing(machine: Path, tmp_path: Path) -> None:
    """With apt-get: lists first, then what is missing and nothing else; one line says so."""
    (machine / "cc").unlink()
    write_program(machine, "id", "echo 0")
    write_program(machine, "made-cc", "cat >/dev/null")
    write_program(machine, "apt-get", f'echo "$@" >>{tmp_path}/asked; [ "$1" = update ] || /bin/mv {machine}/made-cc {machine}/cc')
    done = prepare(machine)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "installing gcc libc6-dev\n")
    asked = (tmp_path / "asked").read_text(encoding="utf-8").splitlines()
    assert asked == ["update -qq", "install -y -qq --no-install-recommends gcc libc6-dev"]


@pytest.mark.parametrize("course", ["echo no network >&2; exit 100", "exit 0"])
def test_root_is_told_where_that_did_not_help(machine: Path, course: str) -> None:
    """The installer fails, or ends well and the compiler still is not there."""
    (machine / "cc").unlink()
    write_program(machine, "id", "echo 0")
    write_program(machine, "apt-get", course)
    done = prepare(machine)
    assert done.returncode == 1
    assert ("no network" in done.stderr) == ("network" in course)
    assert re.match(r"missing.*: a C compiler", done.stderr.splitlines()[-1])


@pytest.mark.parametrize(("others", "advice"), [((), "python3.12, once installed,"), (("python3.12", "python3.11"), "python3.12")])
def test_a_python_too_old_or_too_new_is_refused_with_one_that_will_do(machine: Path, others: tuple[str, ...], advice: str) -> None:
    """One that is there, if any is."""
    write_program(machine, "python3", '[ "$1" = --version ] && echo Python 3.10.12; exit 1')
    for name in others:
        write_program(machine, name, "")
    done = prepare(machine)
    assert done.returncode == 1
    assert done.stderr == f"python3 is Python 3.10.12, and 3.11, 3.12 or 3.13 is needed: write {advice} in place of python3\n"


def test_both_commands_of_the_readme_look_first() -> None:
    """Before anything is made."""
    commands = COMMANDS.findall((ROOT / "README.md").read_text(encoding="utf-8"))
    assert len(commands) == 2
    assert all(command.startswith("sh .ci/prepare && python3 -m venv .venv && ") for command in commands)


@pytest.mark.parametrize("required", [False, True])
def test_without_a_browser_its_tests_are_skipped_in_one_line_or_fail_where_they_are_required(required: bool) -> None:
    """Two tests, one line that says how to get a browser; `.ci/run` requires them."""
    environment = {**os.environ, "PATH": "", "BROWSER_TESTS": "required" if required else ""}
    words = ["-q", "-p", "no:cacheprovider", "tests/browser", "-k", "hostile_text or click_on_a_heading"]
    done = subprocess.run([sys.executable, "-m", "pytest", *words], cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == (1 if required else 0)
    assert done.stdout.count("apt-get install chromium chromium-driver poppler-utils") >= 1
    assert done.stdout.count("\nSKIPPED [2] ") == (0 if required else 1)
    assert ("2 errors in" if required else "2 skipped, ") in done.stdout
    assert "\nBROWSER_TESTS=required pytest " in (ROOT / ".ci/run").read_text(encoding="utf-8")
