from datetime import timedelta

import pandas as pd
import pytest

from ndtstats.escalation import owed
from ndtstats.release import answer_warnings
from ndtstats.report import qa_facts, qa_page, render_page
from ndtstats.report.qa.page import page_of
from ndtstats.report.qa.told import causes_of, kinds_of


def test_figures_hold_what_the_tables_hold(qa, qa_html, figure_of):
    rows = qa.rated.trend.months
    data = figure_of(qa_html, "trend")
    bars, marks = data["data"]
    assert marks["x"] == bars["x"] == rows["month"].tolist()
    assert marks["y"] == pytest.approx((100 * rows["share"]).tolist())
    top = [middle + half for middle, half in zip(bars["y"], bars["error_y"]["array"], strict=True)]
    assert top == pytest.approx((100 * rows["upper"]).tolist())
    assert data["layout"]["yaxis"]["title"]["text"].endswith("[%]")


def test_the_rates_figure_holds_what_its_table_holds(qa, qa_html, figure_of):
    drawn = figure_of(qa_html, "rates")["data"][0]
    rows = qa.rated.welders.join(
        qa.rated.comparison.table.set_index("welder")["shrunk"], on="welder"
    ).sort_values("welder", ascending=False)
    assert drawn["x"] == pytest.approx((100 * rows["rate"]).tolist())
    assert [name.rsplit(", ", 1)[1] for name in drawn["y"]] == [
        f"{n} spots" for n in rows["examined"]
    ]


def test_each_owed_item_stands_once_under_its_cause(kept):
    items = owed(kept, job="H1")
    causes, left = causes_of(items)
    told = [item for cause in causes for item in cause.items]
    assert left == 0
    assert len(items) > 0
    assert len(told) == len(items)
    assert sum(item["count"] for item in told) == items["count"].sum()
    assert {cause.because for cause in causes} == set(items["because"])


def test_the_joints_with_something_owed_come_first(qa):
    joints = qa.strips.joints
    has = [len(joint.owed) > 0 for joint in joints]
    assert any(has)
    assert has == sorted(has, reverse=True)
    rejected = joints[0].examined
    assert "lack of fusion (401)" in set(rejected["found"])


def test_open_warnings_of_one_kind_and_file_stand_on_one_line(yard):
    warnings = pd.DataFrame(
        {
            "job": "H1", "code": "NO-VISUAL", "file": "r.csv", "row": range(2, 22),
            "column": "joint", "value": "B-01", "reason": "has no visual", "remedy": "look at it",
        }
    )  # fmt: skip
    later = yard.latest_time() + timedelta(minutes=1)
    (first,) = yard.table("warnings", job="H1")["id"]
    answer_warnings(yard, [f"W{first}"], person="A. Lead", reason="seen", now=later)
    with yard.batch(kind="load", subject="more", now=later) as batch:
        batch.insert("warnings", warnings)
    facts = qa_facts(yard, job="H1")
    # The first was answered, so it is no longer told.
    assert len(facts.warnings) == 20
    kinds = kinds_of(facts.warnings)
    line = kinds[kinds["reason"] == "has no visual"]
    assert line["count"].tolist() == [20]
    assert line["rows"].iloc[0] == "2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13 and 8 more"
    assert line["values"].iloc[0] == "B-01"


def test_the_headline_says_how_sure(qa):
    (headline,) = page_of(qa).headline
    total = qa.rated.described["rejected"].sum()
    assert f"{total} of 40 spots were rejected" in headline
    assert "with 95 % confidence it lies between" in headline
    assert "Owed:" in headline


def test_cautions_and_origin_close_the_page(kept, qa, qa_html):
    for text in (
        "licensed",
        "Who decides",
        kept.data_sha256(),
        dict(qa.origin)["rules SHA-256"],
    ):
        assert text in qa_html


def test_the_page_is_of_when_the_register_last_changed(kept, qa):
    assert qa.as_of == kept.latest_time()


def test_a_job_without_anything_has_sentences_instead_of_boxes(register, now):
    with register.batch(kind="load", subject="jobs", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
    html = render_page(qa_page(register, job="H1"))
    assert "Nothing of job H1 has been examined" in html
    assert "No rules are in force" in html
    assert "<figure" not in html


def test_the_compared_are_those_of_the_table(qa, qa_html, figure_of):
    rows = qa.rated.comparison.table
    rows = rows[rows["expected"] > 0].sort_values("expected", kind="stable")
    outer, inner, marks = figure_of(qa_html, "funnel")["data"]
    assert marks["x"] == pytest.approx(rows["expected"].tolist())
    assert marks["y"] == pytest.approx(rows["ratio"].tolist())
    for bars, level in ((outer, "998"), (inner, "95")):
        top = [at + half for at, half in zip(bars["y"], bars["error_y"]["array"], strict=True)]
        assert top == pytest.approx(rows[f"funnel_upper_{level}"].tolist())


def test_hidden_is_drawn_as_it_stands_in_the_table(qa, qa_html, figure_of):
    rows = qa.hidden.table.iloc[::-1]
    (bars,) = figure_of(qa_html, "hidden")["data"]
    assert bars["x"] == pytest.approx(rows["mean"].tolist())
    assert bars["error_x"]["array"] == pytest.approx((rows["upper"] - rows["mean"]).tolist())


def test_what_is_to_be_decided_leads_to_its_section(qa):
    page = page_of(qa)
    (bullets,) = page.sections[0].blocks
    assert page.sections[0].anchor == "decide"
    led = [point.more.to.removeprefix("#") for point in bullets.points]
    assert led[0] == "owed"
    assert led[-1] == "warnings"
    assert set(led) <= {section.anchor for section in page.sections}
