"""YAML becomes plain data with the line of every value; what could surprise or harm is refused."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
import yaml

from intervals.language.scalars import WrittenFloat, WrittenInt, resolve_scalar, shown_value
from intervals.language.yamlmarks import LARGEST_BYTES, MOST_NODES, Marked, load_yaml, shown_path
from intervals.problems import ProblemsError, RuleSetProblemError, SiteProblemError


def read(folder: Path, text: str) -> Marked:
    """Return a text as a marked document."""
    path = folder / "some.yaml"
    path.write_text(text, encoding="utf-8")
    return load_yaml(path, code_prefix="RUL")


def codes(folder: Path, text: str) -> list[tuple[str, int | None]]:
    """Return code and line of each problem of a text."""
    with pytest.raises(RuleSetProblemError) as caught:
        read(folder, text)
    return [(problem.code, problem.line) for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("true", True),
        ("False", False),
        ("yes", "yes"),
        ("on", "on"),
        ("off", "off"),
        ("n", "n"),
        ("~", None),
        ("null", None),
        ("", None),
        ("010", 10),
        ("0o17", 15),
        ("0x1F", 31),
        ("-3", -3),
        ("12:30", "12:30"),
        ("1_000", "1_000"),
        ("2,000", "2,000"),
        ("2026-01-31", "2026-01-31"),
        ("2026-01-31T08:00:00Z", "2026-01-31T08:00:00Z"),
        ("1.5", 1.5),
        (".5", 0.5),
        ("6e-06", 6e-06),
        ("1.", 1.0),
        ("-.inf", float("-inf")),
        ("1.2.3", "1.2.3"),
        ("9" * 4000, "9" * 4000),
    ],
)
def test_scalars_follow_yaml_1_2(written: str, value: object) -> None:
    """The core schema of YAML 1.2; none of the surprises of 1.1 (on, 12:30, 010, dates)."""
    resolved = resolve_scalar(written)
    assert resolved == value
    assert isinstance(resolved, bool) is isinstance(value, bool)


def test_numbers_keep_their_text(tmp_path: Path) -> None:
    """A version 2026.10 can be told from 2026.1, also after a copy to another process."""
    data = read(tmp_path, "version: 2026.10\nengine: 007\nquoted: '2026.10'\n").data
    assert (data["version"].text, data["engine"].text, data["quoted"]) == ("2026.10", "007", "2026.10")
    assert isinstance(data["version"], WrittenFloat)
    assert isinstance(data["engine"], WrittenInt)
    assert [value.text for value in pickle.loads(pickle.dumps([data["version"], data["engine"]]))] == ["2026.10", "007"]


def test_quoted_and_block_scalars_are_text(tmp_path: Path) -> None:
    """Quotes and block styles keep what looks like a number or a truth value as text."""
    data = read(tmp_path, "a: \"true\"\nb: '5'\nc: |\n  12\nd: >\n  null\n").data
    assert data == {"a": "true", "b": "5", "c": "12\n", "d": "null\n"}


def test_every_path_has_its_line(tmp_path: Path) -> None:
    """An entry stands on its key's line, an item on the line it begins on, what is missing on its nearest ancestor's."""
    text = "site: x\nengines:\n  - id: G1\n    at_start:\n      starts: 4\n  - {id: G2,\n     title: South}\nlong: >\n  words\n"
    marked = read(tmp_path, text)
    assert marked.line_of(()) == 1
    assert marked.line_of(("engines",)) == 2
    assert marked.line_of(("engines", 0)) == 3
    assert marked.line_of(("engines", 0, "at_start")) == 4
    assert marked.line_of(("engines", 0, "at_start", "starts")) == 5
    assert marked.line_of(("engines", 1)) == 6
    assert marked.line_of(("engines", 1, "title")) == 7
    assert marked.line_of(("engines", 1, "rated_kw")) == 6
    assert marked.line_of(("long",)) == 8
    assert marked.line_of(("nowhere", 3)) == 1


def test_keys_are_text(tmp_path: Path) -> None:
    """Whatever a key looks like, it is the text that was written."""
    assert list(read(tmp_path, "1: a\ntrue: b\n2026-01-01: c\n~: d\n").data) == ["1", "true", "2026-01-01", "~"]


def test_byte_order_mark_is_left_out(tmp_path: Path) -> None:
    """Some editors write a byte order mark; it is no part of the first key."""
    path = tmp_path / "bom.yaml"
    path.write_bytes(b"\xef\xbb\xbfsite: x\r\nruleset: y\r\n")
    assert load_yaml(path, code_prefix="SIT").data == {"site": "x", "ruleset": "y"}


def test_paths_are_printed_as_one_types_them() -> None:
    """Plain keys follow a dot, positions and other keys stand in brackets."""
    assert shown_path(("tasks", 3, "every", "calendar")) == "$.tasks[3].every.calendar"
    assert shown_path(("readings", "quantities", "oil temp")) == '$.readings.quantities["oil temp"]'
    assert shown_path(()) == "$"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a: &x 1\nb: *x\n", [("RUL005", 1), ("RUL005", 2)]),
        ("a: 1\n<<: *x\n", [("RUL005", 2)]),
        ("a: 1\nb: 2\na: 3\nb: 4\n", [("RUL007", 3), ("RUL007", 4)]),
        ("a: {b: {c: 1, c: 2}}\n", [("RUL007", 1)]),
        ("? [a, b]\n: 1\n", [("RUL009", 1)]),
        ("*x : 1\n", [("RUL005", 1), ("RUL009", 1)]),
        ("[]\n", [("RUL009", 1)]),
        ("{}\n", [("RUL009", 1)]),
        ("just words\n", [("RUL009", 1)]),
        ("", [("RUL009", 1)]),
        ("a: 1\n\x07\n", [("RUL004", None)]),
        ("a: 'b\n", [("RUL004", 1)]),
        ("a:\n  - b\n c: d\n", [("RUL004", 3)]),
        ("a: " + "[" * 41 + "]" * 41, [("RUL008", 1)]),
    ],
)
def test_what_plain_data_never_needs_is_refused(tmp_path: Path, text: str, expected: list[tuple[str, int | None]]) -> None:
    """Anchors, aliases, duplicate keys, odd keys, depth, syntax errors, anything but a mapping: each with its line."""
    assert codes(tmp_path, text) == expected


def test_forty_deep_is_deep_enough(tmp_path: Path) -> None:
    """The top mapping and 39 lists are read; one more is refused (see above)."""
    assert read(tmp_path, "a: " + "[" * 39 + "]" * 39).data["a"] is not None


@pytest.mark.parametrize("opening", ["[", "{b: ", "- ", "? "])
def test_no_depth_exhausts_the_stack(tmp_path: Path, opening: str) -> None:
    """A hundred thousand openings are refused, by the parser or by the limit, and crash nothing."""
    (found,) = codes(tmp_path, "a:\n  " + opening * 100_000)
    assert found in [("RUL004", 2), ("RUL008", 2), ("RUL009", 2)]


def test_slower_parser_sees_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the C parser is not installed, the other one gives the same data and lines."""
    text = "a: [1, 'x', true]\nb:\n  - {c: 2026.10}\n  - >\n    long\n    text\n"
    fast = read(tmp_path, text)
    monkeypatch.delattr(yaml, "CSafeLoader")
    assert read(tmp_path, text) == fast
    assert codes(tmp_path, "a: &x 1\na: *x\n") == [("RUL005", 1), ("RUL007", 2), ("RUL005", 2)]


