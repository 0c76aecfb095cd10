"""Site files: what they mean once read, and what concerns several entries."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any, get_args

import jsonschema
import pytest
from pydantic import BaseModel, ValidationError

from intervals.language.conditions import Comparison
from intervals.language.yamlmarks import load_yaml
from intervals.local_days import LocalDays, to_us
from intervals.problems import SiteProblemError
from intervals.quantities import Quantity
from intervals.site.checks import moments_of
from intervals.site.model import SITE_CODES, EngineColumn, LayUp, MeterChange, Site, load_site

WHOLE = """\
site: brackwater
title: Brackwater Nursery, heat and power
time_zone: Europe/Amsterdam
ruleset: gas-engine
records_from: 2024-02-01
oil_density_kg_per_l: 0.87
running_when: {load_kw: {above: 5}}
engines:
  - id: G1
    title: North engine
    fuel: natural-gas
    duty: continuous
    rated_kw: 1200
    oil_volume_l: 480
    in_service: 2024-01-15
    records_from: 2024-01-20
    meter_at_start_h: 0
    at_start: {starts: 0, energy_kwh: 0}
    meter_changes:
      - {at: "2025-02-03T08:00", old_read_h: 8120.4, new_read_h: 0.0}
    meter_rolls_over_at_h: 100000
    laid_up: [{from: 2025-11-01, to: 2026-03-15}]
    out_of_service: 2027-01-01
    ruleset: other-name
    gap_h: 200
    running_when: {load_kw: {above: 9}}
    attributes: {extended_pan: true, cylinders: 12, maker_plate: 007a}
  - id: 2
readings:
  - files: ["readings/*.csv"]
    timestamp: {column: [Date, Time], covers: after, format: "%d.%m.%Y %H:%M", time_zone: UTC}
    engine: {column: Unit}
    gap_h: 48
    quantities:
      hour_meter_h: {column: Hours, unit: min}
      load_kw: {column: P, averaged_over: row}
      fuel_sulphur_pct: {column: S, unit: ppm, holds_for: P90D}
      vibration_mm_s: {column: V, unit: mm/s, kind: level}
    csv: {separator: tab, decimal: ",", encoding: cp1252, skip_rows: 2, comment: "#"}
    engine_names: {North: G1, "2": 2}
  - files: weekly.xlsx
    sheet: Log
    timestamp: {column: Read at}
    quantities:
      hour_meter_h: {column: "{engine} hours"}
      vibration_mm_s: {column: "{engine} V", unit: m/s}
services:
  file: book.csv
  columns: {at: Date, task: Job}
  task_names: {Oil: oil-change}
  timestamp_format: "%d.%m.%Y"
