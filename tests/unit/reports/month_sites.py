"""Sites whose month is worth drawing: one with hostile texts in every place that takes text, and one of many engines."""

from __future__ import annotations

from datetime import date
from functools import cache
from pathlib import Path

from intervals import read_site
from intervals.questions.month.month_models import MonthReport
from intervals.questions.month.monthly import report_month
from tests.site_maker import done, rule, steady, task, write_site

ROOT = Path(__file__).parents[3]
HOSTILE = "<script>alert(1)</script>\"'&{{7*7}}"
FORMULA = '=HYPERLINK("x")'


@cache
def sample_report(name: str) -> MonthReport:
    """Return the report of a sample site's October."""
    return report_month(read_site(ROOT / "sample_logs" / name), date(2026, 10, 31), "2026-10")


def hostile_report(folder: Path) -> MonthReport:
    """Return a report in which every text that a person may write holds markup and a formula."""
    engine = {
        "id": HOSTILE,
        "title": FORMULA + HOSTILE,
        "in_service": "2024-01-01",
        "meter_at_start_h": 0,
        "fuel": HOSTILE,
        "rated_kw": 100,
    }
    tasks = [
        task(every={"running_hours": 100}, title=HOSTILE, source=HOSTILE, because=HOSTILE),
        task("hoses", every={"running_hours": 300}, title=FORMULA),
    ]
    rows = [{**row, "load_kw": 95} for row in steady("2024-01-01", "2024-02-01", 10, engine=HOSTILE)]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=1.5, because=HOSTILE, source=HOSTILE)
    services = [
        done("oil", "2024-01-10", engine=HOSTILE, note=HOSTILE, ref=HOSTILE),
        done("oil", "2024-01-20", engine=HOSTILE, outcome="partial", note=HOSTILE),
        done(HOSTILE, "2024-01-21", engine=HOSTILE),
    ]
    site = write_site(folder, tasks, rows, engines=[engine], services=services, rules={"adjustments": [heavy]}, title=HOSTILE)
    return report_month(site, date(2024, 1, 31), "2024-01")


def large_report(folder: Path) -> MonthReport:
    """Return the report of ten engines with fourteen tasks each, a year of daily rows and services."""
    ids = [f"E{number:02d}" for number in range(1, 11)]
    tasks = [
        task(f"task-{number}", every={"running_hours": 200 * number, "calendar": "P1Y"}, tolerance_pct=10, source="common practice",
             title=f"Look at part number {number} and renew what is worn")
        for number in range(1, 15)
    ]  # fmt: skip
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=1.5)
    rows = [
        {**row, "load_kw": 950 if index % 3 else 700, "starts": index}
        for engine in ids
        for index, row in enumerate(steady("2024-01-01", "2025-01-01", 20, engine=engine))
    ]
    services = [
        done(f"task-{number}", f"2024-{month:02d}-{10 + number}", engine=engine)
        for engine in ids
        for number in range(1, 15)
        for month in range(1, 13)
        if month % number == 0
    ]
    engines = [{"id": engine, "in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000} for engine in ids]
    site = write_site(folder, tasks, rows, engines=engines, services=services, rules={"adjustments": [heavy]})
    return report_month(site, date(2024, 12, 31), "2024-12")
