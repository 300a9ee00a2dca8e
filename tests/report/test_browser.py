"""The pages in a real browser: drawn, quiet, within their width, and whole on paper."""

import os
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from ndtstats.report import write_page
from ndtstats.report.management.page import page_of as management_page_of
from ndtstats.report.qa.page import page_of as qa_page_of

CHROMIUM = shutil.which("chromium")
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip

WIDTHS = (1400, 800, 390)
#: A4 less its margins at 96 dots an inch: as wide, and as high, as what is not to be cut may be.
PAPER_PX = (680, 1017)

#: Of each figure: its name, how wide its marks are together, and how many there are.
MARKS = """
() => [...document.querySelectorAll('.plot')].map((plot) => {
  const marks = [...plot.querySelectorAll('.point, .bars path, .lines path, .errorbars path')];
  const boxes = marks.map((mark) => mark.getBoundingClientRect());
  const frame = plot.getBoundingClientRect();
  return {
    name: plot.id, number: boxes.filter((box) => box.width + box.height > 1).length,
    right: frame.right, labels: plot.querySelectorAll('.xtick text, .ytick text').length,
  };
})
"""

#: Waits until each figure is drawn anew at the width it has been given.
SETTLED = """
async () => {
  const fits = (plot) => plot.querySelector('.main-svg').getBoundingClientRect().right
    <= plot.getBoundingClientRect().right + 1;
  for (let tries = 0; tries < 200; tries += 1) {
    if ([...document.querySelectorAll('.plot')].every(fits)) return;
    await new Promise((done) => setTimeout(done, 50));
  }
  throw new Error('a figure keeps a width that it no longer has');
}
"""

#: Of the figure of welders and its table: names and ratios, as drawn and as written.
WELDERS = """
() => {
  const rows = [...document.querySelectorAll('#welders table tbody tr')];
  const drawn = document.getElementById('plot-welders').data[0];
  return {
    written: rows.map((row) => [row.cells[0].innerText, row.cells[6].innerText]),
    drawn: drawn.y.map((name, n) => [name.split(',')[0], drawn.x[n].toFixed(2)]).reverse(),
  };
}
"""

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


@pytest.fixture(scope="module")
def files(qa, management, tmp_path_factory):
    """One page that carries all it needs, and one beside its script."""
    folder = tmp_path_factory.mktemp("pages")
    return {
        "qa": write_page(qa_page_of(qa), folder),
        "management": write_page(management_page_of(management), folder, shared_assets=True),
    }


@pytest.fixture(scope="module")
def opened(browser, files):
    """Return a page once it is drawn, and what console, network and dialogs said."""
    known = {}

    def of(name):
        if name not in known:
            page = browser.new_page(viewport={"width": WIDTHS[0], "height": 900})
            said, asked = [], []
            page.on("console", lambda message: said.append(message.text))
            page.on("pageerror", lambda error: said.append(str(error)))
            page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
            page.on("request", lambda request: asked.append(request.url))
            page.goto(Path(files[name]).as_uri())
            page.wait_for_selector("html[data-drawn=yes]", timeout=60_000)
            known[name] = page, said, asked
        return known[name]

    return of


@pytest.mark.parametrize("name", ["qa", "management"])
def test_every_figure_is_drawn_at_every_width(opened, name):
    page, said, asked = opened(name)
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        page.evaluate(SETTLED)
        figures = page.evaluate(MARKS)
        assert len(figures) >= 4
        for figure in figures:
            assert figure["number"] > 0, (width, figure)
            assert figure["labels"] > 0, (width, figure)
            assert figure["right"] <= width, figure
        # Nothing but tables in their own boxes is wider than the page.
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert said == []
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []


def test_figure_and_table_agree_as_they_are_seen(opened):
    page, _, _ = opened("management")
    seen = page.evaluate(WELDERS)
    assert len(seen["written"]) == 6
    # A name that tries to do harm is drawn with other brackets.
    plain = [[name.replace("<", "‹").replace(">", "›")[:23], x] for name, x in seen["written"]]
    assert [[name.rstrip("…")[:23], x] for name, x in seen["drawn"]] == plain


def test_the_keyboard_reaches_the_figures_and_the_tables(opened):
    page, _, _ = opened("management")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.url.endswith("#main")
    boxes = page.locator(".wide")
    assert boxes.count() > 0
    assert page.locator('.wide[tabindex="0"][role="region"][aria-label]').count() == boxes.count()


@pytest.mark.parametrize("name", ["qa", "management"])
def test_nothing_that_belongs_together_is_cut_on_paper(opened, name):
    page, _, _ = opened(name)
    page.set_viewport_size({"width": PAPER_PX[0], "height": 900})
    page.emulate_media(media="print")
    figures = page.locator("figure")
    for number in range(figures.count()):
        box = figures.nth(number).bounding_box()
        assert box["width"] <= PAPER_PX[0]
        assert box["height"] <= PAPER_PX[1]
        inside = figures.nth(number).evaluate("it => getComputedStyle(it).breakInside")
        assert inside == "avoid"
    printed = page.pdf(prefer_css_page_size=True)
    page.emulate_media(media="screen")
    assert printed.startswith(b"%PDF")
    assert len(printed) > 20_000


def test_text_and_tables_are_there_without_javascript(browser, files):
    page = browser.new_context(java_script_enabled=False).new_page()
    page.goto(Path(files["qa"]).as_uri())
    text = page.inner_text("main")
    assert "Reject rates by welder" in text
    assert "K7" in text
    assert "the table with it holds the same figures" in text
