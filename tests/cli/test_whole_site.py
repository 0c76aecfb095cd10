"""`check` and `explain` of a site with budgets, a component, analyses and a factor of its own: nothing stubbed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.site_maker import steady, task, write_site

ENGINES = [
    {"id": name, "in_service": "2024-01-01", "meter_at_start_h": 0, **more}
    for name, more in (("G1", {"severe_duty": {"tasks": ["oil"], "interval_times": 0.8, "because": "Dust."}}), ("G2", {}))
]
OIL = task(
    every={"running_hours": 1440},
    in_place_of_time={"by": "oil-analysis", "within": {"acid_number_rise": {"at_most": 3.0}}, "act_within_business_days": 2},
)
OVERHAUL = task("turbo-overhaul", every={"running_hours": 12_000}, applies_to={"kind": "turbocharger"})
BUDGET = {"id": "hours", "title": "Hours a year", "of": "running_hours", "at_most": 1000, "per": "P12M"}


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    """Return a folder: G1 runs 10 h a day, its oil is condemned; its turbocharger came with 11,900 h."""
    write_site(
        tmp_path,
        [OIL, OVERHAUL],
        [*steady("2024-01-01", "2024-04-01", 10), *steady("2024-01-01", "2024-04-01", 4, engine="G2")],
        engines=ENGINES,
        components=[
            {"id": "TC-7", "kind": "turbocharger", "hours_at_fitting_h": 11_900, "fitted": [{"engine": "G1", "from": "2024-01-01"}]}
        ],
        lab={"new_oil": {"acid_number": 1.5}},
        rules={"budgets": [BUDGET]},
    )
    lab = "at,engine,kind,result_at,acid_number\n2024-03-20,G1,oil-analysis,2024-03-25,4.51\n"
    (tmp_path / "lab.csv").write_text(lab, encoding="utf-8")
    return tmp_path


def test_everything_has_its_line(run: Run, plant: Path) -> None:
    """Tasks and budgets of both engines, and the component's; overdue things give exit code 1."""
    result = run("check", plant, "--as-of", "2024-03-31", "--format", "csv")
    lines = result.stdout.splitlines()[1:]
    assert [line.split(",")[:2] for line in lines] == [
        ["G1", "oil"],
        ["G1", "hours"],
        ["G2", "oil"],
        ["G2", "hours"],
        ["TC-7", "turbo-overhaul"],
    ]
    # 25 March was a Monday: to be acted on by the 27th; 910 of 1,000 h are near the limit; 12,810 of 12,000 h are past it
    assert [line.split(",")[3] for line in lines] == ["overdue", "upcoming", "in_interval", "in_interval", "overdue"]
    assert result.exit_code == 1


@pytest.mark.parametrize(
    ("engine", "entry", "words"),
    [
        ("G1", "oil", "acid number rise 3.01, allowed at most 3"),
        ("G1", "hours", "1,000 - 910 = 90 h"),
        ("TC-7", "turbo-overhaul", "12,810 / 12,000"),
    ],
)
def test_everything_can_be_explained(run: Run, plant: Path, engine: str, entry: str, words: str) -> None:
    """A task with an analysis, a budget, a component."""
    result = run("explain", plant, engine, entry, "--as-of", "2024-03-31")
    assert result.exit_code == 0
    assert words in result.stdout


def test_a_name_that_is_not_there_is_met_with_those_that_are(run: Run, plant: Path) -> None:
    """Components among the engines, budgets among the tasks."""
    engine = run("check", plant, "--engine", "TC-8", "--as-of", "2024-03-31")
    assert (engine.exit_code, "engines: G1, G2, TC-7" in engine.stderr) == (2, True)
    entry = run("explain", plant, "G1", "hour", "--as-of", "2024-03-31")
    assert (entry.exit_code, "oil, hours" in entry.stderr) == (2, True)
