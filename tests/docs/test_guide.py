"""rulesets/GUIDE.md: every block works as it stands, and every key of the rule language is told."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import NamedTuple

import pytest
from typer.testing import CliRunner

from intervals.cli.main import app
from intervals.language.fields import WrittenModel
from intervals.language.legs import LEGS
from intervals.language.measures import MEASURES, SHARE_MEASURE, mean_of
from intervals.language.result_measures import RESULT_MEASURES
from intervals.language.yamlmarks import load_yaml
from intervals.quantities import QUANTITIES, levels_of
from intervals.questions.examples.examples import run_examples
from intervals.questions.examples.procedure_examples import run_procedure_examples
from intervals.reports.rules.rule_page import rule_set_lines
from intervals.rulebook.evidence_rules import OUTCOME_OF_RULE
from intervals.rules.budgets import Budget, BudgetLimit, BudgetMinimum
from intervals.rules.events import Event
from intervals.rules.in_place import InPlaceOfTime
from intervals.rules.procedure_examples import ExampleEvidence, ProcedureExample, ProcedureExpect
from intervals.rules.procedure_steps import ForEach, MeasureLimits
from intervals.rules.procedures import Balance, OilNeed, PartCount, Procedure, Step
from intervals.rules.result_tables import TableRow
from intervals.rules.review.lint import errors_of
from intervals.rules.ruleset import RuleSet, Without, load_ruleset
from intervals.rules.tasks import Adjustment, Every, Limits, Task
from intervals.rules.timing import Deferral, DueWindow, Tolerance
from intervals.rules.worked_examples import Example, Expect
from intervals.site.components import Component
from intervals.site.engines import Engine
from intervals.site.planned import PlannedTime
from intervals.site.sources import LabSource

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "rulesets" / "GUIDE.md").read_text(encoding="utf-8")
HEAD = {"ruleset": "part", "title": "Part", "version": '"1"', "tasks": "[{id: a, title: A, every: {running_hours: 500, calendar: P1Y}}]"}
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_CODE = re.compile(r"\s+# exit code (\d).*")


class Block(NamedTuple):
    """A block of the guide: its language, its line, its text."""

    language: str
    line: int
    text: str


BLOCKS = [Block(found[1], GUIDE.count("\n", 0, found.start()) + 1, found[2]) for found in _BLOCK.finditer(GUIDE)]
PARTS = [block for block in BLOCKS if block.language == "yaml" and not block.text.startswith("# ")]


def test_the_steps_work_in_their_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files are written, commands run with the exit code that stands beside them, and what is shown below them is in their output."""
    (tmp_path / "sample_logs").symlink_to(ROOT / "sample_logs")
    monkeypatch.chdir(tmp_path)
    shown = ""
    for block in BLOCKS:
        first, _, rest = block.text.partition("\n")
        if block.language == "yaml" and first.startswith("# file: "):
            Path(first.removeprefix("# file: ")).write_text(rest, encoding="utf-8")
        elif block.language == "yaml" and first.startswith("# more of file: "):
            path = Path(first.removeprefix("# more of file: "))
            path.write_text(f"{path.read_text(encoding='utf-8')}\n{rest}", encoding="utf-8")
        elif block.language == "sh":
            shown = ""
            for line in block.text.splitlines():
                wanted = _CODE.search(line)
                words = shlex.split(_CODE.sub("", line))
                assert words[0] == "intervals"
                result = CliRunner().invoke(app, words[1:])
                assert result.exit_code == int(wanted[1] if wanted else 0), f"GUIDE.md:{block.line}: {line}\n{result.output}"
                shown += result.stdout
        elif block.language == "text":
            for line in block.text.splitlines():
                assert line in shown, f"GUIDE.md:{block.line}: {line}"


def _written(block: Block, folder: Path) -> Path:
    """Return the file of a part with the head that it lacks."""
    path = folder / "part.yaml"
    path.write_text(block.text, encoding="utf-8")
    lacking = {key: text for key, text in HEAD.items() if key not in load_yaml(path, code_prefix="RUL").data}
    path.write_text("".join(f"{key}: {text}\n" for key, text in lacking.items()) + block.text, encoding="utf-8")
    return path


@pytest.mark.parametrize("block", PARTS, ids=lambda block: f"line-{block.line}")
def test_every_part_of_a_rule_set_loads(block: Block, tmp_path: Path) -> None:
    """A part with the head that it lacks is a rule set, and can be told in words."""
    assert rule_set_lines(load_ruleset(_written(block, tmp_path)))


