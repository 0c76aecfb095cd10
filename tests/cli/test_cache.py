"""What a second run reads and judges: of an unchanged site nothing, of a new file that file, of a new record its engine."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from intervals import file_contents, user_cache
from intervals.cli.main import app
from intervals.judge.engine_answers import judge_engine
from intervals.questions.check import answers_here
from intervals.readings.files import open_log
from tests.site_maker import Row, done, steady, task, write_site

ASKED = ("--as-of", "2024-03-31", "--format", "json")


class _Seen:
    """What was opened and judged."""

    def __init__(self) -> None:
        self.opened: list[str] = []
        self.judged: list[int] = []

    def taken(self) -> tuple[list[str], list[int]]:
        """Return what was seen since it was asked for the last time."""
        taken = (sorted(set(self.opened)), sorted(self.judged))
        self.opened, self.judged = [], []
        return taken


@pytest.fixture(name="seen")
def _seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> _Seen:
    """Let small logs of files that were just written be kept, and note what is read and judged."""
    seen = _Seen()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(user_cache, "FEWEST_BYTES", 0)
    monkeypatch.setattr(file_contents, "SETTLED_NS", -(10**18))
    chunks, judge = open_log._RefusingLog.chunks, judge_engine

    def noted_chunks(log: Any, wanted: Any) -> Iterator[Any]:  # noqa: ANN401 - passed on
        seen.opened.append(log.name)
        return chunks(log, wanted)

    def noted_judge(inputs: Any, index: int, *rest: Any) -> Any:  # noqa: ANN401 - passed on
        seen.judged.append(index)
        return judge(inputs, index, *rest)

    monkeypatch.setattr(open_log._RefusingLog, "chunks", noted_chunks)
    monkeypatch.setattr(answers_here, "judge_engine", noted_judge)
    return seen


@pytest.fixture(name="site")
def _site(tmp_path: Path) -> Path:
    """Return the folder of a site of two engines, of two months' files."""
    rows: dict[str, list[Row]] = {}
    for engine, hours in (("G1", 4), ("G2", 6)):
        for row in steady("2024-01-01", "2024-02-29", hours, engine=engine):
            rows.setdefault(f"{str(row['at'])[:7]}.csv", []).append(row)
    tasks = [task("oil", every={"running_hours": 200})]
    write_site(tmp_path / "site", tasks, rows, services=[done("oil", "2024-01-20T10:00")], engines=[{"id": "G1"}, {"id": "G2"}])
    return tmp_path / "site"


def _check(site: Path, *words: str) -> str:
    """Return what a check prints."""
    result = CliRunner().invoke(app, ["check", str(site), *(words or ASKED)])
    assert result.exit_code in (0, 1), result.output
    return result.output


def _add_month(site: Path) -> None:
    """Add a file with the rows of March."""
    rows = [f"{row['at']},{row['engine']},{row['hour_meter_h']}" for row in steady("2024-03-01", "2024-03-30", 4, start_h=240)]
    (site / "readings" / "2024-03.csv").write_text("\n".join(["at,engine,hour_meter_h", *rows]) + "\n", encoding="utf-8")


LOG = ["readings/2024-01.csv", "readings/2024-02.csv"]


def test_an_unchanged_site_is_neither_read_nor_judged(site: Path, seen: _Seen) -> None:
    """The first run reads and judges all, the second nothing, and prints the same; a table needs what a document lacks, once."""
    first = _check(site)
    assert seen.taken() == ([*LOG, "services.csv"], [0, 1])
    assert _check(site) == first
    assert seen.taken() == ([], [])
    as_table = _check(site, "--as-of", "2024-03-31")
    assert seen.taken() == (["services.csv"], [0, 1])
    assert _check(site, "--as-of", "2024-03-31") == as_table
    assert seen.taken() == (["services.csv"], [])
    assert as_table == _check(site, "--as-of", "2024-03-31", "--no-cache")


def test_a_new_month_is_all_that_is_read(site: Path, seen: _Seen) -> None:
    """With a file more, that file is read; only the engine that has rows in it is judged."""
    _check(site)
    seen.taken()
    _add_month(site)
    with_cache = _check(site)
    assert seen.taken() == (["readings/2024-03.csv", "services.csv"], [0])
    assert with_cache == _check(site, *ASKED, "--no-cache")


def test_a_new_record_has_its_engine_judged(site: Path, seen: _Seen) -> None:
    """No row is read for it, and the other engine is not judged again."""
    _check(site)
    seen.taken()
    services = site / "services.csv"
    services.write_text(services.read_text(encoding="utf-8") + "2024-02-20T10:00,G2,oil,,done,,,,,,,\n", encoding="utf-8")
    with_cache = _check(site)
    assert seen.taken() == (["services.csv"], [1])
    assert with_cache == _check(site, *ASKED, "--no-cache")


def test_without_the_cache_nothing_is_read_from_it_or_kept(site: Path, seen: _Seen, tmp_path: Path) -> None:
    """Each run reads and judges all, and no folder is made."""
    for _ in range(2):
        _check(site, *ASKED, "--no-cache")
        assert seen.taken() == ([*LOG, "services.csv"], [0, 1])
    assert not (tmp_path / "cache").exists()


def test_of_this_very_moment_only_rows_are_kept(site: Path, seen: _Seen) -> None:
    """It does not come again: the next run judges anew, of rows that it need not read."""
    _check(site, "--format", "json")
    seen.taken()
    _check(site, "--format", "json")
    assert seen.taken() == (["services.csv"], [0, 1])


