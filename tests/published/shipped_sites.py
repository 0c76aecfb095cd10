"""Judging by the rule sets as they are shipped: one engine's case, or a tiny site folder."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from intervals.findings import Finding, Findings
from intervals.questions.examples.examples import judge_example
from intervals.rules.ruleset import RuleSet, find_ruleset, load_ruleset
from intervals.rules.tasks import Example
from tests.site_maker import Row, judge


@cache
def shipped(name: str) -> RuleSet:
    """Return a shipped rule set."""
    return load_ruleset(find_ruleset(name, None))


def finding_since_last(
    ruleset: str | RuleSet,
    task: str,
    engine: Mapping[str, object],
    since_last: Mapping[str, float],
    *,
    as_of: str = "2026-06-30",
    first: bool = False,
) -> Finding | None:
    """Return the finding of a task after what an engine did since the last completion; None where the task is not for it."""
    described = {"engine": dict(engine), "since_last": dict(since_last), "task": task, "as_of": date.fromisoformat(as_of), "first": first}
    example = Example.model_validate({"name": "a case", **described, "expect": {}})
    return judge_example(shipped(ruleset) if isinstance(ruleset, str) else ruleset, example)[0]


def governing_figures(finding: Finding | None) -> tuple[str, float | None, float | None]:
    """Return standing, used and allowed of the governing leg."""
    assert finding is not None
    leg = finding.governing_leg
    return finding.standing, None if leg is None else leg.used, None if leg is None else leg.allowed


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
    """Write a site of one engine that is judged by a shipped rule set, and judge it."""
    return judge(folder, as_of, [], rows, engine=engine, services=services, ruleset=ruleset, **written)


__all__ = ["finding_since_last", "governing_figures", "judge_by_shipped", "shipped"]
