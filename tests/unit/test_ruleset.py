"""Rule sets: what they mean once read, what a site must declare for them, what lint says, where they are found."""

from __future__ import annotations

import copy
import hashlib
import pickle
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pydantic import ValidationError

from intervals.language.conditions import AllOf, Comparison
from intervals.language.durations import CalendarStep
from intervals.language.yamlmarks import load_yaml
from intervals.problems import RuleSetProblemError
from intervals.rules.ruleset import (
    RULESET_CODES,
    RuleSet,
    check_against_site,
    find_ruleset,
    lint_ruleset,
    load_ruleset,
    shipped_rulesets,
)
from intervals.site.model import Site

WHOLE = """\
ruleset: gas-engine
title: Lean-burn gas engine, heat and power
version: 2026.10
source: common practice
attributes: {extended_pan: an extension tank is fitted}
tasks:
  - id: oil-change
    title: Change lube oil and filters
    applies_to: {fuel: [natural-gas, biogas]}
    every: {running_hours: 2000, calendar: P1Y}
    whichever: last
    first: {running_hours: 100}
    lead: {running_hours: 150, calendar: P14D}
    tolerance_pct: 0.1
    early_pct: 12.5
    visit_days: 5
    renews: oil-sample
    makes_new: all
    stops_engine: true
    restarts_from: due_if_late
    in_lay_up: counts
    source: the plant's own
    because: >
      Oil ages.
    notes: none
  - id: oil-sample
    title: Take an oil sample
    every:
      - {in_force_from: 2013-05-03, running_hours: 500, calendar: P1Y, source: "the text of 2013"}
      - {in_force_from: 2024-10-29, running_hours: 500, calendar: P1Y30D, vibration_hours: 5}
conditions:
  hot: {oil_temp_c: {above: 95}}
  very_hot: {condition: hot, load_pct: {above: 90}}
adjustments:
  - id: heavy-load
    tasks: [oil-change]
    when: {load_pct: {above: 90}}
    counts_as: 1.5
    when_unknown: holds
    because: Heat.
    source: common practice
  - {id: hot-share, tasks: all, when: {hours_share_pct: {very_hot: {above: 20}}}, interval_times: 0.8, known_share_at_least: 0.7}
  - {id: pan, tasks: oil-change, when: {extended_pan: true}, interval_becomes: {running_hours: 3000}}
limits: {counts_as_at_most: 4, interval_times_at_least: 0.25}
examples:
  - name: Heavy load halves nothing
    engine: {fuel: biogas, rated_kw: 500}
    since_last: {running_hours: 1010, days: 40, load_pct: 95}
    task: oil-change
    as_of: 2026-01-01
    first: true
    expect: {used: 1515, allowed: 2000, standing: upcoming, fired: heavy-load, due_on: 2026-05-01}
"""
SMALL: dict[str, Any] = {
    "ruleset": "small",
    "title": "Small",
    "version": "1",
    "source": "nowhere",
    "tasks": [{"id": "oil", "title": "Oil", "every": {"running_hours": 500}}],
}


@pytest.fixture
def whole_file(tmp_path: Path) -> Path:
    """The file of a rule set that uses every key."""
    path = tmp_path / "whole.yaml"
    path.write_text(WHOLE, encoding="utf-8")
    return path


@pytest.fixture
def whole(whole_file: Path) -> RuleSet:
    """A rule set that uses every key."""
    return load_ruleset(whole_file)


def small_site(**changes: object) -> Site:
    """Return a site of one engine."""
    data = {
        "site": "small",
        "time_zone": "UTC",
        "ruleset": "x",
        "engines": [{"id": "G1"}],
        "readings": {
            "files": "a.csv",
            "timestamp": {"column": "T"},
            "engine": {"value": "G1"},
            "quantities": {"hour_meter_h": {"column": "H"}},
        },
    }
    return Site.model_validate(data | changes)


def small_rules(**changes: object) -> RuleSet:
    """Return a rule set of one task."""
    return RuleSet.model_validate(copy.deepcopy(SMALL) | changes)


def test_versions_keep_their_text(whole: RuleSet) -> None:
    """A version 2026.10 is not 2026.1."""
    assert whole.version == "2026.10"


def test_every_key_of_a_task_is_read(whole: RuleSet) -> None:
    """Each key arrives in its type; percentages are exact decimals; legs keep the order of the file."""
    task = whole.task("oil-change")
    assert task.applies_to == Comparison("fuel", "in", ("natural-gas", "biogas"))
    (every,) = task.every
    assert list(every.legs.items()) == [("running_hours", 2000.0), ("calendar", CalendarStep("P1Y", years=1))]
    assert (task.whichever, task.first) == ("last", {"running_hours": 100.0})
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


