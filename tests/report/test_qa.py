import json
import re
from datetime import timedelta
from html.parser import HTMLParser
from itertools import pairwise

import pandas as pd
import pytest

from ndtstats.escalation import owed
from ndtstats.report import qa_facts, qa_page, render_page, write_page
from ndtstats.report.qa.told import causes_of, kinds_of

VOID = {"meta", "link", "br", "hr", "img", "input"}


class Page(HTMLParser):
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


@pytest.fixture
def html(yard):
    return render_page(qa_page(yard, job="H1"))


def figure_of(html, name):
    return json.loads(re.search(rf'id="data-{name}">(.*?)</script>', html, re.DOTALL)[1])


def test_nothing_is_fetched_and_everything_is_nested(html):
    page = Page(html)
    assert page.outside == []
    assert page.open == []
    assert set(page.targets) <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))
    assert "url(" not in html.split("</style>")[0]


def test_headings_do_not_skip_a_level(html):
    headings = Page(html).headings
    assert headings[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(headings))


def test_landmarks_and_captions_are_there(html):
    tags = Page(html).tags
    assert {"header", "nav", "main", "footer", "caption", "figure"} <= set(tags)
    assert tags.count("caption") == tags.count("table")
    assert 'lang="en"' in html


def test_names_that_try_to_do_harm_are_harmless(html):
    assert "<script>alert" not in html
    assert "&lt;script&gt;alert" in html
    # Data, the packed library, the page's own script: no other script is on the page.
    kinds = Page(html).scripts
    assert sorted(set(kinds)) == ["application/json", "javascript", "text/plain"]
    assert kinds.count("javascript") == 1


def test_the_same_register_gives_the_same_bytes(yard):
    assert render_page(qa_page(yard, job="H1")) == render_page(qa_page(yard, job="H1"))


def test_the_page_is_small_enough_for_an_e_mail(html):
    assert len(html.encode()) < 3_000_000


def test_figures_hold_what_the_tables_hold(yard):
    rows = qa_facts(yard, job="H1").rated.trend.months
    data = figure_of(render_page(qa_page(yard, job="H1")), "trend")
    bars, marks = data["data"]
    assert marks["x"] == bars["x"] == rows["month"].tolist()
    assert marks["y"] == pytest.approx((100 * rows["share"]).tolist())
    top = [middle + half for middle, half in zip(bars["y"], bars["error_y"]["array"], strict=True)]
    assert top == pytest.approx((100 * rows["upper"]).tolist())
    assert data["layout"]["yaxis"]["title"]["text"].endswith("[%]")


def test_the_rates_figure_holds_what_its_table_holds(yard):
    drawn = figure_of(render_page(qa_page(yard, job="H1")), "rates")["data"][0]
    rows = qa_facts(yard, job="H1").rated.welders.sort_values("welder", ascending=False)
    assert drawn["x"] == pytest.approx((100 * rows["rate"]).tolist())
    assert [name.rsplit(", ", 1)[1] for name in drawn["y"]] == [
        f"{n} spots" for n in rows["examined"]
    ]


def test_nothing_on_the_page_turns_the_direction_of_what_stands_beside_it(html):
    assert "xxx" in html
    assert not re.search("[\u202a-\u202e\u2066-\u2069]", html)
    assert "\\u202e" not in html


def test_each_owed_item_stands_once_under_its_cause(yard):
    items = owed(yard, job="H1")
    causes, left = causes_of(items)
    told = [item for cause in causes for item in cause.items]
    assert left == 0
    assert len(items) > 0
    assert len(told) == len(items)
    assert sum(item["count"] for item in told) == items["count"].sum()
    assert {cause.because for cause in causes} == set(items["because"])


def test_the_joints_with_something_owed_come_first(yard):
    joints = qa_facts(yard, job="H1").strips.joints
    has = [len(joint.owed) > 0 for joint in joints]
    assert any(has)
    assert has == sorted(has, reverse=True)
    rejected = joints[0].examined
    assert "lack of fusion (401)" in set(rejected["found"])


def test_warnings_of_one_kind_and_file_stand_on_one_line(yard):
    warnings = pd.DataFrame(
        {
            "job": "H1", "code": "NO-VISUAL", "file": "r.csv", "row": range(2, 22),
            "column": "joint", "value": "B-01", "reason": "has no visual", "remedy": "look at it",
        }
    )  # fmt: skip
    later = yard.latest_time() + timedelta(minutes=1)
    before = len(yard.table("warnings", job="H1"))
    with yard.batch(kind="load", subject="more", now=later) as batch:
        batch.insert("warnings", warnings)
    facts = qa_facts(yard, job="H1")
    assert len(facts.warnings) == before + 20
    kinds = kinds_of(facts.warnings)
    line = kinds[kinds["reason"] == "has no visual"]
    assert line["count"].tolist() == [20]
    assert line["rows"].iloc[0] == "2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13 and 8 more"
    assert line["values"].iloc[0] == "B-01"


def test_the_headline_says_how_sure(yard):
    (headline,) = qa_page(yard, job="H1").headline
    total = qa_facts(yard, job="H1").rated.described["rejected"].sum()
    assert f"{total} of 40 spots were rejected" in headline
    assert "with 95 % confidence it lies between" in headline
    assert "Owed:" in headline


def test_cautions_and_origin_close_the_page(yard, html):
    page = qa_page(yard, job="H1")
    for text in (
        "licensed",
        "Who decides",
        yard.data_sha256(),
        dict(page.provenance)["rules SHA-256"],
    ):
        assert text in html


def test_as_of_gives_the_page_of_that_day(yard, now):
    page = qa_page(yard, job="H1", as_of=None)
    assert page.as_of == yard.latest_time()


def test_a_job_without_anything_has_sentences_instead_of_boxes(register, now):
    with register.batch(kind="load", subject="jobs", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
    html = render_page(qa_page(register, job="H1"))
    assert "Nothing of job H1 has been examined" in html
    assert "No rules are in force" in html
    assert "<figure" not in html


def test_the_file_is_named_after_the_job_whatever_its_name(yard, tmp_path):
    path = write_page(qa_page(yard, job="H1"), tmp_path / "out")
    assert path == tmp_path / "out" / "qa-H1.html"
    assert path.read_text(encoding="utf-8").startswith("<!doctype html>")
