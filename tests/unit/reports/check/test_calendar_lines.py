"""Lines of a calendar, held against those that `icalendar` writes."""

from __future__ import annotations

from datetime import date

from hypothesis import given
from hypothesis import strategies as st
from icalendar import Event

from intervals.reports.check.calendar_lines import content_lines, day_value, escaped_text

TEXT = st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"]) | st.sampled_from("\\;,^\n"), max_size=300)


@given(TEXT)
def test_a_text_is_written_as_another_writes_it(text: str) -> None:
    """Commas, semicolons, line ends and backslashes escaped, lines folded at 75 octets, no letter and no escape cut."""
    event = Event()
    event.add("summary", text)
    expected = event.to_ical().decode("utf-8").removeprefix("BEGIN:VEVENT\r\n").removesuffix("END:VEVENT\r\n")
    # what stands for a line end may be written in two ways
    assert content_lines([("SUMMARY", escaped_text(text.replace("\\N", "\\n")))]) == expected.replace("\\N", "\\n")


def test_a_day_is_written_as_another_writes_it() -> None:
    """Eight digits."""
    event = Event()
    event.add("dtstart", date(2026, 1, 5))
    assert f"DTSTART;VALUE=DATE:{day_value(date(2026, 1, 5))}\r\n".encode() in event.to_ical()
