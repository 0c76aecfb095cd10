"""Rule sets: what they mean once read, where they are found."""

from __future__ import annotations

import copy
import hashlib
import pickle
from datetime import date
from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest
from pydantic import ValidationError

from intervals.language.conditions import AllOf, Comparison
from intervals.language.durations import CalendarStep
from intervals.language.yamlmarks import load_yaml
from intervals.problems import RuleSetProblemError
from intervals.rules.effects.known_effects import CountsAs, IntervalBecomes, IntervalTimes
from intervals.rules.effects.rule_effect import Bounds
from intervals.rules.ruleset import RULESET_CODES, RuleSet, find_ruleset, load_ruleset, shipped_rulesets
from tests.small_models import SMALL_RULES, small_rules
from tests.unit.rules.whole_ruleset import WHOLE


def test_versions_keep_their_text(whole: RuleSet) -> None:
    """A version 2026.10 is not 2026.1."""
    assert whole.version == "2026.10"


def test_every_key_of_a_task_is_read(whole: RuleSet) -> None:
    """Each key arrives in its type; percentages are exact decimals; legs keep the order of the file."""
    task = whole.task("oil-change")
    assert task.applies_to == Comparison("fuel", "in", ("natural-gas", "biogas"))
    (every,) = task.every
    assert list(every.legs.items()) == [("running_hours", 2000.0), ("calendar", CalendarStep("P1Y", years=1))]
    assert (task.whichever, task.first) == ("last", ({"running_hours": 100.0},))
    assert task.lead == {"running_hours": 150.0, "calendar": CalendarStep("P14D", days=14)}
    assert (task.tolerance_pct, task.early_pct, task.visit_days) == (Decimal("0.1"), Decimal("12.5"), 5)
    assert (task.renews, task.makes_new, task.stops_engine) == (("oil-sample",), "all", True)
    assert (task.restarts_from, task.in_lay_up) == ("due_if_late", "counts")
    assert (task.source, task.because, task.notes) == ("the plant's own", "Oil ages.", "none")


def test_a_bare_task_has_the_agreed_defaults() -> None:
    """Tolerance 0, early 10 %, three days for a visit, first leg decides, window from the completion, lay-up waits."""
    task = small_rules().task("oil")
    assert (task.tolerance_pct, task.early_pct, task.visit_days) == (Decimal(0), Decimal(10), 3)
    assert isinstance(task.tolerance_pct, Decimal)
    assert (task.whichever, task.restarts_from, task.in_lay_up) == ("first", "done", "waits")
    assert (task.renews, task.makes_new, task.stops_engine) == ((), (), False)
    assert (task.applies_to, task.first, task.lead) == (None, None, None)


@pytest.mark.parametrize(("day", "step"), [("2013-05-02", None), ("2013-05-03", "P1Y"), ("2024-08-29", "P1Y"), ("2024-08-30", "P1Y30D")])
def test_dated_intervals_are_in_force_from_their_day(whole: RuleSet, day: str, step: str | None) -> None:
    """The interval of a day is the last one that was in force by then."""
    every = whole.task("oil-sample").every_in_force(date.fromisoformat(day))
    assert (str(every.legs["calendar"]) if every else None) == step


def test_an_undated_interval_was_always_in_force() -> None:
    """One entry without a date may stand before dated ones."""
    every = [{"running_hours": 500}, {"in_force_from": "2024-01-01", "running_hours": 400}]
    task = small_rules(tasks=[{"id": "a", "title": "A", "every": every}]).task("a")
    assert [task.every_in_force(date(year, 6, 1)) for year in (1990, 2024)] == list(task.every)


