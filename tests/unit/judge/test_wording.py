"""Conditions and budgets in words."""

from __future__ import annotations

from intervals.judge.budget_wording import counted_text
from intervals.language.conditions import AnyOf, Comparison
from intervals.language.phrases import phrase_of
from intervals.rules.budgets import Budget


def test_a_yes_or_no_is_told_behind_its_name() -> None:
    """An attribute that is true or false, with per cent as it is spoken, beside a level."""
    condition = AnyOf((Comparison("load_pct", ">=", 30.0), Comparison("exercise_reaches_30_pct", "in", (False,))))
    assert phrase_of(condition) == "at least 30 % load or exercise reaches 30 %: no"


def test_a_budget_of_records_names_them_once() -> None:
    """What is counted stands behind `h of`, and does not say hours again."""
    made = {"id": "tests", "title": "Tests", "of": {"records": ["test-run", "outage"]}, "at_most": 100, "per": "calendar_year"}
    budget = Budget.model_validate(made)
    assert counted_text(budget, None) == "test-run records + outage records"
