"""The whole sum behind one finding, and what was read of a log."""

from __future__ import annotations

import pytest

from intervals.reports.explain.explanation_text import explanation_lines
from intervals.reports.lines import plain_text
from intervals.reports.log.log_table import log_lines
from tests.unit.reports.made_findings import made_explanation, made_log


def test_the_sum_can_be_done_again() -> None:
    """No figure of the sum is rounded: hours times weight is what stands behind the equals sign."""
    text = plain_text(explanation_lines(made_explanation()))
    assert "1,685.5 h    x 1  = 1,685.5 h  load_pct up to 90\n" in text
    assert "417 h  x 1.5    = 625.5 h  load_pct above 90: heavy-load\n" in text
    assert "used  1,685.5 + 625.5 = 2,311 h" in text
    assert "running_hours  2,311 h  2,000 h  -311 h      1.1555  governs, 2,102.5 h on the clock, base 2,000 h" in text


def test_every_part_of_the_sum_is_told() -> None:
    """Verdict, window, duty, measures, factors, legs, reasons, rules with their places, and doubts."""
    text = plain_text(explanation_lines(made_explanation()))
    for part in (
        "! overdue, 311 h past",
        "2026-06-02T10:15:00+02:00, hour meter 18,210 h (services.csv:41)",
        "cannot be judged: sulphur-half",
        "mean_oil_temp_c  ? degC; known for 20 % of the hours",
        "extended_pan     yes",
        "frequent-starts  x 0.8; starts wear; source: practice",
        "heavy-load: 417 h above 90 % load count 1.5 times (hours_h 417, counts_as 1.5); source: common practice",
        "heavy-load (gas-engine.yaml:41): load ages oil; source: common practice",
        "? 3 h of meter_ran_fast on 2026-07-01",
    ):
        assert part in text


def test_a_section_without_entries_is_left_out() -> None:
    """No factor, no heading of factors."""
    bare = made_explanation().model_copy(update={"factors": (), "measures": (), "doubts": (), "cells": ()})
    text = plain_text(explanation_lines(bare))
    assert "What changes the interval" not in text
    assert "In doubt" not in text


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_explanation_fits_the_terminal(width: int) -> None:
    """At any usual width no line is longer."""
    assert max(len(line) for line in plain_text(explanation_lines(made_explanation(), width=width)).splitlines()) <= width


def test_the_log_of_each_engine() -> None:
    """One row an engine: rows, span, meter, hours, gaps, faults, and what is known; an engine without rows says none."""
    lines = plain_text(log_lines(made_log())).splitlines()
    assert lines[1] == "52,560 rows read: 52,541 accepted, 19 set aside"
    assert lines[4].split("  ")[0] == "G1"
    assert "0 to 18,210 h  18,210 h       3 h  2 (90.5 h)       1  load_pct 99.9999 %, oil_temp_c 100 %" in lines[4]
    assert "running hours unknown for 24 h" in lines[5]
