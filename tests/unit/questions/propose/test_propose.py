"""Intervals that a duty supports, written as a rule set that the loader takes and a check judges by."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from datetime import date
from pathlib import Path

import pytest

from intervals import assess, read_ruleset, read_site
from intervals.findings import Findings
from intervals.language.yamlmarks import load_yaml
from intervals.problems import RequestProblemError
from intervals.questions.propose.propose import propose_intervals
from intervals.questions.propose.propose_models import Proposal, Proposals
from intervals.reports.propose.proposal_page import proposal_text
from intervals.site.model import Site
from tests.site_maker import finding_for, leg_of, meter, rule, steady, task, write_site

ROOT = Path(__file__).parents[4]
AS_OF = date(2024, 1, 31)
OIL = task("oil", every={"running_hours": 2000})
PLUGS = task("plugs", every={"running_hours": 1000})
ENGINE = {"rated_kw": 1000, "in_service": "2024-01-01", "meter_at_start_h": 0, "at_start": {"starts": 0}}
HEAVY = rule("heavy", {"load_pct": {"above": 90}}, counts_as=1.5)
STARTS = rule("frequent", {"starts_per_100h": {"above": 20}}, interval_times=0.8, tasks=["oil"])


def site_of(
    folder: Path, *, adjustments: Sequence[dict[str, object]] = (HEAVY, STARTS), tasks: Sequence[dict[str, object]] = (OIL, PLUGS)
) -> Site:
    """Write a site: G1 ran 10 h a day, half of it above 90 % load, with 3 starts a day; G2 ran 10 h a day at 50 %, with one."""
    rows = []
    for day in range(31):
        rows.append(meter(f"2024-01-{day + 1:02d}T12:00", 10 * day + 5, load_kw=950, starts=3 * day + 2))
        at = f"2024-01-{day + 2:02d}T00:00" if day < 30 else "2024-02-01T00:00"
        rows.append(meter(at, 10 * day + 10, load_kw=800, starts=3 * day + 3))
    rows += steady("2024-01-01", "2024-02-01", 10, engine="G2", load_kw=500)
    for day, row in enumerate(row for row in rows if row["engine"] == "G2"):
        row["starts"] = day
    engines = [{"id": "G1", **deepcopy(ENGINE)}, {"id": "G2", **deepcopy(ENGINE)}]
    return write_site(folder, tasks, rows, engines=engines, rules={"adjustments": list(adjustments)})


def by_name(found: Proposals, engine: str, task_id: str) -> Proposal:
    """Return one proposal."""
    (proposal,) = (entry for entry in found.proposals if (entry.engine, entry.task) == (engine, task_id))
    return proposal


def written(site: Site, *, engines: Sequence[str] = (), tasks: Sequence[str] = ()) -> tuple[Proposals, Path]:
    """Propose, write the rule set beside the site, and return both."""
    found = propose_intervals(site, AS_OF, engines=engines, tasks=tasks)
    path = site.folder / "proposed.yaml"
    path.write_text(proposal_text(found, site.folder), encoding="utf-8")
    return found, path


def used_and_allowed(findings: Findings, task_id: str, engine: str) -> tuple[float | None, float | None]:
    """Return what a task has used of what."""
    leg = leg_of(finding_for(findings, task_id, engine))
    return leg.used, leg.allowed


def test_the_interval_is_what_the_adjustments_make_of_it(tmp_path: Path) -> None:
    """Half the hours count 1.5: 1.25; oil 2,000 x 0.8 / 1.25 = 1,280, plugs 1,000 / 1.25 = 800; G2's last as they are."""
    found = propose_intervals(site_of(tmp_path), AS_OF)
    oil, plugs = by_name(found, "G1", "oil"), by_name(found, "G1", "plugs")
    assert (oil.kind, oil.base_h, oil.supported_h, oil.proposed_h) == ("shorter", 2000.0, 1280.0, 1280.0)
    assert oil.sum == "2,000 h x 0.8 / 1.25 = 1,280 h"
    assert oil.folded == ("heavy", "frequent")
    assert "heavy: 155 h above 90 % load count 1.5 times" in oil.evidence
    assert (plugs.proposed_h, plugs.folded) == (800.0, ("heavy",))
    assert [by_name(found, "G2", name).kind for name in ("oil", "plugs")] == ["same", "same"]


