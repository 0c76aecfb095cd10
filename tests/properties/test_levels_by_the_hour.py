"""Levels hour by hour: which value describes each hour of a log, reckoned one hour at a time.

A value describes its own row's step, before or after the stamp, unless that step is a silence longer than the log's rhythm; where it
holds on, it does so until the next value and at most so long. Hours that nothing describes count once and are told as unknown.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals import assess
from tests.properties.bounded import bounded
from tests.properties.made_logs import scratch
from tests.site_maker import finding_for, rule, task, used_of, write_site

START = datetime(2024, 5, 1, tzinfo=UTC)
SPAN_H = 120
ACROSS = 90.0


@dataclass(frozen=True)
class Logged:
    """Rows at whole hours since the first moment: the hour, half hours run since the row before, the load or nothing."""

    hours: tuple[int, ...]
    half_hours_run: tuple[int, ...]
    loads: tuple[float | None, ...]
    covers: str
    gap_h: int
    holds_h: int | None


@st.composite
def logs(draw: st.DrawFn) -> Logged:
    """Return random logs of five days."""
    hours = tuple(sorted(draw(st.lists(st.integers(1, SPAN_H), min_size=1, max_size=12, unique=True))))
    run = [draw(st.integers(0, 2 * (hour - before))) for before, hour in zip((0, *hours), hours, strict=False)]
    loads = [draw(st.none() | st.sampled_from([50.0, 90.0, 95.0])) for _ in hours]
    return Logged(
        hours,
        tuple(run),
        tuple(loads),
        draw(st.sampled_from(["before", "after"])),
        draw(st.sampled_from([6, 24, 1000])),
        draw(st.none() | st.sampled_from([1, 10, 48])),
    )


def load_in(log: Logged, hour: int) -> float | None:
    """Return the load that describes the hour that begins so many hours after the first moment."""
    rows = list(zip(log.hours, log.loads, strict=True))
    own: float | None = None
    if log.covers == "before":
        ending = next((index for index, (at, _) in enumerate(rows) if at > hour), None)
        if ending is not None:
            begin = rows[ending - 1][0] if ending else 0
            own = rows[ending][1] if rows[ending][0] - begin <= log.gap_h else None
    else:
        beginning = next((index for index in reversed(range(len(rows))) if rows[index][0] <= hour), None)
        if beginning is not None:
            end = rows[beginning + 1][0] if beginning + 1 < len(rows) else rows[beginning][0] + log.gap_h
            own = rows[beginning][1] if end - rows[beginning][0] <= log.gap_h and hour < end else None
    if own is not None or log.holds_h is None:
        return own
    stated = [(at, load) for at, load in rows if load is not None and at <= hour]
    return stated[-1][1] if stated and hour < stated[-1][0] + log.holds_h else None


def hours_run_in(log: Logged, hour: int) -> float:
    """Return the running hours of one hour: an even share of its step, and none after the last reading."""
    for before, after, half_hours in zip((0, *log.hours), log.hours, log.half_hours_run, strict=False):
        if before <= hour < after:
            return half_hours / 2 / (after - before)
    return 0.0


@bounded(60)
@given(logs(), st.integers(0, SPAN_H))
def test_every_hour_is_weighed_at_its_own_load(log: Logged, done_at: int) -> None:
    """Equivalent and unknown hours since a completion at any hour are the sums of its hours."""
    total = 0.0
    rows: list[dict[str, object]] = []
    for hour, half_hours, load in zip(log.hours, log.half_hours_run, log.loads, strict=True):
        total += half_hours / 2
        rows.append({"at": stamp(hour), "hour_meter_h": total, "load_pct": "" if load is None else load})
    column: dict[str, object] = {} if log.holds_h is None else {"holds_for": f"PT{log.holds_h}H"}
    services = [{"at": stamp(done_at), "engine": "G1", "task": "oil", "outcome": "done"}]
    with scratch() as folder:
        site = write_site(
            folder,
            [task("oil", every={"running_hours": 1000})],
            rows,
            services=services,
            engine={"in_service": START.date().isoformat(), "meter_at_start_h": 0},
            rules={"adjustments": [rule("heavy", {"load_pct": {"above": ACROSS}}, counts_as=2)]},
            quantities={"load_pct": column},
            gap_h=log.gap_h,
            covers=log.covers,
        )
        finding = finding_for(assess(site, START + timedelta(hours=SPAN_H + 0.01)))
    expected, unknown = 0.0, 0.0
    for hour in range(done_at, SPAN_H):
        load, run = load_in(log, hour), hours_run_in(log, hour)
        expected += run * (2 if load is not None and load > ACROSS else 1)
        unknown += 0.0 if load is not None else run
    if used_of(finding) is not None:
        assert used_of(finding) == pytest.approx(expected, abs=2e-6)
    assert finding.unknown_hours_h == pytest.approx(unknown, abs=2e-6)


def stamp(hour: int) -> str:
    """Return a stamp so many hours after the first moment."""
    return (START + timedelta(hours=hour)).strftime("%Y-%m-%dT%H:%M")
