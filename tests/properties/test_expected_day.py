"""An expected day does not drift: whenever one asks after the end of a log, the answer is the one given at its end."""

from __future__ import annotations

from datetime import datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from intervals import assess
from tests.properties.bounded import bounded
from tests.properties.made_logs import scratch
from tests.site_maker import finding_for, meter, rule, task, write_site

FIRST = datetime(2026, 1, 1)  # noqa: DTZ001 - a log's own clock
HOURS = st.lists(st.floats(0.5, 24, allow_nan=False).map(lambda hours: round(hours, 2)), min_size=20, max_size=130)


@bounded(12)
@given(
    hours=HOURS,
    left_h=st.integers(1, 2000).map(lambda hours: hours + 0.5),
    last_hour=st.integers(1, 23),
    silent_h=st.lists(st.integers(1, 4000), min_size=2, max_size=2),
)
def test_the_expected_day_stays_and_then_is_unknown(hours: list[float], left_h: float, last_hour: int, silent_h: list[int]) -> None:
    """Daily rows, the last one somewhere in its day: asked some hours later, the days are the same or today; in silence one day stays."""
    shown = [round(sum(hours[:count]), 2) for count in range(len(hours) + 1)]
    stamps = [FIRST + timedelta(days=count) for count in range(len(hours))]
    stamps.append(stamps[-1] + timedelta(hours=last_hour))
    shown[-1] = round(shown[-2] + min(hours[-1], float(last_hour)), 2)
    rows = [meter(at.isoformat(), reading, load_pct=95) for at, reading in zip(stamps, shown, strict=True)]
    heavy = {"adjustments": [rule("heavy", {"load_pct": {"above": 90}}, counts_as=1.5)]}
    tasks = [task(every={"running_hours": round(1.5 * shown[-1] + left_h, 2)})]
    with scratch() as folder:
        site = write_site(
            folder, tasks, rows, engine={"in_service": FIRST.date().isoformat(), "meter_at_start_h": 0}, rules=heavy, gap_h=36
        )
        at_end = finding_for(assess(site, stamps[-1]))
        assert at_end.forecast is not None
        days: set[str | None] = set()
        for silent in sorted(silent_h):
            asked = stamps[-1] + timedelta(hours=silent)
            later = finding_for(assess(site, asked))
            assert later.forecast is not None
            expected = later.forecast.on
            # the last day that a moment covers: a midnight closes the day before it
            last_day = (asked - timedelta(microseconds=1)).date().isoformat()
            if silent <= 36:
                shown_at_end = (at_end.forecast.early, at_end.forecast.on, at_end.forecast.late)
                as_of_now = tuple(day and max(day, last_day) for day in shown_at_end)
                assert (later.forecast.early, expected, later.forecast.late) == as_of_now
            else:
                days.add(expected)
            early, late = later.forecast.early, later.forecast.late
            assert (early or "9") <= (expected or "9") <= (late or "9")
            if expected is not None:
                is_gone = last_day > expected
                assert (later.reasons[0].rule == "expected-day-gone") == (silent > 36 and is_gone)
                assert (later.standing == "unknown") == (silent > 36 and (is_gone or left_h < silent))
        assert len(days) <= 1