def test_every_key_of_an_adjustment_is_read(whole: RuleSet) -> None:
    """Each key arrives in its type; a single task may stand without brackets."""
    heavy, share, pan = whole.adjustments
    assert (heavy.tasks, heavy.effect) == (("oil-change",), CountsAs(1.5))
    assert (heavy.when_unknown, heavy.known_share_at_least, heavy.because) == ("holds", 0.5, "Heat.")
    assert (share.tasks, share.effect, share.known_share_at_least, share.when_unknown) == ("all", IntervalTimes(0.8), 0.7, "fails")
    assert share.when == Comparison("hours_share_pct:very_hot", ">", 20.0)
    assert (pan.tasks, pan.effect) == (("oil-change",), IntervalBecomes({"running_hours": 3000.0}))


def test_named_conditions_may_build_on_one_another(whole: RuleSet) -> None:
    """An entry of `conditions` may name one above it."""
    assert whole.conditions["very_hot"] == AllOf((Comparison("oil_temp_c", ">", 95.0), Comparison("load_pct", ">", 90.0)))


def test_limits_and_examples_are_read(whole: RuleSet) -> None:
    """A limit that is not given does not bind; only what an example states is expected."""
    bounds = whole.limits.bounds
    assert bounds == {"counts_as": Bounds(at_least=None, at_most=4.0), "interval_times": Bounds(at_least=0.25, at_most=None)}
    (example,) = whole.examples
    assert example.engine == {"fuel": "biogas", "rated_kw": 500.0}
    assert example.since_last == {"running_hours": 1010.0, "days": 40.0, "load_pct": 95.0}
    assert (example.task, example.as_of, example.first) == ("oil-change", date(2026, 1, 1), True)
    assert (example.expect.used, example.expect.standing, example.expect.fired) == (1515.0, "upcoming", ("heavy-load",))
    assert (example.expect.due_on, example.expect.governing) == (date(2026, 5, 1), None)


def test_a_rule_set_knows_where_it_came_from(whole: RuleSet, whole_file: Path) -> None:
    """File, digest of its bytes, and the line of each entry; all of it survives the way to another process."""
    for made in (whole, pickle.loads(pickle.dumps(whole))):
        assert made.file == str(whole_file)
        assert made.sha256 == hashlib.sha256(whole_file.read_bytes()).hexdigest()
        places = [("task", "oil-sample"), ("adjustment", "pan"), ("condition", "very_hot"), ("example", "Heavy load halves nothing")]
        lines = WHOLE.splitlines()
        expected = ["  - id: oil-sample", "  - {id: pan", "  very_hot:", "  - name: Heavy load"]
        assert all(lines[made.line_of(*place) - 1].startswith(start) for place, start in zip(places, expected, strict=True))
        assert made == whole


def test_a_rule_set_can_be_put_together_in_code() -> None:
    """Plain data is enough; named conditions are known to its rules; file and digest are empty."""
    made = small_rules(
        conditions={"hot": {"oil_temp_c": {"above": 95}}}, adjustments=[{"id": "h", "tasks": "all", "when": "hot", "counts_as": 2}]
    )
    assert made.adjustments[0].when == Comparison("oil_temp_c", ">", 95.0)
    assert (made.file, made.sha256, made.line_of("task", "oil"), made.line_of("task", "none")) == ("", "", 1, 1)
    with pytest.raises(KeyError):
        made.task("none")
    with pytest.raises(ValidationError, match="two tasks with the id"):
        small_rules(tasks=SMALL_RULES["tasks"] * 2)


def test_a_rule_set_can_be_printed(whole: RuleSet) -> None:
    """Durations keep their text, conditions are words, dates are ISO 8601."""
    printed = whole.model_dump(mode="json")
    assert printed["tasks"][0]["every"][0]["legs"] == {"running_hours": 2000.0, "calendar": "P1Y"}
    assert printed["tasks"][0]["lead"] == {"running_hours": 150.0, "calendar": "P14D"}
    assert printed["tasks"][1]["every"][1]["in_force_from"] == "2024-08-30"
    assert printed["conditions"]["hot"] == "oil_temp_c above 95"
    assert printed["adjustments"][1]["when"] == "hours_share_pct:very_hot above 20"


