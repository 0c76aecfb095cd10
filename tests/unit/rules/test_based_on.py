"""Rule sets that are based on others: what is laid over what, where each part stands, what is refused, what the digest covers."""

from __future__ import annotations

import hashlib
from pathlib import Path

import jsonschema
import pytest

from intervals.problems import Problem, RuleSetProblemError
from intervals.reports.schemas import schema_of
from intervals.rules.effects.known_effects import CountsAs
from intervals.rules.review.lint import warnings_of
from intervals.rules.ruleset import RuleSet, load_ruleset

BASE = """\
ruleset: plant
title: The plant's schedule
version: "1"
source: the plant's book
attributes: {dusty_air: whether the air is dusty}
tasks:
  - id: oil
    title: Change oil
    every: {running_hours: 500, calendar: P1Y}
    first: {running_hours: 50}
    renews: [sample, filter]
    source: page 3
  - id: sample
    title: Sample oil
    every: {running_hours: 250}
  - id: filter
    title: Renew the filter
    every: {running_hours: 500}
conditions:
  hot: {oil_temp_c: {above: 95}}
  light: {load_pct: {below: 25}}
adjustments:
  - {id: heat, tasks: [oil, filter], when: hot, counts_as: 2, because: Heat ages oil.}
  - {id: dust, tasks: filter, when: {dusty_air: true}, interval_times: 0.5, because: Dust.}
limits: {counts_as_at_most: 3, interval_times_at_least: 0.5}
examples:
  - {name: Half way, since_last: {running_hours: 250}, task: oil, expect: {used: 250}}
"""
OWN = """\
ruleset: ours
title: Our schedule
version: "2"
based_on: ./base.yaml
tasks:
  - id: oil
    every: {running_hours: 400}
    source: our own experience
    first: null
  - id: coolant
    title: Check the coolant
    every: {calendar: P6M}
conditions:
  hot: {oil_temp_c: {above: 100}}
adjustments:
  - {id: heat, counts_as: 1.5}
limits: {counts_as_at_most: 2}
"""


def written(folder: Path, **texts: str) -> Path:
    """Write files into a folder and return the path of the last one."""
    for name, text in texts.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return folder / f"{name}.yaml"


@pytest.fixture
def ours(tmp_path: Path) -> RuleSet:
    """Return a rule set that is based on another."""
    return load_ruleset(written(tmp_path, base=BASE, own=OWN))


def refusals(path: Path) -> list[Problem]:
    """Return the problems of a rule set that must be refused."""
    with pytest.raises(RuleSetProblemError) as caught:
        load_ruleset(path)
    return list(caught.value.problems)


def test_fields_of_the_same_id_are_replaced_one_by_one(ours: RuleSet) -> None:
    """What an entry does not write stays as in the base; nothing takes a field away; new entries follow."""
    oil = ours.task("oil")
    assert (oil.title, dict(oil.every[0].legs), oil.first, oil.renews) == (
        "Change oil",
        {"running_hours": 400.0},
        None,
        ("sample", "filter"),
    )
    assert [task.id for task in ours.tasks] == ["oil", "sample", "filter", "coolant"]
    heat = ours.adjustments[0]
    assert (heat.effect, heat.because, heat.tasks) == (CountsAs(1.5), "Heat ages oil.", ("oil", "filter"))


def test_named_conditions_limits_and_attributes_are_replaced_one_by_one(ours: RuleSet) -> None:
    """The inherited rule asks for the condition as it is now; what is not written stays."""
    assert [each.value for each in (ours.conditions["hot"], ours.adjustments[0].when)] == [100.0, 100.0]  # type: ignore[union-attr]  # comparisons
    assert list(ours.conditions) == ["hot", "light"]
    assert (ours.limits.bounds["counts_as"].at_most, ours.limits.bounds["interval_times"].at_least) == (2.0, 0.5)
    assert list(ours.attributes) == ["dusty_air"]


