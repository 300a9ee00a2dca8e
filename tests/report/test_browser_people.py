"""The pages of contractor and welder in a real browser: drawn, quiet, and within their width."""

import os
import shutil

import pytest
from playwright.sync_api import sync_playwright

from ndtstats.report import write_page
from ndtstats.report.contractor import contractor_page
from ndtstats.report.welder import welder_page

CHROMIUM = shutil.which("chromium")
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip

pytestmark = pytest.mark.filterwarnings("default::ResourceWarning")


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("CI must install Chromium")
        pytest.skip("no Chromium on this machine")
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(params=["contractor", "welder"])
def written(request, kept, tmp_path):
    """The figures that a page must show, and where it is."""
    if request.param == "contractor":
        return ["reshoots"], write_page(contractor_page(kept), tmp_path)
    page = welder_page(kept, "K7", job="H1")
    return ["beside", "parts"], write_page(page, tmp_path)


def test_figures_are_drawn_at_every_width_and_nothing_is_asked_for(browser, written):
    names, path = written
    page = browser.new_page()
    said, asked = [], []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    for width in (390, 1400):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-drawn=yes]", timeout=60_000)
        for name in names:
            marks = page.locator(f"#plot-{name} .point")
            assert marks.count() > 0, name
            assert marks.first.bounding_box()["width"] > 1, name
            assert page.locator(f"#plot-{name} .errorbar, #plot-{name} .xerror").count() > 0, name
            plot = page.locator(f"#plot-{name}").bounding_box()
            assert plot["x"] + plot["width"] <= width, name
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert said == []
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []
