"""The fleet at a glance."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from io import StringIO
from typing import Any

import pytest

from intervals.reports.check.table import Asked, findings_lines
from intervals.reports.lines import plain_text, printable, write_lines
from tests.unit.reports.made_findings import finding, fleet, hours_leg, made_findings, october, odd_reading, skipped_oil

ASKED = Asked("sample_logs/brackwater", ("--as-of", "2026-10-31"))
EVERY = replace(ASKED, shows_all=True)


def drawn(width: int | None = None, asked: Asked = ASKED, **parts: object) -> str:
    """Return the plain report of made findings."""
    return plain_text(findings_lines(made_findings(**parts), asked, width=width))  # type: ignore[arg-type] # parts are its own


def test_the_whole_table() -> None:
    """Every standing, figure and date stands in its column, the most urgent first, and the sentences at the end."""
    assert drawn(asked=EVERY).splitlines()[:8] == [
        "brackwater  as of 2026-11-01T00:00:00+01:00  rule set gas-engine 2026.11",
        "",
        "engine  task         status              used / allowed      past by or left  due on       why",
        "G1      oil-change   ! overdue          2,311 / 2,000 h           311 h past  2026-10-09   "
        "2,311 equivalent hours since 2026-06-02 (services.csv:41), allowed 2,000; 417 h above 90 % load count 1.5 times",
        "G2      oil-change   ? unknown                        ?                    ?  ?            no meter tells the hours",
        "G1      spark-plugs  > upcoming     1,999.996 / 2,000 h         0.004 h left  2026-11-01   0.004 h left of 2,000, lead 200 h",
        "G2      coolant      > upcoming         2,016 / 2,000 h  16 h past, deferred  ~2026-11-20  "
        "deferred until 18,500 h by the chief engineer",
        "G1      hoses        . in interval          151 / 365 d           214 d left  2027-06-02   151 of 365 days",
    ]


def rows_of(text: str) -> list[str]:
    """Return engine and task of each row of the table, and what follows the rows."""
    return [
        line if line.split()[0].isdigit() or line[0] == "N" else " ".join(line.split()[:2])
        for line in text.split("\n\n")[1].splitlines()[1:]
    ]


def test_the_table_shows_what_needs_doing_and_counts_the_rest() -> None:
    """A task in interval is not shown; a line says how many there are and how to see them."""
    assert rows_of(drawn()) == [
        "G1 oil-change",
        "G2 oil-change",
        "G1 spark-plugs",
        "G2 coolant",
        "1 task in interval is not shown: --all shows every task, --due P30D what falls due within 30 days",
    ]


def test_where_nothing_needs_doing_that_is_said() -> None:
    """A fleet in interval has no row, and a sentence that begins with what a reader wants to know."""
    text = drawn(findings=(finding(standing="in_interval"), finding(engine="G2", standing="in_interval")))
    assert text.split("\n\n")[1].startswith("Nothing needs doing. 2 tasks in interval are not shown: --all")


def test_a_span_shows_what_falls_due_within_it() -> None:
    """Up to its last day, whatever the standing; what is overdue fell due before; what has no date is counted."""
    assert rows_of(drawn(asked=replace(ASKED, due_by=date(2026, 11, 1)))) == [
        "G1 oil-change",
        "G1 spark-plugs",
        "3 more tasks not due by 2026-11-01 (2 without a date): --all shows every task",
    ]
    assert rows_of(drawn(asked=replace(ASKED, due_by=date(2027, 6, 2))))[2] == "G1 hoses"


def test_totals_and_rows_are_told() -> None:
    """The counts of each standing, of open skipped ones and of rows follow the table."""
    text = drawn()
    assert "5 findings: 1 overdue, 2 upcoming, 1 in interval, 1 unknown, 1 skipped and still open" in text
    assert "52,560 rows of the log read: 52,541 accepted, 19 set aside" in text


def test_of_a_month_only_what_was_skipped_in_it_is_told() -> None:
    """With a month the count is that of its own skipped ones, and says so."""
    assert "1 skipped in 2026-10 and still open" in drawn(compliance=october())


def test_the_next_command_is_told_for_the_worst_finding() -> None:
    """The hint names the overdue task, and the options that give the same answer."""
    assert "intervals explain sample_logs/brackwater G1 oil-change --as-of 2026-10-31" in drawn()
    assert "intervals explain sample_logs/brackwater G2 oil-change" in drawn(findings=fleet()[1:])


def test_the_next_command_can_be_pasted() -> None:
    """A folder with blanks is quoted."""
    lines = findings_lines(made_findings(), Asked("my site"))
    assert "intervals explain 'my site' G1 oil-change" in plain_text(lines)


def test_late_within_tolerance_is_told_apart() -> None:
    """Overdue within its tolerance says so beside the figure."""
    assert "16 h past, in tolerance" in drawn(findings=(finding(past_by=16.0, within_tolerance=True),))


def test_exactly_at_the_line_is_neither_left_nor_past() -> None:
    """Nothing left and nothing past reads as what it is."""
    text = drawn(findings=(finding(standing="upcoming", legs=(hours_leg(2000.0),)),))
    assert "2,000 / 2,000 h" in text
    assert "at the line" in text


@pytest.mark.parametrize("width", [40, 60, 80, 100, 140, 200])
def test_no_row_is_wider_than_the_terminal(width: int) -> None:
    """At any width the table's lines fit; the figures and standings are all there."""
    text = drawn(width=width, asked=EVERY, skipped=(), faults=())
    table = text.split("\n\n")[1]
    assert max(len(line) for line in table.splitlines()) <= width
    for piece in ("! overdue", "> upcoming", ". in interval", "? unknown", "2,311 / 2,000 h", "2026-10-09"):
        assert piece in table
    assert "417 h above 90 % load count 1.5 times" in " ".join(table.split())


