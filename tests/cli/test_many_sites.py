"""`intervals check` of several sites: one answer, and none that cannot be judged holds up the others."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from icalendar import Calendar
from jsonschema import Draft202012Validator

from intervals.reports.schemas import schema_of
from tests.cli.conftest import Run
from tests.site_maker import done, steady, task, write_site

AS_OF = ("--as-of", "2026-03-31")
OIL = task("oil", every={"running_hours": 500})
FILTER = task("air-filter", every={"calendar": "P1Y"})


def plant(folder: Path, hours_per_day: float, *, tasks: tuple[dict[str, object], ...] = (OIL,), engine: str = "G1") -> Path:
    """Write a site of one engine that runs evenly from 2026-01-01; everything was done on that day, at 0 h."""
    folder.mkdir(parents=True)
    rows = steady("2026-01-01", "2026-04-01", hours_per_day, engine=engine)
    records = [{**done(str(each["id"]), "2026-01-01", 0), "engine": engine} for each in tasks]
    unit = {"id": engine, "fuel": "natural-gas", "rated_kw": 500, "in_service": "2026-01-01", "meter_at_start_h": 0}
    write_site(folder, list(tasks), rows, services=records, engines=[unit], site=folder.name)
    return folder


@pytest.fixture
def plants(tmp_path: Path) -> Path:
    """Return a folder of three sites: by the end of March (90 days) one ran 900 h of 500, one 450, one 90."""
    for name, hours in (("north", 10), ("deep/south", 5), ("west", 1)):
        plant(tmp_path / "plants" / name, hours)
    return tmp_path / "plants"


def document(run: Run, *words: object) -> dict[str, Any]:
    """Return the document that `check` prints."""
    found: dict[str, Any] = json.loads(run("check", *words, *AS_OF, "--format", "json").stdout)
    return found


def rows_of(text: str) -> dict[str, list[str]]:
    """Return the words of each row of the table of sites, by the last part of its folder."""
    lines = [line.split() for line in text.split("\n\n")[1].splitlines()[1:]]
    return {Path(words[0]).name: words[1:] for words in lines}


def test_a_folder_of_sites_has_a_row_for_each_and_the_worst_exit_code(run: Run, plants: Path) -> None:
    """900 h of 500 are 400 past; 450 of 500 lie within a tenth of the line or not, but are not past it; 90 leave 410."""
    result = run("check", plants, *AS_OF)
    assert result.exit_code == 1
    assert result.stdout.startswith("3 sites  as of 2026-03-31\n")
    rows = rows_of(result.stdout)
    assert list(rows) == ["south", "north", "west"]
    assert rows["north"][:2] == ["1", "1"]
    assert " ".join(rows["north"]).endswith("! overdue: G1 oil, 400 h past")
    assert " ".join(rows["west"]).endswith("nothing needs doing")
    assert "3 findings of 3 engines: 1 overdue" in result.stdout
    assert f"intervals check {plants}/north --as-of 2026-03-31" in result.stdout


def test_each_site_is_found_as_if_it_were_alone(run: Run, plants: Path) -> None:
    """The findings of each site are those of its own document, key for key."""
    found = document(run, plants)
    assert found["schema"] == "intervals.sites/1"
    assert [Path(site["folder"]).name for site in found["sites"]] == ["south", "north", "west"]
    for site in found["sites"]:
        alone = document(run, site["folder"])
        assert alone.pop("schema") == "intervals.findings/2"
        assert site["findings"] == alone
        assert site["problems"] == []


def test_the_document_keeps_its_schema(run: Run, plants: Path) -> None:
    """With a site that is judged and one that is not."""
    (plants / "west" / "site.yaml").write_text("site: [", encoding="utf-8")
    schema = schema_of("sites")
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(document(run, plants))


def test_any_number_of_jobs_gives_the_same_bytes(run: Run, plants: Path) -> None:
    """One, two and five at once."""
    made = {run("check", plants, *AS_OF, "--format", "json", "--jobs", jobs).stdout for jobs in ("1", "2", "5")}
    assert len(made) == 1


def test_a_site_that_cannot_be_judged_holds_up_no_other(run: Run, plants: Path) -> None:
    """Its row, its problems on standard error and in the document; exit code 2; the others as before."""
    (plants / "north" / "site.yaml").write_text("site: north\nengines: 3\n", encoding="utf-8")
    before = document(run, plants / "west")["findings"]
    result = run("check", plants, *AS_OF, "--format", "json")
    assert result.exit_code == 2
    found = json.loads(result.stdout)
    by_name = {Path(site["folder"]).name: site for site in found["sites"]}
    assert by_name["west"]["findings"]["findings"] == before
    assert by_name["north"]["findings"] is None
    assert {problem["code"][:3] for problem in by_name["north"]["problems"]} == {"SIT"}
    assert found["totals"]["not_judged"] == 1
    assert "north/site.yaml" in result.stderr
    table = run("check", plants, *AS_OF).stdout
    assert "1 cannot be judged" in table.splitlines()[0]
    assert "cannot be judged: " in table


def test_a_process_that_is_killed_loses_its_own_site_only(run: Run, plants: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As the kernel does where memory is short; and an error in the program is one of that site too."""
    from intervals.questions.check import assess

    judge = assess.assess_site

    def dies(site: Any, *args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - stands in for the judge
        if site.site == "north":
            os.kill(os.getpid(), signal.SIGKILL)
        if site.site == "west":
            message = "a slip"
            raise ZeroDivisionError(message)
        return judge(site, *args, **kwargs)

    monkeypatch.setattr(assess, "assess_site", dies)
    result = run("check", plants, *AS_OF, "--format", "json", "--jobs", "2")
    assert result.exit_code == 2
    codes = {Path(site["folder"]).name: [each["code"] for each in site["problems"]] for site in json.loads(result.stdout)["sites"]}
    assert codes == {"south": [], "north": ["CLI142"], "west": ["CLI143"]}
    assert "ZeroDivisionError: a slip" in result.stderr


def test_a_name_means_the_sites_that_have_it(run: Run, tmp_path: Path) -> None:
    """X9 is at one site of two, air-filter at the other; what is at neither is refused."""
    plant(tmp_path / "p" / "a", 1)
    plant(tmp_path / "p" / "b", 1, tasks=(OIL, FILTER), engine="X9")
    sites = tmp_path / "p"
    assert [Path(site["folder"]).name for site in document(run, sites, "--engine", "x9")["sites"]] == ["b"]
    assert [Path(site["folder"]).name for site in document(run, sites, "--task", "air-filter")["sites"]] == ["b"]
    assert len(document(run, sites, "--engine", "G1", "--engine", "X9")["sites"]) == 2
    nobody = run("check", sites, *AS_OF, "--engine", "G7", "--task", "polish")
    assert (nobody.exit_code, nobody.stdout) == (2, "")
    assert 'CLI010 --engine\n    "G7" is at none of these sites' in nobody.stderr
    assert 'CLI011 --task\n    "polish" is at none of these sites' in nobody.stderr
    apart = run("check", sites, *AS_OF, "--engine", "G1", "--task", "air-filter")
    assert (apart.exit_code, apart.stderr.split()[0]) == (2, "CLI015")


def test_what_is_typed_wrong_is_refused_once_and_before_anything_is_judged(run: Run, plants: Path) -> None:
    """A date, a span, an option that means nothing here, a folder that is not there: all in one run, each once."""
    result = run("check", plants, "--as-of", "31.3.2026", "--due", "soon", "--group", "ruleset", "--html", plants / "no" / "x.html")
    assert result.exit_code == 2
    codes = [line.split()[0] for line in result.stderr.splitlines() if line[:3] == "CLI"]
    assert sorted(codes) == ["CLI101", "CLI105", "CLI110", "CLI144"]


def test_no_file_of_any_site_is_written_over(run: Run, plants: Path) -> None:
    """An output that is the services file of one of the sites."""
    services = plants / "west" / "services.csv"
    before = services.read_bytes()
    result = run("check", plants, *AS_OF, "--format", "csv", "--output", services)
    assert result.exit_code == 2
    assert result.stderr.count("CLI110") == 1
    assert services.read_bytes() == before


def test_each_row_of_the_sheet_names_its_site(run: Run, plants: Path) -> None:
    """Three findings, each with its folder and the id of its site."""
    rows = list(csv.DictReader(io.StringIO(run("check", plants, *AS_OF, "--format", "csv").stdout)))
    assert [(Path(row["folder"]).name, row["site"], row["task"]) for row in rows] == [
        ("south", "south", "oil"),
        ("north", "north", "oil"),
        ("west", "west", "oil"),
    ]
    assert [float(row["used"]) for row in rows] == [450.0, 900.0, 90.0]


def test_page_workbook_and_calendar_are_of_all_sites(run: Run, plants: Path, tmp_path: Path) -> None:
    """The page names each site and what is wrong with one; the workbook has a sheet of sites; titles of events name the site."""
    (plants / "west" / "site.yaml").write_text("site: [", encoding="utf-8")
    files = [tmp_path / name for name in ("all.html", "all.xlsx", "all.ics")]
    result = run("check", plants, *AS_OF, "--html", files[0], "--xlsx", files[1], "--ics", files[2])
    assert result.exit_code == 2
    page = files[0].read_text("utf-8")
    assert "3 sites, 2 engines" in page
    assert "could not be judged" in page
    assert "400 h past" in page
    assert "http" not in page.replace("http-equiv", "")
    book = openpyxl.load_workbook(files[1])
    assert [cell.value for cell in book["sites"]["D"]] == ["engines", 1, 1, None]
    assert [Path(str(cell.value)).name for cell in book["findings"]["A"]] == ["folder", "south", "north"]
    titles = [str(event["SUMMARY"]) for event in Calendar.from_ical(files[2].read_bytes()).walk("VEVENT")]
    assert any("north G1, Oil" in title for title in titles)


def test_a_site_is_judged_once_however_often_it_is_named(run: Run, plants: Path) -> None:
    """By its folder, its file, a link and the folder above it."""
    (plants.parent / "link").symlink_to(plants / "north")
    found = document(run, plants / "north" / "site.yaml", plants / "north", plants.parent / "link", plants)
    assert [Path(site["folder"]).name for site in found["sites"]] == ["site.yaml", "south", "west"]


def test_sites_in_hidden_folders_and_inside_a_site_are_not_looked_for(run: Run, plants: Path) -> None:
    """A copy in .old, and one below the folder of a site."""
    plant(plants / ".old", 1)
    plant(plants / "north" / "copy", 1)
    assert len(document(run, plants)["sites"]) == 3


def test_a_folder_without_any_site_is_refused_like_a_site_that_is_not_there(run: Run, tmp_path: Path) -> None:
    """Alone, and beside a site that can be judged."""
    (tmp_path / "empty").mkdir()
    alone = run("check", tmp_path / "empty", *AS_OF)
    assert alone.exit_code == 2
    assert alone.stderr.startswith("SIT")
    plant(tmp_path / "a", 1)
    both = run("check", tmp_path / "empty", tmp_path / "a", *AS_OF)
    assert both.exit_code == 2
    assert "1 cannot be judged" in both.stdout


def test_a_month_is_summed_over_all_sites(run: Run, plants: Path) -> None:
    """North passes 500 h on day 50, in February, and leaves it open: late; the other two decide nothing: 0 of 1."""
    text = run("check", plants, "--month", "2026-02").stdout
    assert "Compliance in 2026-02, all sites together: 0 % (0 on time of 1)" in text


def test_all_and_due_say_which_tasks_are_shown(run: Run, plants: Path) -> None:
    """--all shows three tasks, --due P14D those due by 14 April: north's, past its line, and south's, of which 50 h or 10 days are left."""
    every = run("check", plants, *AS_OF, "--all").stdout.split("Tasks of all sites")[1]
    assert every.count(" oil ") == 3
    near = run("check", plants, *AS_OF, "--due", "P14D").stdout.split("Tasks of all sites")[1]
    assert near.count(" oil ") == 2
    assert "Not shown: 1 task not due by 2026-04-14" in near
