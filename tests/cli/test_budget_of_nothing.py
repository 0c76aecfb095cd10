"""A budget of 0 hours reads as what it is: in the table, in `explain`, and on the month's page."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.site_maker import meter, task, write_site

ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
# 6 h a day on 0.4 % sulphur, and 3 h of 1.0 % on 11 January
CLEAN = [meter(f"2024-01-{day:02d}T00:00", 6 * (day - 1), fuel_sulphur_pct=0.4) for day in range(2, 12)]
FOUL = meter("2024-01-11T12:00", 63, fuel_sulphur_pct=1.0)
BUDGET = {
    "id": "sulphur", "title": "Hours on fuel above the limit", "of": "running_hours", "at_most": 0, "per": "calendar_year",
    "when": {"fuel_sulphur_pct": {"above": 0.5}},
}  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "code", "words", "share"),
    [(CLEAN, 0, "none allowed, none used", "none used"), ([*CLEAN, FOUL], 1, "none allowed, 3 h used", "3 h used")],
)
def test_it_says_that_none_is_allowed(run: Run, tmp_path: Path, rows: list[dict[str, object]], code: int, words: str, share: str) -> None:
    """What is allowed and what was used, in words; no share of nothing, and no `0 / 0`."""
    write_site(tmp_path, [task(every={"calendar": "P10Y"})], rows, engine=ENGINE, rules={"budgets": [BUDGET]})
    page = tmp_path / "page.html"
    table = run("check", tmp_path, "--as-of", "2024-01-31", "--html", page)
    explained = run("explain", tmp_path, "G1", "sulphur", "--as-of", "2024-01-31")
    assert table.exit_code == code
    assert words in table.output
    assert words in explained.output
    assert "none allowed" in explained.output.split("Legs")[1].split("Reasons")[0]
    drawn = page.read_text(encoding="utf-8")
    assert words in drawn
    assert f"<b>{share}</b>" in drawn
    for output in (table.output, explained.output, drawn):
        assert "0 / 0" not in output
        assert "budget used up" not in output
