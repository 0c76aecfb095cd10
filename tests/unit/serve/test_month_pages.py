"""Pages of months: each made once for all who ask, the last one shown meanwhile, nobody else kept waiting."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from threading import Event
from time import sleep

import pytest

from intervals.problems import RequestProblemError
from intervals.processes import LostProcessError
from intervals.serve import month_process
from intervals.serve.judge_thread import BusyError
from intervals.serve.month_drawing import drawn
from intervals.serve.month_pages import MOST_WAITING, MonthPages
from intervals.serve.month_process import MonthProcess, StoppedProcessError
from intervals.serve.site_files import FilesState
from tests.unit.serve.served_pages import NOW, Person, write_quay

Serve = Callable[..., Person]


class Drawing:
    """What draws pages in a test: each has its number, and waits until it may go on."""

    def __init__(self) -> None:
        self.free, self.begun, self.is_broken = Event(), Event(), False
        self.free.set()
        self.count = 0

    def draw(self, month: str) -> str:
        """Draw the next page."""
        self.count += 1
        self.begun.set()
        assert self.free.wait(60)
        if self.is_broken:
            message = "as it was raised"
            raise ValueError(message)
        return f"{month} {self.count}"


@contextmanager
def pages_of(drawing: Drawing, now_s: list[float]) -> Iterator[MonthPages]:
    """Yield pages that last 600 s by a clock that stands."""
    pages = MonthPages(drawing.draw, 600.0, lambda: now_s[0])
    try:
        yield pages
    finally:
        drawing.free.set()
        pages.close()


def new_page(pages: MonthPages, month: str) -> str:
    """Return the page of a month that is no old one, as soon as there is one."""
    while (found := pages.page(month)).is_old:
        pass
    return found.page


def test_a_page_is_made_anew_when_a_file_is_another_one() -> None:
    """A file that people write counts at once, the log only once the page is a minute old."""
    drawing, now_s, files = Drawing(), [0.0], [FilesState()]
    pages = MonthPages(drawing.draw, 600.0, lambda: now_s[0], lambda: files[0])
    stamp = (("plan.yaml", 1, 1, 1),)
    assert pages.page("2024-02") == ("2024-02 1", False)
    files[0] = FilesState(written=stamp)
    assert pages.page("2024-02") == ("2024-02 1", True)
    assert new_page(pages, "2024-02") == "2024-02 2"
    files[0] = FilesState(written=stamp, log=stamp)
    now_s[0] = 59.0
    assert pages.page("2024-02") == ("2024-02 2", False)
    now_s[0] = 60.0
    assert pages.page("2024-02") == ("2024-02 2", True)
    assert new_page(pages, "2024-02") == "2024-02 3"
    pages.close()


def test_a_file_that_changes_while_a_page_is_drawn_makes_it_an_old_one() -> None:
    """The page is of the files as they were when its drawing began."""
    drawing, files = Drawing(), [FilesState()]
    drawing.free.clear()
    pages = MonthPages(drawing.draw, 600.0, lambda: 0.0, lambda: files[0])
    with ThreadPoolExecutor(1) as pool:
        asked = pool.submit(pages.page, "2024-02")
        assert drawing.begun.wait(60)
        files[0] = FilesState(written=(("services.csv", 1, 1, 1),))
        drawing.free.set()
        assert asked.result(60) == ("2024-02 1", False)
    assert pages.page("2024-02") == ("2024-02 1", True)
    pages.close()


def test_a_plan_that_is_written_comes_onto_the_page(serve: Serve, quay: Path) -> None:
    """The page of this month is kept; once there is a plan, the next one shows its stop, and what comes later too."""
    person = serve()
    assert 'id="stops"' not in person.get("/month/2024-03").text
    for day in ("2024-03-11", "2024-03-12"):
        (quay / "plan.yaml").write_text(f"stops:\n- {{engine: G1, day: {day}, tasks: [oil]}}\n", "utf-8")
        assert "a newer one is being made" in person.get("/month/2024-03").text
        while "a newer one is being made" in (page := person.get("/month/2024-03").text):
            sleep(0.5)
        assert f"{int(day[-2:])} March 2024" in page.split('id="stops"')[1].split("</section>")[0]


def test_those_who_ask_at_once_get_one_page() -> None:
    """Four ask before there is any: it is drawn once."""
    drawing = Drawing()
    drawing.free.clear()
    with pages_of(drawing, [0.0]) as pages, ThreadPoolExecutor(MOST_WAITING) as pool:
        asked = [pool.submit(pages.page, "2024-02") for _ in range(MOST_WAITING)]
        assert drawing.begun.wait(60)
        drawing.free.set()
        assert {each.result(60) for each in asked} == {("2024-02 1", False)}
        assert pages.page("2024-02") == ("2024-02 1", False)
    assert drawing.count == 1


@pytest.mark.parametrize("why", ["old", "forgotten"])
def test_the_last_page_is_shown_while_a_new_one_is_made(why: str) -> None:
    """After ten minutes, or a card that was written: whoever asks gets the last one at once, and then the new one."""
    drawing, now_s = Drawing(), [0.0]
    with pages_of(drawing, now_s) as pages:
        assert pages.page("2024-02") == ("2024-02 1", False)
        drawing.free.clear()
        if why == "old":
            now_s[0] = 600.0
        else:
            pages.forget()
        assert pages.page("2024-02") == pages.page("2024-02") == ("2024-02 1", True)
        drawing.free.set()
        assert new_page(pages, "2024-02") == "2024-02 2"
    assert drawing.count == 2


def test_a_page_that_was_begun_before_a_card_was_written_is_made_once_more() -> None:
    """What it shows may lack the card."""
    drawing = Drawing()
    drawing.free.clear()
    with pages_of(drawing, [0.0]) as pages, ThreadPoolExecutor(1) as pool:
        first = pool.submit(pages.page, "2024-02")
        assert drawing.begun.wait(60)
        pages.forget()
        drawing.free.set()
        assert first.result(60).page == "2024-02 1"
        assert new_page(pages, "2024-02") == "2024-02 2"


def test_a_page_that_cannot_be_made_any_more_is_not_shown_for_ever() -> None:
    """Whoever asks next is told why, and a page comes again when it can be made."""
    drawing = Drawing()
    with pages_of(drawing, [0.0]) as pages:
        pages.page("2024-02")
        pages.forget()
        drawing.is_broken = True
        with pytest.raises(ValueError, match="as it was raised"):
            new_page(pages, "2024-02")
        drawing.is_broken = False
        assert new_page(pages, "2024-02").startswith("2024-02 ")


def test_too_many_who_wait_are_sent_away_and_nothing_is_made_at_the_end() -> None:
    """One more than may wait is told at once; pages that were not begun when the server ends are not made."""
    drawing = Drawing()
    drawing.free.clear()
    with pages_of(drawing, [0.0]) as pages, ThreadPoolExecutor(MOST_WAITING + 1) as pool:
        asked = [pool.submit(pages.page, f"2024-0{number}") for number in range(1, MOST_WAITING + 2)]
        (sent_away,) = islice(as_completed(asked, 60), 1)
        assert isinstance(sent_away.exception(), BusyError)
        ending = ThreadPoolExecutor(1).submit(pages.close)
        assert any(isinstance(each.exception(60), BusyError) for each in asked if each is not sent_away and each is not asked[0])
        drawing.free.set()
        ending.result(60)
        with pytest.raises(BusyError):
            pages.page("2023-01")
    assert drawing.count == 1


def test_a_process_draws_the_page_of_the_report(tmp_path: Path) -> None:
    """What it draws is what the same steps draw here; problems of the site come back as they are."""
    folder = write_quay(tmp_path / "quay").folder
    process = MonthProcess(folder, lambda: NOW)
    page, problems = drawn([str(folder), "2024-02", NOW.isoformat()])
    assert (process.draw("2024-02"), problems) == (page, ())
    (folder / "site.yaml").write_text("site: 1\n", "utf-8")
    with pytest.raises(RequestProblemError) as caught:
        process.draw("2024-02")
    assert tuple(caught.value.problems) == drawn([str(folder), "2024-02", NOW.isoformat()])[1]


def test_a_process_that_is_lost_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It ends without a page; after the end none is begun."""
    monkeypatch.setattr(month_process, "_PROGRAM", "intervals.serve.nothing")
    process = MonthProcess(tmp_path, lambda: NOW)
    with pytest.raises(LostProcessError, match="2024-02 ended with 1"):
        process.draw("2024-02")
    process.close()
    with pytest.raises(BusyError):
        process.draw("2024-02")


