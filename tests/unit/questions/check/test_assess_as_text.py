"""The document of a check, written as findings are found: the bytes, the refusals and the files beside are those of the models."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from intervals.problems import ProblemsError
from intervals.questions.check.assess import assess_as_text, assess_site
from intervals.questions.check.findings_document import findings_text
from intervals.reports.check.calendar import findings_calendar
from intervals.site.model import load_site
from tests.site_maker import done, steady, task, write_site

AS_OF = date(2026, 10, 31)


@pytest.mark.parametrize("sample", ["brackwater", "harbour-clinic", "skerry-island"])
@pytest.mark.parametrize("jobs", [1, 2])
def test_the_text_is_that_of_the_models(sample: str, jobs: int) -> None:
    """Components, budgets, faults and skipped work included, in one process or two."""
    site = load_site(Path("sample_logs") / sample)
    written, found = assess_as_text(site, AS_OF, jobs=jobs), assess_site(site, AS_OF)
    assert written.text == findings_text(found)
    assert written.totals == found.totals


@pytest.mark.parametrize(("engines", "tasks"), [(["G1"], []), ([], ["oil-change"]), (["G1"], ["oil-change"])])
def test_what_is_asked_for_alone_is_the_same(engines: list[str], tasks: list[str]) -> None:
    """Some engines, some tasks, both."""
    site = load_site(Path("sample_logs/brackwater"))
    found = assess_site(site, AS_OF, engines=engines, tasks=tasks)
    assert assess_as_text(site, AS_OF, engines=engines, tasks=tasks).text == findings_text(found)


def test_it_refuses_a_task_that_is_for_no_engine(tmp_path: Path) -> None:
    """Nothing is found of the task that was asked for: refused, and not an empty document."""
    tasks = [task("oil", every={"running_hours": 500}), task("gas", every={"running_hours": 500}, applies_to={"fuel": "hydrogen"})]
    write_site(tmp_path, tasks, steady("2024-01-01", "2024-03-01", 10), services=[done("oil", "2024-02-01")], engine={"fuel": "diesel"})
    with pytest.raises(ProblemsError) as refused:
        assess_as_text(load_site(tmp_path), date(2024, 3, 31), tasks=["gas"])
    assert [problem.code for problem in refused.value.problems] == ["CLI015"]


def test_a_calendar_is_the_same_however_many_processes_judge() -> None:
    """The day on which a lead begins is in no document, and comes from the other process too."""
    site = load_site(Path("sample_logs/brackwater"))
    alone, shared = (findings_calendar(assess_site(site, AS_OF, jobs=jobs), "Brackwater") for jobs in (1, 2))
    assert shared == alone
