"""What a month counts beside the intervals: budgets, condemned oil, and the figure by weight."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

import pytest

from intervals import ProblemsError, assess
from intervals.occurrences import Compliance
from intervals.questions.month.monthly import report_month
from intervals.rules.ruleset import load_ruleset
from tests.site_maker import done, judge, moment, steady, task, write_site

ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
NEVER = task("never", every={"calendar": "P20Y"})
# 4 h a day, no row after the year 2025
ROWS = steady("2024-01-01", "2026-02-01", 4)


def told(compliance: Compliance | None) -> list[tuple[str, str, str | None]]:
    """Return task, how it was met and the day of it of each occurrence."""
    assert compliance is not None
    return [(entry.task, entry.met, entry.decided_on) for entry in compliance.occurrences]


def of_budget(folder: Path, month: str, as_of: str, **keys: object) -> list[tuple[str, str, str | None]]:
    """Return a month's occurrences of a budget on running hours."""
    limit = {"id": "hours", "title": "Hours", "of": "running_hours", "per": "calendar_year", **keys}
    return told(judge(folder, as_of, [NEVER], ROWS, engine=ENGINE, rules={"budgets": [limit]}, month=month).compliance)


def test_a_budget_is_late_in_the_month_in_which_it_is_exceeded(tmp_path: Path) -> None:
    """100 h a year at 4 h a day: past them on 26 January 2024, and again on 26 January 2025; nothing more in the year."""
    for as_of in ("2024-01-31", "2025-06-30"):
        assert of_budget(tmp_path / as_of, "2024-01", as_of, at_most=100) == [("hours", "late", "2024-01-26")]
    assert of_budget(tmp_path / "b", "2024-12", "2024-12-31", at_most=100) == []
    assert of_budget(tmp_path / "c", "2025-01", "2025-01-31", at_most=100) == [("hours", "late", "2025-01-26")]


def test_a_budget_whose_year_ends_within_its_limit_is_on_time_in_december(tmp_path: Path) -> None:
    """1,464 h in the leap year 2024 and 1,460 h in 2025, of 1,460: exceeded on 31 December 2024, kept in 2025."""
    assert of_budget(tmp_path / "a", "2024-12", "2024-12-31", at_most=1460) == [("hours", "late", "2024-12-31")]
    for as_of in ("2025-12-31", "2026-01-31"):
        assert of_budget(tmp_path / as_of, "2025-12", as_of, at_most=1460) == [("hours", "on_time", "2025-12-31")]
    assert of_budget(tmp_path / "b", "2025-11", "2026-01-31", at_most=1460) == []


def test_a_budget_keeps_what_was_decided_by_the_limit_of_that_day(tmp_path: Path) -> None:
    """100 h until the end of June, 2,000 h from July on: exceeded on 26 January for good, and the year's end is none besides."""
    limits = [{"at_most": 100}, {"in_force_from": "2024-07-01", "at_most": 2000}]
    for month, expected in (("2024-01", [("hours", "late", "2024-01-26")]), ("2024-12", [])):
        assert of_budget(tmp_path / month, month, "2024-12-31", at_most=limits) == expected


def test_a_budget_on_any_stretch_counts_each_time_of_being_too_much(tmp_path: Path) -> None:
    """119 h in any 30 days at 4 h a day: 120 h are reached on 30 January, and it stays too much: one late, and none on time."""
    keys = {"per": "P30D", "at_most": 119}
    assert of_budget(tmp_path / "a", "2024-01", "2024-01-31", **keys) == [("hours", "late", "2024-01-30")]
    assert of_budget(tmp_path / "b", "2024-03", "2024-03-31", **keys) == []


def test_a_stretch_that_was_kept_is_on_time_when_it_ends(tmp_path: Path) -> None:
    """120 h in any 30 days: kept; stretches of 30 days from 1 January end on 30 January, 29 February and 30 March."""
    keys = {"per": "P30D", "at_most": 120}
    for month, last in (("2024-01", "30"), ("2024-02", "29"), ("2024-03", "30")):
        assert of_budget(tmp_path / month, month, "2024-06-30", **keys) == [("hours", "on_time", f"{month}-{last}")]


OIL = task(
    every={"running_hours": 1440, "calendar": "P1Y"},
    in_place_of_time={"by": "oil-analysis", "within": {"water_pct": {"at_most": 0.5}}, "act_within_business_days": 2},
)


