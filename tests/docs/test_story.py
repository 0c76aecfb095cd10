"""The story of the handbook, walked as a person walks it: from overdue to in interval in five commands, on a copy of the sample plant."""

from __future__ import annotations

import re
import shlex
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from intervals.cli.common import site_request
from intervals.cli.main import app
from intervals.handbook import page_text
from intervals.questions.card.kept_cards import read_card
from tests.filled_cards import filled, write_filled

ROOT = Path(__file__).parents[2]
STORY = re.compile(r"^```bash\n(cp -r sample_logs/brackwater plant\n.*?)^```$", re.DOTALL | re.MULTILINE)


def test_from_overdue_to_in_interval_in_five_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each command ends as its remark says; between the second and the third somebody does the work."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(site_request, "read_clock", lambda: datetime(2026, 11, 2, 18, tzinfo=UTC))
    found = STORY.search(page_text("records"))
    assert found is not None
    assert found[0] in (ROOT / "README.md").read_text(encoding="utf-8"), "README tells the same story"
    copied, *lines = found[1].splitlines()
    assert copied.startswith("cp -r ")
    shutil.copytree(ROOT / "sample_logs" / "brackwater", "plant")
    earlier = Path("plant/services.csv").read_bytes()
    code, told = "CODE", []
    for line in lines:
        words = shlex.split(line, comments=True)
        result = CliRunner().invoke(app, [word.replace("CODE", code) for word in words[1:]], input="y\n")
        told.append((words[1], result.exit_code, result.output))
        if words[1] == "card":
            (kept,) = Path("plant/cards").glob("*.json")
            code = kept.stem
            write_filled(filled(read_card(kept), "2026-11-02T08:00", steps={"pan-drained": {"value": 300}}, hour_meter_h=46990), Path())
    assert [word for word, _, _ in told] == ["check", "card", "record", "check", "explain"]
    assert [code for _, code, _ in told] == [1, 0, 0, 0, 0]
    assert "277 h past" in told[0][2]
    assert "credited  oil-change" in told[2][2]
    assert f"0 running hours since 2026-11-02 (services.csv:177, card {code})" in told[3][2]
    assert f"{code} (records/{code}.card.json), by AB" in told[4][2]
    assert "oil_filled_l" in told[4][2]
    later = Path("plant/services.csv").read_bytes()
    assert later.removeprefix(earlier).decode() == f"2026-11-02 08:53,G1,oil-change,46990.0,done,AB,,{code},,,\n"