"""
SMALL: dict[str, Any] = {
    "site": "small",
    "time_zone": "UTC",
    "ruleset": "gas-engine",
    "engines": [{"id": "G1"}],
    "readings": {
        "files": "log.csv",
        "timestamp": {"column": "Time"},
        "engine": {"value": "G1"},
        "quantities": {"hour_meter_h": {"column": "Hours"}},
    },
}


@pytest.fixture
def whole(tmp_path: Path) -> Site:
    """A site that uses every key."""
    (tmp_path / "site.yaml").write_text(WHOLE, encoding="utf-8")
    return load_site(tmp_path)


def test_every_key_of_an_engine_is_read(whole: Site) -> None:
    """Each key arrives in its type, under its name."""
    engine = whole.engines[0]
    assert (engine.id, engine.title, engine.fuel, engine.duty, engine.rated_kw, engine.oil_volume_l) == (
        "G1", "North engine", "natural-gas", "continuous", 1200.0, 480.0,
    )  # fmt: skip
    assert (engine.in_service, engine.records_from, engine.out_of_service) == (date(2024, 1, 15), date(2024, 1, 20), date(2027, 1, 1))
    assert (engine.meter_at_start_h, engine.meter_rolls_over_at_h, engine.gap_h) == (0.0, 100000.0, 200.0)
    assert engine.at_start == {"starts": 0.0, "energy_kwh": 0.0}
    assert engine.meter_changes == (MeterChange(at=datetime(2025, 2, 3, 8, 0), old_read_h=8120.4, new_read_h=0.0),)  # noqa: DTZ001 - local
    assert engine.laid_up == (LayUp.model_validate({"from": "2025-11-01", "to": "2026-03-15"}),)
    assert (engine.laid_up[0].from_, engine.laid_up[0].to) == (date(2025, 11, 1), date(2026, 3, 15))
    assert engine.attributes == {"extended_pan": True, "cylinders": 12.0, "maker_plate": "007a"}


def test_every_key_of_a_block_is_read(whole: Site) -> None:
    """Each key arrives in its type, under its name; what is left out has its default."""
    first, second = whole.readings
    assert (first.files, first.gap_h) == (("readings/*.csv",), 48.0)
    assert (first.timestamp.column, first.timestamp.covers) == (("Date", "Time"), "after")
    assert (first.timestamp.format, first.timestamp.time_zone) == ("%d.%m.%Y %H:%M", "UTC")
    assert first.engine == EngineColumn(column="Unit")
    assert first.csv is not None
    assert (first.csv.separator, first.csv.decimal, first.csv.encoding, first.csv.skip_rows, first.csv.comment) == (
        "\t",
        ",",
        "cp1252",
        2,
        "#",
    )
    assert first.engine_names == {"North": "G1", "2": "2"}
    sulphur, load = first.quantities["fuel_sulphur_pct"], first.quantities["load_kw"]
    assert (sulphur.unit, sulphur.holds_for, load.averaged_over, load.holds_for) == ("ppm", 2160.0, "row", None)
    assert (second.files, second.sheet, second.engine, second.gap_h) == (("weekly.xlsx",), "Log", None, 36.0)
    assert (second.timestamp.column, second.timestamp.covers) == (("Read at",), "before")


def test_services_are_read_and_have_defaults(whole: Site) -> None:
    """Mapped columns and words; without the key, `services.csv` in its canonical layout."""
    assert whole.services.file == "book.csv"
    assert whole.services.columns == {"at": "Date", "task": "Job"}
    assert whole.services.task_names == {"Oil": "oil-change"}
    assert Site.model_validate(SMALL).services.file == "services.csv"


def test_a_site_knows_where_it_came_from(whole: Site, tmp_path: Path) -> None:
    """Folder and file, as they were given; the file itself may be named in place of the folder."""
    assert (whole.folder, whole.file) == (tmp_path, str(tmp_path / "site.yaml"))
    assert load_site(tmp_path / "site.yaml") == whole


def test_a_site_may_list_several_rule_sets() -> None:
    """A list judges every engine; one name, and a list of one, is that name."""
    several = Site.model_validate({**SMALL, "ruleset": ["gas-engine", "./law.yaml"]})
    assert several.ruleset == ("gas-engine", "./law.yaml")
    assert several.rulesets_of(several.engines[0]) == several.rulesets == ("gas-engine", "./law.yaml")
    alone = Site.model_validate({**SMALL, "ruleset": ["gas-engine"]})
    assert (alone.ruleset, alone.rulesets) == ("gas-engine", ("gas-engine",))


def test_engine_words_override_the_sites(whole: Site) -> None:
    """Rule set, first day of records and running condition: the engine's own, else the site's."""
    first, second = whole.engines
    assert (whole.rulesets_of(first), whole.rulesets_of(second)) == (("other-name",), ("gas-engine",))
    assert (whole.records_from_of(first), whole.records_from_of(second)) == (date(2024, 1, 20), date(2024, 2, 1))
    assert whole.running_when_of(first) == Comparison("load_kw", ">", 9.0)
    assert whole.running_when_of(second) == Comparison("load_kw", ">", 5.0)


def test_an_engine_states_facts(whole: Site) -> None:
    """Its id, what is stated of fuel, duty, power oil and its first day, and its attributes; nothing that is left out."""
    assert whole.engine("G1").facts() == {
        "engine": "G1", "fuel": "natural-gas", "duty": "continuous", "rated_kw": 1200.0, "oil_volume_l": 480.0, "in_service": "2024-01-15",
        "extended_pan": True, "cylinders": 12.0, "maker_plate": "007a",
    }  # fmt: skip
    assert whole.engine("2").facts() == {"engine": "2"}
    with pytest.raises(KeyError):
        whole.engine("G9")


def test_a_site_may_declare_quantities(whole: Site) -> None:
    """The first block that declares one gives its kind and unit."""
    assert whole.quantities["vibration_mm_s"] == Quantity("vibration_mm_s", "level", "mm/s", may_be_negative=True)
    assert whole.quantities["load_kw"].unit == "kW"


def test_title_defaults_to_the_id() -> None:
    """Nobody has to write a title."""
    assert Site.model_validate(SMALL).title == "small"
    assert Site.model_validate(SMALL | {"title": "Small"}).title == "Small"


@pytest.mark.parametrize(
    ("zone", "value", "utc"),
    [
        ("Europe/Amsterdam", date(2024, 1, 15), datetime(2024, 1, 14, 23, tzinfo=UTC)),
        ("Europe/Amsterdam", date(2024, 7, 15), datetime(2024, 7, 14, 22, tzinfo=UTC)),
        ("Europe/Amsterdam", datetime(2024, 7, 15, 12, 30), datetime(2024, 7, 15, 10, 30, tzinfo=UTC)),  # noqa: DTZ001 - local
        ("Europe/Amsterdam", datetime(2024, 10, 27, 2, 30), datetime(2024, 10, 27, 0, 30, tzinfo=UTC)),  # noqa: DTZ001 - the first of two
        ("Europe/Amsterdam", datetime(2024, 7, 15, 12, tzinfo=timezone(timedelta(hours=-3))), datetime(2024, 7, 15, 15, tzinfo=UTC)),
        ("America/Havana", date(2024, 3, 10), datetime(2024, 3, 10, 5, tzinfo=UTC)),  # midnight is skipped: the day begins at 01:00
        ("America/Havana", date(2024, 11, 3), datetime(2024, 11, 3, 4, tzinfo=UTC)),  # midnight comes twice: the first one
    ],
)
def test_instants_are_utc_microseconds(zone: str, value: date | datetime, utc: datetime) -> None:
    """A date is its first local moment, a naive time is local, an offset is kept (offsets of the IANA zones)."""
    site = Site.model_validate(SMALL | {"time_zone": zone})
    assert site.instant_us(value) == utc.timestamp() * 1_000_000


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    """What is not there, is a file, or has its file under another name, is said so."""
    (tmp_path / "site.yml").write_text("site: x\n", encoding="utf-8")
    (tmp_path / "readme.txt").write_text("x", encoding="utf-8")
    expected = {
        tmp_path / "nowhere": "not a site's folder; got nothing there",
        tmp_path / "readme.txt": "not a site's folder; got a file",
        tmp_path: "rename site.yml to site.yaml",
        tmp_path / "other.yaml": "there is no such file",
    }
    for folder, words in expected.items():
        with pytest.raises(SiteProblemError) as caught:
            load_site(folder)
        (problem,) = caught.value.problems
        assert problem.code == "SIT001"
        assert words in problem.render()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"readings": SMALL["readings"] | {"engine": {"from_file_name": "(a+)+b"}}}, "without repeated brackets"),
        ({"readings": SMALL["readings"] | {"engine": {"from_file_name": "(G"}}}, "not a regular expression"),
        ({"readings": SMALL["readings"] | {"engine": {"from_file_name": "(G)(1)"}}}, "which has 2"),
        ({"readings": SMALL["readings"] | {"files": []}}, "at least 1 item"),
        ({"readings": []}, "at least 1 item"),
        (
            {"readings": SMALL["readings"] | {"quantities": {"hour_meter_h": {"column": "{engine} h"}}}},
            "the engine is given twice: by {engine}",
        ),
        ({"engines": [{"id": "G1", "laid_up": [{"from": "2024-01-01"}]}]}, "Field required"),
        ({"engines": [{"id": "G1", "meter_changes": [{"at": "2024-01-01", "old_read_h": 1, "new_read_h": 0}] * 2}]}, "two meter changes"),
        ({"oil_density_kg_per_l": 880}, "less than 2"),
        ({"time_zone": "../../etc/passwd"}, "not an IANA time zone"),
        ({"engines": [{"id": "G1", "in_service": "0001-01-01"}]}, "not a date"),
        ({"engines": [{"id": "G1", "in_service": "2024-01-15T25:00"}]}, "a time that does not exist"),
        ({"engines": [{"id": "G1\n"}, {"id": "a\tb"}]}, "one line of text"),
    ],
)
def test_other_slips_are_refused(change: dict[str, Any], words: str) -> None:
    """What one value or two values make impossible, also for a site that is put together in code."""
    with pytest.raises(ValidationError, match="(?s)" + words.replace("{", "\\{").replace("(", "\\(")):
        Site.model_validate(SMALL | change)


def test_a_site_can_be_printed(whole: Site) -> None:
    """Dates are ISO 8601, conditions are words."""
    printed = whole.model_dump(mode="json", by_alias=True)
    assert printed["engines"][0]["laid_up"] == [{"from": "2025-11-01", "to": "2026-03-15"}]
    assert printed["engines"][0]["meter_changes"][0]["at"] == "2025-02-03T08:00:00"
    assert (printed["records_from"], printed["running_when"]) == ("2024-02-01", "load_kw above 5")


def test_nothing_can_be_changed_afterwards(whole: Site) -> None:
    """A site is frozen."""
    with pytest.raises(ValidationError):
        whole.title = "other"  # type: ignore[misc]


def test_schema_fits_what_is_read(whole: Site) -> None:
    """The JSON Schema for editors accepts the file, and refuses a slip in a key and a word."""
    schema = Site.model_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    checker = jsonschema.Draft202012Validator(schema)
    data = load_yaml(Path(whole.file), code_prefix="SIT").data
    assert not list(checker.iter_errors(data))
    assert list(checker.iter_errors(data | {"tile": "x"}))
    assert list(checker.iter_errors(data | {"running_when": {"load_kw": {"over": 5}}}))
    assert list(checker.iter_errors(data | {"records_from": "1.2.2024"}))


def test_every_field_is_described() -> None:
    """An editor shows what each key is for."""
    schema = Site.model_json_schema()
    for model in [schema, *schema["$defs"].values()]:
        assert [key for key, field in model["properties"].items() if "description" not in field] == [], model["title"]


def test_every_code_has_a_meaning() -> None:
    """The codes of site files, for the documentation; none of rule sets among them."""
    assert SITE_CODES["SIT014"] == "not an ISO 8601 duration"
    assert "SIT021" not in SITE_CODES
    assert list(SITE_CODES) == sorted(SITE_CODES)


def _times_in(model: type[BaseModel], above: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Yield the keys that lead to each field of a model, or of those below it, that may hold a time of day."""
    for name, field in model.model_fields.items():
        keys = (*above, field.alias or name)
        types = [field.annotation]
        while types:
            kind = types.pop()
            types += get_args(kind)
            if kind is datetime:
                yield keys
            elif isinstance(kind, type) and issubclass(kind, BaseModel):
                yield from _times_in(kind, keys)


