"""A site: what stands there, how its files read, and which rule set applies.

In: a folder with `site.yaml`. Out: `Site`, frozen. Refuses with all problems of the file at once (`SiteProblemError`,
codes SIT): what cannot be read, what is not known, what contradicts itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Annotated, ClassVar, Self
from zoneinfo import ZoneInfo

from pydantic import Field, ModelWrapValidatorHandler, PrivateAttr, ValidationError, model_validator

from intervals.addresses import is_address
from intervals.language.conditions import Condition
from intervals.language.fields import (
    ConditionField,
    Day,
    Id,
    Moment,
    Name,
    NameOrNames,
    OneOrMany,
    PositiveNumber,
    TaskOfSet,
    Text,
    TimeZone,
    WrittenModel,
)
from intervals.language.flaws import FlawsError, codes_of, in_file_order, problems_from_flaws
from intervals.language.validation import problems_from_validation
from intervals.language.yamlmarks import Marked, load_yaml
from intervals.problems import Problem, SiteProblemError
from intervals.quantities import QUANTITIES, Quantity
from intervals.site.checks import check_site
from intervals.site.components import Component
from intervals.site.engines import Engine, LayUp, MeterChange
from intervals.site.planned import PlannedTime
from intervals.site.sources import CsvFormat, EngineColumn, LabSource, QuantityColumn, ReadingSource, ServiceSource, TimestampColumn
from intervals.site.stop_terms import Blackout, Crew, PreferField, StopGroup

SITE_CODES: dict[str, str] = codes_of("SIT")
"""Every problem code of site files with its meaning."""
SITE_FILE = "site.yaml"

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


class Site(WrittenModel):
    """What stands at one place and how its files read."""

    key_hints: ClassVar[Mapping[str, str]] = {
        "name": "write site for the id and title for the name",
        "rules": "write ruleset",
        "tz": "write time_zone",
    }

    site: Id = Field(description="the site's id", examples=["brackwater"])
    title: Name = Field("", description="what people call it; default its id")
    time_zone: TimeZone = Field(description="IANA name; naive times in the files are local to it", examples=["Europe/Amsterdam"])
    ruleset: NameOrNames = Field(
        description="the name of a shipped rule set, or a path; or a list of them, each of which judges every engine",
        examples=["gas-engine", "./my-rules.yaml", ["standby-hospital", "us-area-source"]],
    )
    engines: Annotated[tuple[Engine, ...], Field(min_length=1)] = Field(description="the engines, in the order in which they are listed")
    readings: Annotated[tuple[ReadingSource, ...], OneOrMany(), Field(min_length=1)] = Field(
        description="how the operating log reads; one block or several"
    )
    # what is stated nowhere needs no checking, and the models no building for it
    services: ServiceSource = Field(ServiceSource.model_construct(), description="how the service records read")
    lab: LabSource = Field(LabSource.model_construct(), description="how the analyses of oil and other fluids read")
    holidays: tuple[Day, ...] = Field((), description="days other than Saturdays and Sundays that are not business days")
    components: tuple[Component, ...] = Field((), description="components that move between engines, each judged like an engine")
    records_from: Moment | None = Field(None, description="from here on the service records are complete; default each engine's in_service")
    running_when: ConditionField | None = Field(
        None, description="when an engine runs, where no hour meter is logged", examples=[{"load_kw": {"above": 5}}]
    )
    oil_density_kg_per_l: Annotated[PositiveNumber, Field(lt=2)] = Field(0.88, description="density of lube oil, kg/L")
    one_job: tuple[Annotated[tuple[TaskOfSet, ...], Field(min_length=2)], ...] = Field(
        (),
        description="tasks of several rule sets that are one job: doing one of a group does the others",
        examples=[[["standby-hospital.oil-change", "us-area-source.oil-change-emergency-ci"]]],
    )
    planned: dict[Id, Annotated[tuple[PlannedTime, ...], OneOrMany()]] = Field(
        {},
        description="lists of times that rules may wait for, such as departures; local where they have no offset",
        examples=[{"departure": ["2026-11-03T14:00", {"at": "2026-11-20T06:30", "engine": "A1"}]}],
    )
    groups: Annotated[tuple[StopGroup, ...], OneOrMany()] = Field(
        (), description="engines of which only so many may stand at once", examples=[[{"engines": ["G1", "G2"], "stopped_at_most": 1}]]
    )
    crew: Annotated[tuple[Crew, ...], OneOrMany()] = Field(
        (), description="who does the work, and the hours for it; one crew or several", examples=[{"hours_per_week": 40}]
    )
    blackouts: Annotated[tuple[Blackout, ...], OneOrMany()] = Field(
        (), description="days on which engines are not stopped", examples=[[{"from": "2026-12-21", "to": "2027-01-03", "reason": "heat"}]]
    )
    prefer: PreferField | None = Field(None, description="the days on which a stop costs least", examples=["weekend"])
    notes: Text | None = Field(None, description="anything else worth knowing")

    _folder: Path = PrivateAttr(default_factory=Path)
    _file: str = PrivateAttr("")
    _zone_info: ZoneInfo | None = PrivateAttr(None)

    @model_validator(mode="wrap")
    @classmethod
    def _check_whole(cls, data: object, handler: ModelWrapValidatorHandler[Self]) -> Self:
        """Check what concerns several entries, and let the title be the id."""
        if not isinstance(data, Mapping):
            return handler(data)
        made = handler(data if data.get("title") is not None else {**data, "title": data.get("site", "")})
        flaws = check_site(data)
        if flaws:
            raise FlawsError(flaws)
        return made

    @property
    def folder(self) -> Path:
        """The folder that the site's files lie in."""
        return self._folder

    def at(self, folder: Path) -> Site:
        """Return the same site with its folder as it is called elsewhere."""
        made = self.model_copy()
        made._folder = folder
        return made

    @property
    def names_addresses(self) -> bool:
        """Whether files of the log are named by address: what they hold is not known before they are read."""
        return any(is_address(pattern) for source in self.readings for pattern in source.files)

    @property
    def file(self) -> str:
        """Path of `site.yaml`, as it was given."""
        return self._file

    def marked(self) -> Marked:
        """Return the places of the site file, read again: they are asked for only where a problem is found once its rule sets are known."""
        return load_yaml(Path(self._file), code_prefix="SIT") if self._file else Marked({}, "", "SIT")

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def quantities(self) -> dict[str, Quantity]:
        """Every quantity that may be asked for here: the canonical ones, and those that the site declares."""
        known = dict(QUANTITIES)
        for source in self.readings:
            for name, column in source.quantities.items():
                if name not in known and column.kind is not None:
                    known[name] = Quantity(name, column.kind, column.unit or "", may_be_negative=True)
        return known

    @property
    def judged_units(self) -> tuple[Engine, ...]:
        """Everything that is judged: the engines, then the components, as they are listed."""
        return (*self.engines, *(component.as_engine() for component in self.components))

    def first_moment_of(self, place: int) -> date | datetime | None:
        """Return the first moment of one of `judged_units`: of a component its first day, or when it was first fitted here."""
        if place < len(self.engines):
            return self.engines[place].in_service
        component = self.components[place - len(self.engines)]
        return component.in_service or min((entry.from_ for entry in component.fitted), key=self.instant_us)

    def engine(self, engine_id: str) -> Engine:
        """Return the engine of that id; KeyError where there is none."""
        for engine in self.engines:
            if engine.id == engine_id:
                return engine
        raise KeyError(engine_id)

    def rulesets_of(self, engine: Engine) -> tuple[str, ...]:
        """Return names or paths of the rule sets that judge an engine, as they are listed: its own word, or the site's."""
        named = engine.ruleset or self.ruleset
        return (named,) if isinstance(named, str) else named

    @property
    def rulesets(self) -> tuple[str, ...]:
        """Names or paths of all rule sets that judge something here, each once."""
        return tuple(dict.fromkeys(name for unit in self.judged_units for name in self.rulesets_of(unit)))

    def records_from_of(self, engine: Engine) -> date | datetime | None:
        """Return from when on an engine's service records are complete: its own word, the site's, or its first day."""
        return engine.records_from or self.records_from or engine.in_service

    def planned_us(self, name: str, engine_id: str) -> list[int]:
        """Return the instants of a planned list that are for an engine, each once, in order of time; none where there is no such list."""
        return sorted({self.instant_us(entry.at) for entry in self.planned.get(name, ()) if entry.engine in (None, engine_id)})

    def running_when_of(self, engine: Engine) -> Condition | None:
        """Return when an engine runs, where no hour meter says so."""
        return engine.running_when or self.running_when

    def instant_us(self, value: date | datetime) -> int:
        """Return a local date or a time as an instant.

        Args:
            value: a date, which is its first local moment; a naive time, which is local (the first one where the clock is
                set back); or a time with offset.

        Returns:
            UTC microseconds since 1970.
        """
        if not isinstance(value, datetime):
            value = datetime(value.year, value.month, value.day, tzinfo=self.zone)
        elif value.tzinfo is None:
            value = value.replace(tzinfo=self.zone)
        return (value.astimezone(UTC) - _EPOCH) // _MICROSECOND

    def day_of(self, at_us: int) -> date:
        """Return the local day of an instant, given in UTC microseconds since 1970."""
        return self.moment_of(at_us).date()

    def moment_of(self, at_us: int) -> datetime:
        """Return the local time of an instant, given in UTC microseconds since 1970."""
        return (_EPOCH + timedelta(microseconds=at_us)).astimezone(self.zone)

    def noon_us(self, day: date) -> int:
        """Return twelve o'clock of a local day, UTC microseconds since 1970."""
        return self.instant_us(datetime(day.year, day.month, day.day, 12, tzinfo=self.zone))


