"""What must be there before any test: heavy modules loaded before a clock is frozen, and terminals told apart from files.

pandas crashes when it is first imported under a frozen clock, and pydantic models with datetimes break when they are first defined
under one. So both are loaded here, and the package with them.
"""

from __future__ import annotations

from datetime import datetime

import pandas as pd
import pyarrow.parquet
import pytest
from durable import lang  # noqa: TID251 - loaded before any clock is frozen; no test uses it from here
from pydantic import TypeAdapter

import intervals.findings
import intervals.judge.month_models
import intervals.reports.calendar
import intervals.reports.page
import intervals.rules.ruleset
import intervals.site.model

_LOADED = (pd, pyarrow.parquet, lang, TypeAdapter(datetime), intervals.findings, intervals.rules.ruleset, intervals.site.model)

# its models hold times, and are otherwise built when the first report is made, under whatever clock stands then
intervals.judge.month_models.MonthReport.model_rebuild(force=True)


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the terminal that runs the tests out of them: no width, no wish for or against colour."""
    for name in ("COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR", "TTY_COMPATIBLE", "TTY_INTERACTIVE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
