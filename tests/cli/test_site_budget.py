"""A budget over the whole site on the command line: in the table, on the month's page, under the site's id; minima read as such."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.site_maker import steady, task, write_site

ENGINES = [{"id": name, "in_service": "2024-01-01", "meter_at_start_h": 0} for name in ("A", "B")]
# 1 h and 2 h a day
ROWS = [*steady("2024-01-01", "2024-03-01", 1, engine="A"), *steady("2024-01-01", "2024-03-01", 2, engine="B")]
BUDGETS = [
    {"id": "plant", "title": "Hours of the plant", "of": "running_hours", "at_most": 90, "per": "calendar_month", "over": "site"},
    {"id": "exercise", "title": "Running at all", "of": "running_hours", "at_least": 40, "per": "calendar_month"},
]


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    """Write a plant of two engines, 3 h a day together."""
    write_site(tmp_path, [task(every={"calendar": "P10Y"})], ROWS, engines=ENGINES, rules={"budgets": BUDGETS})
    return tmp_path


def test_the_table_has_one_row_of_the_site(run: Run, plant: Path) -> None:
    """93 h of 90 in January, past them on the 31st; A ran 31 h of 40, B 62 h."""
    found = run("check", plant, "--as-of", "2024-01-31", "--all")
    assert found.exit_code == 1
    rows = {tuple(line.split()[:2]): line for line in found.output.splitlines() if len(line.split()) > 2}
    assert "93 / 90 h" in rows["quay", "plant"]
    assert "3 h past" in rows["quay", "plant"]
    assert "9 h lacking" in rows["A", "exercise"]
    assert "reached" in rows["B", "exercise"]
    assert "intervals explain" in found.output


def test_it_is_explained_under_the_id_of_the_site(run: Run, plant: Path) -> None:
    """Each engine with its hours; a name that is no such budget is refused with those that are."""
    shown = run("explain", plant, "quay", "plant", "--as-of", "2024-01-31")
    assert shown.exit_code == 0
    sums = dict(line.split(maxsplit=1) for line in shown.output.splitlines() if line.startswith("  ") and len(line.split(maxsplit=1)) == 2)
    assert (sums["A"], sums["B"], sums["left"]) == ("31 h", "62 h", "90 - 93 = -3 h")
    refused = run("explain", plant, "quay", "exercise", "--as-of", "2024-01-31")
    assert refused.exit_code == 2
    assert "tasks: plant" in refused.stderr


def test_the_month_has_it_once(run: Run, plant: Path, tmp_path: Path) -> None:
    """On the page it has a column of its own; in the month's figure it is one late of the site, beside A's minimum."""
    assert run("report", plant, "--month", "2024-01", "--out", tmp_path / "out").exit_code == 0
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    head = page.split('<table class="fleet">')[1].split("</thead>")[0]
    row = page.split('<table class="fleet">')[1].split("Hours of the plant</th>")[1].split("</tr>")[0]
    assert head.count("<th ") == 1 + row.count("<td") == 4
    document = json.loads((tmp_path / "out" / "findings.json").read_text(encoding="utf-8"))
    late = [(entry["engine"], entry["task"]) for entry in document["compliance"]["occurrences"] if entry["met"] == "late"]
    assert sorted(late) == [("A", "exercise"), ("quay", "plant")]
