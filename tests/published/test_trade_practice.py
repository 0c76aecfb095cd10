"""Common practice of the trade (no source) and TM 5-685 C-1 d, E-2, E-3, TM 55-1930-209-14&P-19 17-15 (read): what a job card holds.

The card of an oil change, made by `intervals card` with the rule sets as shipped; intervals of a first change, of standing by and of
starts by `intervals check`.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from typer.testing import CliRunner

from intervals.cli.main import app
from tests.published.shipped_sites import CLOCK, Case, check_cases, check_site, finding_since_last, governing_figures, shipped
from tests.site_maker import finding_for, leg_of, meter, rule, task, write_site

ATTRIBUTES = {"extension_tank": True, "automatic_top_up": True, "prelube_pump": True, "dusty_air": False}
PLACES = {"drain_pan_min": 22, "drain_tank_min": 15, "prelube_min": 12, "oil_filters": 2}
GAS = {"fuel": "biogas", "rated_kw": 500, "oil_volume_l": 200}


@pytest.fixture(scope="module")
def steps(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """Return the steps of the card of an oil change on an engine with an extension tank, in order, by their id."""
    folder = tmp_path_factory.mktemp("plant")
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0, **GAS, "attributes": ATTRIBUTES, "card": PLACES}
    write_site(folder, [], [meter("2026-01-01T00:00", 0), meter("2026-02-01T00:00", 700)], engine=engine, ruleset="gas-engine")
    with patch("intervals.cli.common.site_request.read_clock", return_value=CLOCK):
        result = CliRunner().invoke(app, ["card", str(folder), "G1", "--as-of", "2026-01-31", "--tasks", "oil-change"])
    assert result.exit_code == 0, result.stderr
    (card,) = (folder / "cards").glob("*.json")
    return {step["id"].removeprefix("oil-and-filter."): step for step in json.loads(card.read_text(encoding="utf-8"))["steps"]}


def places_of(steps: dict[str, dict[str, Any]], *ids: str) -> list[int]:
    """Return the places of steps on the card."""
    order = list(steps)
    return [order.index(step) for step in ids]


@pytest.mark.outside("8.1")
def test_waits_are_the_engines_own_and_the_charge_goes_round_before_the_start(steps: dict[str, dict[str, Any]]) -> None:
    """Pumping out and pre-lubricating take minutes that the engine states; it turns over after filling and before the start."""
    assert [steps[step]["minutes"] for step in ("pump-pan", "pump-tank", "turn-over")] == [22.0, 15.0, 12.0]
    filled, turned, started = places_of(steps, "filled", "turn-over", "start")
    assert filled < turned < started


@pytest.mark.outside("8.2")
def test_an_extension_tank_is_drained_and_its_valves_are_lined_up(steps: dict[str, dict[str, Any]]) -> None:
    """The tank as well as the pan; the link is shut for draining, open for filling, and checked before the start."""
    shut, tank, pan, opened, fill, start = places_of(steps, "link-shut", "pump-tank", "pump-pan", "link-open", "fill", "start")
    assert shut < tank < opened < fill < start
    assert pan < opened
    assert steps["link-open"]["to"] == "open"


@pytest.mark.outside("8.3", "4.9")
def test_a_spin_on_filter(steps: dict[str, dict[str, Any]]) -> None:
    """The seat is cleaned, the seal oiled, the filter screwed to contact and half a turn more by hand (TM 55-1930-209-14&P-19 17-15)."""
    seat, seal, on = places_of(steps, "seat", "seal", "filters-on")
    assert seat < seal < on
    assert "half a turn" in steps["filters-on"]["text"]
    assert "by hand" in steps["filters-on"]["text"]


@pytest.mark.outside("4.9", "8.4")
def test_before_work_the_engine_is_stopped_tagged_and_proved_dead(steps: dict[str, dict[str, Any]]) -> None:
    """TM 5-685 E-2, E-3: tag "do not operate", never assume that power is off; C-1 d: drain warm at once, sample, mind the waste oil."""
    lock, proved, drain = places_of(steps, "lock", "proved", "pan-drain-open")
    assert lock < proved < drain
    assert "do not operate" in steps["lock"]["text"]
    assert "power is off" in steps["proved"]["text"]
    assert "warm" in steps["pan-drain-open"]["text"]
    assert steps["sample"]["kind"] == "sample"
    assert "waste oil" in steps["pan-drain-open"]["to"]
    assert steps["waste"]["value"] == "waste_oil_l"
    source = next(procedure.source or "" for procedure in shipped("gas-engine").procedures if procedure.id == "oil-and-filter")
    assert "C-1 d (read)" in source
    assert "E-2 and E-3 (read)" in source


@pytest.mark.outside("8.5")
def test_automatic_top_up_is_off_before_draining_and_set_back(steps: dict[str, dict[str, Any]]) -> None:
    """It would fill what is drained."""
    off, drain, back = places_of(steps, "top-up", "pump-tank", "top-up.restore")
    assert off < drain < back
    assert steps["top-up"]["to"] == "off"


@pytest.mark.outside("8.6")
@pytest.mark.parametrize(
    ("ruleset", "engine", "first_h", "later_h"), [("diesel-prime", {"fuel": "diesel"}, 50, 250), ("gas-engine", GAS, 100, 2000)]
)
def test_the_first_oil_change_comes_early(ruleset: str, engine: dict[str, object], first_h: int, later_h: int) -> None:
    """Often 50 to 150 h; the tolerance is 10 %; standing by ages oil too, half a year or a year."""
    since = {"running_hours": first_h + 1, "days": 20}
    new, old = check_cases(ruleset, [Case("oil-change", engine, since, first=True), Case("oil-change", engine, since)])
    assert governing_figures(new)[::2] == ("overdue", first_h)
    assert governing_figures(old)[0] == "in_interval"
    late = finding_since_last(ruleset, "oil-change", engine, {"running_hours": later_h * 1.1, "days": 100})
    assert late is not None
    assert (late.standing, late.within_tolerance) == ("overdue", True)
    stood = finding_since_last(ruleset, "oil-change", engine, {"running_hours": 1, "days": 400})
    assert stood is not None
    assert (stood.standing, stood.governing) == ("overdue", "calendar")


@pytest.mark.outside("8.7")
@pytest.mark.parametrize(("weight", "used"), [(None, 10.0), (5, 60.0)])
def test_starts_count_nothing_unless_a_rule_says_so(tmp_path: Path, weight: int | None, used: float) -> None:
    """No value is published: ten starts in ten hours count 0 of themselves, and 50 h where a rule of the plant's own says five each."""
    rows = [meter("2026-01-01T00:00", 0, starts=0), meter("2026-01-02T00:00", 10, starts=10)]
    rules = [] if weight is None else [rule("starts", {"oil_temp_c": {"below": 200}}, each_start_counts_as_h=weight)]
    rows = [{**row, "oil_temp_c": 30} for row in rows]
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0, "at_start": {"starts": 0}}
    findings = check_site(tmp_path, "2026-01-01", [task(every={"running_hours": 500})], rows, engine=engine, rules={"adjustments": rules})
    assert leg_of(finding_for(findings)).used == used


