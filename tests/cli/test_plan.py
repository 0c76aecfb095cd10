"""`intervals plan`: a plan of stops is written to the site's folder and shown; what a person fixed stays."""

from __future__ import annotations

import json
import sys
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
import yaml
from icalendar import Calendar
from openpyxl import load_workbook

from intervals.problems import SiteProblemError
from intervals.questions.plan import make_plan
from intervals.reports.schemas import schema_of
from tests.cli.conftest import Run
from tests.site_maker import done, steady, task, write_site

# 2026-03-01 is a Sunday; the oil of both engines was changed on 2026-01-01 and is due 90 days later, on Wednesday 2026-04-01
AS_OF = ("--as-of", "2026-03-01", "--until", "2026-05-31")


def plant(folder: Path, **site: Any) -> Path:  # noqa: ANN401 - any key of a site
    """Write a site of two engines whose oil is due on the same day."""
    rows = [row for engine in ("G1", "G2") for row in steady("2026-01-01", "2026-03-01", 10, engine=engine)]
    engines = [{"id": name, "in_service": "2026-01-01", "meter_at_start_h": 0} for name in ("G1", "G2")]
    services = [{**done("oil", "2026-01-01"), "engine": name} for name in ("G1", "G2")]
    tasks = [task("oil", every={"calendar": "P90D"}, stops_engine=True)]
    write_site(folder, tasks, rows, services=services, engines=engines, **site)
    return folder


def stops_of(folder: Path) -> list[tuple[str, str]]:
    """Return engine and day of each stop of the plan."""
    data = yaml.safe_load((folder / "plan.yaml").read_text("utf-8"))
    return [(stop["engine"], str(stop["day"])) for stop in data["stops"]]


def test_the_last_monday_before_the_limit(run: Run, tmp_path: Path) -> None:
    """Due on a Wednesday, the oil is changed on the Monday before, and the file is the same bytes each time."""
    site = plant(tmp_path)
    result = run("plan", site, *AS_OF)
    assert result.exit_code == 0, result.stderr
    assert stops_of(site) == [("G1", "2026-03-30"), ("G2", "2026-03-30")]
    assert "optimal: proved" in result.stdout
    first = (site / "plan.yaml").read_bytes()
    run("plan", site, *AS_OF)
    assert (site / "plan.yaml").read_bytes() == first


def test_a_group_a_blackout_and_weekends(run: Run, tmp_path: Path) -> None:
    """Of a group one stands a week earlier; days that are closed are left out; weekends are taken where they are preferred."""
    site = plant(tmp_path / "a", groups=[{"engines": ["G1", "G2"], "stopped_at_most": 1}])
    assert run("plan", site, *AS_OF).exit_code == 0
    assert sorted(day for _, day in stops_of(site)) == ["2026-03-23", "2026-03-30"]
    site = plant(tmp_path / "b", blackouts=[{"from": "2026-03-23", "to": "2026-04-30", "engines": ["G1"]}], prefer="weekend")
    assert run("plan", site, *AS_OF).exit_code == 0
    assert stops_of(site) == [("G1", "2026-03-21"), ("G2", "2026-03-28")]


def test_what_cannot_be_in_time_is_late_with_its_reason(run: Run, tmp_path: Path) -> None:
    """Closed from the first day to ten days after the limit, the oil is late, and the plan says why."""
    site = plant(tmp_path, blackouts=[{"from": "2026-03-02", "to": "2026-04-10", "reason": "harvest"}])
    result = run("plan", site, *AS_OF, "--format", "json")
    assert result.exit_code == 1
    late = json.loads(result.stdout)["stops"][0]["late"][0]
    assert (late["limit"], late["late_d"]) == ("2026-04-01", 12)
    assert "harvest" in late["why"]