def test_rules_are_data(whole_file: Path) -> None:
    """A rule set is parsed and can run nothing: a text that looks like code stays a text."""
    whole_file.write_text(WHOLE.replace("notes: none", "notes: __import__('os').abort()"), encoding="utf-8")
    assert load_ruleset(whole_file).task("oil-change").notes == "__import__('os').abort()"


def test_two_thousand_rules_are_read(tmp_path: Path) -> None:
    """A rule set of two thousand adjustments is checked as a whole."""
    rules = "".join(
        f"  - {{id: r{number}, tasks: all, when: {{load_pct: {{above: {number % 100}}}}}, counts_as: 2}}\n" for number in range(2000)
    )
    path = tmp_path / "many.yaml"
    path.write_text(
        f"ruleset: x\ntitle: x\nversion: 1\ntasks:\n  - {{id: a, title: A, every: {{running_hours: 5}}}}\nadjustments:\n{rules}",
        encoding="utf-8",
    )
    assert len(load_ruleset(path).adjustments) == 2000


class TestFinding:
    """A rule set is named, or its path is written."""

    def test_shipped_names_are_found(self) -> None:
        """Each shipped rule set is found by its name, and is sound."""
        shipped = shipped_rulesets()
        assert shipped
        for name, path in shipped.items():
            assert find_ruleset(name, None) == path
            assert load_ruleset(path).ruleset == name

    def test_paths_count_from_the_site_first(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, whole_file: Path) -> None:
        """A path is absolute, or lies beside the site, or below the working folder."""
        assert find_ruleset(str(whole_file), None) == whole_file
        assert find_ruleset("./whole.yaml", tmp_path) == whole_file
        with pytest.raises(RuleSetProblemError):
            find_ruleset("./whole.yaml", tmp_path / "elsewhere")
        monkeypatch.chdir(tmp_path)
        assert find_ruleset("whole.yaml", tmp_path / "elsewhere") == Path("whole.yaml")

    def test_what_is_not_found_is_said(self, tmp_path: Path, whole_file: Path) -> None:
        """A slip in a name gives the nearest; a file beside the site gives its path."""
        expected = {
            "gas-enigne": 'did you mean "gas-engine"?',
            whole_file.stem: 'write "./whole.yaml" for the file beside the site',
            "./nowhere.yaml": "there is no such file",
        }
        for name, words in expected.items():
            with pytest.raises(RuleSetProblemError) as caught:
                find_ruleset(name, tmp_path)
            (problem,) = caught.value.problems
            assert (problem.code, problem.file) == ("RUL001", name)
            assert words in problem.render()


def test_schema_fits_what_is_read(whole_file: Path) -> None:
    """The JSON Schema for editors accepts the file, and refuses slips in keys, words, durations and bounds."""
    schema = RuleSet.model_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    checker = jsonschema.Draft202012Validator(schema)
    data = load_yaml(whole_file, code_prefix="RUL").data
    assert not list(checker.iter_errors(data))
    for key, value in [
        ("whichever", "fist"),
        ("every", {"calendar": "1 yr"}),
        ("every", [{"in_force_from": "2024-01-01", "running_hours": 0}]),
        ("lead", {"running_hours": -1}),
        ("applies_to", {"load_pct": {"over": 5}}),
        ("tolerance_pct", 101),
        ("titel", "x"),
    ]:
        slipped = copy.deepcopy(data)
        slipped["tasks"][0][key] = value
        assert list(checker.iter_errors(slipped)), (key, value)


def test_every_field_is_described() -> None:
    """An editor shows what each key is for."""
    schema = RuleSet.model_json_schema()
    for model in [schema, *schema["$defs"].values()]:
        undescribed = [key for key, field in model["properties"].items() if "description" not in field]
        assert [key for key in undescribed if model["title"] != "Every"] == [], model["title"]


def test_every_code_has_a_meaning() -> None:
    """The codes of rule sets, for the documentation; none of site files among them."""
    assert RULESET_CODES["RUL014"] == "not an ISO 8601 duration"
    assert "RUL040" not in RULESET_CODES
    assert list(RULESET_CODES) == sorted(RULESET_CODES)
