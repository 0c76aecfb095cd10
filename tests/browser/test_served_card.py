"""A card over the network in a browser without scripts: made, filled in, its verdict read, said yes to, and found in the site's records."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_selenium_python import Axe
from selenium.common.exceptions import WebDriverException
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import WebDriverWait

from tests.browser.test_month_page import GRAVE, logged, widened
from tests.unit.serve.conftest import served
from tests.unit.serve.served_pages import FILLED, write_quay

PHRASE = "slate rivet moon harbour"
TYPED_BY_HAND = ("by", "hour_meter_h", "s3-value", "released_by")


@pytest.fixture
def quay(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    """Serve the small site behind a passphrase; return its address and its folder."""
    site = write_quay(tmp_path / "quay")
    with served(site, PHRASE) as port:
        yield f"http://127.0.0.1:{port}", site.folder


@pytest.fixture
def plain_browser(browser: Chrome) -> Iterator[Chrome]:
    """Return the browser with scripts of pages turned off, as some plants have it."""
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    yield browser
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    browser.delete_all_cookies()


def found(browser: Chrome, selector: str) -> WebElement:
    """Return the one element of a page that is meant."""
    return browser.find_element(By.CSS_SELECTOR, selector)


def press(browser: Chrome, label: str) -> None:
    """Press a button."""
    browser.find_element(By.XPATH, f"//button[normalize-space()='{label}']").click()


def await_heading(browser: Chrome, start: str) -> None:
    """Wait until a page is there whose heading begins like this; while one goes and the next comes, the driver fails in many ways."""
    wait = WebDriverWait(browser, 60, ignored_exceptions=[WebDriverException])
    wait.until(lambda _: found(browser, "h1").text.startswith(start))


def enter(browser: Chrome, address: str) -> None:
    """Enter the passphrase."""
    browser.get(address)
    found(browser, "input[name=passphrase]").send_keys(PHRASE)
    press(browser, "Enter")
    await_heading(browser, "What needs doing")


def fill_in(browser: Chrome) -> None:
    """Fill in a whole card."""
    for name, value in FILLED.items():
        if name.endswith("answer"):
            found(browser, f"input[name={name}][value={value}]").click()
        elif name in TYPED_BY_HAND:
            found(browser, f"input[name={name}]").send_keys(value)
        else:
            # a browser's own field for times takes them in its language; what it sends is the same in all
            day, time = value.split("T")
            year, month, date = day.split("-")
            hour = int(time[:2])
            field = found(browser, f"input[name={name}]")
            field.send_keys(f"{month}{date}{year}")
            field.send_keys(Keys.TAB, f"{hour % 12 or 12:02d}{time[3:]}{'AM' if hour < 12 else 'PM'}")


def test_a_card_is_handed_in_without_any_script(plain_browser: Chrome, quay: tuple[str, Path]) -> None:
    """From the passphrase to the row in the records; no page asks anybody else for anything, and none complains."""
    address, folder = quay
    logged(plain_browser, "performance"), logged(plain_browser, "browser")
    rows = (folder / "services.csv").read_text("utf-8").splitlines()
    enter(plain_browser, address)
    press(plain_browser, "Make a card of what is ticked")
    await_heading(plain_browser, "G1")
    fill_in(plain_browser)
    press(plain_browser, "Hand in")
    await_heading(plain_browser, "Not written yet")
    assert found(plain_browser, "h2").text == "Change <b>oil</b>: credited"
    assert (folder / "services.csv").read_text("utf-8").splitlines() == rows
    press(plain_browser, "Write it")
    await_heading(plain_browser, "Written")
    code = found(plain_browser, "main code").text
    assert (folder / "services.csv").read_text("utf-8").splitlines() == [*rows, f"2024-03-01,G1,oil,600.0,done,A. Person,,{code},,,,"]
    # it advises a field for a name beside that for the passphrase; there are no names here
    assert [entry for entry in logged(plain_browser, "browser") if entry["level"] != "DEBUG"] == []
    events = [json.loads(entry["message"])["message"] for entry in logged(plain_browser, "performance")]
    asked = {event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"}
    # the browser's own picture in a field for times is no request to anybody
    sent = {each.partition("/card/")[0] for each in asked if not each.startswith("data:")}
    assert sent == {f"{address}/", f"{address}/enter", f"{address}/cards", address}


@pytest.mark.parametrize("width", [360, 1400])
def test_the_pages_can_be_used_by_everybody(browser: Chrome, quay: tuple[str, Path], width: int) -> None:
    """On a phone and on a desk: axe finds nothing serious, no page is wider than the screen, buttons fit gloves."""
    address, _ = quay
    widened(browser, width)
    try:
        enter(browser, address)
        press(browser, "Make a card of what is ticked")
        await_heading(browser, "G1")
        card = browser.current_url
        press(browser, "Hand in")
        await_heading(browser, "Not written yet")
        pages = {"verdict": None, "card": card, "due": address, "cards": f"{address}/cards", "enter": f"{address}/enter"}
        for name, page in pages.items():
            if page is not None:
                browser.get(page)
            # the policy of the pages lets no script in; a driver's own is no page's
            results = checked(browser)
            assert [each["id"] for each in results if each["impact"] in GRAVE] == [], name
            assert browser.execute_script("return document.documentElement.scrollWidth <= window.innerWidth"), name
            small = [button.text for button in browser.find_elements(By.TAG_NAME, "button") if button.size["height"] < 44]
            assert small == [], name
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        browser.delete_all_cookies()


def checked(browser: Chrome) -> list[dict[str, str]]:
    """Return what axe finds on the page that is open."""
    axe = Axe(browser)
    axe.inject()
    found_by_axe: list[dict[str, str]] = axe.run()["violations"]
    return found_by_axe
