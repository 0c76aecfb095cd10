"""Names of engines' pages: no two are one file anywhere, and plain ids stay as they are."""

from __future__ import annotations

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from intervals.reports.month.page_places import page_names

ALIKE = st.text(alphabet="aAbB/.- ", max_size=6)


@given(st.lists(st.one_of(st.text(max_size=80), ALIKE), unique=True, max_size=20))
@example(["a", "A", "a.html", "a/", "a\\"])
@example(["", ".", "..", "con", "NUL.txt", "x" * 300])
def test_no_two_engines_share_a_file(ids: list[str]) -> None:
    """Whatever the ids: as many names, apart from capital letters too, short, and of letters that every file system takes."""
    names = page_names(ids)
    assert list(names) == ids
    assert len({name.casefold() for name in names.values()}) == len(ids)
    for name in names.values():
        assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.-]*\.html", name)
        assert len(name) <= 65
        assert name.partition(".")[0].casefold() not in {"con", "prn", "aux", "nul", "com1", "lpt1"}


@pytest.mark.parametrize("engine", ["G1", "E0001", "set_2-b", "EG.1"])
def test_a_plain_id_is_the_name(engine: str) -> None:
    """Letters, digits, and what joins them."""
    assert page_names([engine, "other/one"])[engine] == f"{engine}.html"


def test_a_name_does_not_depend_on_the_others() -> None:
    """An engine that comes changes no other's name; one that differs in capital letters alone takes both plain names."""
    assert page_names(["G1", "West/2"])["West/2"] == page_names(["West/2", "West 2", "Z"])["West/2"]
    assert "G1.html" not in page_names(["G1", "g1"]).values()
