"""The page in a real browser: drawn, quiet, within its width, and whole on paper."""

import os
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from ndtstats.report import qa_page, write_page

CHROMIUM = shutil.which("chromium")
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip

pytestmark = pytest.mark.filterwarnings("default::ResourceWarning")


@pytest.fixture
def browser():
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("CI must install Chromium")
        pytest.skip("no Chromium on this machine")
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture
def opened(browser, yard, tmp_path):
    """Open the page at a width; what the console and the network said."""
    path = write_page(qa_page(yard, job="H1"), tmp_path)

    def at(width):
        page = browser.new_page(viewport={"width": width, "height": 900})
        said, asked = [], []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(Path(path).as_uri())
        page.wait_for_selector("html[data-drawn=yes]", timeout=60_000)
        return page, said, asked

    return at


@pytest.mark.parametrize("width", [1280, 768, 360])
def test_every_figure_is_drawn_at_every_width(opened, width):
    page, said, asked = opened(width)
    assert said == []
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []
    for name, marks in (("rates", ".point"), ("trend", ".point"), ("extent", ".bars .point path")):
        drawn = page.locator(f"#plot-{name} {marks}")
        assert drawn.count() > 0, name
        box = drawn.first.bounding_box()
        assert box["width"] > 1, name
        assert box["height"] > 1, name
        plot = page.locator(f"#plot-{name}").bounding_box()
        assert plot["x"] + plot["width"] <= width
    # Nothing but tables in their own boxes is wider than the page.
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_page_prints_whole(opened, tmp_path):
    page, _, _ = opened(1280)
    page.emulate_media(media="print")
    paper_px = 680  # A4 less its margins at 96 dots an inch
    for name in ("rates", "trend", "extent"):
        assert page.locator(f"#plot-{name}").bounding_box()["width"] <= paper_px
    printed = page.pdf(prefer_css_page_size=True)
    assert printed.startswith(b"%PDF")
    assert len(printed) > 20_000


def test_text_and_tables_are_there_without_javascript(browser, yard, tmp_path):
    path = write_page(qa_page(yard, job="H1"), tmp_path)
    page = browser.new_context(java_script_enabled=False).new_page()
    page.goto(Path(path).as_uri())
    text = page.inner_text("main")
    assert "Reject rates by welder" in text
    assert "K7" in text
    assert "the table with it holds the same figures" in text
