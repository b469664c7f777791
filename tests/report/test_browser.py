"""The page of a prediction in a real browser: wide, narrow, by keyboard, without a network."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.report.studies import EVERY, made, page
from tolsim.report.numbers import held
from tolsim.report.text import answer_sentences

if TYPE_CHECKING:
    from selenium.webdriver import Chrome

pytestmark = pytest.mark.slow

_WIDE, _NARROW = 1280, 390


@pytest.fixture(scope="module")
def browser() -> Iterator[Chrome]:
    """Headless Chromium, its console kept."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="no Chromium on this machine")
    binary, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if binary is None or driver is None:
        pytest.skip("no Chromium on this machine")
    options = webdriver.ChromeOptions()
    options.binary_location = binary
    for argument in ("--headless=new", "--disable-gpu", "--hide-scrollbars"):
        options.add_argument(argument)
    if os.geteuid() == 0:
        options.add_argument("--no-sandbox")  # Chromium does not start as root with one
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    seen = webdriver.Chrome(options, webdriver.ChromeService(driver))
    yield seen
    seen.quit()


@pytest.fixture(scope="module", params=EVERY)
def shown(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Page of one of the payloads that every writer must cope with."""
    path = tmp_path_factory.mktemp("pages") / str(request.param) / "page.html"
    path.parent.mkdir()
    path.write_text(page(request.param), encoding="utf-8")
    return path


def _open(browser: Chrome, shown: Path, width: int) -> None:
    """Show a page in a window whose inside is `width` pixels wide."""
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False},
    )
    browser.get(shown.as_uri())


def _asked(browser: Chrome, script: str) -> Any:
    return browser.execute_script(f"return {script}")


@pytest.mark.parametrize("width", [_WIDE, _NARROW])
def test_the_page_does_not_scroll_sideways(browser: Chrome, shown: Path, width: int) -> None:
    """Wide pictures scroll within themselves; the page is as wide as the window."""
    _open(browser, shown, width)
    assert _asked(browser, "document.documentElement.clientWidth") == width
    assert _asked(browser, "document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("width", [_WIDE, _NARROW])
def test_the_answer_stands_in_the_first_window(browser: Chrome, shown: Path, width: int) -> None:
    """Title and every sentence of the answer are seen without scrolling, at either width."""
    _open(browser, shown, width)
    bottom = _asked(browser, "document.querySelector('.answer').getBoundingClientRect().bottom")
    assert bottom <= 900
    said = _asked(browser, "[...document.querySelectorAll('.answer p')].map(p => p.innerText)")
    expected = [held(sentence) for sentence in answer_sentences(made(shown.parent.name))]
    assert [" ".join(s.split()) for s in said] == [" ".join(s.split()) for s in expected]


def test_a_narrow_window_shows_every_share(browser: Chrome, shown: Path) -> None:
    """No cell of the tables of shares is cut off at 390 pixels."""
    _open(browser, shown, _NARROW)
    rights = _asked(
        browser,
        "[...document.querySelectorAll('.folds td, .folds tbody th')]"
        ".map(c => c.getBoundingClientRect().right)",
    )
    assert len(rights) >= 12
    assert max(rights) <= _NARROW


def test_pictures_are_drawn(browser: Chrome, shown: Path) -> None:
    """Every picture is decoded, has a text in its place, and its numbers open by keyboard."""
    _open(browser, shown, _WIDE)
    pictures = _asked(
        browser, "[...document.images].map(i => [i.complete, i.naturalWidth, i.alt.length])"
    )
    assert pictures
    assert all(done and wide > 0 and told > 20 for done, wide, told in pictures)
    summary = browser.find_element("css selector", "details.numbers summary")
    summary.send_keys("\ue007")  # the Enter key
    assert _asked(browser, "document.querySelector('details.numbers').open")


def test_the_page_asks_for_nothing(browser: Chrome, shown: Path) -> None:
    """No request leaves the page, no script stands in it, and the console stays empty."""
    _open(browser, shown, _WIDE)
    asked = _asked(browser, "performance.getEntriesByType('resource').map(e => e.name)")
    assert [name for name in asked if not name.startswith("data:")] == []
    assert _asked(browser, "document.scripts.length") == 0
    assert browser.get_log("browser") == []  # type: ignore[no-untyped-call]
