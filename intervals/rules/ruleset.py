"""Rule sets: one YAML file of tasks and adjustments, read and checked as a whole.

In: a path, or the name of a shipped rule set. Out: `RuleSet`, frozen. Refuses with all problems of the file at once
(`RuleSetProblemError`, codes RUL): what cannot be read, what is not known, what contradicts itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Self, cast

from pydantic import (
    Field,
    ModelWrapValidatorHandler,
    PlainSerializer,
    PlainValidator,
    PrivateAttr,
    ValidationError,
    ValidationInfo,
    WithJsonSchema,
    model_validator,
)

from intervals.language.conditions import Condition, describe_condition
from intervals.language.fields import Id, Ids, Name, Text, WrittenModel
from intervals.language.flaws import FlawsError, codes_of, in_file_order, problems_from_flaws
from intervals.language.stated_values import StatedValue
from intervals.language.validation import problems_from_validation
from intervals.language.value_schemas import condition_schema
from intervals.language.yamlmarks import Marked, YamlPath
from intervals.places import shipped_folder, shown_file
from intervals.problems import RuleSetProblemError
from intervals.rules.based_on import load_whole
from intervals.rules.budgets import Budget
from intervals.rules.checking.asked_names import compared_both_ways
from intervals.rules.checking.between_entries import check_rules
from intervals.rules.named_conditions import parse_named
from intervals.rules.procedures import Procedure
from intervals.rules.renewals import renewed_by
from intervals.rules.shipped import find_ruleset, shipped_rulesets
from intervals.rules.tasks import Adjustment, Every, Limits, Task
from intervals.rules.weights import DEFAULT_WEIGHTS, Weights
from intervals.rules.worked_examples import Example, Expect

RULESET_CODES: dict[str, str] = codes_of("RUL")
"""Every problem code of rule sets with its meaning."""
_KEPT_DEPTH = 6
"""Lines are kept down to `procedures[3].steps[0].limits.at_least`, for problems that are found once a site is known."""


def _named(value: object) -> dict[str, Condition]:
    """Parse the named conditions in order."""
    named, flaws = parse_named(value)
    if flaws:
        raise FlawsError(flaws)
    return named


Conditions = Annotated[
    dict[str, Condition],
    PlainValidator(_named),
    PlainSerializer(lambda named: {name: describe_condition(condition) for name, condition in named.items()}, return_type=dict[str, str]),
    WithJsonSchema({"type": "object", "additionalProperties": condition_schema(), "examples": [{"hot": {"oil_temp_c": {"above": 95}}}]}),
]


class Without(WrittenModel):
    """What of its base a rule set leaves out; rules that are left no longer name the tasks that go."""

    tasks: Ids = Field((), description="ids of tasks of the base")
    adjustments: Ids = Field((), description="ids of adjustments of the base")
    budgets: Ids = Field((), description="ids of budgets of the base")
    procedures: Ids = Field((), description="ids of procedures of the base")
    steps: Ids = Field((), description="steps of its procedures: the id of the procedure, a full stop, and the id of the step")


class RuleSet(WrittenModel):
    """A schedule of tasks, what adjusts their intervals, and worked examples.

    Attributes of the files it came from: `file`, `sha256`, `line_of`, `place_of`.
    """

    ruleset: Id = Field(description="the rule set's id", examples=["gas-engine"])
    title: Name = Field(description="what it is for")
    version: Text = Field(description="as you number it", examples=["2026.11"])
    source: Text | None = Field(None, description="where its rules come from; a rule may carry its own")
    notes: Text | None = Field(None, description="anything else worth knowing")
    based_on: Name | None = Field(None, description="the rule set that this one changes: a shipped name, or a path from this file's folder")
    without: Without | None = Field(None, description="what of the base is left out")
    attributes: dict[Name, Text] = Field(
        {}, description="attributes that its rules ask for and an engine may leave out, with their meaning"
    )
    quantities: dict[Name, Text] = Field(
        {}, description="what its rules ask of the log beyond the canonical quantities, with its meaning; the site declares it"
    )
    tasks: Annotated[tuple[Task, ...], Field(min_length=1)] = Field(description="the tasks, in the order in which they are listed")
    conditions: Conditions = Field({}, description="conditions by name")
    adjustments: tuple[Adjustment, ...] = Field((), description="what makes hours count more or intervals shorter")
    weights: Weights | None = Field(None, description="its own weights: ids, or title by id; default law, safety, engine and comfort")
    limits: Limits = Field(cast("Limits", Limits.model_construct()), description="how far all adjustments together may go")
    budgets: tuple[Budget, ...] = Field((), description="limits per year on running hours of a kind, or on what is logged")
    procedures: tuple[Procedure, ...] = Field((), description="how the work of its tasks is done, step by step")
    examples: tuple[Example, ...] = Field((), description="worked examples, which `intervals rules test` runs")

    _file: str = PrivateAttr("")
    _sha256: str = PrivateAttr("")
    _lines: dict[YamlPath, int] = PrivateAttr(default_factory=dict)
    _origins: dict[YamlPath, tuple[str, YamlPath]] = PrivateAttr(default_factory=dict)

    @model_validator(mode="wrap")
    @classmethod
    def _check_whole(cls, data: object, handler: ModelWrapValidatorHandler[Self], info: ValidationInfo) -> Self:
        """Give the named conditions to every rule, and check what concerns several entries."""
        if not isinstance(data, Mapping):
            return handler(data)
        context = info.context or {}
        if "conditions" not in context:
            return cls.model_validate(data, context={**context, "conditions": parse_named(data.get("conditions"))[0]})
        made = handler(data)
        flaws = [*check_rules(data), *compared_both_ways(made.placed_conditions)]
        if flaws:
            raise FlawsError(flaws)
        return made

    @property
    def file(self) -> str:
        """Path of the file, as it was given; empty where it came from no file."""
        return self._file

    @property
    def sha256(self) -> str:
        """Hexadecimal digest of the file's bytes, or of all files' where it is based on others; empty where it came from no file."""
        return self._sha256

    def line_of(self, kind: str, entry_id: str) -> int:
        """Return the line of a task, adjustment, condition or example; 1 where it came from no file.

        Args:
            kind: `task`, `adjustment`, `procedure`, `condition` or `example`.
            entry_id: its id or name.
        """
        return self.line_at(self._path_of(kind, entry_id))

    def place_of(self, kind: str, entry_id: str) -> tuple[str, int]:
        """Return file and line of a task, adjustment, condition or example: those that it really stands in.

        Args:
            kind: `task`, `adjustment`, `condition` or `example`.
            entry_id: its id or name.
        """
        path = self._path_of(kind, entry_id)
        return self.marked.origin_of(path)[0], self.line_at(path)

    def shown_place_of(self, kind: str, entry_id: str, folder: Path | None = None) -> tuple[str, int]:
        """Return what `place_of` does, the file as people read it.

        Args:
            kind: as for `place_of`.
            entry_id: as for `place_of`.
            folder: the site's folder, of whose files the path from there is shown.
        """
        file, line = self.place_of(kind, entry_id)
        return shown_file(file, folder), line

    def _path_of(self, kind: str, entry_id: str) -> YamlPath:
        """Return the path of an entry, or of its section where there is none of that id."""
        section = f"{kind.removesuffix('s')}s"
        if section == "conditions":
            return section, entry_id
        key = "name" if section == "examples" else "id"
        listed: tuple[Any, ...] = getattr(self, section)
        index = next((index for index, entry in enumerate(listed) if getattr(entry, key) == entry_id), None)
        return (section,) if index is None else (section, index)

    def line_at(self, path: YamlPath) -> int:
        """Return the line of a path, or of its nearest ancestor; 1 where it came from no file."""
        return self.marked.line_of(path)

    @property
    def marked(self) -> Marked:
        """The file's places, without its data, for problems that are found later."""
        return Marked({}, self._file, "RUL", self._sha256, self._lines, self._origins)

    @property
    def judged_ids(self) -> tuple[str, ...]:
        """Ids of everything that has a finding: tasks, then budgets, as they are listed."""
        return (*(task.id for task in self.tasks), *(budget.id for budget in self.budgets))

    @property
    def weight_titles(self) -> Mapping[str, str]:
        """Title by weight: the rule set's own, or those that every rule set has."""
        return DEFAULT_WEIGHTS if self.weights is None else self.weights

    @cached_property
    def renewed(self) -> dict[str, dict[str, bool]]:
        """For each task all that completing it completes: task id -> whether that one starts again with `first`."""
        return renewed_by(self.tasks)

    @cached_property
    def counted_tasks(self) -> frozenset[str]:
        """The tasks of whose records some budget adds up the hours; they need not be tasks of the rule set."""
        return frozenset(task for budget in self.budgets for task in budget.of.records)

    @cached_property
    def placed_conditions(self) -> tuple[tuple[YamlPath, Condition], ...]:
        """Every condition, with its place in the file: those that have a name first, then those of tasks, adjustments and budgets."""
        tasks, budgets = [*enumerate(self.tasks)], [*enumerate(self.budgets)]
        placed: list[tuple[YamlPath, Condition | None]] = [(("conditions", name), condition) for name, condition in self.conditions.items()]
        placed += [(("tasks", index, "applies_to"), task.applies_to) for index, task in tasks]
        placed += [(("tasks", index, "done_when"), part.when) for index, task in tasks for part in task.run_parts]
        placed += [(("tasks", index, "table", place, "when"), row.when) for index, task in tasks for place, row in enumerate(task.table)]
        placed += [
            (("tasks", index, "due_when" if task.due_when is not None and number == 0 else "after"), event.when)
            for index, task in tasks
            for number, event in enumerate(task.events)
            # what is asked of a result is no level and no fact of the engine
            if event.kind == "when"
        ]
        placed += [(("adjustments", index, "when"), adjustment.when) for index, adjustment in enumerate(self.adjustments)]
        placed += [(("budgets", index), when) for index, budget in budgets for when in (budget.applies_to, *budget.conditions)]
        for index, procedure in enumerate(self.procedures):
            placed.append((("procedures", index, "applies_to"), procedure.applies_to))
            placed += [(("procedures", index, "steps", place, "when"), step.when) for place, step in enumerate(procedure.steps)]
            placed += [(("procedures", index, "parts", place, "when"), part.when) for place, part in enumerate(procedure.parts)]
        return tuple((place, condition) for place, condition in placed if condition is not None)

    @cached_property
    def stated_values(self) -> tuple[tuple[YamlPath, StatedValue], ...]:
        """Every value that a procedure leaves to the engine, with its place in the file."""
        return tuple(
            (("procedures", index, *place), value)
            for index, procedure in enumerate(self.procedures)
            for place, value in procedure.placed_values
            if isinstance(value, StatedValue)
        )

    def task(self, task_id: str) -> Task:
        """Return the task of that id; KeyError where there is none."""
        for task in self.tasks:
            if task.id == task_id:
                return task
        raise KeyError(task_id)

    def procedures_of(self, task_id: str) -> tuple[Procedure, ...]:
        """Return the procedures that do a task, in the order of the file; none where the rule set does not say how it is done."""
        return tuple(procedure for procedure in self.procedures if task_id in procedure.tasks)


