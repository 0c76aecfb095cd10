"""`intervals statement` of an engine that several rule sets judge: a chain for each, in which a job done for the other one counts."""

from __future__ import annotations

from pathlib import Path

import yaml

from tests.cli.conftest import Run
from tests.cli.test_statement_chains import OIL, OTHER, document, files, state, verified
from tests.site_maker import done, steady, write_site


def test_an_engine_under_two_rule_sets_is_stated_by_each(run: Run, tmp_path: Path) -> None:
    """The oil of 25 January is the other set's filter too, since both are one job: each chain holds its own task alone."""
    engine = {"id": "G1", "in_service": "2024-01-01", "meter_at_start_h": 0}
    write_site(
        tmp_path,
        [OIL],
        steady("2024-01-01", "2024-04-05", 10),
        engines=[engine],
        services=[done("oil", "2024-01-25T00:00")],
        ruleset=["./rules.yaml", "./federal.yaml"],
        one_job=[["written.oil", "federal.filter"]],
    )
    (tmp_path / "federal.yaml").write_text(yaml.safe_dump(OTHER, sort_keys=False), encoding="utf-8")
    state(run, tmp_path, "2024-01", "2024-02")
    assert files(tmp_path) == ["2024-01.json", "2024-02.json", "federal/2024-01.json", "federal/2024-02.json"]
    own, other = document(tmp_path, "2024-02.json")["findings"], document(tmp_path, "federal/2024-02.json")["findings"]
    # the meter shows 240 h on 25 January and 600 h on 1 March: 360 h since
    assert [(entry["task"], entry["legs"][0]["used"]) for each in (own, other) for entry in each["findings"]] == [
        ("oil", 360.0),
        ("filter", 360.0),
    ]
    assert other["totals"]["overdue"] + other["totals"]["upcoming"] + other["totals"]["in_interval"] == 1
    assert verified(run, tmp_path)[0] == 0
    assert verified(run, tmp_path, "--ruleset", str(tmp_path / "federal.yaml"))[0] == 0
