"""Time the package against the bare scripts: whole processes, in turn, so that the machine's drift cancels.

In: a fleet folder and the commands to compare. Out: a table of medians (wall time, processor time, peak memory) and
their ratios to the first command; the checksums are compared too. Each process is measured by the kernel's own
account of it (`wait4`): processor time covers a process and the children it waited for, peak memory is that of the
largest single process among them. A first round is run and thrown away, to warm the file cache.

`report` writes the fleet's last month into its folder; how large its pages are is printed below the table.

Usage, from the repository: python -m tests.benchmarks.run FOLDER [--commands check,report,pandas,polars,duckdb] [--rounds 5]
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path
from typing import NamedTuple

from tests.benchmarks.fleet_folder import read_fleet

REPOSITORY = Path(__file__).parents[2]
SCRIPTS = {"pandas": "bare_pandas", "polars": "bare_polars", "duckdb": "bare_duckdb", "ledger": "ledger_only"}
# `check` exits with 1 when it finds something overdue, which a fleet always has.
EXIT_CODES = {"check": (0, 1)}
KB_PER_MB = 1024
MB = 1_000_000
# where `report` writes in a fleet's folder
REPORT_FOLDER = "report"


class Run(NamedTuple):
    """One process: seconds by the clock, seconds of processor (user and system), peak memory, what it printed."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    output: bytes


def command_line(name: str, folder: Path, as_of: str) -> list[str]:
    """Give the command line of a command by name; `check:--jobs=2` adds options to it."""
    name, *options = name.split(":")
    script = Path(sys.executable).with_name("intervals")
    program = [str(script)] if script.exists() else [sys.executable, "-m", "intervals"]
    if name == "check":
        return [*program, "check", str(folder), "--format", "json", "--as-of", as_of, "--no-cache", *options]
    if name == "report":
        return [*program, "report", str(folder), "--month", as_of[:7], "--out", str(folder / REPORT_FOLDER), "--no-cache", *options]
    return [sys.executable, "-m", f"tests.benchmarks.{SCRIPTS[name]}", str(folder), *options]


def run_process(command: list[str], accepted: tuple[int, ...]) -> Run:
    """Run one process to its end and measure it.

    Args:
        command: the command line.
        accepted: exit codes that count as success.

    Returns:
        What was measured.

    Raises:
        RuntimeError: the process ended with another code.
    """
    began = time.perf_counter()
    # an installed program is compiled once and for all: the first round does that, wherever the files are kept
    surroundings = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=REPOSITORY, env=surroundings) as process:
        output = process.stdout.read() if process.stdout else b""
        _, status, usage = os.wait4(process.pid, 0)
        wall_s = time.perf_counter() - began
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in accepted:
        message = f"exit code {process.returncode} from: {' '.join(command)}"
        raise RuntimeError(message)
    return Run(wall_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / KB_PER_MB, output)


def run_in_turn(names: list[str], folder: Path, rounds: int) -> dict[str, list[Run]]:
    """Run every command once a round, in turn; the first round warms up and is not kept."""
    as_of = read_fleet(folder).as_of
    kept: dict[str, list[Run]] = {name: [] for name in names}
    for turn in range(rounds + 1):
        for name in names:
            run = run_process(command_line(name, folder, as_of), EXIT_CODES.get(name.split(":")[0], (0,)))
            if turn > 0:
                kept[name].append(run)
    return kept


def table(kept: dict[str, list[Run]]) -> str:
    """Write the medians as a table, with ratios to the first command (less than 1 is better than it)."""
    lines = [f"{'command':<20} {'wall s':>8} {'(min)':>8} {'cpu s':>8} {'peak MB':>8} {'x wall':>7} {'x cpu':>7} {'x peak':>7}"]
    base: tuple[float, float, float] | None = None
    for name, runs in kept.items():
        wall_s, cpu_s, peak_mb = (statistics.median(figures) for figures in list(zip(*runs, strict=True))[:3])
        base = base or (wall_s, cpu_s, peak_mb)
        least_s = min(run.wall_s for run in runs)
        ratios = f"{wall_s / base[0]:>7.2f} {cpu_s / base[1]:>7.2f} {peak_mb / base[2]:>7.2f}"
        lines.append(f"{name:<20} {wall_s:>8.3f} {least_s:>8.3f} {cpu_s:>8.3f} {peak_mb:>8.0f} {ratios}")
    return "\n".join(lines) + "\n"


def page_sizes(folder: Path) -> str:
    """Write how large the pages are that `report` has written into a fleet's folder; nothing where it was not run."""
    out = folder / REPORT_FOLDER
    if not (out / "index.html").is_file():
        return ""
    engines = [path.stat().st_size for path in (out / "engines").glob("*.html")]
    index, calendar = ((out / name).stat().st_size / MB for name in ("index.html", "due.ics"))
    pages = f"{len(engines)} pages of engines, {sum(engines) / MB:.1f} MB" if engines else "no pages of engines"
    return f"report: index.html {index:.2f} MB, {pages}, due.ics {calendar:.2f} MB\n"


def disagreements(kept: dict[str, list[Run]]) -> list[str]:
    """List the figures of the checksum on which two commands differ, or a command differs from itself."""
    seen: dict[str, dict[str, str]] = {}
    for name, runs in kept.items():
        for run in runs:
            if not run.output.startswith(b"checksum "):
                continue
            for word in run.output.decode().split()[1:]:
                figure, _, value = word.partition("=")
                seen.setdefault(figure, {}).setdefault(value, name)
    return [f"{figure} differs: {values}" for figure, values in seen.items() if len(values) > 1]


def main() -> None:
    """Read the arguments, run, print; exit with 1 when the checksums differ."""
    parser = argparse.ArgumentParser(description="Time the package against the bare scripts.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--commands", default="pandas,polars,duckdb", help="in this order; the first is what the others are compared with")
    parser.add_argument("--rounds", type=int, default=5, help="measured rounds, after one that warms up")
    chosen = parser.parse_args()
    kept = run_in_turn(chosen.commands.split(","), chosen.folder.resolve(), chosen.rounds)
    sys.stdout.write(table(kept))
    sys.stdout.write(page_sizes(chosen.folder.resolve()))
    differing = disagreements(kept)
    if differing:
        sys.exit("\n".join(differing))


if __name__ == "__main__":
    main()
