"""A browser that drives the page from a file, and may not talk to anyone."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.support.ui import WebDriverWait

from bomaudit.report import page as page_writer

sys.path.append(str(Path(__file__).parents[1] / "report"))

from made_content import made_content

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")


FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--disable-dev-shm-usage",
    "--force-prefers-reduced-motion", "--window-size=1280,900",
)  # fmt: skip


@pytest.fixture(scope="session")
def page_file(tmp_path_factory) -> Path:
    return written(tmp_path_factory.mktemp("page") / "report.html", 240)


@pytest.fixture(scope="session")
def small_page_file(tmp_path_factory) -> Path:
    return written(tmp_path_factory.mktemp("page") / "report.html", 30)


def written(path: Path, lines: int) -> Path:
    page_writer.write(made_content(lines), path)
    return path


@pytest.fixture(scope="session")
def chrome(tmp_path_factory):
    """Headless Chromium with its log and network events kept."""
    if CHROMIUM is None or DRIVER is None:
        pytest.skip("no Chromium with chromedriver to open the page in")
    saved = tmp_path_factory.mktemp("saved")
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    profile = tmp_path_factory.mktemp("profile")
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.add_experimental_option("prefs", {"download.default_directory": str(saved)})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    driver.saved = saved
    yield driver
    driver.quit()


@pytest.fixture
def page(chrome, page_file):
    """The page, freshly opened and drawn."""
    return opened(chrome, page_file)


def opened(chrome, path: Path, query: str = ""):
    chrome.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    chrome.get(f"{path.as_uri()}{query}")
    WebDriverWait(chrome, 30).until(lambda d: d.execute_script("return document.body.dataset.drawn === 'yes'"))
    return chrome
