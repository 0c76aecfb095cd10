"""The program as a whole: how fast it answers, what it loads, how it behaves in a pipe and on a terminal."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from pathlib import Path
from typing import Any

import pytest

from intervals.version import __version__
from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]
HEAVY = ("pandas", "numpy", "pyarrow", "durable", "pint", "yaml", "rich")
HELP_CPU_S = 0.3


def python(*words: str, **options: object) -> subprocess.CompletedProcess[str]:
    """Run Python from the clone and return what it printed."""
    return subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, text=True, check=False, **options)  # type: ignore[call-overload, no-any-return] # options are subprocess's own


# runs the command line, then prints what a test asks of the process
ASKING = """
import json, sys, time
sys.argv = ["intervals", *{words!r}]
from intervals.cli.main import app
try:
    app()
except SystemExit:
    print(json.dumps({{"cpu_s": time.process_time(), "modules": sorted(sys.modules)}}))
"""


def asked(*words: str) -> dict[str, Any]:
    """Run the command line in a process of its own and return its processor time and its modules."""
    answer: dict[str, Any] = json.loads(python("-c", ASKING.format(words=words)).stdout.splitlines()[-1])
    return answer


@pytest.mark.parametrize("words", ["--help", "check --help", "rules test --help", "--version"])
def test_help_loads_nothing_heavy(words: str) -> None:
    """None of the libraries that take long to load is loaded for help, and of the package nothing but the command line."""
    modules = asked(*words.split())["modules"]
    assert set(modules) & set(HEAVY) == set()
    own = [name for name in modules if name.startswith("intervals.") and not name.startswith("intervals.cli")]
    assert set(own) <= {"intervals.version"}


def test_help_answers_at_once() -> None:
    """Help takes less than 0.3 s of processor time; the best of three, so that a busy machine does not decide."""
    assert min(asked("--help")["cpu_s"] for _ in range(3)) < HELP_CPU_S


def test_importing_the_package_loads_nothing() -> None:
    """`import intervals` brings none of its own modules nor any library."""
    script = f"import sys, intervals; print([name for name in sys.modules if name in {HEAVY!r} or name.startswith('intervals.')])"
    assert python("-c", script).stdout.strip() == "[]"


@pytest.mark.parametrize("without", ["sys.modules['_ctypes'] = None", "import ctypes; ctypes.CDLL = lambda name: object()"])
def test_what_only_makes_it_quicker_may_be_missing(without: str) -> None:
    """A Python without ctypes and a C library without settings for its memory judge all the same."""
    script = f"import sys; {without}; sys.argv = ['intervals', '--version']; from intervals.cli.main import app; app()"
    done = python("-c", script)
    assert (done.stdout, done.returncode) == (f"intervals {__version__}\n", 0)


def test_who_interrupts_gets_what_shells_expect() -> None:
    """Interrupted with Arrow loaded, the program ends at once with 130, and what it had said is not lost."""
    script = (
        "import sys, pyarrow; sys.argv = ['intervals', 'interrupted']\n"
        "from intervals.cli.main import app\n"
        "def interrupted():\n    print('said before')\n    raise KeyboardInterrupt\n"
        "app.command('interrupted')(interrupted)\napp()"
    )
    done = python("-c", script)
    assert (done.stdout, done.returncode) == ("said before\n", 130)


def test_the_version_is_the_packages(run: Run) -> None:
    """--version prints one line."""
    assert run("--version").stdout == f"intervals {__version__}\n"


def test_without_a_command_the_help_is_shown(run: Run) -> None:
    """A bare `intervals` lists the commands and exits 2, as nothing was done."""
    result = run()
    assert result.exit_code == 2
    assert "explain" in result.output


def test_a_command_that_is_none_names_the_nearest(run: Run) -> None:
    """A slip of the finger is answered with what was likely meant."""
    result = run("chek", "site")
    assert result.exit_code == 2
    assert "check" in result.stderr


def test_a_reader_that_leaves_is_no_fault() -> None:
    """Where the reader of the pipe has gone, nothing is said; the exit code is what a shell reports of that."""
    read_end, write_end = os.pipe()
    os.close(read_end)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "intervals", "schema", "ruleset"],
            cwd=ROOT,
            stdout=write_end,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    finally:
        os.close(write_end)
    assert done.stderr == ""
    assert done.returncode == 141


@pytest.mark.parametrize(("environment", "coloured"), [({}, True), ({"NO_COLOR": "1"}, False)])
def test_a_terminal_gets_colour_unless_it_does_not_want_it(environment: dict[str, str], coloured: bool) -> None:
    """On a terminal headings have weight; with NO_COLOR no colour code is sent."""
    text = on_terminal("rules", "test", "--help", environment=environment)
    assert "Usage" in text
    text = on_terminal("rules", "list", environment={"COLUMNS": "70", **environment})
    codes = set(re.findall(r"\x1b\[([0-9;]*)m", text))
    assert "1" in codes
    assert max(len(re.sub(r"\x1b\[[0-9;]*m", "", line)) for line in text.splitlines()) <= 70
    assert coloured or not any(code.startswith("3") for part in codes for code in part.split(";"))


def on_terminal(*words: str, environment: dict[str, str]) -> str:
    """Run the program on a terminal and return what the terminal got."""
    leader, follower = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "intervals", *words],
        cwd=ROOT,
        stdout=follower,
        stderr=follower,
        stdin=follower,
        env={**os.environ, **environment},
    )
    os.close(follower)
    text = read_whole(leader)
    assert process.wait() == 0
    return text


def read_whole(leader: int) -> str:
    """Return all that a terminal got, and close it."""
    parts = []
    while True:
        try:
            part = os.read(leader, 65536)
        except OSError:
            break  # Linux says so where the last writer has closed
        if not part:
            break
        parts.append(part)
    os.close(leader)
    return b"".join(parts).decode("utf-8").replace("\r\n", "\n")


def test_a_terminal_without_the_letters_gets_their_numbers() -> None:
    """Output that cannot be encoded does not stop the program."""
    script = """
from intervals.cli.common.output import deliver_lines
from intervals.reports.lines import line_of
deliver_lines(lambda _: [line_of(chr(0x4e00))])
"""
    done = python("-c", script, env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert done.stdout == "\\u4e00\n"


@pytest.mark.parametrize("columns", [60, 100])
def test_problems_are_folded_on_a_terminal_and_only_there(columns: int) -> None:
    """Standard error is a terminal of its own width while standard output is a file: no word is broken, none is lost."""
    words = [sys.executable, "-m", "intervals", "check", "sample_logs/brackwater", "--task", "paint", "--as-of", "soon"]
    environment = {key: value for key, value in os.environ.items() if key != "COLUMNS"}
    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    process = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=follower, env=environment)
    os.close(follower)
    told = read_whole(leader)
    assert process.wait() == 2
    piped = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False, env=environment).stderr
    assert max(map(len, told.splitlines())) <= columns < max(map(len, piped.splitlines()))
    assert told.split() == piped.split()


@pytest.mark.parametrize("words", [("--help",), ("rules", "--help")])
def test_no_summary_of_a_command_is_cut_at_80_columns(words: tuple[str, ...]) -> None:
    """Each command says in one line what it does, to the end of its sentence."""
    shown = python("-m", "intervals", *words, env={**os.environ, "COLUMNS": "80"}).stdout
    summaries = shown.split("Commands:\n")[1].split("\n\n")[0].splitlines()
    assert [line for line in summaries if not re.fullmatch(r"  [a-z-]+ +[A-Z].*[a-z]\.", line)] == []
