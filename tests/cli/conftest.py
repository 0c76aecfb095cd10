"""The command line with its stages stubbed: what a command passes on, and what it makes of the answer."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from intervals.cli.main import app
from intervals.findings import Findings
from intervals.questions.check.findings_document import WrittenFindings, findings_text
from tests.unit.reports.made_findings import made_explanation, made_findings, made_log

Run = Callable[..., Result]


@dataclass
class Stage:
    """A stage that answers what it is told to, and remembers how it was called."""

    answer: Any
    error: Exception | None = None
    calls: list[tuple[tuple[Any, ...], dict[str, Any]]] = field(default_factory=list)

    def __call__(self, *args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - stands in for any stage
        """Answer, or fail as told."""
        self.calls.append((args, kwargs))
        if self.error is not None:
            raise self.error
        return self.answer


@pytest.fixture
def run() -> Run:
    """Return what runs the command line and gives back its result."""
    runner = CliRunner()

    def run_words(*words: str | Path) -> Result:
        return runner.invoke(app, [str(word) for word in words])

    return run_words


@pytest.fixture
def site(tmp_path: Path, run: Run) -> Path:
    """Return the folder of a new site."""
    folder = tmp_path / "brackwater"
    assert run("init", folder).exit_code == 0
    return folder


def stub(monkeypatch: pytest.MonkeyPatch, module: str, name: str, answer: object) -> Stage:
    """Put a stage in the place of a function, whatever else its module holds."""
    stage = Stage(answer)
    stand_in = ModuleType(module)
    setattr(stand_in, name, stage)
    monkeypatch.setitem(sys.modules, module, stand_in)
    return stage


@pytest.fixture
def judge(monkeypatch: pytest.MonkeyPatch) -> Stage:
    """Return the stubbed judge, which finds one of everything, and writes it where only the document is wanted."""
    answer: Findings = made_findings()
    stage = stub(monkeypatch, "intervals.questions.check.assess", "assess_site", answer)

    def write(*args: Any, **kwargs: Any) -> WrittenFindings:  # noqa: ANN401 - stands in for a stage
        found: Findings = stage(*args, **kwargs)
        return WrittenFindings(found.totals, found.faults, findings_text(found))

    monkeypatch.setattr(sys.modules["intervals.questions.check.assess"], "assess_as_text", write, raising=False)
    return stage


@pytest.fixture
def explainer(monkeypatch: pytest.MonkeyPatch) -> Stage:
    """Return the stubbed stage behind `explain`."""
    return stub(monkeypatch, "intervals.questions.explain.explain", "explain_finding", made_explanation())


@pytest.fixture
def log_reader(monkeypatch: pytest.MonkeyPatch) -> Stage:
    """Return the stubbed stage behind `log`."""
    return stub(monkeypatch, "intervals.questions.log.logbook", "summarise_log", made_log())
