"""The monthly page in a browser of its own: Debian's Chromium, without a window, driven over its debugging port.

Where there is none, its tests are skipped in one line that says how to get it; with BROWSER_TESTS=required they fail.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Generator, Iterator
from datetime import date
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

from intervals import assess, read_site
from intervals.questions.sites.sites_models import SiteAnswer, SiteProblem, SitesFindings
from intervals.questions.what_if.what_if import compare_rules
from intervals.reports.month.page import month_page
from intervals.reports.sites.sites_page import sites_page
from intervals.reports.what_if.what_if_page import what_if_page
from intervals.rules.changes import RuleChanges
from tests.unit.reports.month_sites import hostile_report, sample_report

FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run", "--window-size=1400,1000")
ROOT = Path(__file__).parents[2]
SAMPLES = ("brackwater", "harbour-clinic", "skerry-island")
BROWSER_MISSING = "no browser, or nothing to drive it or to read what it prints: apt-get install chromium chromium-driver poppler-utils"


def program(*names: str) -> str:
    """Return where the first of some programs is that is there; a test that needs them is skipped where none is."""
    found = next(filter(None, map(shutil.which, names)), None)
    return found or pytest.skip(BROWSER_MISSING)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Give all skipped tests one place, so that pytest tells them in one line; where they are required, let them fail."""
    report = yield
    if report.skipped and isinstance(report.longrepr, tuple):
        reason = report.longrepr[2]
        if os.environ.get("BROWSER_TESTS") == "required":
            report.outcome, report.longrepr = "failed", reason
        else:
            report.longrepr = (__file__, program.__code__.co_firstlineno, reason)
    return report


@pytest.fixture(scope="session")
def _programs() -> tuple[str, str]:
    """Return where the browser and its driver are; all tests of pages need all programs."""
    program("pdfinfo"), program("pdftotext")
    return program("chromium", "google-chrome"), program("chromedriver")


@pytest.fixture(scope="session")
def browser(_programs: tuple[str, str]) -> Iterator[webdriver.Chrome]:
    """Return a browser that notes every request and every message of its console."""
    binary, driven_by = _programs
    options = Options()
    for flag in FLAGS:
        options.add_argument(flag)
    options.binary_location = binary
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(driven_by))
    # a busy machine may take longer than the half minute that is otherwise waited for a script
    driver.set_script_timeout(300)
    yield driver
    driver.quit()


def what_if_page_of_sample() -> str:
    """Return the page of a what-if on a sample site."""
    site = read_site(ROOT / "sample_logs/brackwater")
    found = compare_rules(site, date(2026, 10, 31), RuleChanges.typed((), ("heavy-load",)), stops=True)
    return what_if_page(found, title=site.title, made_at="2 November 2026, 09:00 (UTC)", version="1.2.3")


def sites_page_of_samples() -> str:
    """Return the page of two sample sites and one that cannot be judged."""
    judged = [read_site(ROOT / "sample_logs" / name) for name in ("brackwater", "skerry-island")]
    answers = [
        SiteAnswer(folder=site.site, title=site.title, engines=len(site.engines), findings=assess(site, date(2026, 10, 31)), problems=())
        for site in judged
    ]
    problem = SiteProblem(code="SIT001", file="third/site.yaml", line=3, path="$.engines", text="no <engine>", fix="write one")
    lost = SiteAnswer(folder="third", title=None, engines=None, findings=None, problems=(problem,))
    return sites_page(SitesFindings.of([*answers, lost]), made_at="2 November 2026, 09:00 (UTC)", version="1.2.3")


@pytest.fixture(scope="session")
def pages(_programs: tuple[str, str], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return the pages of the sample sites, and one made of hostile texts, as files."""
    folder = tmp_path_factory.mktemp("pages")
    reports = {name: sample_report(name) for name in SAMPLES} | {"hostile": hostile_report(folder / "site")}
    made = {"what-if": folder / "what-if.html", "sites": folder / "sites.html"}
    made["what-if"].write_text(what_if_page_of_sample(), encoding="utf-8")
    made["sites"].write_text(sites_page_of_samples(), encoding="utf-8")
    for name, report in reports.items():
        made[name] = folder / f"{name}.html"
        made[name].write_text(month_page(report, made_at="2 November 2026, 09:00 (UTC)", version="1.2.3"), encoding="utf-8")
    return made
