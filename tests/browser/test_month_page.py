"""The monthly page in a browser: it opens from disk, sorts, folds, leads, prints, and asks nothing of anybody."""

from __future__ import annotations

import base64
import json
import subprocess
from pathlib import Path

import pytest
from axe_selenium_python import Axe
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import WebDriverWait

from tests.browser.conftest import SAMPLES

ALL = (*SAMPLES, "hostile")
GRAVE = ("serious", "critical")


def logged(browser: Chrome, kind: str) -> list[dict[str, str]]:
    """Return what a log of the browser has gathered since it was last asked."""
    entries: list[dict[str, str]] = browser.get_log(kind)  # type: ignore[no-untyped-call]  # the library leaves it untyped
    return entries


def opened(browser: Chrome, page: Path) -> None:
    """Open a page from disk, the logs emptied before."""
    logged(browser, "performance")
    logged(browser, "browser")
    browser.get(page.as_uri())


def widened(browser: Chrome, width: int) -> None:
    """Give the page so many pixels of width."""
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False})


def column(table: WebElement, number: int) -> list[str]:
    """Return the cells of one column of a table as they stand."""
    return [row.find_elements(By.CSS_SELECTOR, "th, td")[number].text for row in table.find_elements(By.CSS_SELECTOR, "tbody tr")]