def test_of_a_small_log_nothing_is_kept(site: Path, seen: _Seen, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A log of fewer bytes than the bound is read and judged each time, and no folder is made."""
    size = sum(path.stat().st_size for path in (site / "readings").iterdir())
    monkeypatch.setattr(user_cache, "FEWEST_BYTES", size + 1)
    _check(site)
    assert not (tmp_path / "cache").exists()
    monkeypatch.setattr(user_cache, "FEWEST_BYTES", size)
    _check(site)
    assert (tmp_path / "cache").exists()
    seen.taken()


def test_a_file_that_was_just_changed_is_not_kept(site: Path, seen: _Seen, monkeypatch: pytest.MonkeyPatch) -> None:
    """It may be changed again in the same moment, and its time would not show it: it is read again, and what was read decides."""
    monkeypatch.setattr(file_contents, "SETTLED_NS", 10**18)
    _check(site)
    assert seen.taken() == ([*LOG, "services.csv"], [0, 1])
    _check(site)
    assert seen.taken() == ([*LOG, "services.csv"], [])


def test_rows_that_were_harmed_are_read_again(site: Path, seen: _Seen, tmp_path: Path) -> None:
    """Rows that are not as they were written are found out before they are used, and replaced."""
    first = _check(site)
    for path in (tmp_path / "cache" / "intervals").iterdir():
        if not path.name.startswith("rows"):
            path.unlink()
            continue
        data = bytearray(path.read_bytes())
        data[64] ^= 1
        path.write_bytes(data)
    seen.taken()
    assert _check(site) == first
    assert seen.taken() == ([*LOG, "services.csv"], [0, 1])
    assert _check(site, "--as-of", "2024-03-30", "--format", "json") == _check(
        site, "--as-of", "2024-03-30", "--format", "json", "--no-cache"
    )
    assert seen.taken() == ([*LOG, "services.csv"], [0, 0, 1, 1])


def test_documents_and_answers_that_were_harmed_are_made_again(site: Path, seen: _Seen, tmp_path: Path) -> None:
    """A byte of a document, and one of an engine's answer, are enough."""
    first = _check(site)
    for path in (tmp_path / "cache" / "intervals").iterdir():
        if not path.name.startswith("rows"):
            data = bytearray(path.read_bytes())
            data[64 + 40] ^= 1
            path.write_bytes(data)
    seen.taken()
    assert _check(site) == first
    assert seen.taken() == (["services.csv"], [0])


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="folders have no owner here")
def test_a_folder_that_others_may_look_into_is_left_alone(site: Path, seen: _Seen, tmp_path: Path) -> None:
    """Nothing is read from it and nothing written, without a word."""
    folder = tmp_path / "cache" / "intervals"
    folder.mkdir(parents=True)
    folder.chmod(0o755)
    first = _check(site)
    assert _check(site) == first
    assert seen.taken() == ([*LOG, "services.csv"], [0, 0, 1, 1])
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize(
    "words",
    [
        ("explain", "{site}", "G1", "oil", "--as-of", "2024-03-01"),
        ("duty", "{site}", "--until", "2024-02-29"),
        ("what-if", "{site}", "--as-of", "2024-03-01", "--set", "tasks.oil.every.running_hours=150"),
        ("propose", "{site}", "--task", "oil", "--as-of", "2024-03-01"),
        ("report", "{site}", "--month", "2024-02", "--out", "{out}"),
    ],
    ids=lambda words: words[0],
)
def test_other_questions_read_what_a_check_has_kept(site: Path, seen: _Seen, tmp_path: Path, words: tuple[str, ...]) -> None:
    """They read no row of the log again, and answer the same with and without."""
    _check(site)
    seen.taken()
    typed = [word.replace("{site}", str(site)).replace("{out}", str(tmp_path / "out")) for word in words]
    with_cache = CliRunner().invoke(app, typed)
    assert with_cache.exit_code in (0, 1), with_cache.output
    assert not [name for name in seen.taken()[0] if name.startswith("readings")]
    without = CliRunner().invoke(app, [*typed, "--no-cache"])
    assert (without.exit_code, without.output) == (with_cache.exit_code, with_cache.output)
    assert set(LOG) <= set(seen.taken()[0])


def test_of_a_log_that_is_read_by_address_nothing_is_kept(site: Path, seen: _Seen, tmp_path: Path) -> None:
    """What lies there is not known before it is read: it is read and judged again, and another figure there is another answer."""
    far = tmp_path / "far"
    (site / "readings").rename(far)
    text = (site / "site.yaml").read_text("utf-8")
    (site / "site.yaml").write_text(text.replace("readings/*.csv", f"file://{far}/*.csv"), "utf-8")
    opened = [f"file://{far}/2024-01.csv", f"file://{far}/2024-02.csv", "services.csv"]
    first = _check(site)
    assert seen.taken() == (opened, [0, 1])
    assert _check(site) == first
    assert seen.taken() == (opened, [0, 1])
    assert not any(path.name.startswith(("rows-", "answers-", "document-")) for path in (tmp_path / "cache").rglob("*"))
    with (far / "2024-02.csv").open("a", encoding="utf-8") as file:
        file.write("2024-03-01T00:00,G1,9999\n")
    assert _check(site) != first
