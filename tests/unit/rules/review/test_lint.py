"""What lint says of a rule set: warnings never refuse."""

from __future__ import annotations

from pathlib import Path

from intervals.rules.review.lint import lint_ruleset
from tests.unit.rules.whole_ruleset import WHOLE


def warned(folder: Path, text: str) -> list[str]:
    """Return code and line of each warning."""
    path = folder / "lint.yaml"
    path.write_text(text, encoding="utf-8")
    errors, warnings = lint_ruleset(path)
    assert errors == []
    return [f"{problem.code}:{problem.line}" for problem in warnings]


def test_errors_come_without_warnings(tmp_path: Path) -> None:
    """A rule set that cannot be used is not criticised as well."""
    path = tmp_path / "lint.yaml"
    path.write_text("ruleset: x\n", encoding="utf-8")
    errors, warnings = lint_ruleset(path)
    assert {problem.code for problem in errors} == {"RUL011"}
    assert warnings == []


def test_everything_that_could_be_better_is_said(tmp_path: Path) -> None:
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
    assert warned(tmp_path, text) == [
        "RUL063:1",
        "RUL061:5", "RUL064:5", "RUL065:5", "RUL067:5",
        "RUL064:6",
        "RUL066:8",
        "RUL060:10",
        "RUL066:11",
        "RUL061:13", "RUL062:13", "RUL066:13",
    ]  # fmt: skip


def test_a_name_that_nothing_can_supply_is_refused(tmp_path: Path) -> None:
    """Compared with a number it must be canonical, a measure, or described; a slip in an attribute is told once, as a warning."""
    text = "\n".join(
        [
            "ruleset: x",
            "title: x",
            "version: 1",
            "source: y",
            "attributes: {extended_pan: whether there is a tank beside the pan}",
            "quantities: {vibration_mm_s: vibration of the crankcase}",
            "tasks:",
            "  - {id: a, title: A, every: {running_hours: 500}, applies_to: {feul: [biogas]}}",
            "conditions:",
            "  hot: {oil_temp_f: {above: 200}}",
            "adjustments:",
            "  - {id: m, tasks: [a], when: {laod_pct: {above: 90}}, counts_as: 2, because: x}",
            "  - {id: n, tasks: [a], when: {condition: hot}, counts_as: 2, because: x}",
            "  - {id: o, tasks: [a], when: {laod_pct: {above: 95}, vibration_mm_s: {above: 7}}, counts_as: 3, because: x}",
            "  - {id: p, tasks: [a], when: {extended_pam: true}, interval_times: 0.9, because: x}",
            "  - {id: q, tasks: [a], when: {mean_vibration_mm_s: {above: 5}}, interval_becomes: {running_hours: 400}, because: x}",
            "  - {id: r, tasks: [a], when: {crew_size: [2, 3]}, interval_becomes: {running_hours: 400}, because: x}",
            "  - {id: s, tasks: [a], when: {mean_laod_pct: {above: 70}}, interval_becomes: {running_hours: 400}, because: x}",
            "  - {id: t, tasks: [a], when: {crane: yard}, interval_becomes: {running_hours: 400}, because: x}",
            "examples:",
            "  - {name: e, task: a, engine: {}, since_last: {running_hours: 1}, expect: {standing: in_interval}}",
        ]
    )
    path = tmp_path / "lint.yaml"
    path.write_text(text, encoding="utf-8")
    errors, warnings = lint_ruleset(path)
    assert [(problem.code, problem.line, problem.text) for problem in errors] == [
        ("RUL034", 10, 'nothing can ever supply "oil_temp_f"; did you mean "oil_temp_c"?'),
        ("RUL034", 12, 'nothing can ever supply "laod_pct"; did you mean "load_pct"?'),
        ("RUL034", 14, 'nothing can ever supply "laod_pct"; did you mean "load_pct"?'),
        ("RUL034", 17, 'nothing can ever supply "crew_size"'),
        ("RUL034", 18, 'nothing can ever supply "mean_laod_pct"; did you mean "mean_load_pct"?'),
    ]
    assert [(problem.line, problem.text) for problem in warnings if problem.code == "RUL075"] == [
        (8, '"feul" is known nowhere; did you mean "fuel"?'),
        (15, '"extended_pam" is known nowhere; did you mean "extended_pan"?'),
    ]


def test_described_quantities_are_held_against_the_rules(tmp_path: Path) -> None:
    """A leg that is described is no warning any more; what is described and never asked for, or known anyway, is idle."""
    path = tmp_path / "lint.yaml"
    path.write_text(
        "ruleset: x\ntitle: x\nversion: 1\nsource: y\n"
        "quantities:\n  strokes: of the fuel pump\n  load_pct: the load\n  boost_kpa: of the charger\n"
        "tasks:\n  - {id: a, title: A, every: {strokes: 500}}\n",
        encoding="utf-8",
    )
    errors, warnings = lint_ruleset(path)
    assert errors == []
    assert [(each.code, each.line, each.text) for each in warnings if each.code in ("RUL066", "RUL067")] == [
        ("RUL066", 7, '"load_pct" is known in every rule set'),
        ("RUL066", 8, 'no rule asks for "boost_kpa"'),
    ]


def test_a_task_and_a_rule_without_example_are_named(tmp_path: Path) -> None:
    """Once there are examples, each task and each adjustment should be shown by one."""
    path = tmp_path / "lint.yaml"
    path.write_text(WHOLE, encoding="utf-8")
    texts = [problem.text for problem in lint_ruleset(path)[1] if problem.code == "RUL063"]
    assert texts == [
        'no example shows the task "oil-sample"',
        'no example shows the adjustment "hot-share"',
        'no example shows the adjustment "pan"',
    ]


def test_a_lengthened_interval_on_a_mean_is_no_harm(tmp_path: Path) -> None:
    """What makes an interval longer may well be judged on the mean."""
    text = (
        "ruleset: x\ntitle: x\nversion: 1\nsource: s\ntasks:\n  - {id: a, title: A, every: {running_hours: 500}}\nadjustments:\n"
        "  - {id: m, tasks: all, when: {mean_load_pct: {below: 50}}, interval_times: 1.2, because: x}\n"
    )
    assert warned(tmp_path, text) == ["RUL063:1"]


def test_an_overhaul_that_has_no_first_interval_to_give_is_told(tmp_path: Path) -> None:
    """`all` where no task states a first, and a named task that states none; with a first nothing is said."""
    head = ["ruleset: x", "title: x", "version: 1", "source: own", "tasks:"]
    plugs = "  - {id: plugs, title: Plugs, every: {running_hours: 500}}"
    every = "every: {running_hours: 9000}"
    shown = [
        f"  - {{name: {name}, since_last: {{running_hours: 1}}, task: {name}, expect: {{standing: in_interval}}}}"
        for name in ("plugs", "overhaul")
    ]
    tail = ["examples:", *shown]
    whole = [*head, plugs, f"  - {{id: overhaul, title: Overhaul, {every}, makes_new: all}}", *tail]
    named = [*head, plugs, f"  - {{id: overhaul, title: Overhaul, {every}, makes_new: [plugs]}}", *tail]
    assert warned(tmp_path, "\n".join(whole)) == ["RUL066:7"]
    assert warned(tmp_path, "\n".join(named)) == ["RUL066:7"]
    first = plugs.replace("500}}", "500}, first: {running_hours: 50}}")
    for told in (whole, named):
        assert warned(tmp_path, "\n".join(first if line == plugs else line for line in told)) == []
