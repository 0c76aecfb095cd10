"""`intervals init` and `intervals schema`."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from intervals.language.yamlmarks import load_yaml
from intervals.site.model import load_site
from tests.cli.conftest import Run


def test_a_new_site_loads_as_it_stands(run: Run, tmp_path: Path) -> None:
    """What init writes is a site: named after its folder, one engine, and where its log goes."""
    result = run("init", tmp_path / "Zuider Gemaal (2)")
    assert result.exit_code == 0
    site = load_site(tmp_path / "Zuider Gemaal (2)")
    assert (site.site, site.title) == ("zuider-gemaal-2", "Zuider Gemaal (2)")
    assert [engine.id for engine in site.engines] == ["G1"]
    assert set(site.readings[0].quantities) == {"hour_meter_h", "load_kw"}
    assert f"intervals log '{tmp_path}/Zuider Gemaal (2)'" in result.stdout


@pytest.mark.parametrize("name", ["true", "1e3", "- a: b", "#1", "...", '"quoted"', "\u00c5rs", "a\tb"])
def test_any_folder_name_gives_a_site_that_loads(run: Run, tmp_path: Path, name: str) -> None:
    """A name that YAML would read as something else is quoted."""
    folder = tmp_path / name
    assert run("init", folder).exit_code == 0
    assert load_site(folder).title.split() == name.split()


@pytest.mark.parametrize(
    ("name", "site_id"), [("\u00dcn\u00ef", "uni"), ("Stra\u00dfe 3", "strasse-3"), ("\ufb01n", "fin"), ("\u5de5\u5834", "my-site")]
)
def test_letters_lose_their_accents_in_the_id(run: Run, tmp_path: Path, name: str, site_id: str) -> None:
    """By Unicode's compatibility decomposition; a name of which nothing is left gets a word of its own."""
    assert run("init", tmp_path / name).exit_code == 0
    site = load_site(tmp_path / name)
    assert (site.site, site.title) == (site_id, name)


@pytest.mark.parametrize(
    ("typed", "shown"), [("-x", "./-x"), ("-x y", "'./-x y'"), ("my site", "'my site'"), ("a'b", "'a'\"'\"'b'"), ("plain", "plain")]
)
def test_the_next_command_can_be_pasted(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: str, shown: str) -> None:
    """A name that begins with a dash would be taken for an option; what a shell would split or read as its own is quoted."""
    monkeypatch.chdir(tmp_path)
    made = run("init", "--", typed)
    assert (made.exit_code, made.stdout.splitlines()[-1]) == (0, f"  intervals log {shown}")
    assert f"Check it with: intervals log {shown}\n" in (tmp_path / typed / "site.yaml").read_text(encoding="utf-8")


def test_the_first_line_points_to_the_schema(run: Run, site: Path) -> None:
    """An editor finds the schema beside the file, and the file keeps it; it is what `schema site` prints."""
    first = (site / "site.yaml").read_text(encoding="utf-8").splitlines()[0]
    assert first == "# yaml-language-server: $schema=site.schema.json"
    schema = json.loads((site / "site.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(load_yaml(site / "site.yaml", code_prefix="SIT").data)
    assert schema == json.loads(run("schema", "site").stdout)


def test_the_records_have_their_header(site: Path) -> None:
    """services.csv holds the header of the agreed columns and no record."""
    assert (site / "services.csv").read_text(encoding="utf-8") == (
        "at,engine,task,hour_meter_h,outcome,done_by,note,ref,until_h,until_date,approved_by\n"
    )


def test_nothing_is_ever_overwritten(run: Run, site: Path) -> None:
    """Where one file is there, none is written, and every file that is in the way is named."""
    (site / "site.schema.json").unlink()
    (site / "services.csv").write_text("mine", encoding="utf-8")
    result = run("init", site)
    assert result.exit_code == 2
    assert (site / "services.csv").read_text(encoding="utf-8") == "mine"
    assert not (site / "site.schema.json").exists()
    assert result.stderr.count("CLI112") == 3


def test_a_rule_set_of_ones_own_is_named_from_the_folder(run: Run, tmp_path: Path) -> None:
    """A path is written so that the site finds it, wherever the command ran."""
    own = tmp_path / "my-rules.yaml"
    own.write_text("ruleset: mine\n", encoding="utf-8")
    assert run("init", tmp_path / "plant", "--ruleset", own).exit_code == 0
    assert load_site(tmp_path / "plant").ruleset == "../my-rules.yaml"


def test_a_rule_set_that_is_not_there_is_a_problem(run: Run, tmp_path: Path) -> None:
    """A name that no shipped rule set has is refused before anything is written."""
    result = run("init", tmp_path / "plant", "--ruleset", "gas-engin")
    assert result.exit_code == 2
    assert 'did you mean "gas-engine"' in result.stderr
    assert not (tmp_path / "plant").exists()


@pytest.mark.parametrize("kind", ["site", "ruleset", "findings", "explanation", "log", "duty", "what-if"])
def test_every_schema_is_a_schema(run: Run, tmp_path: Path, kind: str) -> None:
    """Each is a valid schema of draft 2020-12, the same on the screen and in a file."""
    shown = run("schema", kind)
    assert shown.exit_code == 0
    jsonschema.Draft202012Validator.check_schema(json.loads(shown.stdout))
    run("schema", kind, "--output", tmp_path / "schema.json")
    assert (tmp_path / "schema.json").read_text(encoding="utf-8") == shown.stdout


def test_shipped_rule_sets_keep_their_schema(run: Run) -> None:
    """Every rule set that comes with the program validates against the published schema."""
    from intervals.rules.ruleset import shipped_rulesets

    validator = jsonschema.Draft202012Validator(json.loads(run("schema", "ruleset").stdout))
    for path in shipped_rulesets().values():
        validator.validate(load_yaml(path, code_prefix="RUL").data)
