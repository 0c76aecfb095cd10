"""What a budget could not count: columns that are not logged, records that are not complete, hours that no meter covers.

In: an account and one of its periods. Out: a few words where the sum may not be all, and by how much it may be more.
"""

from __future__ import annotations

from intervals.history.engine_case import METER_GAP, NO_METER
from intervals.history.window_measures import NOTHING_H
from intervals.judge.budget_account import Account, Period
from intervals.language.legs import RUNNING_HOURS, rounded
from intervals.local_days import HOUR_US

MOST_NAMED = 3


def why_unknown(account: Account, period: Period, allowed: float | None) -> tuple[str, float]:
    """Return why what was counted is not all, or an empty text, and how many hours more it may be.

    Hours that could not exceed the limit, had they all been run, leave nothing open.

    Args:
        account: what was counted.
        period: one of its periods, as it stood at its end.
        allowed: the limit in force, or None.
    """
    case, counted = account.case, account.budget.of
    in_service = case.log.in_service_us
    start_us = period.start_us if in_service is None else max(period.start_us, in_service)
    for why in (_unlogged(account, start_us), _unrecorded(account, start_us, period)):
        if why:
            return why, 0.0
    if not counted.quantities:
        return "", 0.0
    ended = case.log_ended_text(case.log.told_to_us or 0)
    silent_us = case.silence_us(period.end_us)
    silent_h = silent_us / HOUR_US if silent_us > case.log.gap_us else 0.0
    if silent_h > 0 and counted.quantities != (RUNNING_HOURS,):
        return ended, 0.0
    untold_h = _untold_h(account, start_us, period.end_us) if RUNNING_HOURS in counted.quantities else 0.0
    more = untold_h + silent_h
    if more <= NOTHING_H or allowed is None or rounded(period.used + period.unknown + more - allowed) <= 0:
        return "", more
    return (f"{METER_GAP} part of this period" if untold_h > NOTHING_H else ended), more


def _untold_h(account: Account, start_us: int, end_us: int) -> float:
    """Return the time between two instants of which no meter tells whether the engine ran."""
    ledger = account.case.ledger
    edges = ledger.edges_us
    before_h = max(0, int(edges[0]) - start_us) / HOUR_US
    low = int(edges.searchsorted(max(start_us, int(edges[0]))))
    high = min(int(edges.searchsorted(end_us)), len(edges) - 1)
    return before_h + float(ledger.unknown_up_to_h[high] - ledger.unknown_up_to_h[min(low, high)])


def _unlogged(account: Account, start_us: int) -> str:
    """Return which quantity the log does not know from an instant on."""
    case = account.case
    if account.unlogged:
        return f"no {' and no '.join(account.unlogged)} is logged"
    if account.budget.of.quantities and case.log.told_to_us is None:
        return f"{NO_METER} was ever read"
    first_us = int(case.log.rows[0]) - case.log.gap_us if len(case.log.rows) else start_us
    for name in account.budget.of.quantities:
        known_from = case.ledger.counters_known_from_us.get(name, first_us)
        if name != RUNNING_HOURS and known_from > start_us:
            return f"{name} is known only from {case.days.iso(known_from)} on"
    return ""


def _unrecorded(account: Account, start_us: int, period: Period) -> str:
    """Return why the service records do not tell all hours."""
    case, tasks = account.case, account.budget.of.records
    if not tasks:
        return ""
    records_from = case.records_from_us
    if records_from is None or records_from > start_us:
        since = "nothing says from when on" if records_from is None else f"only from {case.days.iso(records_from)} on"
        return f"{since} the service records are complete"
    rows = [entry for task in tasks for entry in case.records.hours.get(task, ())]
    blank = [entry.record for entry in rows if entry.hours_h is None and period.start_us <= entry.at_us <= period.end_us]
    return f"no hours are recorded in {', '.join(blank[:MOST_NAMED])}" if blank else ""
