"""An invented gas plant with two engines and the papers that such a plant has: every figure here was worked out by hand.

The arithmetic, from `gas_plant/site.yaml` and its files. Day n is 1 September 2025 + n days.
- G1 runs day and night: 58,000 h on 1 September at 00:00, 25 h on 26 October; 98 d 8 h + 1 h = 2,361 h to its new meter on 8 December
  (60,361 h become 0); 56 d = 1,344 h to the overhaul; from 16 February, 08:00 on again, 23 h on 29 March; 1,344 + 133 x 24 - 1 = 4,535 h
  on 29 June at 08:00. At 95 % load all March: 743 h that count 1.5 times (+ 371.5 h) for oil, plugs and valves; else at 80 %.
- G2 runs 06:00 to 22:00: 20,000 + 16 n + 2 h on day n at 08:00; 24,818 h on 29 June (n = 301). Oil: 3,000 h x 0.8 = 2,400 h; air filter
  4,000 x 0.5 = 2,000 h; plugs 2,000 x 0.8 = 1,600 h (3 of 7 days below 40 % load are 42.9 % of its hours, over 30 %).
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest import mock
from zoneinfo import ZoneInfo

import pytest
from typer.testing import CliRunner, Result

from intervals.cli.main import app
from tests.layouts.due_days import holds_day

HERE = Path(__file__).parent / "gas_plant"
BERLIN = ZoneInfo("Europe/Berlin")
HEAD = "Leitsystem Talgrund;Export;;;\r\nZeitraum;ab 01.09.2025;;;\r\n\r\n"
COLUMNS = "Zeitstempel;BHKW 1 Wirkleistung;BHKW 1 Starts;BHKW 2 Wirkleistung;BHKW 2 Starts\r\n"
CARD = "04.04.2026 08:00;BHKW 1;Ölprobe;2471;erledigt;Schlosserei;;\n"
LAST = "2026-06-29"


def hourly(until: datetime) -> Iterator[str]:
    """Yield the rows of the control room, an hour each, stamped at its begin by the local clock."""
    at, starts = datetime(2025, 9, 1, tzinfo=BERLIN).astimezone(UTC), 900
    while at < until.replace(tzinfo=BERLIN).astimezone(UTC):
        clock = at.astimezone(BERLIN).replace(tzinfo=None)
        stands = datetime(2026, 2, 2, 8) <= clock < datetime(2026, 2, 16, 8)  # noqa: DTZ001 - by the local clock
        heavy = (clock.year, clock.month) == (2026, 3)
        starts += clock.hour == 6
        power_2 = 0 if not 6 <= clock.hour < 22 else 350 if clock.weekday() < 4 else 190
        starts_1 = 210 + (clock >= datetime(2026, 2, 16, 8))  # noqa: DTZ001 - by the local clock
        yield f"{clock:%d.%m.%Y %H:%M};{0 if stands else 950 if heavy else 800},0;{starts_1};{power_2},0;{starts}\r\n"
        at += timedelta(hours=1)


def made(folder: Path, *, log: str = "2026-06-29T08:00", meter: str = LAST, records: str = LAST) -> Path:
    """Write the site as it was known once: the hourly export up to a time, meter and records up to and with a day."""
    shutil.copytree(HERE, folder)
    (folder / "readings/leistung.csv").write_bytes((HEAD + COLUMNS + "".join(hourly(datetime.fromisoformat(log)))).encode("cp1252"))
    for name, last in (("readings/zaehler.csv", meter), ("services.csv", records)):
        head, *rows = (HERE / name).read_text("utf-8").splitlines(keepends=True)
        kept = [row for row in rows if datetime.strptime(row[:10], "%d.%m.%Y").date().isoformat() <= last]  # noqa: DTZ007 - a local day
        (folder / name).write_text("".join([head, *kept]), encoding="utf-8")
    return folder


def run(*words: str | Path) -> Result:
    """Run a command on 30 November 2026; a clock frozen everywhere would lose which of its two hours an autumn night shows."""
    with mock.patch("intervals.cli.common.clock.datetime") as clock:
        clock.now.return_value = datetime(2026, 11, 30, 12, tzinfo=UTC)
        return CliRunner().invoke(app, [str(word) for word in words])


def document(*words: str | Path) -> dict[str, Any]:
    """Return the document that a command prints."""
    result = run(*words, "--format", "json")
    assert result.exit_code in (0, 1), result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def by_task(site: Path, as_of: str) -> dict[str, dict[str, Any]]:
    """Return the findings of a date by `G1 oil-change`."""
    return {f"{found['engine']} {found['task']}": found for found in document("check", site, "--as-of", as_of)["findings"]}


def hours(finding: dict[str, Any]) -> tuple[float | None, float]:
    """Return what is used and allowed of a finding's running hours."""
    (leg,) = (leg for leg in finding["legs"] if leg["leg"] == "running_hours")
    return leg["used"], leg["allowed"]


