"""Stops of the year ahead under changed rules: counted by hand for two engines, and shown in every form."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from intervals.questions.plan import make_plan
from intervals.questions.what_if.what_if import compare_rules
from intervals.questions.what_if.what_if_models import StopsCompared, WhatIf
from intervals.reports.document import what_if_document
from intervals.reports.lines import plain_text
from intervals.reports.schemas import schema_of
from intervals.reports.what_if.what_if_page import what_if_page
from intervals.reports.what_if.what_if_table import what_if_lines
from intervals.rules.changes import RuleChanges
from intervals.site.model import Site
from tests.site_maker import done, steady, task, write_site

SUNDAY = date(2026, 3, 1)
LONGER = RuleChanges.typed(["tasks.oil.every.calendar=P140D"], ())


def site_of(folder: Path) -> Site:
    """Write two engines, oil every 10 weeks and plugs every 26: of G1 both done on 2026-02-15, of G2 the oil on 2026-01-04."""
    rows = [row for engine in ("G1", "G2") for row in steady("2026-01-01", "2026-03-01", 10, engine=engine)]
    engines = [{"id": name, "in_service": "2026-01-01", "meter_at_start_h": 0} for name in ("G1", "G2")]
    oil, plugs = (task(name, every={"calendar": days}, stops_engine=True) for name, days in (("oil", "P70D"), ("plugs", "P182D")))
    days = [("G1", "oil", "2026-02-15"), ("G1", "plugs", "2026-02-15"), ("G2", "oil", "2026-01-04"), ("G2", "plugs", "2026-02-15")]
    services = [{**done(name, day), "engine": engine} for engine, name, day in days]
    return write_site(folder, [oil, plugs], rows, services=services, engines=engines)


def asked(site: Site, **keys: Any) -> WhatIf:  # noqa: ANN401 - any key of `compare_rules`
    """Ask what if the oil lasted 20 weeks."""
    return compare_rules(site, SUNDAY, LONGER, stops=True, **keys)


def compared(found: WhatIf) -> StopsCompared:
    """Return the stops, which are there."""
    assert found.stops is not None
    return found.stops


def test_stops_are_those_that_a_hand_counts(tmp_path: Path) -> None:
    """Mondays are numbered from 2026-03-02, 0, to 2027-03-01, 52; a plan is by these.

    G1, oil of 10 weeks: due on Sunday 2026-04-26, so by Monday 7, then 17, 27, 37, 47: five. The plugs, due on Sunday 2026-08-16, by
    Monday 23, come along on 17 and 37. Of 20 weeks: by 17, then 37, and the plugs with it: two.
    G2, oil of 10 weeks: due on Sunday 2026-03-15, so by Monday 1, then 11, 21, 31, 41, 51: six, the plugs on 21 and 41. Of 20 weeks: due on
    Sunday 2026-05-24, by Monday 11, then 31 and 51 at the latest: not fewer than three; 9, 23 with the plugs and 43 are enough.
    """
    stops = compared(asked(site_of(tmp_path)))
    assert stops.until == "2027-03-01"
    assert [(each.engine, each.stops, each.visits, each.late) for each in stops.before.engines] == [("G1", 5, 0, 0), ("G2", 6, 0, 0)]
    assert [(each.engine, each.stops, each.visits, each.late) for each in stops.after.engines] == [("G1", 2, 0, 0), ("G2", 3, 0, 0)]
    assert [(side.stops, side.status, side.gap, side.without_day) for side in (stops.before, stops.after)] == [
        (11, "optimal", 0.0, 0),
        (5, "optimal", 0.0, 0),
    ]


def test_engines_may_be_named_and_another_rule_set_may_judge(tmp_path: Path) -> None:
    """Of G2 alone six become three; under a rule set of 20 weeks that takes the place of the site's it is the same."""
    site = site_of(tmp_path / "site")
    only = compared(asked(site, engines=("G2",)))
    assert [(each.engine, each.stops) for each in (*only.before.engines, *only.after.engines)] == [("G2", 6), ("G2", 3)]
    oil, plugs = (task(name, every={"calendar": days}, stops_engine=True) for name, days in (("oil", "P140D"), ("plugs", "P182D")))
    other = write_site(tmp_path / "other", [oil, plugs], steady("2026-01-01", "2026-03-01", 10)).folder / "rules.yaml"
    found = compared(compare_rules(site, SUNDAY, RuleChanges(), ruleset=str(other), stops=True))
    assert (found.before.stops, found.after.stops) == (11, 5)


def test_each_form_shows_both_sides(tmp_path: Path) -> None:
    """The table has a row for each engine and for all, the page a table, the document a key that keeps its schema."""
    found = asked(site_of(tmp_path))
    lines = plain_text(what_if_lines(found))
    assert [line.split() for line in lines.splitlines() if line.startswith(("G1  ", "G2  ", "all  "))][-3:] == [
        ["G1", "5", "->", "2", "0", "0"],
        ["G2", "6", "->", "3", "0", "0"],
        ["all", "11", "->", "5", "0", "0"],
    ]
    assert lines.count("optimal: proved") == 2
    page = what_if_page(found, title="Site", made_at="now", version="1")
    assert '<th scope="row">all</th><td class="n">11</td><td class="n"><b>5</b></td>' in page
    document = what_if_document(found)
    jsonschema.validate(document, schema_of("what-if"))
    assert json.loads(json.dumps(document))["stops"]["after"]["stops"] == 5


def test_nobody_waits_who_did_not_ask(tmp_path: Path) -> None:
    """Without being asked the document has no such key."""
    found = compare_rules(site_of(tmp_path), SUNDAY, LONGER)
    assert not {"stops", "stops_unknown"} & set(what_if_document(found))


def test_without_the_solver_the_rest_is_as_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One line says what to install, in each form; everything else is what it is without the stops."""
    site = site_of(tmp_path)
    plain = compare_rules(site, SUNDAY, LONGER)
    monkeypatch.setattr(make_plan, "find_spec", lambda _: None)
    found = asked(site)
    assert found.model_copy(update={"stops_unknown": None}) == plain
    document = what_if_document(found)
    jsonschema.validate(document, schema_of("what-if"))
    said = "pip install 'engine-intervals[plan]'"
    assert said in document["stops_unknown"]
    assert plain_text(what_if_lines(found)).count(said) == 1
    assert what_if_page(found, title="Site", made_at="now", version="1").count("engine-intervals[plan]") == 1