def test_every_time_is_held_against_the_clock() -> None:
    """Whatever may be a local time in a site file is looked at: a new key of that kind must not be forgotten."""
    whole = {
        "records_from": 1,
        "engines": [{"meter_changes": [{}]}],
        "components": [{"fitted": [{}]}],
        "planned": {"departure": [{}]},
    }
    # the name of a planned list is the site's own
    asked = {tuple(part for part in place if isinstance(part, str) and part != "departure") for place, _ in moments_of(whole)}
    assert set(_times_in(Site)) <= asked


def test_a_midnight_that_is_skipped_is_the_first_moment_of_its_day() -> None:
    """In Brazil the clock went from 00:00 to 01:00 on 4 November 2018 (decree 9.242 of 2017), from 3 to 2 hours behind UTC."""
    site = Site.model_validate(SMALL | {"time_zone": "America/Sao_Paulo"})
    first = datetime(2018, 11, 4, 3, tzinfo=UTC)
    assert site.instant_us(date(2018, 11, 4)) == to_us(first)
    assert LocalDays(site.zone, to_us(first), to_us(first)).midnight_us(date(2018, 11, 4)) == to_us(first)
    assert site.day_of(to_us(first)) == date(2018, 11, 4)
    assert site.day_of(to_us(first) - 1) == date(2018, 11, 3)