def test_what_a_rule_set_says_of_itself_is_not_inherited(ours: RuleSet) -> None:
    """Title, version and source are its own; the base's source stays with the base's rules; examples show the base alone."""
    assert (ours.ruleset, ours.title, ours.version, ours.source, ours.examples) == ("ours", "Our schedule", "2", None, ())
    assert [task.source for task in ours.tasks] == ["our own experience", "the plant's book", "the plant's book", None]
    assert ours.adjustments[1].source == "the plant's book"


def test_every_rule_knows_the_file_and_line_it_stands_in(ours: RuleSet, tmp_path: Path) -> None:
    """Own entries point to the own file, inherited ones to the base's."""
    own, base = str(tmp_path / "own.yaml"), str(tmp_path / "base.yaml")
    assert ours.place_of("task", "oil") == (own, 6)
    assert ours.place_of("task", "coolant") == (own, 10)
    assert ours.place_of("task", "sample") == (base, 13)
    assert ours.place_of("adjustment", "heat") == (own, 16)
    assert ours.place_of("adjustment", "dust") == (base, 24)
    assert ours.place_of("condition", "hot") == (own, 14)
    assert ours.place_of("condition", "light") == (base, 21)
    assert (ours.marked.origin_of(("tasks", 0, "renews"))[0], ours.line_at(("tasks", 0, "renews"))) == (base, 11)


def test_a_problem_of_the_base_points_to_the_base(tmp_path: Path) -> None:
    """File, line and path are those of the file that holds the fault, however the two are put together."""
    own = OWN.replace("version", "without: {tasks: sample}\nversion").replace("P6M", "6 months")
    path = written(tmp_path, base=BASE.replace("running_hours: 500}\ncond", "running_hours: many}\ncond"), own=own)
    assert [(Path(each.file).name, each.line, each.path) for each in refusals(path)] == [
        ("base.yaml", 18, "$.tasks[2].every.running_hours"),
        ("own.yaml", 13, "$.tasks[1].every.calendar"),
    ]


def test_without_takes_tasks_and_adjustments_away(tmp_path: Path) -> None:
    """Rules that are left no longer name what is gone; a rule with no task left goes too."""
    made = load_ruleset(
        written(tmp_path, base=BASE, own=OWN.replace("tasks:\n", "without: {tasks: [filter], adjustments: []}\ntasks:\n", 1))
    )
    assert [task.id for task in made.tasks] == ["oil", "sample", "coolant"]
    assert made.task("oil").renews == ("sample",)
    assert [(each.id, each.tasks) for each in made.adjustments] == [("heat", ("oil",))]
    made = load_ruleset(written(tmp_path, own=OWN.replace("tasks:\n", "without: {adjustments: dust}\ntasks:\n", 1)))
    assert [each.id for each in made.adjustments] == ["heat"]


EVENTS = """\
ruleset: plant
title: The plant's schedule
version: "1"
source: the plant's book
tasks:
  - {id: oil, title: Oil, every: {running_hours: 500}}
  - {id: overhaul, title: Overhaul, every: {running_hours: 9000}}
  - {id: check, title: Check, once: true, after: [{done: oil}, {found: oil, grade: failed}, {done: overhaul}], within: {calendar: P7D}}
  - {id: bolts, title: Bolts, once: true, after: {done: overhaul}, within: {calendar: P7D}}
"""
WITHOUT = 'ruleset: ours\ntitle: Ours\nversion: "1"\nsource: ours\nbased_on: ./base.yaml\n'


def test_without_takes_jobs_out_of_what_a_task_waits_for(tmp_path: Path) -> None:
    """Without the oil change the check is due after the overhaul alone."""
    made = load_ruleset(written(tmp_path, base=EVENTS, own=f"{WITHOUT}without: {{tasks: [oil]}}\n"))
    assert [event.done for event in made.task("check").after] == ["overhaul"]


