"""A case is freed as soon as its engine is judged: memory goes by the largest engine, and not by the sum of all."""

from __future__ import annotations

import gc
import weakref
from datetime import date
from pathlib import Path

import pytest

from intervals.history.engine_case import EngineCase
from intervals.history.inputs import read_inputs
from intervals.judge.engine_answers import judge_engine
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.site.model import load_site

SAMPLES = Path(__file__).parents[3] / "sample_logs"


@pytest.mark.parametrize("name", ["brackwater", "harbour-clinic", "skerry-island"])
def test_nothing_that_a_case_remembers_holds_the_case(name: str) -> None:
    """Without the collector of circles, every case of a site is gone once nobody asks for it any more."""
    inputs = read_inputs(load_site(SAMPLES / name), date(2026, 10, 31))
    gc.collect()
    gc.disable()
    try:
        cases: list[weakref.ref[EngineCase]] = []
        for index in range(len(inputs.site.judged_units)):
            judged = judge_engine(inputs, index, None, (), None, JudgedSoFar([]))
            cases += [weakref.ref(each.case) for each in judged]
            del judged
        assert cases
        assert [case() for case in cases] == [None] * len(cases)
    finally:
        gc.enable()
