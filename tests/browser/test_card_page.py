"""A job card in a browser: complete without a script, filled in by thumb or keyboard, kept over a reload, handed in, printed."""

from __future__ import annotations

import base64
import json
import re
import subprocess
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from axe_selenium_python import Axe
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import WebDriverWait

from intervals.questions.card.card_code import card_document, is_genuine
from intervals.questions.card.card_models import Card
from intervals.reports.card.card_page import card_page
from tests.browser.test_month_page import logged, opened, widened
from tests.card_site import card_site, cards_of

SMALLEST_TARGET = 44
"""Width and height of what a finger can hit, px (WCAG 2.5.5)."""


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Card:
    """Return a card with every kind of step."""
    folder = tmp_path_factory.mktemp("plant")
    card_site(folder)
    return cards_of(folder, engines=("G1",), tasks=("oil", "plugs"))[0]


@pytest.fixture
def page(card: Card, browser: Chrome, tmp_path: Path) -> Iterator[Path]:
    """Return the card's page, opened at a phone's width in a browser that has nothing of it."""
    file = tmp_path / f"{card.code}.html"
    file.write_text(card_page(card), encoding="utf-8")
    widened(browser, 390)
    opened(browser, file)
    browser.execute_script("localStorage.clear()")
    opened(browser, file)
    yield file
    browser.execute_script("localStorage.clear()")
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def one(browser: Chrome, selector: str) -> WebElement:
    """Return what a selector finds."""
    return browser.find_element(By.CSS_SELECTOR, selector)


def press(browser: Chrome, selector: str) -> None:
    """Press a button or a choice by the keyboard."""
    element = one(browser, selector)
    element.send_keys(Keys.SPACE if element.tag_name == "input" else Keys.ENTER)


def go_to(browser: Chrome, step: str) -> str:
    """Go on by the button until a step is shown, and return the selector of its panel."""
    selector = f'[data-id="{step}"]'
    for _ in range(30):
        if one(browser, selector).is_displayed():
            return selector
        press(browser, "#next")
    raise AssertionError(step)


def answer(browser: Chrome, step: str, word: str = "done") -> None:
    """Go to a step and choose an answer."""
    press(browser, f'{go_to(browser, step)} [data-field="answer"][value="{word}"]')


def write(browser: Chrome, selector: str, text: str) -> None:
    """Write into a field, in place of what is in it."""
    field = one(browser, selector)
    field.clear()
    field.send_keys(text)


def move_clock(browser: Chrome, minutes: float) -> None:
    """Let the page's clock be so much later, as after a sleep."""
    browser.execute_script(f"const real = Date.now.bind(Date); Date.now = () => real() + {minutes} * 60000; tick();")


def downloaded(browser: Chrome, folder: Path, name: str) -> dict[str, Any]:
    """Hand in, and return the document that is saved."""
    browser.execute_cdp_cmd("Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(folder)})
    press(browser, "#hand-in")
    file = folder / name
    WebDriverWait(browser, 30).until(lambda _: file.exists())
    document: dict[str, Any] = json.loads(file.read_text("utf-8"))
    return document


def scripts(browser: Chrome, *, are_on: bool) -> None:
    """Let the browser run scripts, or not."""
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not are_on})