def test_what_is_written_is_a_rule_set_that_judges_in_hours_on_the_clock(tmp_path: Path) -> None:
    """310 h on the clock of 1,280, where the rules of before count 387.5 of 1,600; the other engine is judged as before."""
    site = site_of(tmp_path)
    _, path = written(site)
    assert read_ruleset(path).ruleset == "written-quay"
    before = assess(site, AS_OF)
    assert used_and_allowed(before, "oil", "G1") == (387.5, 1600.0)
    after = assess(site, AS_OF, ruleset=str(path))
    assert used_and_allowed(after, "oil", "G1") == (310.0, 1280.0)
    assert used_and_allowed(after, "plugs", "G1") == (310.0, 800.0)
    assert [used_and_allowed(after, name, "G2") for name in ("oil", "plugs")] == [
        used_and_allowed(before, name, "G2") for name in ("oil", "plugs")
    ]


def test_rules_that_are_worked_in_stay_where_nothing_is_proposed(tmp_path: Path) -> None:
    """Only G1's oil is asked for: the heavy hours of its plugs and of G2 go on counting."""
    site = site_of(tmp_path)
    found, path = written(site, engines=["G1"], tasks=["oil"])
    assert [(entry.engine, entry.task) for entry in found.proposals] == [("G1", "oil")]
    kept = {entry.adjustment: (entry.tasks, entry.only_on) for entry in found.kept}
    assert kept == {"heavy": (("plugs",), ((("G2",), ("oil",)),)), "frequent": ((), ((("G2",), ("oil",)),))}
    after = assess(site, AS_OF, ruleset=str(path))
    assert used_and_allowed(after, "oil", "G1") == (310.0, 1280.0)
    assert used_and_allowed(after, "plugs", "G1") == (387.5, 1000.0)
    assert {entry.id for entry in read_ruleset(path).adjustments} == {"heavy", "heavy-elsewhere", "frequent-elsewhere", "oil-of-G1"}


def test_nothing_longer_is_proposed(tmp_path: Path) -> None:
    """Light hours that count half would make 2,000 h 4,000 on G2: held, and the rule set's own rules stay."""
    light = rule("light", {"load_pct": {"below": 60}}, counts_as=0.5, tasks=["oil"])
    site = site_of(tmp_path, adjustments=[light])
    found, path = written(site)
    oil = by_name(found, "G2", "oil")
    assert (oil.kind, oil.supported_h, oil.proposed_h, oil.folded) == ("held", 4000.0, None, ())
    assert used_and_allowed(assess(site, AS_OF, ruleset=str(path)), "oil", "G2") == (155.0, 2000.0)
    assert "G2 oil 4,000 h" in path.read_text(encoding="utf-8")


def test_oil_that_is_watched_may_last_longer(tmp_path: Path) -> None:
    """A task that goes by the oil's condition may be proposed longer: half-counting hours make 2,000 h 4,000 on G2."""
    watched = {**OIL, "in_place_of_time": {"by": "oil-analysis", "within": {"water_pct": {"at_most": 0.5}}}}
    light = rule("light", {"load_pct": {"below": 60}}, counts_as=0.5, tasks=["oil"])
    site = site_of(tmp_path, adjustments=[light], tasks=[watched])
    found, path = written(site)
    assert (by_name(found, "G2", "oil").kind, by_name(found, "G2", "oil").proposed_h) == ("longer", 4000.0)
    assert used_and_allowed(assess(site, AS_OF, ruleset=str(path)), "oil", "G2") == (310.0, 4000.0)


def test_the_sites_own_factor_is_not_worked_in_twice(tmp_path: Path) -> None:
    """severe_duty stays in site.yaml: 1,280 h is proposed as without it, and judged by the proposal half of that is allowed."""
    site_of(tmp_path)
    severe = "- id: G1\n  severe_duty: {tasks: [oil], interval_times: 0.5, because: dust}\n"
    text = (tmp_path / "site.yaml").read_text(encoding="utf-8").replace("- id: G1\n", severe)
    (tmp_path / "site.yaml").write_text(text, encoding="utf-8")
    found, path = written(read_site(tmp_path))
    assert (by_name(found, "G1", "oil").proposed_h, by_name(found, "G1", "oil").folded) == (1280.0, ("heavy", "frequent"))
    assert used_and_allowed(assess(read_site(tmp_path), AS_OF, ruleset=str(path)), "oil", "G1") == (310.0, 640.0)
    told = path.read_text(encoding="utf-8")
    assert told.count("#   severe_duty of G1 in site.yaml, x 0.5, is not included and applies in addition") == 1