def figures(site: Path, month: str) -> tuple[int, ...]:
    """Return the counts of a month: on time, late, of these open, pending, deferred, early."""
    told = document("check", site, "--month", month)["compliance"]
    return tuple(told[name] for name in ("on_time", "late", "open", "pending", "deferred", "early"))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the whole site."""
    return made(tmp_path_factory.mktemp("layout") / "talgrund")


@pytest.fixture(scope="module")
def at_end(site: Path) -> dict[str, dict[str, Any]]:
    """Return the findings on the log's last day."""
    return by_task(site, LAST)


def test_what_was_read(site: Path) -> None:
    """301 d and 8 h, an hour more in autumn and less in spring: 7,232 rows, and 44 Mondays of two; nothing tells the two 02:00 apart."""
    told = document("check", site, "--as-of", LAST)
    assert told["rows"] == {"read": 7232 + 88, "accepted": 7232 + 88 - 2, "set_aside": 2}
    assert [fault["kind"] for fault in told["faults"]] == ["time_comes_twice"] * 2 + ["no_completion_known"]
    assert told["totals"] == {"overdue": 2, "upcoming": 1, "in_interval": 22, "unknown": 1, "skipped_open": 4}


@pytest.mark.parametrize(
    ("task", "used", "allowed", "due_on"),
    [
        # 4,535 - 3,191 (4 May); 656 h left / 24 = 27 d 8 h after 29 June, 08:00
        ("G1 oil-change", 1344, 2000, "2026-07-26"),
        ("G1 spark-plugs", 1344, 2000, "2026-07-26"),
        ("G1 valve-clearance", 1344, 2000, "2026-07-26"),
        # taken at 4,199 h, 8 h after the due point 3,191 + 1,000: counted from 4,191
        ("G1 oil-sample", 344, 1000, "2026-07-26"),
        # 4,535 - 1,344 (overhaul); 809 / 24 = 33 d 17 h; coolant by the calendar not before 13 August
        ("G1 ignition-cables", 3191, 4000, "2026-08-02"),
        ("G1 coolant", 3191, 4000, "2026-08-02"),
        # 4,535 - 1,848 (9 March); 1,313 / 24 = 54 d 17 h
        ("G1 air-filter", 2687, 4000, "2026-08-23"),
        # 60,361 - 58,008 + 4,535, the overhaul is no greasing; 4,000 h were full 303 h after 16 February, 08:00: 28 February, 23:00
        ("G1 generator-bearings", 6888, 4000, "2026-02-28"),
        # 6,809 / 24 = 283 d 17 h
        ("G1 turbocharger", 3191, 10000, "2027-04-09"),
        ("G1 overhaul", 3191, 60000, None),
        # 24,818 - 23,586 (13 April); 1,168 / 16 = 73 d
        ("G2 oil-change", 1232, 2400, "2026-09-10"),
        # 24,818 - 23,698 (20 April); 480 / 16 = 30 d
        ("G2 spark-plugs", 1120, 1600, "2026-07-29"),
        # from the due point 24,578; 760 / 16 = 47.5 d
        ("G2 oil-sample", 240, 1000, "2026-08-15"),
        # 24,818 - 24,258 (25 May); 1,440 / 16 = 90 d
        ("G2 air-filter", 560, 2000, "2026-09-27"),
        # 24,818 - 23,138; by the calendar 16 March + 6 months
        ("G2 coolant", 1680, 4000, "2026-09-16"),
        # 24,818 - 22,242, done in part since; 24,242 h on day 265 at 08:00
        ("G2 valve-clearance", 2576, 2000, "2026-05-24"),
        # 24,818 - 14,010; held until 24,900 h: 82 h left / 16 = 5 d 3 h
        ("G2 turbocharger", 10808, 10000, "2026-07-04"),
    ],
)
def test_used_allowed_and_due(at_end: dict[str, dict[str, Any]], task: str, used: float, allowed: float, due_on: str | None) -> None:
    """Two files, two meters, an overhaul and two factors give the hours that the papers give."""
    assert hours(at_end[task]) == (used, allowed)
    assert due_on is None or holds_day(at_end[task], due_on)