@pytest.mark.parametrize("width", [45, 60, 80, 100, 134])
def test_nothing_but_a_command_is_wider_than_the_terminal(width: int) -> None:
    """Meanings of faults, totals and headings are folded at blanks, and no letter of what is wrong in the data is lost."""
    parts: dict[str, Any] = {"faults": (odd_reading(812), odd_reading(9, "gap")), "compliance": october()}
    at_width = drawn(width=width, **parts)
    assert [line for line in at_width.splitlines() if len(line) > width and not line.startswith("  intervals ")] == []
    at_any = drawn(**parts)
    assert "".join(at_width[at_width.index("Faults in") :].split()) == "".join(at_any[at_any.index("Faults in") :].split())


def test_a_folded_line_goes_on_set_in() -> None:
    """At 60 columns the meaning of a fault takes a second line, set in by four."""
    lines = drawn(width=60, faults=(odd_reading(812),)).splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("meter_reading_odd"))
    assert lines[first : first + 3] == [
        "meter_reading_odd  1  a meter reading that fits neither",
        "    neighbour, or that the meter cannot show: a typing",
        "    error; it is taken as blank",
    ]


def test_a_command_that_is_too_wide_has_a_line_of_its_own() -> None:
    """A command is to be pasted: it is never broken, and stands below what it is for."""
    lines = drawn(width=80).splitlines()
    place = lines.index("the whole sum behind one line:")
    assert lines[place + 1] == "  intervals explain sample_logs/brackwater G1 oil-change --as-of 2026-10-31"


def test_a_long_list_of_faults_is_cut_and_says_so() -> None:
    """Ten of 214 are shown, at least one of every kind, each kind with its count and meaning."""
    faults = (*(odd_reading(line) for line in range(1, 214)), odd_reading(9, "gap"))
    text = drawn(faults=faults)
    assert "Faults in the data: 214; showing 10 of 214, all of them with --format json" in text
    assert "meter_reading_odd  213  a meter reading that fits neither neighbour" in text
    assert "gap  1  no rows for longer than gap_h" in text
    assert "G2 readings/2026-03.csv:9" in text
    assert "G2 readings/2026-03.csv:10" not in text


def test_records_that_are_set_aside_are_told_beside_many_other_faults() -> None:
    """Each of them decides what counts as done: with twelve other kinds of faults both records of an unknown task are shown."""
    kinds = ("gap", "meter_went_back", "meter_ran_fast", "duplicate_row", "unreadable_cell", "unreadable_time", "empty_file", "log_ended",
             "malformed_row", "unknown_engine", "row_in_future", "impossible_value")  # fmt: skip
    others = [odd_reading(line, kind) for kind in kinds for line in (1, 2)]
    text = drawn(faults=(*others, odd_reading(77, "unknown_task"), odd_reading(78, "unknown_task")))
    assert "Faults in the data: 26; showing 14 of 26" in text
    assert "G2 readings/2026-03.csv:78" in text