def test_starts_are_named_only_where_they_are_worked_in(tmp_path: Path) -> None:
    """Oil has the rule on starts, the plugs have the one on load alone."""
    _, path = written(site_of(tmp_path))
    because = {entry["id"]: entry["because"] for entry in load_yaml(path, code_prefix="RUL").data["adjustments"] if "because" in entry}
    assert because["oil-of-G1"].startswith("What an hour counts and how often the engine started are included")
    assert because["plugs-of-G1"].startswith("What an hour counts is included")


def test_an_interval_is_written_in_tens_and_never_rounded_up(tmp_path: Path) -> None:
    """1,000 / 1.75 = 571.4 h is written as 570; below 100 h whole hours: 100 / 1.75 = 57.1 as 57."""
    heavier = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2.5)
    small = task("small", every={"running_hours": 100})
    found = propose_intervals(site_of(tmp_path, adjustments=[heavier], tasks=[PLUGS, small]), AS_OF)
    assert by_name(found, "G1", "plugs").proposed_h == 570.0
    assert by_name(found, "G1", "small").proposed_h == 57.0


def test_the_heaviest_stretch_is_told(tmp_path: Path) -> None:
    """5 h a day count 1.5 and 5 h once, 12.5 in all: 106.25 equivalent hours are 8.5 days, 85 h on the clock."""
    small = task("small", every={"running_hours": 106.25})
    found = propose_intervals(site_of(tmp_path, adjustments=[HEAVY], tasks=[small]), AS_OF)
    assert "in the heaviest stretch it would have lasted 85 h" in by_name(found, "G1", "small").evidence


def test_too_little_known_is_not_proposed(tmp_path: Path) -> None:
    """The load is not logged at all: the rule could not be judged on any hour."""
    site = write_site(tmp_path, [OIL], steady("2024-01-01", "2024-02-01", 10), engine=ENGINE, rules={"adjustments": [HEAVY]})
    found = propose_intervals(site, AS_OF)
    assert found.proposals[0].kind == "unknown"
    assert "too little is known: G1 oil" in proposal_text(found, tmp_path)


def test_engines_of_several_rule_sets_are_refused(tmp_path: Path) -> None:
    """A proposal is for one rule set; naming the engines of one is the way out."""
    site = site_of(tmp_path)
    text = (tmp_path / "site.yaml").read_text(encoding="utf-8").replace("- id: G2\n", "- id: G2\n  ruleset: diesel-prime\n")
    (tmp_path / "site.yaml").write_text(text, encoding="utf-8")
    site = read_site(tmp_path)
    with pytest.raises(RequestProblemError) as error:
        propose_intervals(site, AS_OF)
    assert [problem.code for problem in error.value.problems] == ["CLI132"]
    assert propose_intervals(site, AS_OF, engines=["G1"]).ruleset == "written"


@pytest.mark.parametrize("name", ["brackwater", "harbour-clinic", "skerry-island"])
def test_proposals_for_the_sample_sites_load_and_judge(tmp_path: Path, name: str) -> None:
    """What is written loads, keeps every task, and shortens no interval that is not proposed."""
    site = read_site(ROOT / "sample_logs" / name)
    found = propose_intervals(site, date(2026, 10, 31))
    path = tmp_path / "proposed.yaml"
    path.write_text(proposal_text(found, tmp_path), encoding="utf-8")
    assert load_yaml(path, code_prefix="RUL").data["based_on"] == site.ruleset
    before, after = assess(site, date(2026, 10, 31)), assess(site, date(2026, 10, 31), ruleset=str(path))
    proposed = {(entry.engine, entry.task): entry.proposed_h for entry in found.proposals if entry.proposed_h is not None}
    assert len(before.findings) == len(after.findings)
    for old, new in zip(before.findings, after.findings, strict=True):
        hours = {leg.leg: leg for leg in new.legs}.get("running_hours")
        if (old.engine, old.task) in proposed and hours is not None and hours.used is not None:
            assert (hours.allowed, hours.used) == (proposed[old.engine, old.task], hours.running_hours_h)
        elif (old.engine, old.task) not in proposed:
            assert new.legs == old.legs
