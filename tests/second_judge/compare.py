"""Holds the program against the second judge on one invented site."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

from intervals import assess, read_site
from intervals.problems import ProblemsError
from tests.second_judge.invent import Inventor
from tests.second_judge.site_folder import SiteFolder, read_folder
from tests.second_judge.verdicts import Verdict, judge

CLOSE = Fraction(2, 10**6)


@dataclass(frozen=True)
class Difference:
    """One field in which the two differ."""

    where: str
    second: Any
    program: Any

    def __str__(self) -> str:
        """Say it in one line."""
        return f"{self.where}: second judge {self.second}, program {self.program}"


@dataclass(frozen=True)
class Trial:
    """What came of one site."""

    seed: int
    layout: str
    as_of: date | datetime
    month: str
    differences: list[Difference]
    fields: int


def try_site(folder: Path, seed: int) -> Trial:
    """Invent a site, judge it twice at a moment and at a month's end, and return where the two differ."""
    inventor = Inventor(seed)
    as_of, month = inventor.make(folder)
    site = read_folder(folder)
    found: list[Difference] = []
    fields = 0
    try:
        own = read_site(folder)
        now = assess(own, as_of, jobs=1).model_dump(mode="json")
        monthly = assess(own, _last_day(month), month=month, jobs=1).model_dump(mode="json")
    except ProblemsError as refused:
        return Trial(seed, inventor.layout, as_of, month, [Difference("problem", None, str(refused))], 0)
    for document, moment, of in ((now, _instant(site, as_of), None), (monthly, _month_end(site, month), month)):
        verdict = judge(site, moment, of)
        some, count = compare(site, verdict, document, of)
        label = f"month {of}" if of else f"as of {as_of}"
        found += [Difference(f"{label} {one.where}", one.second, one.program) for one in some]
        fields += count
    return Trial(seed, inventor.layout, as_of, month, found, fields)


def _instant(site: SiteFolder, as_of: date | datetime) -> int:
    if isinstance(as_of, datetime):
        return site.clock.instant(as_of)
    return site.clock.midnight(as_of + timedelta(days=1))


def _last_day(month: str) -> date:
    return (date.fromisoformat(f"{month}-01") + timedelta(days=32)).replace(day=1) - timedelta(days=1)


def _month_end(site: SiteFolder, month: str) -> int:
    return site.clock.midnight(_last_day(month) + timedelta(days=1))


def compare(site: SiteFolder, verdict: Verdict, document: dict[str, Any], month: str | None) -> tuple[list[Difference], int]:
    """Return where a verdict and a document differ, and how many fields were held against one another."""
    found: list[Difference] = []
    count = 0

    def hold(where: str, second: Any, program: Any) -> None:  # noqa: ANN401 - plain data of a YAML file
        nonlocal count
        count += 1
        if isinstance(second, list) and isinstance(program, list):
            both = Counter(second) & Counter(program)
            second, program = sorted((Counter(second) - both).elements()), sorted((Counter(program) - both).elements())
        if isinstance(second, Fraction) and isinstance(program, (int, float)):
            if abs(second - Fraction(str(program))) <= CLOSE:
                return
            second = float(second)
        elif second == program:
            return
        found.append(Difference(where, second, program))

    theirs = {(one["engine"], one["task"]): one for one in document["findings"]}
    hold("findings", sorted(verdict.findings), sorted(theirs))
    for key, mine in verdict.findings.items():
        if key in theirs:
            _compare_finding(site, ".".join(key), mine, theirs[key], hold)
    skipped = {key for key in verdict.findings if key not in verdict.unsteady}
    hold(
        "skipped",
        sorted(one for one in verdict.skipped if one[:2] in skipped),
        sorted(
            (one["engine"], one["task"], one["kind"], one["open"], one["at"])
            for one in document["skipped"]
            if (one["engine"], one["task"]) in skipped
        ),
    )
    if month is not None:
        tasks = {key for key in skipped if not key[1].startswith("b")}
        told = [one for one in document["compliance"]["occurrences"] if (one["engine"], one["task"]) in tasks]
        listed = [one for one in verdict.occurrences if one[:2] in tasks]
        hold(
            "occurrences",
            sorted(mine_key(one) for one in listed),
            sorted(
                f"{one['engine']} {one['task']} {one['met']} open={one['open']} decided={one['decided_on']} done={one['done_on']}"
                for one in told
            ),
        )
    return found, count


def mine_key(one: tuple[Any, ...]) -> str:
    """Return an occurrence as a line."""
    engine, task, met, open_, _line, decided, done = one
    return f"{engine} {task} {met} open={open_} decided={decided} done={done}"


def _compare_finding(site: SiteFolder, where: str, mine: dict[str, Any], theirs: dict[str, Any], hold: Any) -> None:  # noqa: ANN401 - plain data of a YAML file
    hold(f"{where} standing", mine["standing"], theirs["standing"])
    if "legs" not in mine:
        return
    legs = {one["leg"]: one for one in theirs["legs"]}
    hold(f"{where} legs", sorted(mine["legs"]), sorted(legs))
    for name, (used, allowed) in mine["legs"].items():
        if name in legs:
            hold(f"{where} {name} used", used, legs[name]["used"])
            hold(f"{where} {name} allowed", allowed, legs[name]["allowed"])
    if mine["fired"] is not None:
        hold(
            f"{where} fired",
            sorted(mine["fired"]),
            sorted(one["rule"] for one in theirs["reasons"] if one["rule"][0] == "a" and one["rule"][1:].isdigit()),
        )
        hold(f"{where} unknown_hours_h", mine["untold"], theirs["unknown_hours_h"])
    if theirs["standing"] != "unknown" and mine["governing"]:
        hold(f"{where} governing", mine["governing"], theirs["governing"])
    if mine["standing"] == theirs["standing"] == "overdue":
        hold(f"{where} within_tolerance", mine["within"], theirs["within_tolerance"])
        if mine["crossed"] == "rolling":
            return
        hold(f"{where} due_on", mine["due"] and mine["due"].isoformat(), theirs["due_on"])