def load_ruleset(path: Path) -> RuleSet:
    """Return the rule set of a file.

    Args:
        path: the YAML file.

    Returns:
        The rule set, with its file, digest and lines.

    Raises:
        RuleSetProblemError: everything that is wrong with the file, in its order.
    """
    marked = load_whole(path)
    if "engines" in marked.data and "tasks" not in marked.data:
        raise RuleSetProblemError([marked.problem(9, (), "not a rule set; got a site file", "name the file of a rule set")])
    return ruleset_of(marked)


def ruleset_of(marked: Marked) -> RuleSet:
    """Return the rule set of a document.

    Args:
        marked: the whole document, with its bases laid under it.

    Raises:
        RuleSetProblemError: everything that is wrong with it, in its order.
    """
    try:
        made = RuleSet.model_validate(marked.data)
    except ValidationError as error:
        problems = [*problems_from_validation(error, marked, RuleSet), *problems_from_flaws(check_rules(marked.data), marked)]
        raise RuleSetProblemError(in_file_order(problems)) from None
    made._file = marked.file
    made._sha256 = marked.sha256
    made._lines = {place: line for place, line in marked.lines.items() if len(place) <= _KEPT_DEPTH}
    made._origins = {place: origin for place, origin in marked.origins.items() if len(place) <= _KEPT_DEPTH}
    return made


__all__ = [
    "RULESET_CODES", "Adjustment", "Budget", "Every", "Example", "Expect", "Limits", "Procedure", "RuleSet", "Task",
    "find_ruleset", "load_ruleset", "shipped_folder", "shipped_rulesets",
]  # fmt: skip
