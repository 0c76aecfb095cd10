"""Closed windows measured all at once against the same windows walked one by one.

Most windows of a plain task lie well below their lines and are told apart together; whatever is skipped must not depend on that.
"""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from intervals.history.inputs import read_inputs
from intervals.judge.engine_answers import JudgedEngine
from intervals.judge.skipped import find_skipped
from intervals.questions.check.assess import judge_inputs
from intervals.site.model import load_site
from tests.properties.bounded import bounded
from tests.properties.made_logs import START, MadeLog, made_logs, scratch, stamp
from tests.site_maker import rule, task, write_site

TASKS = (
    task("oil", every={"running_hours": 20, "calendar": "P5D"}, stops_engine=True),
    task("plugs", every={"running_hours": 30}, first={"running_hours": 8}, early_pct=60, stops_engine=True),
    task("valves", every={"calendar": "P1M"}),
    task("starter", every={"starts": 6, "calendar": "P9D"}, whichever="last"),
    task("filters", every={"running_hours": 15, "energy_kwh": 2500}, makes_new=["plugs"]),
)
RULES = (
    rule("heavy", {"load_pct": {"above": 90}}, tasks=["oil", "filters"], counts_as=2),
    rule("often", {"starts_per_100h": {"above": 20}}, tasks=["oil", "starter"], interval_times=0.7),
)


@st.composite
def histories(draw: st.DrawFn) -> tuple[MadeLog, list[dict[str, object]]]:
    """Return a random log and completions of every task in it, some of them at the same time."""
    log = draw(made_logs(most_steps=30))
    length = log.ends[-1]
    minutes = draw(st.lists(st.tuples(st.sampled_from([str(each["id"]) for each in TASKS]), st.integers(1, length)), max_size=25))
    return log, [{"at": stamp(minute), "engine": "G1", "task": name, "outcome": "done"} for name, minute in minutes]


@bounded(40)
@given(history=histories(), in_service=st.booleans())
def test_windows_told_apart_together_skip_what_windows_walked_one_by_one_skip(
    history: tuple[MadeLog, list[dict[str, object]]], in_service: bool
) -> None:
    """Missed and left-out work of five tasks, with and without a first day: the same either way."""
    log, records = history
    engine = {"in_service": START.date().isoformat()} if in_service else {"records_from": START.date().isoformat()}
    judged: list[JudgedEngine] = []
    with scratch() as folder:
        write_site(folder, TASKS, log.rows(), services=records, engine=engine, rules={"adjustments": list(RULES)})
        site = load_site(folder)
        judge_inputs(read_inputs(site, date(2024, 3, 1) + timedelta(days=log.ends[-1] // 1440 + 1)), watch=judged.append)
    for chain in judged[0].chains.values():
        assert chain.is_plain
        together = find_skipped(chain, list(chain.windows(judged[0].visits)), judged[0].visits)
        assert together == find_skipped(chain, list(chain.every_window()), judged[0].visits)
