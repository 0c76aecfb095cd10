"""The user's cache never changes an answer: whatever is edited between two runs, one with it prints what one without it prints."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from intervals import file_contents, user_cache
from intervals.cli.common import site_request
from intervals.cli.main import app
from tests.properties.bounded import bounded
from tests.site_maker import Row, done, steady, task, write_site

NOW = datetime(2026, 3, 20, 9, tzinfo=UTC)
ENGINES: tuple[dict[str, object], ...] = (
    {"id": "G1", "rated_kw": 500},
    {"id": "G2", "rated_kw": 800, "in_service": "2026-01-02"},
    {"id": "G3"},
)
QUESTIONS = (
    (),
    ("--month", "2026-02"),
    ("--engine", "G2"),
    ("--task", "oil"),
    ("--ruleset", "{site}/other.yaml"),
    ("--as-of", "2026-02-10"),
    ("--as-of", "2026-03-31"),
    ("--as-of", "2026-02-10T08:00"),
    ("--jobs", "2"),
)


class _Plant:
    """A site folder that is edited between two runs."""

    def __init__(self, folder: Path, random: Random) -> None:
        self.folder = folder
        self.random = random
        self.now = NOW
        self.load_kw = 200
        rows: dict[str, list[Row]] = {}
        for number, engine in enumerate(ENGINES):
            for row in steady("2026-01-01", "2026-03-19", 6 + number, engine=str(engine["id"]), load_kw=100 + 50 * number):
                rows.setdefault(f"{str(row['at'])[:7]}.csv", []).append(row)
        services = [done("oil", "2026-01-20T10:00", 120, engine="G1"), done("belt", "2026-02-03T10:00", 240, engine="G2")]
        tasks = [task("oil", every={"running_hours": 200}), task("belt", every={"calendar": "P1M"})]
        budget = {"id": "plant", "title": "Plant", "of": "running_hours", "at_most": 900, "per": "calendar_month", "over": "site"}
        other = task("oil", every={"running_hours": 150})
        write_site(folder, [other, tasks[1]], rows, engines=ENGINES, rules={"budgets": [budget]})
        (folder / "rules.yaml").rename(folder / "other.yaml")
        write_site(folder, tasks, rows, services=services, engines=ENGINES, time_zone="Europe/Berlin")

    @property
    def a_log(self) -> Path:
        """One of the files of the log."""
        return self.random.choice(sorted((self.folder / "readings").iterdir()))

    def swap(self, name: str, *pairs: tuple[str, str]) -> None:
        """Replace words of a file, there or back."""
        path = self.folder / name
        text = path.read_text(encoding="utf-8")
        old, new = self.random.choice(pairs)
        path.write_text(text.replace(old, new) if old in text else text.replace(new, old), encoding="utf-8")

    def on_lines(self, path: Path, edit: Callable[[list[str]], None]) -> None:
        """Edit the lines of a file below its header."""
        header, *lines = path.read_text(encoding="utf-8").splitlines()
        edit(lines)
        path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")

    # edits

    def change_a_row(self) -> None:
        """Let one row show another load, at a time of its file that says nothing of it."""
        path = self.a_log
        before = path.stat()
        self.load_kw += 1

        def edit(lines: list[str]) -> None:
            at = self.random.randrange(len(lines))
            lines[at] = f"{lines[at].rpartition(',')[0]},{self.load_kw}"

        self.on_lines(path, edit)
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))

    def delete_a_row(self) -> None:
        """Leave out a row."""
        self.on_lines(self.a_log, lambda lines: lines.remove(self.random.choice(lines)) if len(lines) > 1 else None)

    def repeat_rows(self) -> None:
        """Put rows of one file at the end of another, one of them with another load."""
        taken = self.random.sample(self.a_log.read_text(encoding="utf-8").splitlines()[1:], 2)
        self.on_lines(self.a_log, lambda lines: lines.extend([taken[0], f"{taken[1].rpartition(',')[0]},77"]))

    def add_odd_rows(self) -> None:
        """Add rows that are set aside: of nobody's engine, of a time that is none, of a load that cannot be, of tomorrow."""
        odd = [
            "2026-02-11T01:00,G7,1,1",
            "2026-02-30T01:00,G1,1,1",
            "2026-02-12T01:00,G1,,999999",
            "2026-03-29T02:30,G1,700,1",
            "2026-03-21T01:00,G1,480,9",
        ]
        self.on_lines(self.a_log, lambda lines: lines.append(self.random.choice(odd)))

    def write_times_another_way(self) -> None:
        """Let a file have its days before its months, or the other way round, as only other files may show."""
        way = self.random.choice(["%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M"])
        path = self.a_log

        def edit(lines: list[str]) -> None:
            kept = []
            for line in lines:
                at, _, rest = line.partition(",")
                if "T" in at and int(at[8:10]) <= 12:
                    kept.append(f"{datetime.fromisoformat(at):{way}},{rest}")
            lines[:] = kept or lines

        self.on_lines(path, edit)

    def add_a_file(self) -> None:
        """Add a file of rows in between."""
        day = self.random.randrange(1, 28)
        (self.folder / "readings" / f"new-{day}.csv").write_text(
            f"at,engine,hour_meter_h,load_kw\n2026-02-{day:02}T12:00,G1,,{day}\n", encoding="utf-8"
        )

    def rename_a_file(self) -> None:
        """Give a file a name that comes earlier."""
        path = self.a_log
        path.rename(path.with_name(f"a{path.name}"))

    def remove_a_file(self) -> None:
        """Remove a file, unless it is the last one."""
        if len([*(self.folder / "readings").iterdir()]) > 1:
            self.a_log.unlink()

    def add_a_record(self) -> None:
        """Add a service record, perhaps one of tomorrow, perhaps of what is no task."""
        at, of, engine = (
            self.random.choice(words) for words in (("2026-02-20T10:00", "2026-03-21T10:00"), ("oil", "belt", "oill"), ("G1", "G3"))
        )
        path = self.folder / "services.csv"
        path.write_text(path.read_text(encoding="utf-8") + f"{at},{engine},{of},,done,,,,,,,\n", encoding="utf-8")

    def change_rules(self) -> None:
        """Change what the rule set says, or only where it says it."""
        self.swap("rules.yaml", ("running_hours: 200", "running_hours: 190"), ("tasks:", "# a line more\ntasks:"), ("P1M", "P2M"))

    def change_site(self) -> None:
        """Change what the site says of an engine or of its log."""
        self.swap(
            "site.yaml",
            ("rated_kw: 500", "rated_kw: 90"),
            ("in_service: '2026-01-02'", "in_service: '2026-01-20'"),
            ("gap_h: 1000000", "gap_h: 20"),
            ("Europe/Berlin", "Europe/Lisbon"),
            ("site: quay", "site: pier"),
        )

    def move_clock(self) -> None:
        """Let the clock go on, or back."""
        self.now += timedelta(days=self.random.choice([-20, -1, 1, 20]))

    def harm_an_entry(self) -> None:
        """Harm an entry of the cache: a byte, its end, or all of it."""
        entries = sorted(path for path in _cache_folder().rglob("*") if path.is_file())
        if not entries:
            return
        path = self.random.choice(entries)
        data = bytearray(path.read_bytes())
        way = self.random.randrange(3)
        if way == 0:
            data[self.random.randrange(len(data))] ^= 1 << self.random.randrange(8)
        path.unlink()
        path.write_bytes(data if way == 0 else data[: self.random.randrange(len(data))] if way == 1 else b"nothing of the kind")

    def nothing(self) -> None:
        """Change nothing."""