def test_a_calendar_file_closes_days(run: Run, tmp_path: Path) -> None:
    """An event of a week in a calendar file is a blackout; a file that is not there is refused."""
    event = "BEGIN:VEVENT\r\nUID:1\r\nDTSTART;VALUE=DATE:20260330\r\nDTEND;VALUE=DATE:20260404\r\nSUMMARY:fair\r\nEND:VEVENT\r\n"
    site = plant(tmp_path, blackouts=[{"file": "fair.ics"}])
    assert "CLI155" in run("plan", site, *AS_OF).stderr
    (site / "fair.ics").write_bytes(f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\n{event}END:VCALENDAR\r\n".encode())
    assert run("plan", site, *AS_OF).exit_code == 0
    assert stops_of(site) == [("G1", "2026-03-23"), ("G2", "2026-03-23")]


def test_the_day_of_least_demand(run: Run, tmp_path: Path) -> None:
    """With a file of expected demand the stop is on the working day of its week that has least."""
    site = plant(tmp_path, prefer={"file": "demand.csv", "column": "heat_kw"})
    rows = [f"2026-03-{day:02},{50 if day == 25 else 400}" for day in range(1, 32)]
    (site / "demand.csv").write_text("\n".join(["day,heat_kw", *rows, *(f"2026-04-{day:02},400" for day in range(1, 31))]) + "\n", "utf-8")
    run("plan", site, *AS_OF)
    assert stops_of(site) == [("G1", "2026-03-25"), ("G2", "2026-03-25")]


def test_what_a_person_fixed_stays_and_the_rest_may_be_kept(run: Run, tmp_path: Path) -> None:
    """A stop moved to a Thursday and fixed stays there; with --keep the other one stays where it was put, else it goes back."""
    site = plant(tmp_path)
    run("plan", site, *AS_OF)
    data = yaml.safe_load((site / "plan.yaml").read_text("utf-8"))
    data["stops"][0] |= {"day": "2026-03-19", "fixed": True}
    data["stops"][1]["day"] = "2026-03-16"
    (site / "plan.yaml").write_text(yaml.safe_dump(data), "utf-8")
    kept = run("plan", site, *AS_OF, "--keep", "--output", site / "kept.json", "--format", "json")
    assert kept.exit_code == 0, kept.stderr
    assert stops_of(site) == [("G2", "2026-03-16"), ("G1", "2026-03-19")]
    result = run("plan", site, *AS_OF)
    assert stops_of(site) == [("G1", "2026-03-19"), ("G2", "2026-03-30")]
    assert "G2 2026-03-16 -> 2026-03-30: oil" in result.stdout


def test_each_form_has_the_same_stops(run: Run, tmp_path: Path) -> None:
    """JSON, page, calendar and workbook name both stops on their day; the JSON keeps its schema."""
    import jsonschema

    site = plant(tmp_path / "site", crew={"hours_per_week": 40})
    made = {form: tmp_path / f"plan.{form}" for form in ("json", "html", "ics", "xlsx")}
    for form, path in made.items():
        assert run("plan", site, *AS_OF, "--format", form, "--output", path).exit_code == 0
    document = json.loads(made["json"].read_text("utf-8"))
    jsonschema.validate(document, schema_of("plan"))
    assert [(stop["engine"], stop["day"], stop["crew"]) for stop in document["stops"]] == [
        ("G1", "2026-03-30", ["own"]),
        ("G2", "2026-03-30", ["own"]),
    ]
    assert made["html"].read_text("utf-8").count("2026-03-30: oil") == 2
    events = Calendar.from_ical(made["ics"].read_bytes()).walk("VEVENT")
    assert [event.decoded("dtstart").isoformat() for event in events] == ["2026-03-30", "2026-03-30"]
    rows: list[Any] = list(load_workbook(BytesIO(made["xlsx"].read_bytes()))["stops"].iter_rows(values_only=True))
    assert [row[2] for row in rows[1:]] == ["G1", "G2"]


def test_a_card_takes_its_tasks_from_the_plan(run: Run, tmp_path: Path) -> None:
    """The stop of a plan becomes a card."""
    site = plant(tmp_path)
    run("plan", site, *AS_OF)
    result = run("card", site, "G1", "--as-of", "2026-03-01", "--stop", "2026-03-30")
    assert result.exit_code == 0, result.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--until", "2026-02-01"], "CLI157"),
        (["--until", "2036-03-02"], "more than 10 years"),
        (["--until", "9999-12-31"], "the year 9999 cannot be"),
        (["--until", "soon"], "CLI130"),
        (["--aims", "late,money"], "CLI157"),
    ],
)
def test_what_cannot_be_planned_is_refused(run: Run, tmp_path: Path, words: list[str], said: str) -> None:
    """A last day before the first, a word that is no day, an aim that is none."""
    result = run("plan", plant(tmp_path), "--as-of", "2026-03-01", *words)
    assert (result.exit_code, said in result.stderr) == (2, True)


