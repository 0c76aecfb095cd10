"""The whole document and exit code of `check` for each sample site: how they are made, and the command that makes them anew.

    python -m tests.golden.refresh

Read the diff before it is kept: DEVELOPERS.md says how.
"""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from unittest.mock import patch

from typer.testing import CliRunner

from intervals.cli.main import app

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
AS_OF = "2026-10-31"
CLOCK = datetime(2026, 11, 2, 8, 0, tzinfo=UTC)
"""The time at which the samples are judged; rows later than the clock would be faults."""
SITES = sorted(path.parent.name for path in (ROOT / "sample_logs").glob("*/site.yaml"))
EXIT_CODES = HERE / "exit_codes.json"


def checked(site: str) -> tuple[str, int]:
    """Return what `check` prints of a sample site as a document, and its exit code.

    Args:
        site: the folder's name in sample_logs.
    """
    words = ["check", str(ROOT / "sample_logs" / site), "--as-of", AS_OF, "--format", "json"]
    with patch("intervals.cli.common.clock.read_clock", return_value=CLOCK):
        result = CliRunner().invoke(app, words)
    return result.stdout, result.exit_code


def golden_path(site: str) -> Path:
    """Return the file that holds the document of a sample site."""
    return HERE / f"{site}.json"


def refresh() -> list[str]:
    """Write all documents and exit codes, and return the names of the files that changed."""
    texts: dict[Path, str] = {}
    codes: dict[str, int] = {}
    for site in SITES:
        texts[golden_path(site)], codes[site] = checked(site)
        if codes[site] not in (0, 1):
            message = f"{site} cannot be judged: exit code {codes[site]}; nothing was written"
            raise SystemExit(message)
    texts[EXIT_CODES] = json.dumps(codes, indent=2) + "\n"
    changed = [path for path, text in texts.items() if not path.is_file() or path.read_text(encoding="utf-8") != text]
    for path in changed:
        path.write_text(texts[path], encoding="utf-8", newline="\n")
    gone = [path for path in HERE.glob("*.json") if path not in texts]
    for path in gone:
        path.unlink()
    return sorted(path.name for path in [*changed, *gone])


if __name__ == "__main__":
    names = refresh()
    sys.stdout.write(f"changed: {', '.join(names)}; read the diff\n" if names else "nothing changed\n")