def load_site(folder: Path) -> Site:
    """Return the site of a folder.

    Args:
        folder: the folder with `site.yaml`, or that file itself.

    Returns:
        The site, with its folder and file.

    Raises:
        SiteProblemError: everything that is wrong with the file, in its order.
    """
    path = folder if folder.suffix in (".yaml", ".yml") and not folder.is_dir() else folder / SITE_FILE
    _check_there(folder, path)
    marked = load_yaml(path, code_prefix="SIT")
    if "tasks" in marked.data and "engines" not in marked.data:
        raise SiteProblemError([marked.problem(9, (), "not a site file; got a rule set", f"name the folder with {SITE_FILE}")])
    try:
        made = Site.model_validate(marked.data)
    except ValidationError as error:
        problems = [*problems_from_validation(error, marked, Site), *problems_from_flaws(check_site(marked.data), marked)]
        raise SiteProblemError(in_file_order(problems)) from None
    made._folder = path.parent
    made._file = marked.file
    return made


def _check_there(folder: Path, path: Path) -> None:
    """Refuse a folder that is not there or holds no site file."""
    if path.is_file():
        return
    if path != folder and not folder.is_dir():
        what = "a file" if folder.exists() else "nothing there"
        raise SiteProblemError(
            [Problem("SIT001", str(folder), None, None, f"not a site's folder; got {what}", f"a site is a folder with {SITE_FILE}")]
        )
    other = path.with_suffix(".yml")
    fix = f"rename {other.name} to {SITE_FILE}" if other.is_file() else f"a site is a folder with {SITE_FILE}"
    raise SiteProblemError([Problem("SIT001", str(path), None, None, "there is no such file", fix)])


__all__ = [
    "SITE_CODES", "Component", "CsvFormat", "Engine", "EngineColumn", "LayUp", "MeterChange", "QuantityColumn", "ReadingSource",
    "ServiceSource", "Site", "TimestampColumn", "load_site",
]  # fmt: skip