STOPS_ITSELF = """
import os, pickle, signal, sys
from pathlib import Path
tried = Path(sys.argv[1]) / "tried"
count = len(tried.read_text()) if tried.exists() else 0
tried.write_text("x" * (count + 1))
if count < int((Path(sys.argv[1]) / "times").read_text()):
    os.kill(os.getpid(), getattr(signal, (Path(sys.argv[1]) / "signal").read_text()))
sys.stdout.buffer.write(pickle.dumps(("the page", ())))
"""


def stopping(folder: Path, monkeypatch: pytest.MonkeyPatch, how: str, times: int) -> MonthProcess:
    """Return what draws pages by a program that stops itself some times, and then draws."""
    (folder / "stops_itself.py").write_text(STOPS_ITSELF, "utf-8")
    (folder / "times").write_text(str(times), "utf-8")
    (folder / "signal").write_text(how, "utf-8")
    monkeypatch.setenv("PYTHONPATH", str(folder))
    monkeypatch.setattr(month_process, "_PROGRAM", "stops_itself")
    monkeypatch.setattr(month_process, "TAKES_AT_MOST_S", 2.0)
    return MonthProcess(folder, lambda: NOW)


@pytest.mark.parametrize("how", ["SIGSTOP", "SIGKILL"])
def test_a_process_that_is_stopped_is_noticed_and_begun_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    """Stopped once the page comes from the next one; stopped twice it is said, and a later one draws again."""
    assert stopping(tmp_path, monkeypatch, how, 1).draw("2024-02") == "the page"
    (tmp_path / "tried").unlink()
    process = stopping(tmp_path, monkeypatch, how, 2)
    with pytest.raises(StoppedProcessError, match="2024-02 was stopped, or took more than 2 s, 2 times"):
        process.draw("2024-02")
    assert process.draw("2024-02") == "the page"


