"""Published cases through the command line: a site folder of the test's making goes in, `intervals check` reads it, findings come out.

The rule sets are those that are shipped; where a published rule is in none of them, the site's folder has a rule set of its own.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple
from unittest.mock import patch

from typer.testing import CliRunner

from intervals.cli.main import app
from intervals.findings import Finding, Findings
from intervals.rules.ruleset import RuleSet, find_ruleset, load_ruleset
from tests.site_maker import Row, write_site

CLOCK = datetime(2035, 1, 1, tzinfo=UTC)
"""The time at which cases are judged: later than each of them, so that no row is in the future."""
AS_OF = "2026-06-30"
_STANDARD = ("fuel", "duty", "rated_kw", "oil_volume_l")


@cache
def shipped(name: str) -> RuleSet:
    """Return a shipped rule set."""
    return load_ruleset(find_ruleset(name, None))


def run_check(folder: Path, as_of: str, *options: str) -> Findings:
    """Return what `intervals check` finds in a site's folder."""
    words = ["check", str(folder), "--as-of", as_of, "--format", "json", "--fail-on", "never", *options]
    with patch("intervals.cli.common.site_request.read_clock", return_value=CLOCK):
        result = CliRunner().invoke(app, words)
    assert result.exit_code == 0, result.stderr
    document = json.loads(result.stdout)
    assert document.pop("schema") == "intervals.findings/2"
    return Findings.model_validate(document)


def check_site(
    folder: Path,
    as_of: str,
    tasks: Sequence[Mapping[str, object]],
    rows: Sequence[Row] | Mapping[str, Sequence[Row]],
    *,
    month: str | None = None,
    **written: Any,  # noqa: ANN401 - what `write_site` takes
) -> Findings:
    """Write a site's folder with a rule set of its own, and check it."""
    write_site(folder, tasks, rows, **written)
    return run_check(folder, as_of, *(() if month is None else ("--month", month)))


def judge_by_shipped(
    folder: Path,
    ruleset: str,
    as_of: str,
    rows: Sequence[Row],
    *,
    engine: Mapping[str, object],
    services: Iterable[Row] = (),
    **written: Any,  # noqa: ANN401 - what `write_site` takes
) -> Findings:
    """Write a site of one engine that is judged by a shipped rule set, and check it."""
    return check_site(folder, as_of, [], rows, engine=engine, services=services, ruleset=ruleset, **written)


class Case(NamedTuple):
    """What one engine did since a task was last done.

    Attributes:
        task: the task.
        engine: what the engine states.
        since_last: `running_hours`, `days` and levels since then.
        first: whether the engine is new, and the task was never done.
    """

    task: str
    engine: Mapping[str, object]
    since_last: Mapping[str, float]
    first: bool = False


def check_cases(
    ruleset: str, cases: Sequence[Case], as_of: str = AS_OF, *, rules: Mapping[str, object] | None = None
) -> list[Finding | None]:
    """Return the finding of each case's task, None where the task is not for its engine; every case is an engine of one site.

    Args:
        ruleset: the shipped rule set, or `./rules.yaml` where `rules` are written.
        cases: the cases.
        as_of: the last day that is judged.
        rules: a rule set of the site's own, based on a shipped one.
    """
    with tempfile.TemporaryDirectory() as folder:
        engines, rows, services = [], [], []
        for number, case in enumerate(cases):
            name = f"E{number}"
            engine, log, record = _written(case, name, date.fromisoformat(as_of))
            engines.append(engine)
            rows += log
            services += record
        write_site(Path(folder), [], rows, services=services, engines=engines, ruleset=ruleset)
        if rules is not None:
            (Path(folder) / "rules.yaml").write_text(json.dumps(dict(rules), default=str), encoding="utf-8")
        findings = run_check(Path(folder), as_of)
    found = {(finding.engine, finding.task): finding for finding in findings.findings}
    return [found.get((f"E{number}", case.task)) for number, case in enumerate(cases)]


def _written(case: Case, name: str, last_day: date) -> tuple[dict[str, object], list[Row], list[Row]]:
    """Return an engine's entry in site.yaml, its rows and its service record."""
    used = dict(case.since_last)
    days, hours = int(used.pop("days", 0) or used.get("running_hours", 24) // 24 + 1), used.pop("running_hours", None)
    start, end = last_day - timedelta(days=days), last_day + timedelta(days=1)
    stated = {key: value for key, value in case.engine.items() if key in _STANDARD}
    engine: dict[str, object] = {"id": name, "in_service": start, **stated}
    attributes = {key: value for key, value in case.engine.items() if key not in _STANDARD}
    if attributes:
        engine["attributes"] = attributes
    if "load_pct" in used:
        engine["rated_kw"] = rated_kw = float(str(stated.get("rated_kw", 100)))
        used["load_kw"] = used.pop("load_pct") * rated_kw / 100
    meters: tuple[object, object] = ("", "") if hours is None else (0, hours)
    if hours is not None:
        engine["meter_at_start_h"] = 0
    rows: list[Row] = [
        {"at": f"{day}T00:00", "engine": name, "hour_meter_h": shown, **used} for day, shown in zip((start, end), meters, strict=True)
    ]
    record = {"at": f"{start}T00:00", "engine": name, "task": case.task, "outcome": "done"}
    return engine, rows, [] if case.first else [record]


def finding_since_last(
    ruleset: str, task: str, engine: Mapping[str, object], since_last: Mapping[str, float], *, as_of: str = AS_OF, first: bool = False
) -> Finding | None:
    """Return the finding of a task after what an engine did since the last completion; None where the task is not for it."""
    return check_cases(ruleset, [Case(task, engine, since_last, first)], as_of)[0]


def governing_figures(finding: Finding | None) -> tuple[str, float | None, float | None]:
    """Return standing, used and allowed of the governing leg."""
    assert finding is not None
    leg = finding.governing_leg
    return finding.standing, None if leg is None else leg.used, None if leg is None else leg.allowed


def standing_of(finding: Finding | None) -> str:
    """Return a finding's standing."""
    assert finding is not None
    return finding.standing


__all__ = [
    "AS_OF", "Case", "check_cases", "check_site", "finding_since_last", "governing_figures", "judge_by_shipped", "run_check", "shipped",
    "standing_of",
]  # fmt: skip
