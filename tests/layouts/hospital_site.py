"""The invented hospital of this folder, run through the command line, and with the words told that its site file does not know."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from intervals.cli.main import app

SITE = Path(__file__).parent / "hospital"
AS_OF = ("--as-of", "2026-10-31")
HOSPITAL, LAW = "standby-hospital", "us-area-source"
NAMES = "  task_names:\n    yearly service: [oil-change, fuel-filter, air-filter, hoses-belts]\n"


def run(*words: str | Path) -> Result:
    """Return the result of a command."""
    return CliRunner().invoke(app, [str(word) for word in words])


def document(*words: str | Path) -> dict[str, Any]:
    """Return the document that a command prints."""
    found: dict[str, Any] = json.loads(run(*words, "--format", "json").stdout)
    return found


def lines_to_paste() -> list[str]:
    """Return the lines that `log` offers for words that are not known."""
    lines = run("log", SITE, *AS_OF).stdout.splitlines()
    return lines[lines.index("services:") + 2 :]


def described_site(folder: Path) -> Path:
    """Write the site once the lines that the program offers are pasted, and completed by hand."""
    shutil.copytree(SITE, folder)
    pasted = "\n".join(line for line in lines_to_paste() if line.strip())
    for word, task in (("Monatstest", "monthly-test"), ("battery chk", "batteries")):
        pasted = pasted.replace(f'"{word}": ...', f'"{word}": {task}')
    path = folder / "site.yaml"
    before = path.read_text("utf-8")
    path.write_text(before.replace(NAMES, f"{NAMES}{pasted}\n"), encoding="utf-8")
    return folder


def finding(found: dict[str, Any], engine: str, task: str, ruleset: str = HOSPITAL) -> dict[str, Any]:
    """Return the finding of a task."""
    (one,) = (each for each in found["findings"] if (each["engine"], each["ruleset"], each["task"]) == (engine, ruleset, task))
    return dict(one)


def leg_of(one: dict[str, Any], name: str) -> tuple[float, float]:
    """Return what is used and allowed of a leg."""
    (leg,) = (leg for leg in one["legs"] if leg["leg"] == name)
    return leg["used"], leg["allowed"]