@pytest.mark.outside("4.8")
@pytest.mark.parametrize("ruleset", ["gas-engine", "diesel-prime", "standby-diesel", "army-generator"])
def test_limits_of_the_coolant_are_told_with_its_check(ruleset: str) -> None:
    """TM 5-685 appendix D: pH 8.5 to 10, chloride and sulphate up to 100 ppm, solids up to 500 ppm."""
    coolant = shipped(ruleset).task("coolant")
    assert "pH 8.5 to 10, chloride and sulphate up to 100 ppm, solids up to 500 ppm" in (coolant.because or "")
    assert "TM 5-685 / NAVFAC MO-912 appendix D (read)" in (coolant.source or "")


@pytest.mark.outside("4.8")
@pytest.mark.parametrize(
    ("values", "verdict"),
    [({}, "credited"), ({"ph": 8.5}, "credited"), ({"ph": 8.4}, "partial"), ({"ph": 10.1}, "partial"), ({"chloride": 101}, "partial")],
)
def test_limits_of_the_coolant_are_judged_in_a_card(values: dict[str, float], verdict: str) -> None:
    """At a limit it passes, beyond it the job is credited in part: the procedure of gas-engine, run as its examples are."""
    from intervals.questions.examples.procedure_examples import run_procedure_examples

    ruleset = shipped("gas-engine")
    (procedure,) = (each for each in ruleset.procedures if each.id == "coolant-sample")
    example = procedure.examples[0]
    given = type(next(iter(example.evidence.values())))
    evidence = {**example.evidence, **{step: given.model_validate({"value": value}) for step, value in values.items()}}
    expect = example.expect.model_copy(update={"verdict": verdict, "steps": {}, "fired": None})
    changed = procedure.model_copy(update={"examples": (example.model_copy(update={"evidence": evidence, "expect": expect}),)})
    results = run_procedure_examples(ruleset.model_copy(update={"procedures": (changed,), "examples": ()}))
    assert [result.text for result in results] == [""]