@pytest.mark.parametrize(("day", "step"), [("2013-05-02", None), ("2013-05-03", "P1Y"), ("2024-10-28", "P1Y"), ("2024-10-29", "P1Y30D")])
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
    assert (heavy.tasks, heavy.counts_as, heavy.interval_times, heavy.interval_becomes) == (("oil-change",), 1.5, None, None)
    assert (heavy.when_unknown, heavy.known_share_at_least, heavy.because) == ("holds", 0.5, "Heat.")
    assert (share.tasks, share.interval_times, share.known_share_at_least, share.when_unknown) == ("all", 0.8, 0.7, "fails")
    assert share.when == Comparison("hours_share_pct:very_hot", ">", 20.0)
    assert (pan.tasks, pan.interval_becomes) == (("oil-change",), {"running_hours": 3000.0})


def test_named_conditions_may_build_on_one_another(whole: RuleSet) -> None:
    """An entry of `conditions` may name one above it."""
    assert whole.conditions["very_hot"] == AllOf((Comparison("oil_temp_c", ">", 95.0), Comparison("load_pct", ">", 90.0)))


def test_limits_and_examples_are_read(whole: RuleSet) -> None:
    """A limit that is not given does not bind; only what an example states is expected."""
    assert (whole.limits.counts_as_at_most, whole.limits.counts_as_at_least) == (4.0, None)
    assert (whole.limits.interval_times_at_least, whole.limits.interval_times_at_most) == (0.25, None)
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
        small_rules(tasks=SMALL["tasks"] * 2)


def test_a_rule_set_can_be_printed(whole: RuleSet) -> None:
    """Durations keep their text, conditions are words, dates are ISO 8601."""
    printed = whole.model_dump(mode="json")
    assert printed["tasks"][0]["every"][0]["legs"] == {"running_hours": 2000.0, "calendar": "P1Y"}
    assert printed["tasks"][0]["lead"] == {"running_hours": 150.0, "calendar": "P14D"}
    assert printed["tasks"][1]["every"][1]["in_force_from"] == "2024-10-29"
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


class TestAgainstSite:
    """What a rule set asks for must be declared somewhere."""

    def test_a_site_that_declares_everything_has_no_problem(self, whole: RuleSet) -> None:
        """A counter of the site's own satisfies the leg that names it."""
        quantities = {"hour_meter_h": {"column": "H"}, "vibration_hours": {"column": "V", "unit": "h", "kind": "counter"}}
        readings = {"files": "a.csv", "timestamp": {"column": "T"}, "engine": {"value": "G1"}, "quantities": quantities}
        assert check_against_site(whole, small_site(readings=readings)) == []

    def test_an_undeclared_leg_is_a_problem(self, whole: RuleSet, whole_file: Path) -> None:
        """The problem stands at the leg's place in the rule set."""
        (problem,) = check_against_site(whole, small_site())
        line = next(number for number, text in enumerate(WHOLE.splitlines(), 1) if "vibration_hours" in text)
        assert (problem.code, problem.file, problem.line) == ("RUL026", str(whole_file), line)
        assert '"vibration_hours" is not a counter or an amount of this site' in problem.text

    @pytest.mark.parametrize(
        ("when", "words"),
        [
            ({"vibration_mm_s": {"above": 5}}, '"vibration_mm_s" is declared nowhere'),
            ({"laod_pct": {"above": 90}}, 'did you mean "load_pct"?'),
            ({"feul": "biogas"}, 'did you mean "fuel"?'),
            ({"extension_tnak": True}, 'did you mean "extension_tank"?'),
        ],
    )
    def test_an_undeclared_name_is_a_problem(self, when: dict[str, Any], words: str) -> None:
        """A bound on what nobody declares, and a slip for what somebody does."""
        rules = small_rules(adjustments=[{"id": "a", "tasks": "all", "when": when, "counts_as": 2}])
        (problem,) = check_against_site(rules, small_site(engines=[{"id": "G1", "attributes": {"extension_tank": True}}]))
        assert problem.code == "RUL026"
        assert words in problem.text

    def test_an_attribute_that_nobody_states_is_only_unknown(self) -> None:
        """A rule for engines with some equipment may be used where no engine says whether it has it."""
        rules = small_rules(adjustments=[{"id": "a", "tasks": "all", "when": {"dusty_air": True}, "counts_as": 2}])
        assert check_against_site(rules, small_site()) == []

    def test_attributes_of_the_rule_set_are_declared(self) -> None:
        """A number that engines may state is declared by the rule set that asks for it."""
        adjustments = [{"id": "a", "tasks": "all", "when": {"cylinders": {"above": 12}}, "counts_as": 2}]
        assert len(check_against_site(small_rules(adjustments=adjustments), small_site())) == 1
        assert check_against_site(small_rules(adjustments=adjustments, attributes={"cylinders": "how many"}), small_site()) == []

    @pytest.mark.parametrize(
        ("name", "effect", "code"),
        [
            ("vibration", {"counts_as": 2}, None),
            ("vibration", {"interval_times": 0.5}, "RUL024"),
            ("mean_vibration", {"interval_times": 0.5}, None),
            ("pulses", {"counts_as": 2}, "RUL024"),
            ("mean_pulses", {"interval_times": 0.5}, "RUL026"),
        ],
    )
    def test_a_sites_own_quantities_suit_their_rules(self, name: str, effect: dict[str, Any], code: str | None) -> None:
        """A level hour by hour, its mean on the window; a counter nowhere."""
        quantities = {
            "vibration": {"column": "V", "unit": "mm/s", "kind": "level"},
            "pulses": {"column": "P", "unit": "count", "kind": "counter"},
        }
        readings = {"files": "a.csv", "timestamp": {"column": "T"}, "engine": {"value": "G1"}, "quantities": quantities}
        rules = small_rules(adjustments=[{"id": "a", "tasks": "all", "when": {name: {"above": 5}}, **effect}])
        assert [problem.code for problem in check_against_site(rules, small_site(readings=readings))] == ([code] if code else [])