def test_a_file_of_somebody_else_is_not_written_over(run: Run, tmp_path: Path) -> None:
    """A plan.yaml that this program has not made is refused and stays as it is."""
    site = plant(tmp_path)
    (site / "plan.yaml").write_text("stops: []\n", "utf-8")
    assert "CLI156" in run("plan", site, *AS_OF).stderr
    assert (site / "plan.yaml").read_text("utf-8") == "stops: []\n"


def test_without_the_solver_one_line_says_what_to_install(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the extra is not installed, the command says how to install it."""
    monkeypatch.setattr(make_plan, "find_spec", lambda _: None)
    result = run("plan", plant(tmp_path), *AS_OF)
    assert (result.exit_code, "engine-intervals[plan]" in result.stderr) == (2, True)


def test_check_tells_of_a_stop_beyond_its_line(run: Run, tmp_path: Path) -> None:
    """Due on 2026-04-01 and moved to the 6th, the oil of G1 is told of; that of G2, planned in time, is not."""
    site = plant(tmp_path)
    stops = "stops:\n- {engine: G1, day: 2026-04-06, tasks: [oil]}\n- {engine: G2, day: 2026-03-30, tasks: [oil]}\n"
    (site / "plan.yaml").write_text(stops, "utf-8")
    result = run("check", site, "--as-of", "2026-03-01")
    assert "G1 oil: its stop is planned on 2026-04-06, 5 d beyond its line on 2026-04-01" in result.stdout
    assert "G2 oil: its stop" not in result.stdout
    (site / "plan.yaml").write_text("stops: 7\n", "utf-8")
    assert "plan.yaml cannot be read" in run("check", site, "--as-of", "2026-03-01").stdout


def test_what_is_done_long_before_it_is_due_is_said(run: Run, tmp_path: Path) -> None:
    """Closed from 2026-03-03 to 2026-04-30, the oil of 2026-04-01 is changed on 2026-03-02, 30 of its 90 days too early: a third."""
    site = plant(tmp_path, blackouts=[{"from": "2026-03-03", "to": "2026-04-30"}])
    result = run("plan", site, *AS_OF[:2], "--until", "2026-05-30")
    assert stops_of(site) == [("G1", "2026-03-02"), ("G2", "2026-03-02")]
    said = "more than 30 % of an interval is thrown away, since no later day is in time: G1 oil on 2026-03-02 (33.3 %)"
    assert said in " ".join(result.stdout.split())


def planned(folder: Path, tasks: list[dict[str, Any]], stops: str) -> Path:
    """Write a site of one engine whose tasks were done on 2026-01-01, with a plan of these stops."""
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0}
    services = [done(str(each["id"]), "2026-01-01") for each in tasks]
    write_site(folder, tasks, steady("2026-01-01", "2026-03-01", 10), services=services, engine=engine)
    (folder / "plan.yaml").write_text(f"stops:\n{stops}", "utf-8")
    return folder


def test_a_stop_within_its_tolerance_is_not_beyond_its_line(run: Run, tmp_path: Path) -> None:
    """Due on 2026-04-01 with 10 % of 90 days, the line of the plan is the 10th: the 10th is not told of, the 13th is, by 3 days."""
    oil = task("oil", every={"calendar": "P90D"}, stops_engine=True, tolerance_pct=10)
    inside = planned(tmp_path / "a", [oil], "- {engine: G1, day: 2026-04-10, tasks: [oil]}\n")
    assert "Planned beyond" not in run("check", inside, "--as-of", "2026-03-01").stdout
    beyond = planned(tmp_path / "b", [oil], "- {engine: G1, day: 2026-04-13, tasks: [oil]}\n")
    said = "planned on 2026-04-13, 3 d beyond its line on 2026-04-10 (9 d of tolerance applied)"
    assert said in run("check", beyond, "--as-of", "2026-03-01").stdout


def test_the_early_date_of_a_forecast_is_the_line(run: Run, tmp_path: Path) -> None:
    """A stop on the due date of running hours is beyond the early date of the same forecast, which the plan keeps to."""
    oil = task("oil", every={"running_hours": 1000}, stops_engine=True)
    rows = [*steady("2026-01-01", "2026-02-01", 4), *steady("2026-02-01", "2026-03-01", 16, start_h=124)[1:]]
    site = tmp_path
    write_site(site, [oil], rows, services=[done("oil", "2026-01-01")], engine={"in_service": "2026-01-01", "meter_at_start_h": 0})
    ahead = json.loads(run("check", site, "--as-of", "2026-03-01", "--format", "json").stdout)["findings"][0]
    assert ahead["forecast"]["early"] < ahead["due_on"]
    (site / "plan.yaml").write_text(f"stops:\n- {{engine: G1, day: {ahead['due_on']}, tasks: [oil]}}\n", "utf-8")
    late = json.loads(run("check", site, "--as-of", "2026-03-01", "--format", "json").stdout)["planned_late"]
    assert [(each["planned_on"], each["limit"]) for each in late] == [(ahead["due_on"], ahead["forecast"]["early"])]


def test_a_task_that_another_stop_renews_is_not_late(run: Run, tmp_path: Path) -> None:
    """The plugs have a stop of their own only in May, but the heads, which renew them, are done before they are due."""
    tasks = [
        task("heads", every={"calendar": "P300D"}, stops_engine=True, renews=["plugs"]),
        task("plugs", every={"calendar": "P90D"}, stops_engine=True),
    ]
    stops = "- {engine: G1, day: 2026-05-04, tasks: [plugs]}\n"
    renewed = planned(tmp_path / "a", tasks, f"- {{engine: G1, day: 2026-03-30, tasks: [heads]}}\n{stops}")
    assert "Planned beyond" not in run("check", renewed, "--as-of", "2026-03-01").stdout
    alone = planned(tmp_path / "b", tasks, stops)
    assert "G1 plugs: its stop is planned on 2026-05-04, 33 d beyond" in run("check", alone, "--as-of", "2026-03-01").stdout


def test_each_form_of_a_check_tells_of_a_stop_beyond_its_line(run: Run, tmp_path: Path) -> None:
    """JSON has a key for it, CSV a column, the workbook a sheet, the page of the month a line; a check without one has none of them."""
    import jsonschema

    oil = task("oil", every={"calendar": "P90D"}, stops_engine=True)
    said = "G1 oil: its stop is planned on 2026-04-06, 5 d beyond its line on 2026-04-01"
    for day, count in (("2026-04-06", 1), ("2026-03-30", 0)):
        site = planned(tmp_path / day, [oil], f"- {{engine: G1, day: {day}, tasks: [oil]}}\n")
        page, book = tmp_path / f"{day}.html", tmp_path / f"{day}.xlsx"
        result = run("check", site, "--as-of", "2026-03-01", "--format", "json", "--html", page, "--xlsx", book)
        document = json.loads(result.stdout)
        jsonschema.validate(document, schema_of("findings"))
        assert [each["text"] for each in document.get("planned_late", [])] == [said] * count
        assert ("planned_late" in document) is bool(count)
        assert run("check", site, "--as-of", "2026-03-01", "--format", "csv").stdout.count(said) == count
        assert ("planned late" in load_workbook(book).sheetnames) is bool(count)
        assert page.read_text("utf-8").count(said) == count


def test_a_plan_that_cannot_be_read_is_a_fault(run: Run, tmp_path: Path) -> None:
    """The check goes on, and its document has the fault with its line."""
    oil = task("oil", every={"calendar": "P90D"}, stops_engine=True)
    site = planned(tmp_path, [oil], "- {engine: G1, day: soon, tasks: [oil]}\n")
    (fault,) = json.loads(run("check", site, "--as-of", "2026-03-01", "--format", "json").stdout)["faults"]
    assert (fault["kind"], fault["file"], fault["line"]) == ("plan_unread", "plan.yaml", 2)


def test_the_page_of_a_month_shows_the_stops_of_eight_weeks(run: Run, tmp_path: Path) -> None:
    """Of the stops 4 and 9 weeks ahead the page shows the first one; without a plan it has no such part."""
    site = plant(tmp_path / "site")
    page = tmp_path / "month.html"
    run("check", site, "--as-of", "2026-03-01", "--html", page)
    assert 'id="stops"' not in page.read_text("utf-8")
    stops = "stops:\n- {engine: G1, day: 2026-03-30, tasks: [oil]}\n- {engine: G2, day: 2026-05-04, tasks: [oil]}\n"
    orders = "orders:\n- {part: oil-filter, by: '2026-03-09', amount: 4.0}\n"
    (site / "plan.yaml").write_text(stops + orders, "utf-8")
    run("check", site, "--as-of", "2026-03-01", "--html", page)
    part = page.read_text("utf-8").split('id="stops"')[1].split("</section>")[0]
    assert part.count('<th scope="row">G1</th>') == 1
    assert '<th scope="row">G2</th>' not in part
    assert "oil-filter, 4" in part


@pytest.mark.parametrize("word", ["yes", "'true'", "1", "null"])
def test_a_mark_that_is_neither_true_nor_false_is_refused(run: Run, tmp_path: Path, word: str) -> None:
    """What a person meant to fix is not moved for a word: it is named with its line, and the plan stays."""
    site = plant(tmp_path)
    run("plan", site, *AS_OF)
    text = (site / "plan.yaml").read_text("utf-8").replace("fixed: false", f"fixed: {word}", 1)
    (site / "plan.yaml").write_text(text, "utf-8")
    result = run("plan", site, *AS_OF)
    line = next(number for number, each in enumerate(text.splitlines(), 1) if "fixed:" in each and "true; then" not in each)
    assert result.exit_code == 2
    assert f"plan.yaml:{line}" in result.stderr
    assert "write fixed: true" in result.stderr
    assert (site / "plan.yaml").read_text("utf-8") == text


def test_a_damaged_plan_says_what_to_do(run: Run, tmp_path: Path) -> None:
    """An empty file is no plan; the advice is that of a plan, not that of a card or of a rule set."""
    site = plant(tmp_path)
    for text in ("", "schema: intervals.plan/1\nstops:\n", "schema: intervals.plan/1\nstops:\n- {engine: G1}\n"):
        (site / "plan.yaml").write_text(text, "utf-8")
        result = run("plan", site, *AS_OF)
        assert (result.exit_code, "CLI152" in result.stderr, "take it away" in result.stderr) == (2, True, True)
        assert "--tasks" not in result.stderr


def fixed_on(site: Path, day: str) -> None:
    """Move the stop of G1 to a day and fix it."""
    data = yaml.safe_load((site / "plan.yaml").read_text("utf-8"))
    next(stop for stop in data["stops"] if stop["engine"] == "G1").update(day=day, fixed=True)
    (site / "plan.yaml").write_text(yaml.safe_dump(data, sort_keys=False), "utf-8")


def test_other_engines_keep_their_stops(run: Run, tmp_path: Path) -> None:
    """Only G2 is planned: the stop of G1 stays byte for byte, and as one stands at a time, G2 does in another week."""
    site = plant(tmp_path, groups=[{"engines": ["G1", "G2"], "stopped_at_most": 1}], crew={"hours_per_week": 40})
    run("plan", site, *AS_OF)
    fixed_on(site, "2026-03-30")
    before = yaml.safe_load((site / "plan.yaml").read_text("utf-8"))["stops"]
    result = run("plan", site, *AS_OF, "--engine", "G2")
    assert result.exit_code == 0, result.stderr
    after = yaml.safe_load((site / "plan.yaml").read_text("utf-8"))
    assert stops_of(site) == [("G2", "2026-03-23"), ("G1", "2026-03-30")]
    assert [after["stops"][1]] == [stop for stop in before if stop["engine"] == "G1"]
    assert [(load["week"], load["hours"]) for load in after["crews"]] == [("2026-03-23", 1.0), ("2026-03-30", 1.0)]
    assert "their stops are those of the plan before: G1" in result.stdout
    assert "no task that a stop is planned for" not in result.stdout


def test_what_is_fixed_beyond_the_last_day_stays(run: Run, tmp_path: Path) -> None:
    """Fixed two weeks after the last day of a shorter plan, the stop stays in the file and is told of."""
    site = plant(tmp_path)
    run("plan", site, *AS_OF)
    fixed_on(site, "2026-06-15")
    result = run("plan", site, *AS_OF)
    assert stops_of(site) == [("G1", "2026-03-30"), ("G2", "2026-03-30"), ("G1", "2026-06-15")]
    assert "G1 is fixed on 2026-06-15, after the last day of this plan" in " ".join(result.stdout.split())
    assert "no longer planned" not in result.stdout
    run("plan", site, "--as-of", "2026-03-01", "--until", "2026-08-31")
    assert ("G1", "2026-06-15") in stops_of(site)


def test_a_fixed_stop_that_has_gone_by_is_told_of(run: Run, tmp_path: Path) -> None:
    """Fixed on the day of judging, which is before the first day of the plan."""
    site = plant(tmp_path)
    run("plan", site, *AS_OF)
    fixed_on(site, "2026-03-01")
    said = "G1 was fixed on 2026-03-01, before the first day of this plan: the stop is left out (oil)"
    assert said in " ".join(run("plan", site, *AS_OF).stdout.split())


def said_by(run: Run, site: Path, *words: str) -> str:
    """Return what a plan shows, on one line."""
    result = run("plan", site, *AS_OF, *words)
    assert result.exit_code in (0, 1), result.stderr
    return " ".join(result.stdout.split())


def test_a_solver_that_cannot_be_loaded_is_told_in_one_line(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the extra is there and broken, the command says so and how to install it."""
    for name in [each for each in sys.modules if each.startswith("intervals.questions.plan.") and each.endswith("solve_part")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "ortools.sat.python", None)
    result = run("plan", plant(tmp_path), *AS_OF)
    assert (result.exit_code, "CLI158" in result.stderr, "cannot be loaded: ortools" in result.stderr) == (2, True, True)
    assert "engine-intervals[plan]" in result.stderr


def short_tasks(folder: Path, days: int) -> Path:
    """Write a site of one engine with a task every so many days, last done on Saturday 2026-02-28."""
    tasks = [task("look", every={"calendar": f"P{days}D"}, stops_engine=True)]
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0}
    services = [done("look", "2026-02-28")]
    write_site(folder, tasks, steady("2026-01-01", "2026-03-01", 10), services=services, engine=engine)
    return folder