def test_alias_bomb_is_refused_at_once(tmp_path: Path) -> None:
    """Nine aliases of nine aliases, nine times over, are never expanded; each name is reported once."""
    rows = ["l0: &l0 [x, x, x, x, x, x, x, x, x]"]
    rows += [f"l{level}: &l{level} [{', '.join([f'*l{level - 1}'] * 9)}]" for level in range(1, 10)]
    assert len(codes(tmp_path, "\n".join(rows))) == 19


def test_a_flood_of_problems_is_cut_short(tmp_path: Path) -> None:
    """Of a thousand duplicate keys the first twenty are enough."""
    assert len(codes(tmp_path, "".join(f"k{number}: 1\nk{number}: 2\n" for number in range(1000)))) == 20


def test_fifty_megabytes_are_refused_unread(tmp_path: Path) -> None:
    """A file larger than 5 MB is refused by its size."""
    path = tmp_path / "log.yaml"
    with path.open("wb") as stream:
        stream.write(b"a: 1\n")
        stream.truncate(50 * 1024 * 1024)
    with pytest.raises(SiteProblemError) as caught:
        load_yaml(path, code_prefix="SIT")
    assert [problem.code for problem in caught.value.problems] == ["SIT002"]
    assert LARGEST_BYTES == 5 * 1024 * 1024


def test_too_many_values_are_refused(tmp_path: Path) -> None:
    """More than 200,000 values are no rule set, however small the file."""
    assert codes(tmp_path, "a: [" + "1," * MOST_NODES + "]") == [("RUL008", 1)]


def test_missing_files_and_folders_are_refused(tmp_path: Path) -> None:
    """What cannot be opened is a problem of the file, without a line."""
    for path in (tmp_path / "nowhere.yaml", tmp_path):
        with pytest.raises(RuleSetProblemError) as caught:
            load_yaml(path, code_prefix="RUL")
        (problem,) = caught.value.problems
        assert (problem.code, problem.file, problem.line) == ("RUL001", str(path), None)


def test_other_kinds_of_file_have_their_own_codes(tmp_path: Path) -> None:
    """The three letters come from the caller."""
    with pytest.raises(ProblemsError) as caught:
        load_yaml(tmp_path / "nowhere.yaml", code_prefix="ABC")
    assert caught.value.problems[0].code == "ABC001"


def test_values_are_shown_as_they_were_written() -> None:
    """Messages quote text, keep the spelling of numbers, and name what is no scalar."""
    values = [None, True, "a\nb", WrittenFloat(1.0, "1.00"), 5, {"b": 1}, {}, [1, 2], [], "x" * 100]
    assert [shown_value(value) for value in values] == [
        "nothing",
        "true",
        '"a b"',
        "1.00",
        "5",
        "a mapping (b)",
        "an empty mapping",
        "a list of 2",
        "an empty list",
        f'"{"x" * 57}..."',
    ]
