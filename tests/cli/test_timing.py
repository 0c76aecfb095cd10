"""What a rule set says of dates, windows, first intervals, age and month, from the command line: check, explain, what-if, show, diff."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from tests.cli.conftest import Run
from tests.site_maker import done, rule, steady, task, write_site

TASKS: list[dict[str, Any]] = [
    task("old-law", every={"calendar": "P1Y"}, applies_to={"constructed": {"before": "2006-06-12"}}),
    task("new-law", every={"calendar": "P3Y"}, applies_to={"constructed": {"from": "2006-06-12"}, "in_service": {"until": "2024-01-01"}}),
    task("inspection", every={"calendar": "P1Y"}, window={"calendar_month": True}),
    task(
        "survey",
        every={"calendar": "P1Y"},
        window={"before": "P3M", "after": "P3M"},
        restarts_from="due_unless_early",
        early_restarts_after="P3M",
    ),
    task("oil", every={"running_hours": 500}, first=[{"running_hours": 50}, {"running_hours": 250}]),
    task("sample", every={"calendar": "P45D"}, tolerance={"pct": 10, "rounding": "nearest"}),
    task("filter", every={"running_hours": 1000}),
]
ADJUSTMENTS = [
    rule("pollen", {"month": [4, 5, 6]}, tasks=["filter"], counts_as=2),
    rule("aged", {"age_years": {"at_least": 1}}, tasks=["filter"], interval_times=0.5),
]
RULES: dict[str, Any] = {"attributes": {"constructed": "the day on which it was built"}, "adjustments": ADJUSTMENTS}
ENGINE: dict[str, Any] = {"in_service": "2024-01-01", "meter_at_start_h": 0, "attributes": {"constructed": "2006-06-12"}}
SERVICES = [
    done("inspection", "2024-03-10"),
    done("survey", "2024-09-20"),
    done("oil", "2024-01-11T00:00"),
    done("sample", "2025-01-25"),
]


@pytest.fixture
def quay(tmp_path: Path) -> Path:
    """Return the folder of a site: one engine, 4 h a day since it was put to service on the first of 2024."""
    write_site(tmp_path, TASKS, steady("2024-01-01", "2025-06-30", 4), services=SERVICES, engine=ENGINE, rules=RULES)
    return tmp_path


def test_check_judges_by_all_of_them(run: Run, quay: Path) -> None:
    """As of 31 March 2025.

    - built on 2006-06-12: the old law's task is not for it, the new one's is, three years from 1 January 2024
    - inspected on 10 March 2024: good to the end of March 2025
    - surveyed on 20 September 2024, before its window opened on 1 October: the anniversary of 1 January is 20 December
    - oil done at 40 h on 11 January 2024, the second interval is 250 h: 1,824 - 40 = 1,784 h, past it
    - sampled on 25 January 2025, every 45 d: due on 11 March, 4.5 d of tolerance are five days: past 16 March it is beyond
    - 456 d at 4 h are 1,824 h; of these April to June 2024, 91 d, 364 h, count twice: 2,188 h of 1,000, after its first birthday of 500
    """
    result = run("check", quay, "--as-of", "2025-03-31", "--format", "json")
    assert result.exit_code == 1, result.output
    found = {finding["task"]: finding for finding in json.loads(result.stdout)["findings"]}
    assert "old-law" not in found
    assert (found["new-law"]["standing"], found["new-law"]["due_on"]) == ("in_interval", "2027-01-01")
    assert (found["inspection"]["standing"], found["inspection"]["due_on"]) == ("upcoming", "2025-03-10")
    assert (found["survey"]["standing"], found["survey"]["due_on"]) == ("in_interval", "2025-12-20")
    (oil,), (filters,) = found["oil"]["legs"], found["filter"]["legs"]
    assert (oil["used"], oil["allowed"], found["oil"]["standing"]) == (1784.0, 250.0, "overdue")
    assert (found["sample"]["standing"], found["sample"]["within_tolerance"]) == ("overdue", False)
    assert (filters["used"], filters["allowed"], found["filter"]["standing"]) == (2188.0, 500.0, "overdue")


@pytest.mark.parametrize(
    ("as_of", "task_id", "standing", "within"),
    [
        ("2025-04-01", "inspection", "overdue", False),
        ("2025-03-16", "sample", "overdue", True),
        ("2025-03-17", "sample", "overdue", False),
        # the day before its first birthday 4 x 366 + 364 = 1,828 h of 1,000
        ("2024-12-31", "filter", "overdue", False),
    ],
)
def test_the_day_after_a_line_is_another_standing(run: Run, quay: Path, as_of: str, task_id: str, standing: str, *, within: bool) -> None:
    """The last day of a month, of a tolerance that was rounded up."""
    result = run("check", quay, "--as-of", as_of, "--task", task_id, "--format", "json")
    (finding,) = json.loads(result.stdout)["findings"]
    assert (finding["standing"], finding["within_tolerance"]) == (standing, within)


def test_an_engine_that_does_not_say_when_it_was_built_is_unknown(run: Run, quay: Path) -> None:
    """Neither of the two laws is applied to it, and neither is dropped."""
    described = yaml.safe_load((quay / "site.yaml").read_text("utf-8"))
    described["engines"][0].pop("attributes")
    (quay / "site.yaml").write_text(yaml.safe_dump(described), "utf-8")
    result = run("check", quay, "--as-of", "2025-03-31", "--task", "old-law", "--task", "new-law", "--format", "json")
    found = json.loads(result.stdout)["findings"]
    assert sorted((each["task"], each["standing"]) for each in found) == [("new-law", "unknown"), ("old-law", "unknown")]
    assert all("the task asks for constructed, which the engine does not state" in each["reasons"][0]["text"] for each in found)


def test_a_word_where_a_date_is_asked_is_refused(run: Run, quay: Path) -> None:
    """Exit code 2, with the place in the site file."""
    text = (quay / "site.yaml").read_text("utf-8")
    (quay / "site.yaml").write_text(text.replace("'2006-06-12'", "in 2006"), "utf-8")
    result = run("check", quay, "--as-of", "2025-03-31")
    assert result.exit_code == 2
    assert 'constructed is "in 2006", which no rule can compare' in result.stderr
    assert "write a date, year, month, day: YYYY-MM-DD" in result.stderr


def test_what_if_changes_a_window_and_a_series(run: Run, quay: Path) -> None:
    """The month's window taken away: due on 10 March, and five days more; the second first interval made longer: 1,784 of 2,000 h."""
    words = ["what-if", quay, "--as-of", "2025-03-31", "--format", "json"]
    result = run(*words, "--set", "tasks.inspection.window.calendar_month=false", "--set", "tasks.inspection.window.after=P5D")
    assert result.exit_code == 0, result.output
    rows = {row["task"]: row for row in json.loads(result.stdout)["tasks"]}
    assert (rows["inspection"]["before"]["standing"], rows["inspection"]["after"]["standing"]) == ("upcoming", "overdue")
    result = run(*words, "--set", "tasks.oil.first.1.running_hours=2000")
    rows = {row["task"]: row for row in json.loads(result.stdout)["tasks"]}
    assert (rows["oil"]["before"]["standing"], rows["oil"]["after"]["standing"]) == ("overdue", "in_interval")