def test_what_the_overhaul_renewed(site: Path) -> None:
    """On 19 February it is 3 d 16 h = 88 h ago: oil by its first 100 h; filter and grease go on from 58,008 h: 2,353 + 1,344 + 88."""
    told = by_task(site, "2026-02-19")
    renewed = (
        "overhaul",
        "spark-plugs",
        "ignition-cables",
        "crankcase-breather",
        "coolant",
        "mixture-cooler",
        "turbocharger",
        "cylinder-heads",
    )
    assert {hours(told[f"G1 {task}"])[0] for task in renewed} == {88.0}
    assert [hours(told[f"G1 {task}"]) for task in ("oil-change", "valve-clearance")] == [(88.0, 100.0), (88.0, 250.0)]
    assert [hours(told[f"G1 {task}"]) for task in ("air-filter", "generator-bearings")] == [(3785.0, 4000.0)] * 2


@pytest.mark.parametrize(
    ("as_of", "oil", "deferred"),
    [
        # asked before the expected days of 26 July and 4 July, and on and after them; of the 42 days in August nothing more is known
        ("2026-06-30", "in_interval", "upcoming"),
        ("2026-07-10", "in_interval", "unknown"),
        ("2026-07-26", "unknown", "unknown"),
        ("2026-08-10", "unknown", "unknown"),
    ],
)
def test_a_forecast_stays_once_the_log_has_ended(site: Path, as_of: str, oil: str, deferred: str) -> None:
    """The expected days are those of 29 June whenever one asks; the day after the log's end they lie in the range."""
    told = by_task(site, as_of)
    for task, standing, day in (
        ("G1 oil-change", oil, "2026-07-26"),
        ("G2 turbocharger", deferred, "2026-07-04"),
        ("G2 oil-change", "in_interval", "2026-09-10"),
    ):
        assert told[task]["standing"] == standing
        assert holds_day(told[task], day)
        assert as_of == "2026-06-30" or told[task]["due_on"] == day


MONTHS = {
    # G1's five tasks of the 2,000 h service (2,017 h; the breather at 50.4 %), G2's sample
    "2025-11": (6, 0, 0, 0, 0, 0),
    # both samples, G2 valves and filter at 2,016 h; G2 plugs 1,904 h, tolerance 1,760 h; overhaul and turbocharger 673 h past on the 31st
    "2026-01": (4, 1, 0, 2, 0, 0),
    # the overhaul on time with nine tasks, its breather (42 %) early; oil 96 h, valves 264 of 275 h; G2 oil 2,352 h; two samples early;
    # G1 air filter and grease an hour past their line
    "2026-02": (13, 0, 0, 2, 0, 3),
    # G1 filter 4,201 h, G2 coolant a day late; grease beyond 4,400 h on 17 March
    "2026-03": (2, 1, 1, 0, 0, 0),
    # G2 sample and plugs; G1 sample beyond 1,100 h on 7 April; oil and plugs past their line; G2 oil at 1,008 of 2,400 h early
    "2026-04": (2, 1, 1, 2, 0, 1),
    # G1 oil 2,122.5 h, valves 1,954.5 h, G2 four tasks; G1 plugs 2,218.5 h; G2 valves pending, turbocharger deferred; breather 46 % early
    "2026-05": (6, 1, 0, 1, 1, 1),
    # both samples; G2 valves beyond 2,200 h on 5 June
    "2026-06": (2, 1, 1, 0, 1, 0),
}


@pytest.mark.parametrize("month", MONTHS)
def test_the_figure_of_a_month(site: Path, month: str) -> None:
    """Each occurrence is counted in the month in which it was decided."""
    assert figures(site, month) == MONTHS[month]


@pytest.mark.parametrize(("month", "monday"), [("2026-01", "2026-02-02"), ("2026-03", "2026-04-06"), ("2026-04", "2026-05-04")])
def test_the_figure_was_the_same_when_it_was_first_asked(tmp_path: Path, month: str, monday: str) -> None:
    """As soon as the first Monday after the month is read, its figure is what it stays."""
    then = made(tmp_path / "then", log=f"{monday}T08:00", meter=monday, records=month + "-31")
    assert figures(then, month) == MONTHS[month]
    run("statement", then, "--month", month)
    shutil.copytree(made(tmp_path / "now"), then, dirs_exist_ok=True)
    assert run("statement", then, "--month", month, "--verify").exit_code == 0


def test_a_month_stated_before_its_meter_was_read_says_so(tmp_path: Path) -> None:
    """On 1 May the meter was last read on 27 April: the reading of 4 May tells more of April."""
    early = made(tmp_path / "early", log="2026-05-01T00:00", meter="2026-04-30", records="2026-04-30")
    text = run("statement", early, "--month", "2026-04").stdout
    assert "G1: the hour meter was last read on 2026-04-27T08:00:00+02:00, before April 2026 ended." in text
    assert "last read" not in run("statement", made(tmp_path / "whole"), "--month", "2026-04").stdout