def of_analysis(folder: Path, as_of: str, month: str, services: Sequence[Mapping[str, object]]) -> Compliance:
    """Return a month of an oil change whose oil, sampled on 1 June 2026, was condemned on Wednesday the 3rd."""
    rows = steady("2026-05-01", "2026-12-31", 8)
    site = write_site(folder, [OIL], rows, engine={"in_service": "2026-05-01", "meter_at_start_h": 0}, services=services, lab={})
    row = {"at": "2026-06-01T08:00", "engine": "G1", "kind": "oil-analysis", "result_at": "2026-06-03T09:00", "water_pct": 0.7}
    with (folder / "lab.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(row))
        writer.writeheader()
        writer.writerow(row)
    compliance = assess(site, moment(as_of), month=month).compliance
    assert compliance is not None
    return compliance


@pytest.mark.parametrize(
    ("done_on", "expected"),
    [
        # until Friday the 5th; the interval itself: 35 d of 8 h are 280 h of 1,440, less than half
        ("2026-06-05", [("early", "2026-06-05"), ("on_time", "2026-06-05")]),
        ("2026-06-08", [("early", "2026-06-08"), ("late", "2026-06-06")]),
        ("2026-07-08", [("late", "2026-06-06")]),
    ],
)
def test_condemned_oil_counts_beside_its_interval(tmp_path: Path, done_on: str, expected: list[tuple[str, str]]) -> None:
    """Two business days from the result on; asked at the end of June and half a year later."""
    for as_of in ("2026-06-30", "2026-12-31"):
        compliance = of_analysis(tmp_path / as_of, as_of, "2026-06", [done("oil", f"{done_on}T12:00")])
        assert [(entry.met, entry.decided_on) for entry in compliance.occurrences] == expected
        assert compliance.open == (done_on > "2026-06-30")


def test_the_figure_is_given_by_weight(tmp_path: Path) -> None:
    """Four weekly tests on time and an overhaul that is past its line: 80 %, which is 100 % of safety and 0 % of engine."""
    tasks = [
        task("test", every={"calendar": "P7D"}, weight="safety"),
        task("overhaul", every={"running_hours": 100}),
    ]
    services = [done("test", f"2024-01-{day:02d}") for day in (8, 15, 22, 29)]
    compliance = judge(tmp_path, "2024-01-31", tasks, ROWS, engine=ENGINE, services=services, month="2024-01").compliance
    assert compliance is not None
    assert compliance.figure == pytest.approx(0.8)
    assert {name: (count.on_time, count.late, count.open, count.figure) for name, count in compliance.by_weight.items()} == {
        "safety": (4, 0, 0, 1.0),
        "engine": (0, 1, 1, 0.0),
    }


def test_a_rule_set_names_its_own_weights(tmp_path: Path) -> None:
    """A list of its own: what is not among it is refused with the nearest, and what states none as well."""
    tasks = [task("oil", every={"running_hours": 100}, weight="plant"), task("stack", every={"calendar": "P1Y"}, weight="permit")]
    site = write_site(tmp_path, tasks, ROWS, engine=ENGINE, rules={"weights": {"permit": "What the permit asks", "plant": "The plant"}})
    assert load_ruleset(tmp_path / "rules.yaml").weight_titles["plant"] == "The plant"
    assert assess(site, date(2024, 1, 31)).findings
    wrong = [task("oil", every={"running_hours": 100}, weight="plnt"), task("stack", every={"calendar": "P1Y"})]
    write_site(tmp_path, wrong, ROWS, rules={"weights": ["permit", "plant"]})
    with pytest.raises(ProblemsError) as refused:
        load_ruleset(tmp_path / "rules.yaml")
    first, second = refused.value.problems
    assert (first.code, first.path, first.text) == ("RUL013", "$.tasks[0].weight", 'no weight "plnt"; did you mean "plant"?')
    assert (second.code, second.path) == ("RUL013", "$.tasks[1]")


def test_a_record_that_is_taken_back_later_leaves_its_month_alone(tmp_path: Path) -> None:
    """Done on 20 January (due at 100 h on the 25th), taken back on 5 March: January counted it, and still does."""
    oil = task(every={"running_hours": 100})
    services: list[Mapping[str, object]] = [
        done("oil", "2024-01-20", ref="card 1"),
        {"at": "2024-03-05", "engine": "G1", "task": "oil", "outcome": "void", "ref": "card 1"},
    ]
    site = write_site(tmp_path, [oil], ROWS, engine=ENGINE, services=services)
    stated = assess(site, date(2024, 1, 31), month="2024-01").compliance
    assert told(stated) == [("oil", "on_time", "2024-01-20")]
    report = report_month(site, date(2024, 3, 31), "2024-03")
    (january,) = (month for month in report.history if month.month == "2024-01")
    assert (january.on_time, january.late) == (1, 0)
