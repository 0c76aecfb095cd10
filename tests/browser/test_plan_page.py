"""The page of a plan in a browser: it opens from disk without scripts, fits a phone, prints to A4, and stands in nobody's way."""

from __future__ import annotations

import base64
import json
import shutil
import subprocess
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from axe_selenium_python import Axe
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By

from intervals import read_site
from intervals.questions.plan.make_plan import make_plan
from intervals.questions.plan.plan_file import PlanBefore
from intervals.questions.plan.plan_models import Plan
from intervals.questions.plan.planning import PlanAsked
from intervals.reports.plan.plan_page import plan_page
from tests.browser.test_month_page import logged, opened, widened

ROOT = Path(__file__).parents[2]
TERMS = """
groups:
  - {engines: [G1, G2], stopped_at_most: 1}
crew:
  - {name: own, hours_per_week: 8}
blackouts:
  - {from: 2026-12-21, to: 2027-01-03, reason: <b>heat</b> season}
"""
FIXED_ON = date(2026, 11, 5)
"""A Thursday."""


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    """Return the plan of a sample site with a small crew, a closure, stock, and a stop of G4 that a person has fixed."""
    folder = tmp_path_factory.mktemp("plan") / "site"
    shutil.copytree(ROOT / "sample_logs/brackwater", folder)
    with (folder / "site.yaml").open("a", encoding="utf-8") as stream:
        stream.write(TERMS)
    (folder / "stock.csv").write_text("part,on_hand,lead_days,pack\noil-filter,1,14,2\n", "utf-8")
    fixed = {("G4", "oil-change"): (FIXED_ON,)}
    return make_plan(read_site(folder), date(2026, 10, 31), PlanAsked(before=PlanBefore(fixed, fixed), jobs=1))


@pytest.fixture(scope="module")
def page(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return its page as a file."""
    file = tmp_path_factory.mktemp("page") / "plan.html"
    file.write_text(plan_page(plan), encoding="utf-8")
    return file


@pytest.fixture
def without_scripts(browser: Chrome) -> Iterator[Chrome]:
    """Return the browser with scripts off."""
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    yield browser
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_it_says_everything_without_scripts_and_asks_nobody(without_scripts: Chrome, plan: Plan, page: Path) -> None:
    """Every stop is a mark on the line and a row of the table; nothing is loaded, no word on the console, text is text."""
    browser = without_scripts
    opened(browser, page)
    rows = browser.find_elements(By.CSS_SELECTOR, "section[aria-labelledby=stops-h] tbody tr")
    assert [row.find_element(By.TAG_NAME, "th").text for row in rows] == [stop.engine for stop in plan.stops]
    marks = browser.find_elements(By.CSS_SELECTOR, "section[aria-labelledby=line-h] rect")
    assert len(marks) == len(plan.stops)
    assert all(mark.is_displayed() for mark in marks)
    assert len(browser.find_elements(By.CSS_SELECTOR, "rect.fixed")) == 1
    assert browser.find_elements(By.TAG_NAME, "script") == []
    assert browser.find_elements(By.CSS_SELECTOR, "main b b") == []
    assert logged(browser, "browser") == []
    events = [json.loads(entry["message"])["message"] for entry in logged(browser, "performance")]
    asked = [event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"]
    assert set(asked) == {page.as_uri()}


def test_nothing_stands_in_a_reader_s_way(browser: Chrome, page: Path) -> None:
    """Nothing at all is found by axe."""
    opened(browser, page)
    axe = Axe(browser)
    axe.inject()
    found = axe.run()["violations"]
    assert [(each["id"], [node["target"] for node in each["nodes"]][:3]) for each in found] == []


@pytest.mark.parametrize("width", [390, 1400])
def test_it_is_never_wider_than_its_window(browser: Chrome, page: Path, width: int) -> None:
    """On a phone the line and the tables scroll in themselves, and what is written on the line can be read."""
    opened(browser, page)
    try:
        widened(browser, width)
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width
        letters = browser.execute_script("return document.querySelector('.stops text').getBoundingClientRect().height")
        assert letters >= 9
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_it_prints_to_a4(browser: Chrome, plan: Plan, page: Path, tmp_path: Path) -> None:
    """The print is A4 and has every stop with its last column; nothing is cut off at the right edge."""
    opened(browser, page)
    data = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": False})["data"]
    file = tmp_path / "plan.pdf"
    file.write_bytes(base64.b64decode(data))
    facts = subprocess.run(["pdfinfo", str(file)], capture_output=True, text=True, check=True).stdout
    assert "A4" in facts
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True).stdout
    assert all(stop.day in text for stop in plan.stops)
    boxes = subprocess.run(["pdftotext", "-bbox", str(file), "-"], capture_output=True, text=True, check=True).stdout
    rights = [float(part.split('"')[0]) for part in boxes.split('xMax="')[1:]]
    # A4 is 595 points wide
    assert max(rights) < 595
