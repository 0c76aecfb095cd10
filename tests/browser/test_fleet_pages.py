"""The overview of a fleet in a browser: it filters, leads to its engines and back, prints, and asks nobody for anything."""

from __future__ import annotations

import base64
import json
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_selenium_python import Axe
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select, WebDriverWait
from typer.testing import CliRunner

from intervals.cli.main import app
from tests.browser.test_month_page import GRAVE, logged, opened, widened
from tests.cli.test_report_fleet import ENGINES, write_fleet


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a report of thirteen engines: the oil of the first two is overdue."""
    folder = tmp_path_factory.mktemp("fleet")
    write_fleet(folder / "site")
    result = CliRunner().invoke(app, ["report", str(folder / "site"), "--month", "2024-04", "--out", str(folder / "out")])
    assert result.exit_code == 0, result.output
    return folder / "out"


@pytest.fixture
def overview(browser: Chrome, fleet: Path) -> Iterator[Chrome]:
    """Return a browser in which the overview is open."""
    opened(browser, fleet / "index.html")
    yield browser
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def shown(browser: Chrome) -> list[str]:
    """Return the engines whose rows are seen."""
    rows = browser.find_elements(By.CSS_SELECTOR, "#matrix tbody tr")
    return [row.find_element(By.TAG_NAME, "a").text for row in rows if row.is_displayed()]


def test_rows_are_found_by_engine_task_and_status(overview: Chrome) -> None:
    """Thirteen rows; those overdue are two, in the oil's column too, none in that of the hoses; by name; all again."""
    assert shown(overview) == list(ENGINES)
    status, task = (Select(overview.find_element(By.ID, name)) for name in ("f-status", "f-task"))
    status.select_by_visible_text("overdue")
    assert shown(overview) == ["G1", "g1"]
    task.select_by_visible_text("Look at the hoses")
    assert shown(overview) == []
    assert [head.is_displayed() for head in overview.find_elements(By.CSS_SELECTOR, "#matrix thead th")] == [True] * 3 + [
        False,
        True,
        False,
    ]
    task.select_by_visible_text("Change <oil>")
    assert shown(overview) == ["G1", "g1"]
    overview.find_element(By.CSS_SELECTOR, "#filter button").click()
    WebDriverWait(overview, 5).until(lambda browser: len(shown(browser)) == 13)
    overview.find_element(By.ID, "f-engine").send_keys("e1")
    # the titles of "Engine 1", "Engine 10" and so on hold no "e1", their ids do
    assert shown(overview) == ["E1"]
    assert overview.find_element(By.ID, "f-count").text == "1 of 13 engines"


def test_a_cell_leads_to_its_reasons_on_the_engine_s_page_and_back(overview: Chrome, fleet: Path) -> None:
    """The page of E1 opens at the oil's reasons, unfolded; its first link leads back."""
    overview.find_element(By.CSS_SELECTOR, '#matrix a[href="engines/E1.html#E1-oil"]').send_keys(Keys.ENTER)
    assert overview.current_url == f"{(fleet / 'engines/E1.html').as_uri()}#E1-oil"
    assert overview.find_element(By.CSS_SELECTOR, "#E1-oil details").get_property("open")
    overview.find_element(By.CSS_SELECTOR, "header a").send_keys(Keys.ENTER)
    assert overview.current_url == (fleet / "index.html").as_uri()


@pytest.mark.parametrize("page", ["index.html", "engines/E1.html"])
def test_it_asks_nobody_and_stands_in_nobody_s_way(browser: Chrome, fleet: Path, page: str) -> None:
    """No message on the console, no address but its own; axe finds nothing serious; never wider than its window."""
    opened(browser, fleet / page)
    assert logged(browser, "browser") == []
    events = [json.loads(entry["message"])["message"] for entry in logged(browser, "performance")]
    asked = {event["params"]["request"]["url"].split("#")[0] for event in events if event["method"] == "Network.requestWillBeSent"}
    assert asked == {(fleet / page).as_uri()}
    axe = Axe(browser)
    axe.inject()
    found = [each for each in axe.run()["violations"] if each["impact"] in GRAVE]
    assert [(each["id"], [node["target"] for node in each["nodes"]][:3]) for each in found] == []
    try:
        for width in (1400, 390):
            widened(browser, width)
            assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_without_scripts_all_of_it_is_there(browser: Chrome, fleet: Path) -> None:
    """Every row is seen, and no filter that would do nothing."""
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        opened(browser, fleet / "index.html")
        assert not browser.find_element(By.ID, "filter").is_displayed()
        assert len([row for row in browser.find_elements(By.CSS_SELECTOR, "#matrix tbody tr") if row.is_displayed()]) == 13
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_it_prints_with_every_engine(overview: Chrome, tmp_path: Path) -> None:
    """A4, and each engine of the matrix on it."""
    data = overview.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": False})["data"]
    file = tmp_path / "page.pdf"
    file.write_bytes(base64.b64decode(data))
    assert "A4" in subprocess.run(["pdfinfo", str(file)], capture_output=True, text=True, check=True).stdout
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True).stdout
    assert all(f"E{number}" in text for number in range(1, 10))
