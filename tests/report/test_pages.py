"""What every page keeps to, and all pages of a register with their index."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.report import management_page, render_page, write_page
from ndtstats.report.management.page import page_of as management_page_of
from ndtstats.report.page import Bullets, Column, Figure, Link, Page, Point, Section, Table, Text
from ndtstats.report.pages import KINDS, asked_at, write_every_page
from ndtstats.report.qa.page import page_of as qa_page_of
from ndtstats.report.terms import TERMS

VOID = {"meta", "link", "br", "hr", "img", "input"}


class Parsed(HTMLParser):
    """What a test asks of a page: its tags, its links, its text, whether it is well nested."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.open, self.outside, self.ids, self.targets = [], [], [], [], []
        self.scripts, self.headings = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        known = dict(attrs)
        self.tags.append(tag)
        if tag not in VOID:
            self.open.append(tag)
        if "id" in known:
            self.ids.append(known["id"])
        for name in ("src", "href", "action", "data", "poster"):
            value = known.get(name)
            if value and value.startswith("#"):
                self.targets.append(value[1:])
            elif value:
                self.outside.append(value)
        if tag == "script":
            self.scripts.append(known.get("type", "javascript"))
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        self.open.pop()

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag


@pytest.fixture(params=["qa_html", "management_html"])
def html(request):
    return request.getfixturevalue(request.param)


def test_nothing_is_fetched_and_everything_is_nested(html):
    page = Parsed(html)
    assert page.outside == []
    assert page.open == []
    assert set(page.targets) <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))
    assert "url(" not in html.split("</style>")[0]


def test_headings_do_not_skip_a_level(html):
    headings = Parsed(html).headings
    assert headings[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(headings))


def test_landmarks_and_captions_are_there(html):
    tags = Parsed(html).tags
    assert {"header", "nav", "main", "footer", "caption", "figure"} <= set(tags)
    assert tags.count("caption") == tags.count("table")
    assert 'lang="en"' in html


def test_names_that_try_to_do_harm_are_harmless(html):
    assert "<script>alert" not in html
    assert "&lt;script&gt;alert" in html
    # Data, the packed library, the page's own script: no other script is on the page.
    kinds = Parsed(html).scripts
    assert sorted(set(kinds)) == ["application/json", "javascript", "text/plain"]
    assert kinds.count("javascript") == 1


def test_the_same_register_gives_the_same_bytes(kept, qa_html):
    assert render_page(next(KINDS["qa"].pages(kept, asked_at(kept, None)))) == qa_html


def test_the_same_facts_give_the_same_bytes(management, management_html):
    assert render_page(management_page_of(management)) == management_html


def test_the_page_is_small_enough_for_an_e_mail(html):
    assert len(html.encode()) < 3_000_000


def test_nothing_on_a_page_turns_the_direction_of_what_stands_beside_it(html):
    assert not re.search("[\u202a-\u202e\u2066-\u2069]", html)
    assert "\\u202e" not in html


def test_every_word_that_needs_it_has_its_definition_one_click_away(html):
    parsed = Parsed(html)
    linked = {target for target in parsed.targets if target.startswith("meaning-")}
    defined = {name for name in parsed.ids if name.startswith("meaning-")}
    assert linked == defined
    assert {"meaning-bounds", "meaning-spot", "meaning-small"} <= defined


def test_no_term_is_defined_twice():
    forms = [form.casefold() for term in TERMS for form in (term.word, *term.forms)]
    assert len(forms) == len(set(forms))
    assert len({term.anchor for term in TERMS}) == len(TERMS)


def test_every_figure_stands_with_a_table_and_both_say_what_they_are(qa, management):
    for page in (qa_page_of(qa), management_page_of(management)):
        figures = [b for s in page.sections for b in s.blocks if isinstance(b, Figure)]
        assert len(figures) >= 4
        for figure in figures:
            assert figure.label
            assert figure.caption
            # The moving average has its numbers in the table of the months.
            assert figure.table is not None or figure.name == "ewma"


NOTHING = Page("x", "kind", "title", pd.Timestamp("2026-03-01", tz="UTC"), (), (), ())


def drawn(*blocks):
    section = Section("one", "One", blocks)
    return render_page(
        Page("x", "kind", "title", NOTHING.as_of, (), (section,), ()), shared="s.js"
    )  # fmt: skip


def test_a_long_table_says_how_much_is_not_shown():
    cells = [str(n) for n in range(203)]
    html = drawn(Table("numbers", (Column("n", cells, number=True),)))
    assert ">199<" in html
    assert ">200<" not in html
    assert "3 more rows are not shown here." in html


def test_what_asks_for_attention_is_marked_and_cells_can_lead_on():
    table = Table("t", (Column("job", [Link("<b>", "a.html")]), Column("s", ["x"], marked=[True])))
    html = drawn(table, Bullets((Point("more", Link("here", "#one")),)))
    assert '<a href="a.html">&lt;b&gt;</a>' in html
    assert 'marked"><bdi>x</bdi>' in html
    assert '<a href="#one">here</a>' in html


def test_an_empty_figure_is_a_sentence():
    html = drawn(Figure("f", None, "label", "caption", None, empty="There is nothing."), Text(""))
    assert "<p>There is nothing.</p>" in html
    assert "<figure" not in html
    assert "<script" not in html


@pytest.fixture
def written(kept, qa, management, tmp_path, monkeypatch):
    """All pages of two kinds, from facts that are known already: what counts here is their lot."""
    pages = {
        "qa": [qa_page_of(qa), qa_page_of(replace(qa, job="A/B"))],
        "management": [management_page_of(management)],
    }
    for name, mine in pages.items():
        monkeypatch.setitem(KINDS, name, KINDS[name]._replace(pages=lambda *_, of=mine: iter(of)))
    for name in set(KINDS) - set(pages):
        monkeypatch.delitem(KINDS, name)
    index, number = write_every_page(kept, asked_at(kept, None), tmp_path, shared_assets=True)
    return tmp_path, index, number


def test_the_index_leads_to_every_page_beside_one_script(written):
    folder, index, number = written
    led = [to for to in Parsed(index.read_text(encoding="utf-8")).outside if to.endswith(".html")]
    there = {path.name for path in folder.glob("*.html")} - {"index.html"}
    assert set(led) == there
    assert len(led) == number == len(there)
    assert {"management.html", "qa-H1.html"} < there
    (script,) = folder.glob("*.js")
    for path in folder.glob("*.html"):
        html = path.read_text(encoding="utf-8")
        assert len(html.encode()) < 400_000, path.name
        assert (f'<script src="{script.name}">' in html) == ("<figure" in html), path.name
    told = {
        re.search(r'class="asof">([^<]*)<', path.read_text(encoding="utf-8"))[1]
        for path in folder.glob("*.html")
    }
    assert len(told) == 1


def test_a_register_without_jobs_has_no_page_but_says_so(register):
    with pytest.raises(UseError, match="no jobs yet"):
        management_page(register)


def test_the_file_is_named_after_the_job_whatever_its_name(qa, tmp_path):
    path = write_page(qa_page_of(qa), tmp_path / "out")
    assert path == tmp_path / "out" / "qa-H1.html"
    assert path.read_text(encoding="utf-8").startswith("<!doctype html>")