def test_skipped_ones_still_open_come_first() -> None:
    """Of twelve skipped occurrences ten are shown, the open one before all closed ones."""
    skipped = (*(skipped_oil(still_open=False, task=f"closed-{number}") for number in range(11)), skipped_oil())
    text = drawn(skipped=skipped)
    section = text[text.index("Skipped: 12 occurrences, 1 still open; showing 10 of 12") :].splitlines()
    assert "spark-plugs" in section[2]
    assert "open" in section[2]


def test_the_month_is_told_as_published() -> None:
    """318 on time of 384 is 82.8 %; what was late or deferred is listed, what was simply on time is not.

    By weight the worst comes first: 18 of 84 is 21.4 %, which the tests of safety do not hide.
    """
    text = drawn(compliance=october())
    assert "Compliance in 2026-10: 82.8 %" in text
    assert "318 on time of 384; 66 late (20 missed, 6 open); not in the figure: 3 pending, 1 deferred, 12 early" in text
    weights = "engine 21.4 % (18 on time of 84; 66 late (20 missed, 6 open)); safety 100 % (300 on time of 300; 0 late)"
    assert f"by weight: {weights}" in text
    assert "late, deferred  2026-10-09  2026-10-30  done 420 h past its line" in text
    assert "in time" not in text


def test_a_month_without_work_has_no_figure() -> None:
    """No occurrence, no figure."""
    empty = october().model_copy(update={"figure": None, "on_time": 0, "late": 0, "missed": 0, "open": 0, "occurrences": ()})
    assert "Compliance in 2026-10: no figure, nothing fell due" in drawn(compliance=empty)


def test_nothing_fell_due_is_not_said_over_a_list_of_pending_jobs() -> None:
    """Nothing decided, one pending: so it is said."""
    pending = october().occurrences[0].model_copy(update={"met": "pending"})
    update = {"figure": None, "on_time": 0, "late": 0, "missed": 0, "open": 0, "pending": 1, "deferred": 0, "early": 0}
    text = drawn(compliance=october().model_copy(update={**update, "occurrences": (pending,)}))
    assert "Compliance in 2026-10: no figure, nothing decided (1 pending, 0 deferred, 0 early)" in text
    assert "fell due" not in text


def test_text_from_files_cannot_steer_the_terminal() -> None:
    """Control characters and changes of direction are written out."""
    text = drawn(findings=(finding(engine="G1\x1b[2J", task="oil\u202echange"),))
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "G1\\x1b[2J" in text


@pytest.mark.parametrize("text", ["G1", "Zuider-Gemaal \u2460", "\u0639\u0631\u0628\u064a", "\u6cb9\u4ea4\u63db", "50 \u00b0C"])
def test_letters_of_any_script_stay(text: str) -> None:
    """What only shows itself is left alone."""
    assert printable(text) == text


def test_a_terminal_gets_colour_and_a_file_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """The words are the same with and without colour, and NO_COLOR takes the colours away."""
    lines = findings_lines(made_findings(), ASKED, width=120)
    plain, coloured, uncoloured = StringIO(), StringIO(), StringIO()
    write_lines(lines, plain, in_colour=False)
    monkeypatch.setenv("FORCE_COLOR", "1")
    write_lines(lines, coloured, in_colour=True)
    monkeypatch.setenv("NO_COLOR", "1")
    write_lines(lines, uncoloured, in_colour=True)
    assert "\x1b[" not in plain.getvalue()
    assert "\x1b[1;31m! overdue" in coloured.getvalue()
    assert "31m" not in uncoloured.getvalue()
    assert "! overdue" in uncoloured.getvalue()


def test_wide_letters_keep_the_columns() -> None:
    """A letter that takes two columns counts as two."""
    rows = drawn(findings=(finding(engine="\u6cb9\u4e00"), finding(engine="G234"))).splitlines()[3:5]
    assert rows[0].index("oil-change") + 2 == rows[1].index("oil-change")