def test_without_the_only_event_is_refused_where_it_is_taken_away(tmp_path: Path) -> None:
    """Nothing would make the bolts due any more: remove them too, or say after what they are due."""
    base = EVENTS
    (problem,) = refusals(written(tmp_path, base=base, own=f"{WITHOUT}without: {{tasks: [overhaul]}}\n"))
    assert (problem.code, problem.path) == ("RUL028", "$.without.tasks[0]")
    assert 'without "overhaul" nothing is left after which "bolts" of the base would be due' in problem.render()
    load_ruleset(written(tmp_path, base=base, own=f"{WITHOUT}without: {{tasks: [overhaul, bolts]}}\n"))
    own = f"{WITHOUT}without: {{tasks: [overhaul]}}\ntasks:\n  - {{id: bolts, after: start_up}}\n"
    assert [event.kind for event in load_ruleset(written(tmp_path, base=base, own=own)).task("bolts").after] == ["start_up"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("./base.yaml", "./own.yaml"), "in a circle: own.yaml -> own.yaml"),
        (("./base.yaml", "./other.yaml"), 'there is no file "./other.yaml" beside this one'),
        (("./base.yaml", "gas-engin"), 'did you mean "gas-engine"?'),
        (("./base.yaml", "[gas-engine]"), "not a rule set; got a list of 1"),
        (("based_on: ./base.yaml", "without: {tasks: oil}"), "there is no base"),
        (("tasks:\n", "without: {tasks: [sampel]}\ntasks:\n"), 'the base has no task "sampel"; did you mean "sample"?'),
        (("tasks:\n", "without: {tasks: [oil]}\ntasks:\n"), '"oil" is removed here and also written under tasks'),
    ],
)
def test_what_cannot_be_laid_over_a_base_is_refused(tmp_path: Path, change: tuple[str, str], words: str) -> None:
    """Each refusal has the code, stands at its line of the file, and says what is wrong."""
    (problem,) = refusals(written(tmp_path, base=BASE, own=OWN.replace(*change, 1)))
    assert (problem.code, Path(problem.file).name) == ("RUL028", "own.yaml")
    assert problem.line is not None
    assert problem.line > 1
    assert words in problem.render()


def test_a_circle_of_two_is_refused_where_it_closes(tmp_path: Path) -> None:
    """The refusal names the whole circle and stands in the file that leads back."""
    path = written(tmp_path, base=BASE.replace("version", "based_on: own.yaml\nversion"), own=OWN)
    (problem,) = refusals(path)
    assert (Path(problem.file).name, problem.line) == ("base.yaml", 3)
    assert "own.yaml -> base.yaml -> own.yaml" in problem.text


def test_two_own_entries_of_one_id_are_two(tmp_path: Path) -> None:
    """The first changes the base's, the second is a second one and refused as such."""
    problems = refusals(written(tmp_path, base=BASE, own=OWN.replace("id: coolant", "id: oil")))
    assert [(each.code, Path(each.file).name, each.line) for each in problems] == [("RUL019", "own.yaml", 10)]


def test_a_base_may_have_a_base(tmp_path: Path) -> None:
    """Of three files each keeps what the ones above it do not change, and its own places."""
    third = 'ruleset: third\ntitle: T\nversion: "1"\nbased_on: own.yaml\ntasks: [{id: oil, title: Oil for us}]\n'
    made = load_ruleset(written(tmp_path, base=BASE, own=OWN, third=third))
    assert (made.task("oil").title, dict(made.task("oil").every[0].legs)) == ("Oil for us", {"running_hours": 400.0})
    assert [Path(made.place_of("task", word)[0]).name for word in ("oil", "coolant", "sample")] == ["third.yaml", "own.yaml", "base.yaml"]
    assert Path(made.marked.origin_of(("tasks", 0, "renews"))[0]).name == "base.yaml"