def test_why_a_task_of_few_days_is_late(run: Run, tmp_path: Path) -> None:
    """Every two days by weeks: more often than once a week. Every day by days: no working day between Friday and Saturday."""
    weeks = said_by(run, short_tasks(tmp_path / "a", 2))
    assert "it comes every 2 d, more often than once a week: plan by days" in weeks
    assert "takes precedence" not in weeks
    days = said_by(run, short_tasks(tmp_path / "b", 1), "--slots", "day")
    assert "no working day lies between 2026-03-06, when it is done before, and its limit" in days
    assert "takes precedence" not in days


def test_crews_that_name_no_task_and_jobs_without_a_crew_are_told(run: Run, tmp_path: Path) -> None:
    """The only crew is for a task that there is not: nobody's hours are counted for the oil."""
    said = said_by(run, plant(tmp_path, crew=[{"name": "outside", "hours_per_week": 40, "for": ["oli"]}]))
    assert 'the crew outside is for "oli", which is no task' in said
    assert "no crew is for these, so nobody's hours are counted for them: G1 oil, G2 oil" in said


def test_a_plan_without_a_day_says_why_and_proves_nothing(run: Run, tmp_path: Path) -> None:
    """Closed from the first day to the last: the reason is named, and an empty plan is not called the best."""
    said = said_by(run, plant(tmp_path, blackouts=[{"from": "2026-03-02", "to": "2026-05-31", "reason": "harvest"}]))
    assert "G1 oil: there is no day on which the engine can be stopped: harvest" in said
    assert "nothing is planned" in said
    assert "optimal" not in said
    assert "nothing late" not in said


def test_months_that_need_nothing_are_left_out(run: Run, tmp_path: Path) -> None:
    """A stop without a procedure needs nothing that is known."""
    said = said_by(run, plant(tmp_path))
    assert "Needed by month" not in said
    assert "2 weeks of standing" not in said
    assert "weeks of standing 2" in said


@pytest.mark.parametrize(
    ("terms", "said"),
    [
        ({"groups": [{"engines": ["G1", "G2"], "stopped_at_most": -1}]}, "1 or more"),
        ({"groups": [{"engines": ["G1", "G1"], "stopped_at_most": 1}]}, "named twice"),
        ({"blackouts": [{"from": "2026-03-02", "engines": ["G2", "G2"]}]}, "named twice"),
        ({"blackouts": [{"from": "2026-03-02", "engines": []}]}, "empty list"),
    ],
)
def test_terms_that_mean_nothing_are_refused(tmp_path: Path, terms: dict[str, Any], said: str) -> None:
    """A number below its bound is told with that bound; engines named twice, and a list of none, are refused."""
    with pytest.raises(SiteProblemError) as caught:
        plant(tmp_path, **terms)
    (problem,) = caught.value.problems
    assert said in problem.text