@pytest.mark.parametrize("name", ALL)
def test_it_opens_from_disk_without_a_word_and_asks_nobody(browser: Chrome, pages: dict[str, Path], name: str) -> None:
    """No message on the console; the only address that is asked for is the file itself."""
    opened(browser, pages[name])
    assert browser.title.endswith(("October 2026", "January 2024"))
    assert logged(browser, "browser") == []
    events = [json.loads(entry["message"])["message"] for entry in logged(browser, "performance")]
    asked = [event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"]
    assert {address.split("#")[0] for address in asked} == {pages[name].as_uri()}


@pytest.mark.parametrize("name", [*ALL, "what-if", "sites"])
def test_nothing_stands_in_a_reader_s_way(browser: Chrome, pages: dict[str, Path], name: str) -> None:
    """With everything unfolded, axe finds nothing serious or critical."""
    opened(browser, pages[name])
    browser.execute_script("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
    axe = Axe(browser)
    axe.inject()
    found = [each for each in axe.run()["violations"] if each["impact"] in GRAVE]
    assert [(each["id"], [node["target"] for node in each["nodes"]][:3]) for each in found] == []


def test_a_click_on_a_heading_sorts_figures_as_figures(browser: Chrome, pages: dict[str, Path]) -> None:
    """Twelve months by what fell due: rising, then falling, and the heading says so."""
    opened(browser, pages["brackwater"])
    table = browser.find_element(By.CSS_SELECTOR, "#compliance table.sort")
    head = table.find_elements(By.CSS_SELECTOR, "thead th")[1]
    before = [int(cell) for cell in column(table, 1)]
    head.find_element(By.TAG_NAME, "button").send_keys(Keys.ENTER)
    assert [int(cell) for cell in column(table, 1)] == sorted(before)
    assert head.get_attribute("aria-sort") == "ascending"
    head.find_element(By.TAG_NAME, "button").send_keys(Keys.ENTER)
    assert [int(cell) for cell in column(table, 1)] == sorted(before, reverse=True)
    assert head.get_attribute("aria-sort") == "descending"


def test_days_sort_by_time_and_words_by_letter(browser: Chrome, pages: dict[str, Path]) -> None:
    """Months are spoken (October 2026) and sort by time all the same; engines sort by name."""
    opened(browser, pages["brackwater"])
    table = browser.find_element(By.CSS_SELECTOR, "#compliance table.sort")
    months = column(table, 0)
    button = table.find_element(By.CSS_SELECTOR, "thead th button")
    button.send_keys(Keys.ENTER)
    button.send_keys(Keys.ENTER)
    assert column(table, 0) == months[::-1]


def test_sums_fold_and_unfold(browser: Chrome, pages: dict[str, Path]) -> None:
    """Folded at first; one press of the space bar opens one, the button opens all and folds them again."""
    opened(browser, pages["harbour-clinic"])
    folds = browser.find_elements(By.CSS_SELECTOR, "#why details")
    assert not any(fold.get_property("open") for fold in folds)
    folds[0].find_element(By.TAG_NAME, "summary").send_keys(Keys.SPACE)
    assert [fold.get_property("open") for fold in folds].count(True) == 1
    button = browser.find_element(By.CSS_SELECTOR, "#fold button")
    button.send_keys(Keys.ENTER)
    assert all(fold.get_property("open") for fold in folds)
    button.send_keys(Keys.ENTER)
    assert not any(fold.get_property("open") for fold in folds)


def test_a_cell_leads_to_its_reasons(browser: Chrome, pages: dict[str, Path]) -> None:
    """A cell of the fleet at a glance opens the sum of its finding and goes there."""
    opened(browser, pages["brackwater"])
    browser.find_element(By.CSS_SELECTOR, '.fleet a[href="#G1-oil-change"]').send_keys(Keys.ENTER)
    finding = browser.find_element(By.ID, "G1-oil-change")
    assert finding.find_element(By.TAG_NAME, "details").get_property("open")
    assert "2,277 equivalent hours" in finding.text
    assert browser.current_url.endswith("#G1-oil-change")


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("width", [1400, 400])
def test_the_page_is_never_wider_than_its_window(browser: Chrome, pages: dict[str, Path], name: str, width: int) -> None:
    """Wide tables and charts scroll in themselves, on a wide screen and on a narrow one."""
    opened(browser, pages[name])
    try:
        widened(browser, width)
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.mark.parametrize("name", SAMPLES)
def test_it_prints_to_a4(browser: Chrome, pages: dict[str, Path], name: str, tmp_path: Path) -> None:
    """The print is A4, starts with the verdict, and cuts nothing off at the right edge."""
    opened(browser, pages[name])
    data = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": False})["data"]
    file = tmp_path / "page.pdf"
    file.write_bytes(base64.b64decode(data))
    facts = subprocess.run(["pdfinfo", str(file)], capture_output=True, text=True, check=True).stdout
    assert "A4" in facts
    first = subprocess.run(["pdftotext", "-l", "1", str(file), "-"], capture_output=True, text=True, check=True).stdout
    assert "at the end of 31 October 2026" in " ".join(first.split())


def test_paper_holds_the_sums_of_what_needs_doing_and_says_what_it_leaves_out(
    browser: Chrome, pages: dict[str, Path], tmp_path: Path
) -> None:
    """The overdue oil change is printed with its arithmetic, a task in interval is not, and a line says of how many that is so."""
    opened(browser, pages["brackwater"])
    data = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": False})["data"]
    file = tmp_path / "page.pdf"
    file.write_bytes(base64.b64decode(data))
    text = " ".join(subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True).stdout.split())
    assert "1,103.30 x 1 + 782.70 x 1.5 = 2,277.35 h" in text
    calm = browser.find_elements(By.CSS_SELECTOR, "#why article.in_interval")
    assert f"the arithmetic of {len(calm)} tasks in interval is left out unless it is unfolded before printing" in text
    assert text.count("Arithmetic, rules and places") == len(browser.find_elements(By.CSS_SELECTOR, "#why article")) - len(calm)
    assert not any(fold.get_property("open") for fold in browser.find_elements(By.CSS_SELECTOR, "#why details"))


def test_a_table_that_goes_on_to_the_right_says_so_until_its_end_is_seen(browser: Chrome, pages: dict[str, Path]) -> None:
    """On a phone the fleet says that it continues; scrolled to its edge it no longer does, and on a wide screen it never did."""
    opened(browser, pages["brackwater"])
    hint = browser.find_element(By.CSS_SELECTOR, "#fleet .onward")
    assert not hint.is_displayed()
    try:
        widened(browser, 390)
        wait = WebDriverWait(browser, 5)
        wait.until(lambda _: hint.is_displayed())
        assert hint.text.startswith("continues to the right")
        browser.execute_script("const box = document.querySelector('#fleet .scroll'); box.scrollLeft = box.scrollWidth;")
        wait.until(lambda _: not hint.is_displayed())
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_hostile_text_does_nothing(browser: Chrome, pages: dict[str, Path]) -> None:
    """Scripts in names, notes and sources are text; only the page's own script is there."""
    opened(browser, pages["hostile"])
    assert browser.execute_script("return document.scripts.length") == 1
    assert "<script>alert(1)</script>" in browser.find_element(By.TAG_NAME, "h1").text