class TestLint:
    """Warnings never refuse."""

    def warned(self, folder: Path, text: str) -> list[str]:
        """Return code and line of each warning."""
        path = folder / "lint.yaml"
        path.write_text(text, encoding="utf-8")
        errors, warnings = lint_ruleset(path)
        assert errors == []
        return [f"{problem.code}:{problem.line}" for problem in warnings]

    def test_errors_come_without_warnings(self, tmp_path: Path) -> None:
        """A rule set that cannot be used is not criticised as well."""
        path = tmp_path / "lint.yaml"
        path.write_text("ruleset: x\n", encoding="utf-8")
        errors, warnings = lint_ruleset(path)
        assert {problem.code for problem in errors} == {"RUL011"}
        assert warnings == []

    def test_everything_that_could_be_better_is_said(self, tmp_path: Path) -> None:
        """Sources, reasons, examples, leads, idle legs, rules and conditions, harms on a mean: each at its line."""
        text = "\n".join(
            [
                "ruleset: x",
                "title: x",
                "version: 1",
                "tasks:",
                "  - {id: a, title: A, every: {running_hours: 500, spindle_turns: 5}, lead: {running_hours: 300, calendar: P1M}}",
                "  - {id: b, title: B, every: {calendar: P1Y, source: own}, lead: {calendar: P7M}}",
                "conditions:",
                "  hot: {oil_temp_c: {above: 95}}",
                "adjustments:",
                "  - {id: m, tasks: [a], when: {mean_load_pct: {above: 90}}, interval_times: 0.5, because: x, source: y}",
                "  - {id: n, tasks: [b], when: {load_pct: {above: 90}}, counts_as: 2, because: x, source: y}",
                "  - {id: o, tasks: [b], when: {duty: prime}, interval_becomes: {calendar: P6M}, because: x, source: y}",
                "  - {id: p, tasks: [b], when: {duty: prime}, interval_times: 0.5}",
            ]
        )
        assert self.warned(tmp_path, text) == [
            "RUL063:1",
            "RUL061:5", "RUL064:5", "RUL065:5", "RUL067:5",
            "RUL064:6",
            "RUL066:8",
            "RUL060:10",
            "RUL066:11",
            "RUL061:13", "RUL062:13", "RUL066:13",
        ]  # fmt: skip

    def test_a_task_and_a_rule_without_example_are_named(self, tmp_path: Path) -> None:
        """Once there are examples, each task and each adjustment should be shown by one."""
        path = tmp_path / "lint.yaml"
        path.write_text(WHOLE, encoding="utf-8")
        texts = [problem.text for problem in lint_ruleset(path)[1] if problem.code == "RUL063"]
        assert texts == [
            'no example shows the task "oil-sample"',
            'no example shows the adjustment "hot-share"',
            'no example shows the adjustment "pan"',
        ]

    def test_a_lengthened_interval_on_a_mean_is_no_harm(self, tmp_path: Path) -> None:
        """What makes an interval longer may well be judged on the mean."""
        text = (
            "ruleset: x\ntitle: x\nversion: 1\nsource: s\ntasks:\n  - {id: a, title: A, every: {running_hours: 500}}\nadjustments:\n"
            "  - {id: m, tasks: all, when: {mean_load_pct: {below: 50}}, interval_times: 1.2, because: x}\n"
        )
        assert self.warned(tmp_path, text) == ["RUL063:1"]


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