def test_it_asks_nobody_and_says_nothing(browser: Chrome, page: Path) -> None:
    """No message on the console; no address is asked for but the file itself."""
    assert browser.title.startswith("G1, 2026-02-28: Job card")
    assert logged(browser, "browser") == []
    events = [json.loads(entry["message"])["message"] for entry in logged(browser, "performance")]
    asked = [event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"]
    assert set(asked) == {page.as_uri()}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("view", ["one", "all", "paper"])
def test_axe_finds_nothing(browser: Chrome, page: Path, scheme: str, view: str) -> None:
    """In light and dark, step by step, as a list, and as paper: no violation of any weight, with what only shows later shown."""
    assert page.exists()
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": scheme}]})
    if view == "paper":
        browser.execute_script("document.documentElement.classList.remove('live'); document.getElementById('screen').remove()")
    else:
        selector = go_to(browser, "oil.filled")
        write(browser, f'{selector} [data-field="value"]', "999")
        answer(browser, "oil.leaks", "no")
        press(browser, "#next")
        press(browser, "#hand-in")
        browser.execute_script(f"show(state.view.at, '{view}')")
    browser.execute_script("document.querySelectorAll('details:not([hidden])').forEach((fold) => { fold.open = true; })")
    axe = Axe(browser)
    axe.inject()
    found = axe.run()["violations"]
    assert [(each["id"], [node["target"] for node in each["nodes"]][:3]) for each in found] == []


def test_without_a_script_everything_is_there(browser: Chrome, page: Path, card: Card) -> None:
    """Scripts off: every step's text and limits, the reasons, what to bring; nothing of the screen."""
    scripts(browser, are_on=False)
    try:
        opened(browser, page)
        text = one(browser, "body").text
    finally:
        scripts(browser, are_on=True)
    for wanted in [*(step.text for step in card.steps), card.tasks[0].because, "at least 270 L, at most 330 L", "7 gasket", card.code]:
        assert wanted in text
    assert "Hand in" not in text


def test_no_line_is_wider_than_a_phone_and_every_target_is_big(browser: Chrome, page: Path) -> None:
    """At 390 px nothing sticks out, in each view; what can be pressed is at least 44 px high and wide."""
    assert page.exists()
    for view in ("one", "all"):
        press(browser, f"#{view}")
        assert browser.execute_script("return document.documentElement.scrollWidth <= innerWidth")
    targets = browser.execute_script(
        "return [...document.querySelectorAll('#screen button, #screen .pick, #screen summary, #screen .field input')]"
        ".filter((each) => each.offsetParent).map((each) => [each.offsetWidth, each.offsetHeight, each.outerHTML.slice(0, 90)])"
    )
    assert len(targets) > 40
    assert [target for target in targets if min(target[:2]) < SMALLEST_TARGET] == []


def test_filled_in_reloaded_and_handed_in(browser: Chrome, page: Path, card: Card, tmp_path: Path) -> None:
    """Half of it, a reload, the other half: the file holds the card as it was made, each answer with its time, and what was typed."""
    write(browser, "#f-by", "A. B.")
    write(browser, "#f-meter", "1180,5")
    answer(browser, "oil.hot")
    write(browser, f'{go_to(browser, "oil.sample")} [data-field="label"]', " S-17 ")
    answer(browser, "oil.lock")
    press(browser, f"{go_to(browser, 'oil.drain')} [data-act=start]")
    opened(browser, page)
    assert one(browser, '[data-id="oil.drain"]').is_displayed()
    assert one(browser, "#f-by").get_property("value") == "A. B."
    assert one(browser, "#count").text == "3 of 11 steps answered"
    move_clock(browser, 21)
    press(browser, '[data-id="oil.drain"] [data-act=stop]')
    write(browser, f'{go_to(browser, "oil.filled")} [data-field="value"]', "301,5")
    answer(browser, "oil.lock.restore")
    answer(browser, "oil.leaks", "not_applicable")
    write(browser, '[data-id="oil.leaks"] [data-field="reason"]', "not run yet")
    press(browser, "#next")
    assert one(browser, "#open").text == "Steps without an answer: 2, 6, 8, 9"
    press(browser, '[data-task="oil"] [value="worn"]')
    press(browser, '[data-task="plugs"] [data-field="not_done"]')
    write(browser, "#f-released", "C. D.")
    write(browser, "#f-remarks", "Tray was full.")
    document = downloaded(browser, tmp_path, f"{card.code}.card.json")
    assert document["schema"] == "intervals.handed-in/1"
    assert is_genuine(Card.model_validate(document["card"]))
    assert document["card"] == card_document(card)
    assert (document["by"], document["released_by"], document["hour_meter_h"], document["remarks"]) == (
        "A. B.",
        "C. D.",
        1180.5,
        "Tray was full.",
    )
    assert (document["as_found"], document["not_done"]) == ({"oil": "worn"}, ["plugs"])
    steps = document["steps"]
    assert set(steps) == {"oil.hot", "oil.sample", "oil.lock", "oil.drain", "oil.filled", "oil.lock.restore", "oil.leaks"}
    assert {name: steps[name]["answer"] for name in steps} == dict.fromkeys(steps, "done") | {"oil.leaks": "not_applicable"}
    assert (steps["oil.sample"]["label"], steps["oil.filled"]["value"], steps["oil.leaks"]["reason"]) == ("S-17", 301.5, "not run yet")
    waited = datetime.fromisoformat(steps["oil.drain"]["ended_at"]) - datetime.fromisoformat(steps["oil.drain"]["started_at"])
    assert timedelta(minutes=21) <= waited < timedelta(minutes=26)
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d", document["started_at"])
    assert document["started_at"] <= steps["oil.hot"]["at"] <= document["ended_at"]


def handed_in_text(browser: Chrome) -> dict[str, Any]:
    """Hand in, and return the document that is there to copy."""
    press(browser, "#hand-in")
    document: dict[str, Any] = json.loads(str(one(browser, "#text").get_property("value")))
    return document


def test_the_work_ended_with_its_last_answer_not_with_the_handing_in(browser: Chrome, page: Path, card: Card) -> None:
    """Answered on Friday and handed in three days later: the end is Friday's, also after a remark; a further answer moves it."""
    assert page.exists()
    answer(browser, "oil.hot")
    go_to(browser, "oil.leaks")
    press(browser, "#next")
    move_clock(browser, 3 * 24 * 60)
    first = handed_in_text(browser)
    assert first["ended_at"] == first["steps"]["oil.hot"]["at"]
    assert one(browser, "#f-ended").get_property("value") == first["ended_at"][:16]
    write(browser, "#f-remarks", "x")
    assert handed_in_text(browser)["ended_at"] == first["ended_at"]
    press(browser, "#back")
    answer(browser, "oil.leaks", "yes")
    press(browser, "#next")
    later = handed_in_text(browser)
    assert later["ended_at"] == later["steps"]["oil.leaks"]["at"] > first["ended_at"]
    assert later["card"]["code"] == card.code


def test_the_end_of_the_work_can_be_set_right(browser: Chrome, page: Path) -> None:
    """What the person says is the end is handed in as it stands, and comes back after a reload."""
    assert page.exists()
    answer(browser, "oil.hot")
    go_to(browser, "oil.leaks")
    press(browser, "#next")
    browser.execute_script(
        "const end = document.getElementById('f-ended'); end.value = '2026-02-27T16:30';"
        "end.dispatchEvent(new Event('input', { bubbles: true }));"
    )
    assert handed_in_text(browser)["ended_at"] == "2026-02-27T16:30"
    opened(browser, page)
    assert one(browser, "#f-ended").get_property("value") == "2026-02-27T16:30"


def test_a_reading_that_is_no_number_is_asked_again_and_kept(browser: Chrome, page: Path) -> None:
    """46,990.5 could be two numbers: the first handing in leads back to it, the second keeps its text among the remarks."""
    assert page.exists()
    write(browser, "#f-meter", "46,990.5")
    write(browser, f'{go_to(browser, "oil.filled")} [data-field="value"]', "1.234,5")
    go_to(browser, "oil.leaks")
    press(browser, "#next")
    write(browser, "#f-remarks", "Tray was full.")
    press(browser, "#hand-in")
    assert not one(browser, "#copy").is_displayed()
    assert browser.execute_script("return document.activeElement.id") == "f-meter"
    go_to(browser, "oil.leaks")
    press(browser, "#next")
    document = handed_in_text(browser)
    assert document["hour_meter_h"] is None
    assert document["remarks"] == "Tray was full.; Hour meter, h: 46,990.5"
    assert document["steps"]["oil.filled"]["remark"] == "value: 1.234,5"


def test_with_no_way_to_save_a_file_the_text_is_there_to_copy(browser: Chrome, page: Path, card: Card) -> None:
    """A browser without files made by pages: the text is open at once."""
    assert page.exists()
    browser.execute_script("URL.createObjectURL = undefined")
    go_to(browser, "oil.leaks")
    press(browser, "#next")
    press(browser, "#hand-in")
    assert one(browser, "#text").is_displayed()
    assert json.loads(str(one(browser, "#text").get_property("value")))["card"]["code"] == card.code
    assert one(browser, "#saved").text == ""


def test_a_clock_goes_on_while_the_screen_sleeps(browser: Chrome, page: Path) -> None:
    """20 minutes are set: after 12 there are 8 left, also on other steps; after 20 they are over; stopped at 12 it was too short."""
    assert page.exists()
    drain = go_to(browser, "oil.drain")
    press(browser, f"{drain} [data-act=start]")
    move_clock(browser, 12)
    assert re.fullmatch(r"still (8:00|7:5\d)", one(browser, f"{drain} .time").text)
    press(browser, "#next")
    assert re.fullmatch(r"5: still (8:00|7:5\d)", one(browser, "#running").text)
    press(browser, "#back")
    press(browser, f"{drain} [data-act=stop]")
    assert one(browser, f"{drain} .up").text == "shorter than 20 min"
    press(browser, f"{drain} [data-act=again]")
    press(browser, f"{drain} [data-act=start]")
    move_clock(browser, 20)
    assert one(browser, f"{drain} .up").text == "20 min are over"
    assert one(browser, f"{drain} .time").text.startswith("running for 20:0")


def test_a_value_outside_its_limits_is_asked_again_and_never_refused(browser: Chrome, page: Path) -> None:
    """330 L is allowed, 331 is asked about and can be confirmed, 1.250 may be two numbers; above 0.2 means that 0.2 is outside."""
    assert page.exists()
    filled = go_to(browser, "oil.filled")
    value, warning = f'{filled} [data-field="value"]', f"{filled} .warn"
    write(browser, value, "330")
    assert not one(browser, warning).is_displayed()
    write(browser, value, "331")
    assert one(browser, warning).text.startswith("Outside the limits (at least 270 L, at most 330 L).")
    press(browser, f"{filled} [data-field=confirmed_outside]")
    assert browser.execute_script("return state.steps['oil.filled'].confirmed_outside") is True
    for two_ways in ("1.234,5", "1.250", "1,250"):
        write(browser, value, two_ways)
        assert one(browser, warning).text == "Write a number, such as 12.5; for 1.250 write 1250 or 1.25"
    write(browser, value, "0.250")
    assert one(browser, warning).text.startswith("Outside the limits")
    gap = go_to(browser, "plugs.gap.1")
    write(browser, f'{gap} [data-field="value"]', "0.2")
    assert one(browser, f"{gap} .warn").is_displayed()
    write(browser, f'{gap} [data-field="value"]', "0,21")
    assert not one(browser, f"{gap} .warn").is_displayed()


def test_the_keyboard_is_enough_and_leads_on(browser: Chrome, page: Path) -> None:
    """After Next the new step has the focus, and the next tab stop is its first answer; the list shows all steps and keeps the place."""
    assert page.exists()
    press(browser, "#next")
    assert browser.execute_script("return document.activeElement.dataset.id") == "oil.hot"
    browser.switch_to.active_element.send_keys(Keys.TAB)
    assert browser.execute_script("return document.activeElement.dataset.field") == "answer"
    press(browser, "#all")
    assert all(step.is_displayed() for step in browser.find_elements(By.CSS_SELECTOR, ".step"))
    press(browser, "#one")
    assert one(browser, '[data-id="oil.hot"]').is_displayed()


def test_on_paper_all_steps_stand_on_pages_of_a4(browser: Chrome, page: Path, card: Card, tmp_path: Path) -> None:
    """Printed from the screen: A4, every step whole on one page, the code and the number on each page, no button."""
    go_to(browser, "oil.filled")
    made = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    file = tmp_path / "card.pdf"
    file.write_bytes(base64.b64decode(made["data"]))
    told = subprocess.run(["pdfinfo", str(file)], capture_output=True, text=True, check=True).stdout
    assert "(A4)" in told
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True).stdout
    pages = [re.sub(r"\s+", " ", each) for each in text.split("\f") if each.strip()]
    assert all(card.code in each and f"{number}/{len(pages)}" in each.replace(" ", "") for number, each in enumerate(pages, 1))
    whole = " ".join(pages)
    for step in card.steps:
        assert step.text.split(":")[0] in whole
    assert "Who released the engine" in whole
    assert "Hand in" not in whole
    assert page.exists()


def test_where_nothing_can_be_kept_it_says_so(browser: Chrome, page: Path) -> None:
    """A browser that refuses to store: the page warns, and goes on."""
    assert page.exists()
    assert not one(browser, "#not-kept").is_displayed()
    browser.execute_script("Storage.prototype.setItem = () => { throw new Error('full'); }")
    answer(browser, "oil.hot")
    assert one(browser, "#not-kept").is_displayed()
    assert one(browser, "#count").text == "1 of 11 steps answered"
