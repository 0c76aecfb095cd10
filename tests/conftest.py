"""What must be there before any test: heavy modules loaded before a clock is frozen, terminals told apart from files, two processes.

pandas crashes when it is first imported under a frozen clock, and pydantic models with datetimes break when they are first defined
under one. So both are loaded here, and the package with them.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import datetime

import pandas as pd
import pyarrow.parquet
import pytest
from durable import lang  # noqa: TID251 - loaded before any clock is frozen; no test uses it from here
from pydantic import TypeAdapter

import intervals.findings
import intervals.questions.month.month_models
import intervals.reports.check.calendar
import intervals.reports.month.page
import intervals.rules.ruleset
import intervals.site.model

_LOADED = (pd, pyarrow.parquet, lang, TypeAdapter(datetime), intervals.findings, intervals.rules.ruleset, intervals.site.model)

# its models hold times, and are otherwise built when the first report is made, under whatever clock stands then
intervals.questions.month.month_models.MonthReport.model_rebuild(force=True)

# each takes up to a gigabyte
PROCESSES_AT_MOST = 2


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config: pytest.Config) -> None:
    """Share all tests among processes, where nothing else was asked for; some tests by name run in one, which starts sooner."""
    asked = config.option
    is_all = config.args_source is pytest.Config.ArgsSource.TESTPATHS
    # what measures coverage has settled before this whether there is one process
    is_settled = hasattr(config, "workerinput") or not config.pluginmanager.hasplugin("xdist") or getattr(asked, "cov_source", None)
    if is_settled or not is_all or asked.usepdb or asked.capture == "no":
        return
    if asked.numprocesses is None and asked.dist == "no":
        asked.numprocesses = min(PROCESSES_AT_MOST, os.cpu_count() or 1)
        asked.dist = "worksteal"


@pytest.fixture(autouse=True, scope="session")
def _cache_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep the cache of the person who runs the tests out of them, in commands that tests start too."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the terminal that runs the tests out of them: no width, no wish for or against colour."""
    for name in ("COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR", "TTY_COMPATIBLE", "TTY_INTERACTIVE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
