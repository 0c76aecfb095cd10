"""YAML text to plain data, with the line of every value, and refusals for what plain data never needs.

In: a file. Out: `Marked`: mappings, lists and scalars, and the line of each path. Refuses all that could surprise or
harm: syntax errors, anchors and aliases, tags, duplicate keys, deep or huge documents, anything but one mapping.

Scalars follow YAML 1.2: `yes`, `12:30` and `2026-01-31` are text, `010` is ten. Numbers keep the text they were written
as, so that a version `2026.10` is not shortened to `2026.1`.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from intervals.language.scalars import Scalar, resolve_scalar
from intervals.language.syntax_causes import likely_cause
from intervals.places import shown_file
from intervals.problems import Problem, ProblemsError, RuleSetProblemError, SiteProblemError

PathPart = str | int
YamlPath = tuple[PathPart, ...]

LARGEST_BYTES = 5 * 1024 * 1024
MOST_NODES = 200_000
DEEPEST = 40
_MOST_PROBLEMS_OF_A_KIND = 20
_LONGEST_LINE = 400

YAML_CODES: dict[int, str] = {
    1: "the file is missing or cannot be read",
    2: "the file is larger than 5 MB",
    3: "the file is not UTF-8 text",
    4: "the file is not YAML",
    5: "an anchor or an alias, which plain data does not need",
    6: "a tag, which plain data does not need",
    7: "the same key twice in one mapping",
    8: "nested more than 40 deep, or more than 200,000 values",
    9: "the file is empty, or not one mapping of keys and values",
}
"""What each number means that stops the reading of any YAML file; a code is the file kind's three letters and the number."""

_ERRORS: dict[str, type[ProblemsError]] = {"SIT": SiteProblemError, "RUL": RuleSetProblemError}
_PLAIN_KEY = re.compile(r"[A-Za-z_][\w-]*")


@dataclass(frozen=True)
class Marked:
    """A YAML document as plain data, with places.

    Attributes:
        data: the document's mapping; numbers are `WrittenInt` and `WrittenFloat`.
        file: path as the person would type it.
        code_prefix: three letters of its problem codes.
        sha256: of the file's bytes, in hexadecimal.
        lines: line from 1 by path; a mapping's entry stands on its key's line.
        origins: where a part came from that another file holds: file and path there, by path here.
    """

    data: dict[str, Any]
    file: str
    code_prefix: str
    sha256: str = ""
    lines: Mapping[YamlPath, int] = field(default_factory=dict, repr=False)
    origins: Mapping[YamlPath, tuple[str, YamlPath]] = field(default_factory=dict, repr=False)

    def line_of(self, path: YamlPath) -> int:
        """Return the line of a path, or of its nearest ancestor where nothing stands there."""
        for length in range(len(path), -1, -1):
            line = self.lines.get(path[:length])
            if line is not None:
                return line
        return 1

    def origin_of(self, path: YamlPath) -> tuple[str, YamlPath]:
        """Return the file that holds a path, and the path in that file."""
        for length in range(len(path), 0, -1):
            origin = self.origins.get(path[:length])
            if origin is not None:
                return origin[0], (*origin[1], *path[length:])
        return self.file, path

    def problem(self, number: int, path: YamlPath, text: str, fix: str | None = None) -> Problem:
        """Return a problem at a path of this document."""
        code = f"{self.code_prefix}{number:03d}"
        file, there = self.origin_of(path)
        return Problem(
            code, shown_file(file), self.line_of(path), shown_path(there), one_line(text), None if fix is None else one_line(fix)
        )


def shown_path(path: YamlPath) -> str:
    """Return a path as it is printed, such as `$.tasks[3].every.calendar`."""
    parts = [f"[{part}]" if isinstance(part, int) else f".{part}" if _PLAIN_KEY.fullmatch(part) else f'["{part}"]' for part in path]
    return one_line("$" + "".join(parts))