def test_show_and_diff_say_it_in_words(run: Run, quay: Path, tmp_path: Path) -> None:
    """A rule set that is based on it changes the series and the window, and takes the moved anniversary away."""
    shown = run("rules", "show", quay / "rules.yaml").stdout
    for words in (
        "constructed before 2006-06-12",
        "constructed from 2006-06-12 and in_service until 2024-01-01",
        "on any day of the calendar month of its due date",
        "50 h, then 250 h",
        "rounded nearest",
        "done too early, from 3 months after it, at the latest from its due date",
    ):
        assert words in " ".join(shown.split()), words
    child = {
        "ruleset": "child",
        "title": "Child",
        "version": "1",
        "based_on": "./rules.yaml",
        "tasks": [
            {"id": "oil", "first": {"running_hours": 100}},
            {"id": "inspection", "window": {"before": "P5D"}},
            {"id": "survey", "early_restarts_after": None},
        ],
    }
    (quay / "child.yaml").write_text(yaml.safe_dump(child), "utf-8")
    told = " ".join(run("rules", "diff", quay / "rules.yaml", quay / "child.yaml").stdout.split())
    assert "oil: the first interval is now 100 h; was 50 h, then 250 h" in told
    assert "from 5 days before its due date to 0 days after it; was on any day of the calendar month of its due date" in told
    assert "done too early, from 3 months after it" in told


def test_the_schema_of_rule_sets_takes_them(run: Run, quay: Path) -> None:
    """Editors check by it: every key that stands in the rules here, and not a date under a number's word."""
    schema = json.loads(run("schema", "ruleset").stdout)
    rules = yaml.safe_load((quay / "rules.yaml").read_text("utf-8"))
    jsonschema.validate(rules, schema)
    rules["tasks"][0]["applies_to"] = {"constructed": {"above": "2006-06-12"}}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(rules, schema)