EDITS = (
    _Plant.change_a_row, _Plant.delete_a_row, _Plant.repeat_rows, _Plant.add_odd_rows, _Plant.write_times_another_way, _Plant.add_a_file,
    _Plant.rename_a_file, _Plant.remove_a_file, _Plant.add_a_record, _Plant.change_rules, _Plant.change_site, _Plant.move_clock,
    _Plant.harm_an_entry, _Plant.nothing,
)  # fmt: skip


def _cache_folder() -> Path:
    """Return the folder that these runs keep their entries in."""
    return Path(os.environ["XDG_CACHE_HOME"])


def _run(plant: _Plant, question: tuple[str, ...], *more: str) -> tuple[int, str]:
    """Return exit code and all output of a check."""
    words = [word.replace("{site}", str(plant.folder)) for word in question]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(site_request, "read_clock", lambda: plant.now)
        result = CliRunner().invoke(app, ["check", str(plant.folder), "--format", "json", *words, *more])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.output


@contextmanager
def _with_cache() -> Iterator[Path]:
    """Let small logs be kept, in a folder of their own, at once."""
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", f"{folder}/cache")
        patch.setattr(user_cache, "FEWEST_BYTES", 0)
        patch.setattr(file_contents, "SETTLED_NS", -(10**18))
        yield Path(folder)


@bounded(6)
@given(st.integers(0, 10**9))
def test_a_run_with_the_cache_prints_what_one_without_it_prints(seed: int) -> None:
    """Random edits one after the other, random questions between them: the bytes and the exit code are the same."""
    random = Random(seed)
    with _with_cache() as folder:
        plant = _Plant(folder / "site", random)
        asked = [random.choice(QUESTIONS) for _ in range(2)]
        for _ in range(6):
            random.choice(EDITS)(plant)
            for question in asked:
                assert _run(plant, question) == _run(plant, question, "--no-cache"), (question, seed)