def test_the_digest_covers_all_files(ours: RuleSet, tmp_path: Path) -> None:
    """It is the digest of the list of the files' digests, as two commands of any shell give it; a change of the base changes it."""
    digests = [hashlib.sha256((tmp_path / name).read_bytes()).hexdigest() for name in ("own.yaml", "base.yaml")]
    assert ours.sha256 == hashlib.sha256(f"{digests[0]}\n{digests[1]}\n".encode()).hexdigest()
    assert load_ruleset(written(tmp_path, base=BASE + "# seen\n", own=OWN)).sha256 != ours.sha256
    assert load_ruleset(tmp_path / "base.yaml").sha256 == hashlib.sha256((tmp_path / "base.yaml").read_bytes()).hexdigest()


def test_a_shipped_rule_set_can_be_a_base(tmp_path: Path) -> None:
    """A name is that of a shipped rule set; all its tasks are there and stand in its file."""
    made = load_ruleset(written(tmp_path, own='ruleset: ours\ntitle: T\nversion: "1"\nbased_on: gas-engine\n'))
    assert len(made.tasks) == len(load_ruleset(Path(made.place_of("task", "oil-change")[0])).tasks)
    assert made.place_of("task", "oil-change")[0].endswith("gas-engine.yaml")


def test_lint_tells_of_an_interval_under_a_borrowed_source(tmp_path: Path) -> None:
    """A new interval under the old one's source is a warning at its line; what the base itself lacks is told of the base alone."""
    path = written(tmp_path, base=BASE, own=OWN.replace("    source: our own experience\n", ""))
    warnings = warnings_of(load_ruleset(path))
    assert [(each.code, each.line) for each in warnings if each.code == "RUL074"] == [("RUL074", 7), ("RUL074", 15)]
    assert {Path(each.file).name for each in warnings if each.code in ("RUL061", "RUL062", "RUL063")} == {"own.yaml"}


def test_an_editor_accepts_entries_that_hold_only_what_they_change() -> None:
    """By the schema a rule set with a base may leave out what the base has; one without may not."""
    schema = jsonschema.Draft202012Validator(schema_of("ruleset"))
    own = {"ruleset": "ours", "title": "T", "version": "1", "tasks": [{"id": "oil", "tolerance_pct": 5}], "adjustments": [{"id": "heat"}]}
    assert list(schema.iter_errors({**own, "based_on": "gas-engine"})) == []
    assert list(schema.iter_errors({"ruleset": "ours", "title": "T", "version": "1", "based_on": "gas-engine"})) == []
    assert {error.message for error in schema.iter_errors(own)} == {
        f"'{key}' is a required property" for key in ("title", "every", "tasks", "when")
    }
    assert list(schema.iter_errors({"ruleset": "ours", "title": "T", "version": "1"})) != []


@pytest.mark.parametrize(
    "junk", ["null", "7", "word", "[]", "{}", "[[1]]", "[null]", "[{id: null}]", "{oil: {}}", "[{id: oil, tasks: {a: 1}}]"]
)
@pytest.mark.parametrize("key", ["tasks", "adjustments", "budgets", "conditions", "limits", "attributes", "without", "examples", "source"])
@pytest.mark.parametrize("side", ["own", "base"])
def test_whatever_stands_there_is_read_or_refused(tmp_path: Path, side: str, key: str, junk: str) -> None:
    """No value in the place of a section, in either file, does anything but load or be refused with file and line."""
    texts = {"base": BASE, "own": 'ruleset: ours\ntitle: T\nversion: "1"\nbased_on: ./base.yaml\n'}
    head, _, _ = texts[side].partition(f"\n{key}:")
    texts[side] = f"{head}\n{key}: {junk}\n"
    path = written(tmp_path, base=texts["base"], own=texts["own"])
    problems: list[Problem] = []
    try:
        problems = warnings_of(load_ruleset(path))
    except RuleSetProblemError as error:
        problems = list(error.problems)
    assert all(each.line and Path(each.file).name in ("own.yaml", "base.yaml") for each in problems)
