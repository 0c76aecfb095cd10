"""Budgets of the running hours of an engine in calendar periods."""

from collections.abc import Iterator
from datetime import date
from fractions import Fraction

from tests.second_judge.clock import HOUR, Duration, Instant, add
from tests.second_judge.conditions import judge_condition, near
from tests.second_judge.duty import Track, attributes_of
from tests.second_judge.site_folder import Plain, SiteFolder, as_list, exact
from tests.second_judge.usage import Usage

YEARS = {"calendar_year": 12, "calendar_month": 1}


def judge_budgets(site: SiteFolder, usage: Usage, as_of: Instant) -> Iterator[tuple[str, Plain]]:
    """Yield the finding of each budget that limits one engine in calendar periods."""
    for budget in site.rules.get("budgets", []):
        facts = attributes_of(usage.told)
        if judge_condition(budget.get("applies_to", {}), facts, {}) is False:
            continue
        yield budget["id"], _judge(site, usage, budget, as_of)


def _judge(site: SiteFolder, usage: Usage, budget: Plain, as_of: Instant) -> Plain:
    clock, named = site.clock, site.rules.get("conditions", {})
    counted: list[Fraction | None] = []
    unsure: list[Fraction | None] = []
    for piece in usage.pieces:
        answer = judge_condition(budget.get("when", {}), attributes_of(usage.told) | piece.levels, named)
        holds = budget.get("when_unknown") == "holds" if answer is None else answer
        amount = piece.hours if budget["of"] == "running_hours" else piece.amounts.get(budget["of"])
        counted.append(amount if holds else Fraction(0))
        length = Fraction(piece.end - piece.start, HOUR)
        unsure.append(length if amount is None else amount if answer is None else Fraction(0))
    track, doubt = Track(usage.pieces, counted), Track(usage.pieces, unsure)
    last = clock.last_day(as_of)
    begin, divided = _period(budget["per"], last)
    start = clock.midnight(begin)
    used = near(track.between(start, as_of) / divided)
    limit = budget["at_most"]
    if isinstance(limit, list):
        limit = [one for one in limit if one.get("in_force_from", "0000") <= last.isoformat()][-1]["at_most"]
    allowed = exact(limit)
    lead = allowed * exact(budget.get("lead_pct", 10)) / 100
    known = track.is_known(start, as_of)
    found: Plain = {
        "legs": {budget["of"]: (used, allowed)},
        "crossed": None,
        "within": False,
        "fired": None,
        "untold": None,
        "due": None,
        "governing": None,
    }
    if (
        used <= allowed and (not known or "when_unknown" not in budget) and near(used + doubt.between(start, as_of) / divided) > allowed
    ) or (used <= allowed and _may_have_run(usage, start, as_of, (allowed - used) * divided, site)):
        found["standing"] = "unknown"
    elif used > allowed:
        found["standing"] = "overdue"
        found["crossed"] = track.passes(start, allowed * divided) if isinstance(budget["per"], str) else "rolling"
        if found["crossed"] != "rolling":
            found["due"] = max(clock.last_day(round(found["crossed"] / 10**6) * 10**6), begin, clock.day(usage.born))
    else:
        found["standing"] = "upcoming" if used >= near(allowed - lead) else "in_interval"
    return found


def _may_have_run(usage: Usage, start: int, as_of: Instant, left: Fraction, site: SiteFolder) -> bool:
    """Return whether what is left may have been run since the log ended."""
    gap = exact(usage.told.get("gap_h") or as_list(site.told["readings"])[0].get("gap_h", 36)) * HOUR
    if usage.log_end is not None and usage.log_end < start < as_of and as_of - usage.log_end > gap:
        return True
    if usage.log_end is None or as_of - usage.log_end <= gap:
        return False
    return near(left) <= Fraction(as_of - max(usage.log_end, start)) / HOUR


def _period(per: object, last: date) -> tuple[date, int]:
    if per == "calendar_year":
        return date(last.year, 1, 1), 1
    if per == "calendar_month":
        return last.replace(day=1), 1
    assert isinstance(per, dict)
    if "calendar_months" in per:
        return add(last.replace(day=1), Duration(months=per["calendar_months"] - 1), -1), 1
    years = per["mean_of_calendar_years"]
    return date(last.year - years + 1, 1, 1), years