def one_line(text: str) -> str:
    """Return a text that may quote the file as one line of printable characters: a file cannot move a terminal's cursor."""
    shown = "".join(character if character.isprintable() else " " if character.isspace() else "?" for character in text)
    return shown if len(shown) <= _LONGEST_LINE else f"{shown[: _LONGEST_LINE - 3]}..."


def load_yaml(path: Path, *, code_prefix: str) -> Marked:
    """Return a YAML file as plain data with the line of every value.

    Args:
        path: the file.
        code_prefix: `SIT` or `RUL`, the three letters of its problem codes.

    Returns:
        The document; its top is always a mapping.

    Raises:
        ProblemsError: `SiteProblemError` for SIT, `RuleSetProblemError` for RUL; codes 001 to 009.
    """
    error_of = _ERRORS.get(code_prefix, ProblemsError)

    def refuse(number: int, line: int | None, text: str, fix: str | None = None) -> ProblemsError:
        return error_of([Problem(f"{code_prefix}{number:03d}", str(path), line, None, text, fix)])

    try:
        with path.open("rb") as stream:
            raw = stream.read(LARGEST_BYTES + 1)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise refuse(1, None, f"cannot be read: {reason.lower()}") from error
    if len(raw) > LARGEST_BYTES:
        raise refuse(
            2, None, f"larger than {LARGEST_BYTES // 1024 // 1024} MB", "operating data belongs into readings/, not into this file"
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise refuse(3, line, f"not UTF-8 text; got the byte 0x{raw[error.start]:02x}", "save the file with the encoding UTF-8") from error
    reader = _Reader(str(path), code_prefix)
    data = reader.read(text)
    if reader.problems:
        raise error_of(reader.problems)
    return Marked(data, str(path), code_prefix, hashlib.sha256(raw).hexdigest(), reader.lines)


def _line_of(event: yaml.Event) -> int:
    """Return the line from 1 on which an event of the parser begins."""
    return event.start_mark.line + 1 if event.start_mark is not None else 1


class _StopReading(Exception):  # noqa: N818 - control flow inside this module, not an error
    """The rest of the document cannot be understood."""


@dataclass
class _Open:
    """A mapping or list that is still being read."""

    path: YamlPath
    container: dict[str, Any] | list[Any]
    key: str | None = None
    key_lines: dict[str, int] = field(default_factory=dict)


class _Reader:
    """Builds plain data from the parser's events, without recursion, so that no document can exhaust the stack."""

    def __init__(self, file: str, code_prefix: str) -> None:
        self.file = file
        self.code_prefix = code_prefix
        self.problems: list[Problem] = []
        self.lines: dict[YamlPath, int] = {}
        self._open: list[_Open] = []
        self._root: Any = None
        self._nodes = 0
        self._documents = 0

    def read(self, text: str) -> dict[str, Any]:
        """Return the document's mapping; what is wrong stands in `problems`."""
        loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
        try:
            for event in yaml.parse(text, Loader=loader):
                self._take(event)
        except _StopReading:
            return {}
        except yaml.YAMLError as error:
            self._refuse_syntax(error, text)
            return {}
        if not isinstance(self._root, dict) or not self._root:
            what = "an empty file" if not self._root else "a list" if isinstance(self._root, list) else f'"{self._root}"'
            begin = "site: my-site" if self.code_prefix == "SIT" else "ruleset: my-rules"
            self._refuse(9, 1, f"not a mapping of keys and values; got {what}", f"begin with keys and values, such as {begin}")
            return {}
        return self._root

    def _refuse(self, number: int, line: int | None, text: str, fix: str | None = None, path: YamlPath | None = None) -> None:
        """Note one problem; the same words once, and of a flood of the same kind the first twenty."""
        code = f"{self.code_prefix}{number:03d}"
        known = [problem.text for problem in self.problems if problem.code == code]
        if text not in known and len(known) < _MOST_PROBLEMS_OF_A_KIND:
            self.problems.append(Problem(code, self.file, line, shown_path(path) if path is not None else None, one_line(text), fix))

    def _take(self, event: yaml.Event) -> None:
        """Take one event of the parser."""
        if isinstance(event, yaml.ScalarEvent):
            self._check_node(event)
            self._place_scalar(event)
        elif isinstance(event, yaml.CollectionEndEvent):
            self._open.pop()
        elif isinstance(event, yaml.CollectionStartEvent):
            self._check_node(event)
            self._place({} if isinstance(event, yaml.MappingStartEvent) else [], event)
        elif isinstance(event, yaml.DocumentStartEvent):
            self._documents += 1
            if self._documents > 1:
                self._refuse(9, _line_of(event), "a second document begins here; expected one", "remove the line ---")
                raise _StopReading
        elif isinstance(event, yaml.AliasEvent):
            self._refuse(
                5,
                _line_of(event),
                f"an alias (*{event.anchor}) is not allowed",
                "write the value out; put text that begins with * in quotes",
            )
            self._place(None, event)

    def _check_node(self, event: yaml.ScalarEvent | yaml.CollectionStartEvent) -> None:
        """Refuse anchors, tags and a document that is too large."""
        if event.anchor is not None:
            text = f"an anchor (&{event.anchor}) is not allowed"
            self._refuse(5, _line_of(event), text, "write the value out; put text that begins with & in quotes")
        if event.tag is not None:
            self._refuse(
                6,
                _line_of(event),
                f"a tag ({event.tag}) is not allowed",
                "write plain text, numbers, lists and mappings; put text that begins with ! in quotes",
            )
        self._nodes += 1
        if self._nodes > MOST_NODES:
            self._refuse(8, _line_of(event), f"more than {MOST_NODES:,} values")
            raise _StopReading
        if len(self._open) >= DEEPEST and not isinstance(event, yaml.ScalarEvent):
            self._refuse(8, _line_of(event), f"nested more than {DEEPEST} deep")
            raise _StopReading

    def _place_scalar(self, event: yaml.ScalarEvent) -> None:
        """Put a scalar where it belongs: as the next key of a mapping, or as a value."""
        top = self._open[-1] if self._open else None
        if top is not None and isinstance(top.container, dict) and top.key is None:
            line = _line_of(event)
            first = top.key_lines.get(event.value)
            if first is not None:
                text = f'the key "{event.value}" is written twice; the first one is on line {first}'
                self._refuse(7, line, text, "remove one of them", (*top.path, event.value))
            top.key = event.value
            top.key_lines.setdefault(event.value, line)
            return
        is_plain = event.implicit[0] if isinstance(event.implicit, tuple) else bool(event.implicit)
        self._place(resolve_scalar(event.value) if is_plain else event.value, event)

    def _place(self, value: Scalar | dict[str, Any] | list[Any], event: yaml.NodeEvent) -> None:
        """Put a value into the mapping or list that is open, and open it in turn where it holds others."""
        path: YamlPath = ()
        line = _line_of(event)
        if not self._open:
            self._root = value
        else:
            top = self._open[-1]
            if isinstance(top.container, dict):
                if top.key is None:
                    self._refuse(9, line, "a key must be text", "put text that begins with [ or { in quotes")
                    raise _StopReading
                path, line = (*top.path, top.key), top.key_lines[top.key]
                top.container.setdefault(top.key, value)
                top.key = None
            else:
                path = (*top.path, len(top.container))
                top.container.append(value)
        self.lines.setdefault(path, line)
        if isinstance(value, (dict, list)):
            self._open.append(_Open(path, value))

    def _refuse_syntax(self, error: yaml.YAMLError, text: str) -> None:
        """Say where the parser gave up, and what usually is the cause."""
        said = getattr(error, "problem", None) or getattr(error, "reason", None) or "it cannot be understood"
        marks = [getattr(error, "problem_mark", None), getattr(error, "context_mark", None)]
        if said.startswith(("did not find expected ',' or", "found unexpected end of stream")):
            marks.reverse()  # what was opened and not closed is of more help than where the file ends
        line = next((mark.line + 1 for mark in marks if mark is not None), None)
        written = text.split("\n")[line - 1] if line is not None and line <= text.count("\n") + 1 else ""
        self._refuse(4, line, f"not YAML: {said}", likely_cause(str(said), written))