def test_a_paper_card_that_came_late(tmp_path: Path) -> None:
    """The sample of 4 April (1,031 of 1,000 h) makes April 3 of 3, and May's renewal (751 h since the due point) one more on time."""
    late = made(tmp_path / "late")
    for month in ("2026-03", "2026-04", "2026-05"):
        assert run("statement", late, "--month", month).exit_code == 0
    first = (late / "statements/2026-04.json").read_bytes()
    with (late / "services.csv").open("a", encoding="utf-8") as file:
        file.write(CARD)
    verify = ("statement", late, "--month", "2026-05", "--verify")
    assert run(*verify).exit_code == 1
    assert run("statement", late, "--month", "2026-04", "--amend", "--reason", "Karte nachgetragen", "--by", "Werkstatt").exit_code == 0
    told = run(*verify)
    assert (told.exit_code, told.stdout.count("holds as amended")) == (0, 2)
    assert (figures(late, "2026-04"), figures(late, "2026-05")) == ((3, 0, 0, 2, 0, 1), (7, 1, 0, 1, 1, 1))
    assert (late / "statements/2026-04.json").read_bytes() == first
    amended = late / "statements/2026-04.amended-1.json"
    amended.write_text(amended.read_text("utf-8").replace("nachgetragen", "gefunden"), encoding="utf-8")
    assert run(*verify).exit_code == 1


def test_what_was_skipped_and_is_open(site: Path) -> None:
    """Grease at 5,544 h when the oil was changed on 4 May; on 25 May G2's valves were done in part, and its turbocharger left."""
    told = {
        (found["engine"], found["task"], found["kind"], found["at"])
        for found in document("check", site, "--as-of", LAST)["skipped"]
        if found["open"]
    }
    assert told == {
        ("G1", "generator-bearings", "left_out", "2026-05-04"),
        ("G2", "valve-clearance", "not_credited", "2026-05-25"),
        ("G2", "valve-clearance", "left_out", "2026-05-25"),
        ("G2", "turbocharger", "left_out", "2026-05-25"),
    }


def test_duty(site: Path) -> None:
    """1 September to 28 June: G1 6,888 h (743 heavy; 2 rows less, no gap), (6,888 + 371.5) / 6,888 h count; G2 43 weeks of 7 x 16 h."""
    one, two = document("duty", site, "--since", "2025-09-01", "--until", "2026-06-28")["engines"]
    shares = {(band["above_pct"], band["hours_h"]) for engine in (one, two) for band in engine["load"]["classes"] if band["hours_h"]}
    assert shares == {(70.0, 6888 - 743), (90.0, 743), (30.0, 43 * 3 * 16), (60.0, 43 * 4 * 16)}
    lasts = {(engine["engine"], task["task"]): task["effective_h"] for engine in (one, two) for task in engine["tasks"]}
    assert lasts["G1", "oil-change"] == pytest.approx(2000 * 6888 / 7259.5, abs=1e-3)
    assert (lasts["G2", "oil-change"], lasts["G2", "spark-plugs"], lasts["G2", "air-filter"]) == (2400, 1600, 2000)
    # 12 L x 880 g a week on 4 x 16 x 350 + 3 x 16 x 190 = 31,520 kWh
    assert two["oil"]["g_per_kwh"] == pytest.approx(12 * 880 / 31520, abs=1e-3)


@pytest.mark.parametrize("word", ["ja", "1", '"true"'])
def test_an_attribute_that_no_rule_compares(tmp_path: Path, word: str) -> None:
    """`dusty_air: ja` would leave 4,000 h in force: it is refused with what to write."""
    told = made(tmp_path / "told")
    path = told / "site.yaml"
    path.write_text(path.read_text("utf-8").replace("dusty_air: true", f"dusty_air: {word}"), encoding="utf-8")
    result = run("check", told, "--as-of", LAST)
    assert (result.exit_code, "write true or false" in result.stderr) == (2, True)


def test_a_meter_that_nobody_types_any_more(tmp_path: Path) -> None:
    """After 27 April only job cards tell: 4,199 h on 15 June, 1,008 h since the oil of 4 May; the forecast of G2's valves stays."""
    told = by_task(made(tmp_path / "untyped", meter="2026-04-27"), "2026-06-16")
    assert hours(told["G1 oil-change"]) == (4199 - 3191, 2000.0)
    assert hours(told["G2 valve-clearance"]) == (24594 - 22242, 2000.0)
    assert (told["G2 valve-clearance"]["standing"], told["G2 valve-clearance"]["due_on"]) == ("overdue", "2026-05-24")
