"""Random sites: one engine or two, every layout of log, and records aimed at the very edges of the rules."""

import csv
import random
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import yaml

from tests.second_judge.clock import HOUR, Clock, add, read_duration

Plain = dict[str, Any]
ZONES = ("Etc/UTC", "Europe/Amsterdam", "America/Halifax", "Asia/Kathmandu", "Australia/Lord_Howe", "Pacific/Auckland")
SPANS = ("P7D", "P14D", "P30D", "P1M", "P2M", "P1M15D", "P2W")
LAYOUTS = ("meter", "meter", "meter", "after", "wide", "energy", "signal", "list", "minutes", "whole_hours", "row_mean")
HEADER = ("at", "engine", "task", "hour_meter_h", "outcome", "done_by", "note", "ref", "until_h", "until_date", "approved_by")
MINUTE = HOUR // 60


@dataclass
class Life:
    """What one engine truly did: instants with its running hours by then, and what each step was like."""

    name: str
    born: int
    rated: int
    at: list[int] = field(default_factory=list)
    hours: list[Fraction] = field(default_factory=list)
    load: list[int] = field(default_factory=list)  # of the step before, per cent
    starts: list[int] = field(default_factory=list)
    fuel: list[Fraction] = field(default_factory=list)
    meter_start: Fraction = Fraction(0)
    change: tuple[int, Fraction, Fraction] | None = None
    rolls_at: int | None = None

    def moment(self, hours: Fraction) -> int | None:
        """Return the minute at which it had run so many hours."""
        for number in range(1, len(self.at)):
            if self.hours[number] >= hours > self.hours[number - 1]:
                a, b = self.at[number - 1], self.at[number]
                share = (hours - self.hours[number - 1]) / (self.hours[number] - self.hours[number - 1])
                return int((a + share * (b - a)) // MINUTE * MINUTE)
        return None

    def by(self, at: int) -> Fraction:
        """Return the hours run by an instant."""
        for number in range(1, len(self.at)):
            if self.at[number] >= at:
                a, b = self.at[number - 1], self.at[number]
                gone = max(Fraction(at - a, b - a), Fraction(0))
                return self.hours[number - 1] + (self.hours[number] - self.hours[number - 1]) * gone
        return self.hours[-1]

    def shown(self, at: int, ran: Fraction) -> Fraction:
        """Return what the hour meter shows."""
        value = self.meter_start + ran
        if self.change and at > self.change[0]:
            value = value - self.change[1] + self.change[2]
        if self.rolls_at and value >= self.rolls_at:
            value -= self.rolls_at
        return value


class Inventor:
    """Makes one site folder out of one seed."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.zone = self.pick(ZONES)
        self.clock = Clock(self.zone)
        self.layout = self.pick(LAYOUTS)
        self.first_day = date(2024, 1, 1) + timedelta(days=self.rng.randrange(700))
        self.step_h = self.pick((1, 2, 6, 12, 24, 24, 168))
        self.days = min(self.rng.randrange(40, 420), 260 * self.step_h // 24 + 14)
        self.records: list[dict[str, str]] = []
        self.lives: list[Life] = []
        self.engines: list[Plain] = []
        self.edges: list[int] = []  # instants that a task's edges lie on

    def pick(self, options: Any) -> Any:  # noqa: ANN401 - plain data of a YAML file
        """Return one of some options."""
        return options[self.rng.randrange(len(options))]

    def chance(self, share: float) -> bool:
        """Return true so often."""
        return self.rng.random() < share

    def make(self, folder: Path) -> tuple[date | datetime, str]:
        """Write the site; return a moment to judge it at, and a month."""
        for name in ("G1", "G2")[: 1 + self.chance(0.25)]:
            self._engine(name)
        rules = self._rules()
        self._records(rules)
        folder.mkdir(parents=True, exist_ok=True)
        readings = self._write_log(folder)
        told: Plain = {"site": "invented", "time_zone": self.zone, "ruleset": "./rules.yaml"}
        if self.chance(0.25):
            shift = self.pick((-10, 0, 0, 5, 20, 40))
            told["records_from"] = (self.first_day + timedelta(days=shift)).isoformat()
        if self.layout == "signal":
            told["running_when"] = self.pick(({"load_kw": {"above": 5}}, {"run": {"at_least": 1}}))
        told |= {"engines": self.engines, "readings": readings}
        (folder / "site.yaml").write_text(yaml.safe_dump(told, sort_keys=False), encoding="utf-8")
        (folder / "rules.yaml").write_text(yaml.safe_dump(rules, sort_keys=False), encoding="utf-8")
        with (folder / "services.csv").open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, HEADER, lineterminator="\n")
            writer.writeheader()
            writer.writerows({key: one.get(key, "") for key in HEADER} for one in self.records)
        return self._moment()

    def _moment(self) -> tuple[date | datetime, str]:
        end = self.lives[0].at[-1]
        if self.chance(0.35) and self.edges:
            at = self.pick(self.edges)
            day = self.clock.day(at) + timedelta(days=self.pick((-1, 0, 0, 1)))
            day = min(max(day, self.first_day + timedelta(days=2)), self.clock.day(end) + timedelta(days=2))
        else:
            day = self.clock.day(end) + timedelta(days=self.pick((0, 0, -1, 1, -9, -30, 3, 8, 40)))
            day = max(day, self.first_day + timedelta(days=3))
        month = (day.replace(day=1) - timedelta(days=self.pick((0, 1, 1)))).isoformat()[:7]
        if month < self.first_day.isoformat()[:7]:
            month = day.isoformat()[:7]
        if self.chance(0.25):
            return datetime.combine(day, time(self.rng.randrange(4, 23), self.pick((0, 30)))), month
        return day, month

    # --- engines and logs

    def _engine(self, name: str) -> None:  # noqa: PLR0915 - one case after the other
        rng = self.rng
        rated = self.pick((100, 250, 400))
        born = self.clock.midnight(self.first_day)
        life = Life(name, born, rated, [born], [Fraction(0)], [0], [0], [Fraction(0)])
        life.meter_start = Fraction(self.pick((0, 0, 1200, 99)))
        engine: Plain = {"id": name, "fuel": self.pick(("diesel", "biogas")), "rated_kw": rated, "in_service": self.first_day.isoformat()}
        engine["meter_at_start_h"] = int(life.meter_start)
        engine["attributes"] = {"tank": self.chance(0.5), "cylinders": self.pick((6, 8, 12))}
        if self.chance(0.9):
            engine["at_start"] = {"starts": 0, "energy_kwh": 0}
        lay_up = None
        if self.chance(0.15) and self.days > 60:
            begin = self.first_day + timedelta(days=rng.randrange(10, self.days - 30))
            end = begin + timedelta(days=rng.randrange(5, 60))
            engine["laid_up"] = [{"from": begin.isoformat(), "to": end.isoformat()}]
            lay_up = (self.clock.midnight(begin), self.clock.midnight(end))
            self.edges += lay_up
        step = self.step_h * HOUR
        pattern = self.pick(("always", "mostly", "seldom", "blocks"))
        at, ran, starts, _fuel, running = born, Fraction(0), 0, Fraction(0), False
        stop = born + self.days * 24 * HOUR
        while at < stop:
            at += step
            idle = lay_up is not None and lay_up[0] - step < at - step < lay_up[1]
            share = {"always": 1, "mostly": 0.8, "seldom": 0.2, "blocks": (at // (9 * 24 * HOUR)) % 2}[pattern]
            runs = not idle and self.chance(share)
            if self.layout == "whole_hours":
                part = Fraction(rng.randrange(1, self.step_h + 1))
            elif self.layout == "signal":
                part = Fraction(self.step_h)
            else:
                part = Fraction(self.step_h) if self.chance(0.6) else Fraction(rng.randrange(1, self.step_h * 10 + 1), 10)
            ran += part if runs else 0
            starts += (not running) * runs + (rng.randrange(3) if runs and self.step_h > 6 else 0)
            load = self.pick((20, 30, 50, 60, 75, 80, 80, 90, 90, 95, 100, 110, 130)) if runs else 0
            life.at.append(at)
            life.hours.append(ran)
            life.load.append(load)
            life.starts.append(starts)
            life.fuel.append(Fraction(rng.randrange(10, 400)) if runs else Fraction(0))
            running = runs
        if self.chance(0.2) and self.layout not in ("signal", "weekly"):
            number = rng.randrange(len(life.at) // 3, len(life.at) - 1)
            at = life.at[number] + self.pick((0, 0, step // 2))
            old = life.meter_start + life.by(at)
            old = Fraction(round(old * 10), 10)
            new = Fraction(self.pick((0, 0, 50)))
            life.change = (at, old, new)
            engine["meter_changes"] = [{"at": self._text(at).replace(" ", "T"), "old_read_h": float(old), "new_read_h": float(new)}]
        elif self.chance(0.1) and self.layout not in ("signal", "weekly"):
            life.rolls_at = int(life.meter_start + ran * Fraction(2, 3)) + 1
            engine["meter_rolls_over_at_h"] = life.rolls_at
        if self.chance(0.06) or self.layout == "signal":
            del engine["meter_at_start_h"]
        if self.chance(0.1):
            engine["severe_duty"] = {"tasks": "all", "interval_times": self.pick((0.8, 0.5)), "because": "dust"}
        self.lives.append(life)
        self.engines.append(engine)

    def _text(self, at: int) -> str:
        return f"{self.clock.local(at):%Y-%m-%d %H:%M}"

    def _write_log(self, folder: Path) -> list[Plain]:
        maker = {"wide": self._wide, "weekly": self._weekly, "list": self._list}.get(self.layout, self._narrow)
        (folder / "readings").mkdir(exist_ok=True)
        return maker(folder)

    def _rows(self, life: Life) -> list[int]:
        """Return which of an engine's steps have a row: some logs have gaps."""
        keep = list(range(len(life.at)))
        if self.chance(0.2) and len(keep) > 12 and self.layout != "signal":
            start = self.rng.randrange(2, len(keep) - 6)
            length = self.rng.randrange(1, max(2, min(len(keep) - start - 2, 5 * 24 // self.step_h + 3)))
            keep = keep[:start] + keep[start + length :]
        return keep if self.chance(0.5) else keep[1:]

    def _stamp(self, at: int) -> str:
        return f"{datetime.fromtimestamp(at // 1_000_000, UTC):%Y-%m-%d %H:%M}"

    def _block(self, pattern: str, quantities: Plain, **more: Any) -> Plain:  # noqa: ANN401 - plain data of a YAML file
        gap = self.pick((36, 48)) if self.step_h <= 24 else 200
        return {
            "files": [pattern],
            "timestamp": {"column": "Time", "time_zone": "UTC"} | more.pop("timestamp", {}),
            "gap_h": gap,
            "quantities": quantities,
        } | more

    def _narrow(self, folder: Path) -> list[Plain]:
        unit = "min" if self.layout == "minutes" else "h"
        after = self.layout == "after"
        quantities: Plain = {
            "hour_meter_h": {"column": "Hours", "unit": unit},
            "starts": {"column": "Starts", "unit": "count"},
            "fuel_l": {"column": "Fuel", "unit": "L"},
        }
        if self.layout == "energy":
            quantities["energy_kwh"] = {"column": "Energy", "unit": "kWh"}
        else:
            quantities["load_kw"] = {"column": "Power", "unit": "kW"} | ({"averaged_over": "row"} if self.layout == "row_mean" else {})
        if self.layout == "signal":
            del quantities["hour_meter_h"]
            quantities["run"] = {"column": "Run", "kind": "level"}
        sulphur = self.chance(0.5)
        if sulphur:
            quantities["fuel_sulphur_pct"] = {"column": "S", "unit": "percent"}
        blank = self.pick((0.0, 0.0, 0.05)) if self.layout != "signal" else 0.0
        lines = []
        for life in self.lives:
            energy = Fraction(0)
            rows = self._rows(life)
            for number, ran in enumerate(life.hours):
                step_ran = ran - life.hours[number - 1] if number else Fraction(0)
                energy += step_ran * life.load[number] * life.rated / 100
                if number not in rows:
                    continue
                shown = life.shown(life.at[number], ran)
                told = number + 1 if after else number
                load = Fraction(life.load[told] * life.rated, 100) if told < len(life.load) else Fraction(0)
                if self.layout == "row_mean":
                    load = load * step_ran / self.step_h
                cells = {
                    "Time": self._stamp(life.at[number]),
                    "Unit": life.name,
                    "Hours": _figure(shown * 60 if unit == "min" else shown),
                    "Starts": str(life.starts[number]),
                    "Fuel": _figure(life.fuel[number]) if number + 1 < len(life.hours) else "0",
                    "Energy": _figure(energy),
                    "Power": _figure(load),
                    "Run": str(int(life.load[number] > 0)),
                    "S": self.pick(("0.1", "0.5", "0.5", "0.8", "1.0", "1.5")),
                }
                if self.chance(blank):
                    cells[self.pick(("Power", "S", "Run"))] = ""
                if self.chance(blank):
                    cells["Hours"] = ""
                lines.append(cells)
        lines.sort(key=lambda cells: cells["Time"])
        return [
            self._write(
                folder, "readings/log.csv", lines, quantities, engine={"column": "Unit"}, timestamp={"covers": "after"} if after else {}
            )
        ]

    def _write(self, folder: Path, name: str, lines: list[dict[str, str]], quantities: Plain, **more: Any) -> Plain:  # noqa: ANN401 - plain data of a YAML file
        comma = self.chance(0.3)
        columns = ["Time", *(["Unit"] if "engine" in more else []), *(one["column"] for one in quantities.values())]
        if "engine" not in more:
            columns = list(lines[0])
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        with path.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, columns, delimiter=";" if comma else ",", lineterminator="\n", extrasaction="ignore")
            writer.writeheader()
            for cells in lines:
                writer.writerow(
                    {key: value.replace(".", ",") if comma and key not in ("Time", "Unit") else value for key, value in cells.items()}
                )
        if comma:
            more["csv"] = {"separator": ";", "decimal": ","}
        return self._block(name, quantities, **more)

    def _wide(self, folder: Path) -> list[Plain]:
        quantities = {"hour_meter_h": {"column": "{engine} Hours", "unit": "h"}, "load_kw": {"column": "{engine} Power", "unit": "kW"}}
        lines = []
        for number, at in enumerate(self.lives[0].at):
            cells = {"Time": self._stamp(at)}
            for life in self.lives:
                cells[f"{life.name} Hours"] = _figure(life.shown(life.at[number], life.hours[number]))
                cells[f"{life.name} Power"] = _figure(Fraction(life.load[number] * life.rated, 100))
            lines.append(cells)
        return [self._write(folder, "readings/log.csv", lines, quantities)]

    def _weekly(self, folder: Path) -> list[Plain]:
        """A meter read once a week, beside a logger that writes while the engine runs."""
        runs, meter = [], []
        for life in self.lives:
            for number in range(1, len(life.at)):
                ran = life.hours[number] - life.hours[number - 1]
                if ran:
                    begin, load = life.at[number - 1], Fraction(life.load[number] * life.rated, 100)
                    end = begin + int(ran * HOUR)
                    runs.append({"Time": self._stamp(begin), "Unit": life.name, "Power": "0"})
                    runs.append({"Time": self._stamp(end), "Unit": life.name, "Power": _figure(load)})
                if number % max(1, 168 // self.step_h) == 0 or number == len(life.at) - 1:
                    meter.append(
                        {
                            "Time": self._stamp(life.at[number]),
                            "Unit": life.name,
                            "Hours": _figure(life.shown(life.at[number], life.hours[number])),
                        }
                    )
        seen: dict[tuple[str, str], dict[str, str]] = {}
        for cells in sorted(runs, key=lambda one: one["Time"]):
            key = (cells["Time"], cells["Unit"])
            if key not in seen or seen[key]["Power"] == "0":
                seen[key] = cells
        first = self._write(
            folder,
            "meter/log.csv",
            sorted(meter, key=lambda one: one["Time"]),
            {"hour_meter_h": {"column": "Hours", "unit": "h"}},
            engine={"column": "Unit"},
        )
        second = self._write(
            folder, "readings/log.csv", list(seen.values()), {"load_kw": {"column": "Power", "unit": "kW"}}, engine={"column": "Unit"}
        )
        return [first | {"gap_h": 400}, second | {"gap_h": 400}]

    def _list(self, folder: Path) -> list[Plain]:
        """A log of hours and power, and a list of fuels with their sulphur."""
        blocks = self._narrow(folder)
        blocks[0]["quantities"].pop("fuel_sulphur_pct", None)
        lines = []
        for life in self.lives:
            for at in sorted(self.rng.sample(life.at[:-1], min(6, len(life.at) - 1))):
                lines.append({"Time": self._stamp(at), "Unit": life.name, "Sulphur": self.pick(("0.1", "0.5", "0.8", "1.2"))})  # noqa: PERF401 - random numbers in order
        lines.sort(key=lambda one: one["Time"])
        told = {"column": "Sulphur", "unit": "percent", "holds_for": self.pick(("P10D", "P30D", "P90D"))}
        blocks.append(
            self._write(
                folder, "fuel/list.csv", lines, {"fuel_sulphur_pct": told}, engine={"column": "Unit"}, timestamp={"covers": "after"}
            )
        )
        return blocks

    # --- rules

    def _rules(self) -> Plain:
        count = self.rng.randrange(1, 5)
        names = [f"t{number}" for number in range(count)]
        tasks = [self._task(name, names) for name in names]
        rules: Plain = {
            "ruleset": "invented",
            "title": "Invented",
            "version": "1",
            "source": "invented",
            "attributes": {"tank": "a tank is fitted", "cylinders": "how many"},
            "conditions": {"heavy": {"load_pct": {"at_least": 90}}},
            "tasks": tasks,
            "adjustments": self._adjustments(names, tasks),
        }
        if self.chance(0.4):
            rules["limits"] = {
                key: value
                for key, value in (
                    ("counts_as_at_most", 2),
                    ("counts_as_at_least", 1),
                    ("interval_times_at_least", 0.5),
                    ("interval_times_at_most", 1.2),
                )
                if self.chance(0.5)
            }
        if self.chance(0.35):
            rules["budgets"] = [self._budget()]
        return rules

    def _hours(self) -> float:
        total = self.lives[0].hours[-1]
        return float(max(1, round(total * self.rng.randrange(5, 120) / 200)))

    def _task(self, name: str, names: list[str]) -> Plain:  # noqa: C901, PLR0912, PLR0915 - one case after the other
        task: Plain = {"id": name, "title": name.upper(), "because": "invented"}
        kind = self.pick(("hours", "hours", "calendar", "calendar", "both", "both", "elapsed", "starts", "fuel"))
        kind = kind if self.layout not in ("wide", "weekly") or kind not in ("starts", "fuel") else "hours"
        every: Plain = {}
        if kind in ("hours", "both"):
            every["running_hours"] = self._hours()
        if kind in ("calendar", "both"):
            every["calendar"] = self.pick(SPANS)
        if kind == "elapsed":
            every["elapsed_hours"] = self.pick((100, 240, 500.5))
        if kind == "starts":
            every["starts"] = self.pick((10, 25, 40))
        if kind == "fuel":
            every["fuel_l"] = self.pick((2000, 5000, 9000))
        if kind == "both" and self.chance(0.5):
            every = dict(reversed(every.items()))
        task["every"] = every
        if self.chance(0.1):
            later = dict(every)
            key = next(iter(later))
            later[key] = "P21D" if key == "calendar" else later[key] * 1.5
            middle = self.first_day + timedelta(days=self.days // 2)
            task["every"] = [{**every, "source": "old"}, {"in_force_from": middle.isoformat(), **later, "source": "new"}]
            self.edges.append(self.clock.midnight(middle))
        if kind == "both" and self.chance(0.25) and all("meter_at_start_h" in one for one in self.engines):
            task["whichever"] = "last"
        if self.chance(0.3):
            task["lead"] = {
                key: ("P3D" if key == "calendar" else round(float(value) * self.pick((0.05, 0.3, 0.7)), 2))
                for key, value in every.items()
                if self.chance(0.8)
            }
            if not task["lead"]:
                del task["lead"]
        self._tolerances(task, every, kind)
        if self.chance(0.25) and "window" not in task:
            task["first"] = self._first(every)
        if self.chance(0.4):
            task["restarts_from"] = self.pick(("due", "due_if_on_time", "due_if_late", "due_unless_early"))
            if "window" in task and task["restarts_from"] == "due_if_late":
                task["restarts_from"] = "due"
            if (
                task["restarts_from"] == "due_unless_early"
                and "window" in task
                and "calendar_month" not in task["window"]
                and self.chance(0.5)
            ):
                task["early_restarts_after"] = task["window"]["before"]
        if self.chance(0.5):
            task["stops_engine"] = True
        if self.chance(0.2):
            task["early_pct"] = self.pick((0, 5, 20, 50))
        if self.chance(0.2):
            task["visit_days"] = self.pick((0, 1, 5))
        later_names = names[names.index(name) + 1 :]
        if later_names and self.chance(0.2):
            task["renews"] = [self.pick(later_names)]
        if self.chance(0.15):
            task["makes_new"] = "all"
        if self.chance(0.1):
            task["in_lay_up"] = "counts"
        if self.chance(0.1) and name != "t0":
            task["applies_to"] = self.pick(
                (
                    {"fuel": "diesel"},
                    {"tank": True},
                    {"cylinders": {"at_least": 8}},
                    {"in_service": {"from": self.first_day.isoformat()}},
                    {"in_service": {"after": self.first_day.isoformat()}},
                )
            )
        return task

    def _first(self, every: Plain) -> Any:  # noqa: ANN401 - plain data of a YAML file
        def entry() -> Plain:
            return {
                key: ("P5D" if key == "calendar" else round(float(value) * self.pick((0.25, 0.5, 1.2)), 2)) for key, value in every.items()
            }

        return entry() if self.chance(0.6) else [entry(), entry()]

    def _tolerances(self, task: Plain, every: Plain, kind: str) -> None:
        if kind == "calendar" and self.chance(0.4) and every["calendar"] != "P7D":
            task["window"] = (
                {"calendar_month": True}
                if self.chance(0.35) and every["calendar"] in ("P1M", "P2M")
                else {"before": self.pick(("P3D", "P1W")), "after": self.pick(("P2D", "P5D"))}
            )
            if self.chance(0.25):
                task["tolerance_pct"] = 10
        elif self.chance(0.4):
            task["tolerance_pct"] = self.pick((5, 10, 20, 25))
        elif self.chance(0.25):
            bounds: Plain = {"pct": self.pick((10, 20))} if self.chance(0.6) else {}
            for key, value in every.items():
                if self.chance(0.7) and key in ("calendar", "running_hours"):
                    bounds[key] = self.pick(("P2D", "P5D")) if key == "calendar" else round(value * 0.15, 1)
            if bounds:
                task["tolerance"] = bounds | ({"rounding": self.pick(("inward", "outward", "nearest"))} if self.chance(0.4) else {})

    def _adjustments(self, names: list[str], tasks: list[Plain]) -> list[Plain]:
        found = []
        for number in range(self.pick((0, 0, 1, 2, 3))):
            one: Plain = {"id": f"a{number}", "tasks": "all" if self.chance(0.4) else [self.pick(names)]}
            if self.chance(0.5):
                one["when"] = self.pick(
                    (
                        {"load_pct": {"above": 80}},
                        {"load_pct": {"at_least": 80, "at_most": 90}},
                        {"condition": "heavy"},
                        {"load_pct": {"below": 30}},
                        {"fuel_sulphur_pct": {"above": 0.5}},
                        {"fuel_sulphur_pct": {"at_least": 0.5, "at_most": 1.0}},
                        {"load_pct": {"above": 110}},
                        {"any_of": [{"load_pct": {"above": 90}}, {"fuel_sulphur_pct": {"above": 1.0}}]},
                        {"month": [1, 4, 7, 10]},
                        {"tank": True, "load_pct": {"above": 50}},
                    )
                )
                effect = self.pick(("counts_as", "counts_as", "counts_as", "each_start", "unknown"))
                if effect == "counts_as":
                    one["counts_as"] = self.pick((0.5, 1.25, 1.5, 2, 3))
                elif effect == "each_start" and self.layout not in ("wide", "weekly"):
                    one["each_start_counts_as_h"] = self.pick((1, 2.5))
                elif effect == "unknown" and "load_pct" in one["when"]:
                    one["unknown"] = True
                else:
                    one["counts_as"] = 2
            else:
                one["when"] = self.pick(
                    (
                        {"tank": True},
                        {"cylinders": {"above": 6}},
                        {"fuel": ["biogas"]},
                        {"mean_load_pct": {"above": 75}},
                        {"starts_per_100h": {"above": 5}},
                        {"hours_share_pct": {"heavy": {"at_least": 40}}},
                        {"days_since": {"above": 20}},
                        {"running_hours_per_day": {"at_least": 12}},
                        {"month": [1, 2, 3, 4, 5, 6]},
                    )
                )
                if self.chance(0.6):
                    one["interval_times"] = self.pick((0.5, 0.8, 0.75, 1.5))
                else:
                    one["interval_becomes"] = {"running_hours": self._hours()} if self.chance(0.7) else {"calendar": self.pick(SPANS)}
                    leg = next(iter(one["interval_becomes"]))
                    having = [
                        task["id"]
                        for task in tasks
                        if not ("window" in task and leg == "calendar")
                        and leg in (task["every"] if isinstance(task["every"], dict) else task["every"][0])
                    ]
                    one["tasks"] = [self.pick(having)] if having else one["tasks"]
                    if not having:
                        del one["interval_becomes"]
                        one["interval_times"] = 0.5
            if self.chance(0.15):
                one["when_unknown"] = "holds"
            found.append(one | {"because": "invented"})
        return found

    def _budget(self) -> Plain:
        budget: Plain = {"id": "b0", "title": "Budget", "of": "running_hours", "because": "invented"}
        budget["per"] = self.pick(("calendar_month", "calendar_year", {"calendar_months": 3}, {"mean_of_calendar_years": 2}))
        if self.chance(0.4):
            budget["when"] = self.pick(({"load_pct": {"above": 80}}, {"load_pct": {"at_most": 60}}))
        if self.chance(0.3):
            budget["lead_pct"] = 30
        if self.chance(0.3):
            budget["when_unknown"] = "holds" if "when" in budget else "fails"
        budget["at_most"] = self._hours() if self.chance(0.95) else 0
        return budget

    # --- service records

    def _records(self, rules: Plain) -> None:
        for life in self.lives:
            for task in rules["tasks"]:
                self._records_of(life, task)
        self.records.sort(key=lambda one: one["at"])

    def _records_of(self, life: Life, task: Plain) -> None:
        every = task["every"] if isinstance(task["every"], dict) else task["every"][0]
        at = life.born
        for _ in range(self.rng.randrange(0, 6)):
            at = self._next_moment(life, at, every, task)
            if not life.born < at < life.at[-1] + 2 * 24 * HOUR:
                return
            if self._is_odd_hour(at):
                continue
            self.edges.append(at)
            record = {
                "at": self._text(at),
                "engine": life.name,
                "task": task["id"],
                "outcome": self.pick(("done", "done", "done", "done", "done", "partial", "void_it")),
            }
            if self.chance(0.15):
                record["at"] = record["at"][:10]
                if self.chance(0.5):
                    noon = at + self.pick((-3, 0, 2)) * HOUR
                    record["hour_meter_h"] = _figure(Fraction(round(life.shown(noon, life.by(noon)) * 10), 10))
                    if self.layout == "signal" or life.rolls_at:
                        record["hour_meter_h"] = ""
            if record["outcome"] == "void_it":
                record["outcome"], record["ref"] = "done", f"R{len(self.records)}"
                when = at + self.pick((1, 30, 24 * 40)) * HOUR
                if not self._is_odd_hour(when):
                    self.records.append(
                        {"at": self._text(when), "engine": life.name, "task": task["id"], "outcome": "void", "ref": record["ref"]}
                    )
            self.records.append(record)
            if self.chance(0.2):
                self._defer(life, task, at, every)

    def _defer(self, life: Life, task: Plain, at: int, every: Plain) -> None:
        when = at + self.rng.randrange(1, 40) * 24 * HOUR + self.pick((0, 10)) * HOUR
        if self._is_odd_hour(when) or when > life.at[-1]:
            return
        record = {
            "at": self._text(when),
            "engine": life.name,
            "task": task["id"],
            "outcome": "deferred",
            "approved_by": self.pick(("chief", "chief", "chief", "")),
        }
        if self.chance(0.6):
            record["until_date"] = (self.clock.day(when) + timedelta(days=self.rng.randrange(0, 40))).isoformat()
        if (self.chance(0.4) or "until_date" not in record) and self.layout != "signal" and life.rolls_at is None:
            ran = life.by(when) + self.rng.randrange(5, 200)
            value = life.meter_start + ran
            if life.change and when > life.change[0]:
                value += life.change[2] - life.change[1]
            record["until_h"] = _figure(Fraction(round(value * 10), 10))
        if "until_date" in record or "until_h" in record:
            self.records.append(record)

    def _next_moment(self, life: Life, at: int, every: Plain, task: Plain) -> int:
        """Return a moment near an edge of the next occurrence."""
        if "running_hours" in every and (self.chance(0.6) or "calendar" not in every):
            share = self.pick(
                (
                    Fraction(1, 2),
                    Fraction(9, 10),
                    Fraction(1),
                    Fraction(1),
                    Fraction(11, 10),
                    Fraction(2),
                    Fraction(5, 2),
                    Fraction(3),
                    Fraction(4, 5),
                )
            )
            moment = life.moment(life.by(at) + Fraction(str(every["running_hours"])) * share)
            if moment is None:
                return -1
            shift: int = self.pick((0, 0, 0, MINUTE, -MINUTE, 24 * HOUR))
            return moment + shift
        if "calendar" in every:
            day = self.clock.day(at)
            due = add(day, read_duration(every["calendar"]), self.pick((1, 1, 1, 2, 3)))
            shift = self.pick((0, 0, 1, 1, 2, 3, 4, 5, 6, -1, -3, -4, -7, -8, -10, -15))
            target = due + timedelta(days=shift)
            moment = self.clock.instant(datetime.combine(target, self.pick((time(0), time(0), time(12), time(23, 59), time(10, 30)))))
            return moment if moment > at else at + 5 * 24 * HOUR
        return at + self.rng.randrange(3, 60) * 24 * HOUR + self.rng.randrange(24) * HOUR

    def _is_odd_hour(self, at: int) -> bool:
        """Return whether a local time of the minute is skipped by the clock, or shown twice."""
        local = self.clock.local(at)
        other = local.replace(fold=1 - local.fold)
        return local.utcoffset() != other.utcoffset()


def _figure(value: Fraction) -> str:
    return f"{float(round(value, 4)):.4f}".rstrip("0").rstrip(".")