def test_the_part_of_a_site_is_one(tmp_path: Path) -> None:
    """What belongs into site.yaml is a part of an engine, a component, or how analyses read."""
    for block in BLOCKS:
        if block.text.startswith("# part of an engine in site.yaml, for its cards"):
            (tmp_path / "engine.yaml").write_text(f"id: G1\n{block.text}", encoding="utf-8")
            assert Engine.model_validate(load_yaml(tmp_path / "engine.yaml", code_prefix="SIT").data).card
        elif block.text.startswith("# part of an engine in site.yaml"):
            (tmp_path / "engine.yaml").write_text(f"id: G1\n{block.text}", encoding="utf-8")
            assert Engine.model_validate(load_yaml(tmp_path / "engine.yaml", code_prefix="SIT").data).severe_duty is not None
        elif block.text.startswith("# lab in site.yaml"):
            (tmp_path / "lab.yaml").write_text(block.text, encoding="utf-8")
            assert LabSource.model_validate(load_yaml(tmp_path / "lab.yaml", code_prefix="SIT").data["lab"]).new_oil
        elif block.text.startswith("# planned in site.yaml"):
            (tmp_path / "planned.yaml").write_text(block.text, encoding="utf-8")
            for entry in load_yaml(tmp_path / "planned.yaml", code_prefix="SIT").data["planned"]["departure"]:
                assert PlannedTime.model_validate(entry).at
        elif block.text.startswith("# part of site.yaml"):
            (tmp_path / "site.yaml").write_text(block.text, encoding="utf-8")
            for component in load_yaml(tmp_path / "site.yaml", code_prefix="SIT").data["components"]:
                assert Component.model_validate(component).fitted


@pytest.mark.parametrize("block", PARTS, ids=lambda block: f"line-{block.line}")
def test_every_part_asks_for_names_that_something_supplies(block: Block, tmp_path: Path) -> None:
    """Lint finds no error in a block, and its worked examples give what they expect."""
    made = load_ruleset(_written(block, tmp_path))
    assert errors_of(made) == []
    assert [result.text for result in run_examples(made) if not result.passed] == []


MODELS: list[type[WrittenModel]] = [
    Adjustment, Balance, Budget, BudgetLimit, BudgetMinimum, Deferral, DueWindow, Event, Every, Example, ExampleEvidence, Expect, ForEach,
    InPlaceOfTime, Limits, MeasureLimits, OilNeed, PartCount, Procedure, ProcedureExample, ProcedureExpect, RuleSet, Step, TableRow, Task,
    Tolerance, Without,
]  # fmt: skip


@pytest.mark.parametrize("model", MODELS)
def test_every_key_is_told(model: type[WrittenModel]) -> None:
    """Each key of each part of a rule set stands in the guide, as code or in a block."""
    told = " ".join([*re.findall(r"`([^`]*)`", re.sub(r"```.*?```", "", GUIDE, flags=re.DOTALL)), *(block.text for block in BLOCKS)])
    words = set(re.findall(r"\w+", told))
    assert {key for key in model.model_fields if key not in words} - {"legs"} == set()


def test_every_rule_about_evidence_is_told() -> None:
    """The names that examples of procedures expect stand in the guide, each with what it means for the task."""
    means = {"lacks": "partial", "refuses": "refused", "unknown": "unknown, and told", "told": "told"}
    rows = {found[1]: found[2] for found in re.finditer(r"^\| `([\w-]+)` \|[^|]*\| ([^|]*) \|$", GUIDE, re.MULTILINE)}
    assert {rule: means[outcome] for rule, outcome in OUTCOME_OF_RULE.items()}.items() <= rows.items()


def test_a_part_with_examples_holds_what_it_says(tmp_path: Path) -> None:
    """The examples of the guide's procedures come out."""
    for number, block in enumerate(block for block in PARTS if "\nprocedures:" in block.text):
        path = tmp_path / f"part-{number}.yaml"
        path.write_text('ruleset: part\ntitle: Part\nversion: "1"\n' + block.text, encoding="utf-8")
        results = run_procedure_examples(load_ruleset(path))
        assert results
        assert [each.text for each in results if not each.passed] == []


def test_every_measure_is_told() -> None:
    """The guide's table of what may be asked of a window is that of the program."""
    rows = GUIDE[GUIDE.index("| measure | what it is |") :].partition("\n\n")[0].splitlines()[2:]
    assert sorted(row.split("`")[1] for row in rows) == sorted([*MEASURES, mean_of("X"), SHARE_MEASURE])


def test_every_result_is_told() -> None:
    """The guide's table of what a table of intervals may ask for is that of the program."""
    rows = GUIDE[GUIDE.index("| result | what it is |") :].partition("\n\n")[0].splitlines()[2:]
    assert [row.split("`")[1] for row in rows] == [row.sample for row in RESULT_MEASURES]


def test_every_leg_and_level_is_told() -> None:
    """The guide's lists of legs and of levels are those of the program."""
    legs = next(line for line in GUIDE.splitlines() if line.startswith("| `every` |"))
    assert sorted(re.findall(r"`(\w+)`", legs)) == sorted(["every", *LEGS])
    levels = GUIDE[GUIDE.index("a rule may ask for levels (") :].partition(")")[0]
    assert sorted(re.findall(r"`(\w+)`", levels)) == sorted(levels_of(QUANTITIES))
