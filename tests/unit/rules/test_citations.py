"""Sources taken apart: document, edition, place, how sure."""

from __future__ import annotations

import pytest

from intervals.rules.citations import Citation, citations_of


@pytest.mark.parametrize(
    ("source", "parts"),
    [
        ("common practice", [("common practice", "", "", "", "common practice")]),
        (
            "six months TM 9-6115-464-12 / NAVFAC P-8-624-12 2-13 (read); 300 h TM 9-6115-646-14&P table 4-1 (read)",
            [
                ("six months", "TM 9-6115-464-12 / NAVFAC P-8-624-12", "", "2-13", "read"),
                ("300 h", "TM 9-6115-646-14&P", "", "table 4-1", "read"),
            ],
        ),
        (
            "500 h or annually, 40 CFR 63 subpart ZZZZ table 2d rows 7 and 10, 2015 edition (read)",
            [("500 h or annually", "40 CFR 63 subpart ZZZZ", "2015", "table 2d rows 7 and 10", "read")],
        ),
        (
            "monthly NFPA 110 chapter 8 (told), the same TM 5-685 E-2 (read)",
            [("monthly", "NFPA 110", "", "chapter 8", "told"), ("the same", "TM 5-685", "", "E-2", "read")],
        ),
        ("yearly, NFPA 110 chapter 8 from memory, not confirmed", [("yearly", "NFPA 110", "", "chapter 8", "from memory")]),
        ("average power after ISO 8528-1, formula from memory", [("average power after", "ISO 8528-1", "", "", "from memory")]),
        ("14 CFR 91.409(b) (read)", [("", "14 CFR 91.409(b)", "", "", "read")]),
        ("MARPOL Annex VI reg. 5.1 (read)", [("", "MARPOL Annex VI", "", "reg. 5.1", "read")]),
        (
            "the half is the user's own, no text gives one",
            [("the half is the user's own, no text gives one", "", "", "", "the user's own")],
        ),
        ("chemistry worked (60 % methane; 1,000 ppmv)", [("chemistry worked (60 % methane; 1,000 ppmv)", "", "", "", "worked")]),
        ("own experience", [("own experience", "", "", "", "the user's own")]),
        ("common practice; the engine's own documents and the local code come first", [("common practice", "", "", "", "common practice")]),
        ("somebody said so", [("somebody said so", "", "", "", "not said")]),
        ("the engine's own documents come first", []),
    ],
)
def test_a_source_is_taken_apart(source: str, parts: list[tuple[str, str, str, str, str]]) -> None:
    """Every part has its document with edition and place, or how it is known; nothing of it is lost but what only gives way."""
    assert citations_of(source) == [Citation(*part) for part in parts]


def test_the_later_wording_is_from_memory_and_its_day_is_read() -> None:
    """Both parts name the document; an edition that nobody knows is told as that."""
    text = "one year and 30 days, 89 FR 70505, from memory: confirm before use; in effect 30 August 2024, 89 FR 70505 (read)"
    assert [(part.about, part.document, part.known_by) for part in citations_of(text)] == [
        ("one year and 30 days", "89 FR 70505", "from memory"),
        ("in effect 30 August 2024", "89 FR 70505", "read"),
    ]
    (part,) = citations_of("40 CFR 63 subpart ZZZZ table 3 row 4, edition unknown (read)")
    assert (part.edition, part.place) == ("unknown", "table 3 row 4")