def test_a_page_that_could_not_be_drawn_is_said_plainly(serve: Serve, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is no error in the program; other pages go on."""

    def stopped(_: MonthProcess, month: str) -> str:
        raise StoppedProcessError(month)

    monkeypatch.setattr(MonthProcess, "draw", stopped)
    person = serve()
    page = person.get("/month/2024-02")
    assert (page.status, "could not be drawn" in page.text, "error in the program" in page.text) == (503, True, False)
    assert person.get("/cards").status == 200


def test_nobody_waits_for_the_page_that_another_asked_for(serve: Serve, monkeypatch: pytest.MonkeyPatch) -> None:
    """While a month is drawn, what is due and the cards are answered, and a card is made; then the page comes."""
    drawing = Drawing()
    drawing.free.clear()
    monkeypatch.setattr(MonthProcess, "draw", lambda _, month: drawing.draw(month))
    person = serve()
    with ThreadPoolExecutor(1) as pool:
        month = pool.submit(person.get, "/month/2024-02")
        assert drawing.begun.wait(60)
        other = Person(person.port)
        assert other.get("/").status == other.get("/cards").status == 200
        other.make_card()
        assert not month.done()
        drawing.free.set()
        assert month.result(60).text == "2024-02 1"


def test_an_old_page_says_that_it_is_one(serve: Serve, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten minutes later: the last page, with a line on top that leads to the new one."""
    drawing = Drawing()
    monkeypatch.setattr(MonthProcess, "draw", lambda _, month: f"<body>{drawing.draw(month)}")
    monkeypatch.setattr("intervals.serve.served_site.MONTH_LASTS_S", 0.0)
    person = serve()
    assert person.get("/month/2024-02").text == "<body>2024-02 1"
    page = person.get("/month/2024-02")
    assert page.text.startswith('<body><p role="status">This page is from the date that it shows')
    assert page.text.endswith("</p>2024-02 1")
