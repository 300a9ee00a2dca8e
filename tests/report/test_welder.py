"""The page for a welder: his own figures, how sure they are, and nobody else's."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.rates import rates
from ndtstats.register import Register
from ndtstats.report.page import Figure
from ndtstats.report.render import render_page
from ndtstats.report.welder import shop_of, welder_page
from ndtstats.report.welder.causes import cause_of, causes
from ndtstats.report.welder.facts import MIDDLE, welder_facts
from ndtstats.report.welder.figures import beside_figure, kinds_figure
from ndtstats.report.welder.page import page_of
from ndtstats.report.welder.words import (
    expected_sentence,
    kinds_sentence,
    own_sentence,
    rejects_sentence,
    shop_sentence,
)
from ndtstats.words import IMPERFECTIONS

HOSTILE = '<script>alert("x")</script>'
NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
#: Joints with one spot each, and how many of them are rejected.
WORK = {"K7": (30, 3), "M2": (30, 1), "N3": (20, 0), HOSTILE: (10, 1), "Q5": (12, 2), "R6": (1, 0)}


def _examined() -> pd.DataFrame:
    rows = [
        {"welder": welder, "number": number, "verdict": "reject" if number < bad else "accept"}
        for welder, (spots, bad) in WORK.items() for number in range(spots)
    ]  # fmt: skip
    table = pd.DataFrame(rows)
    month = pd.to_timedelta(30 * (table["number"] % 3), unit="D")
    return table.assign(
        job="H1", joint=[f"B-{n:03d}" for n in range(len(table))], method="RT", from_mm=0.0,
        to_mm=300.0, round=0, report="R-1", date=pd.Timestamp("2026-03-05") + month,
    )  # fmt: skip


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Register:
    register = Register.open(tmp_path_factory.mktemp("yard") / "yard.sqlite", create=True)
    seen = _examined()
    joints = seen[["job", "joint"]].assign(
        zone="Z", category="A", joint_type="butt", length_mm=1000.0, process="131",
        position=np.where(seen["number"] % 2, "PA", "PF"),
    )  # fmt: skip
    deposits = seen[["job", "joint", "welder"]].assign(date=pd.Timestamp("2026-02-01"))
    # M2 welded the first joint of K7 as well.
    deposits = pd.concat([deposits, deposits.iloc[[0]].assign(welder="M2")], ignore_index=True)
    bad = seen.index[seen["verdict"] == "reject"]
    found = pd.DataFrame(
        {"examination": bad, "imperfection": ["401", "401", "2011", *["401"] * (len(bad) - 3)],
         "imp_from_mm": 50.0, "imp_length_mm": 20.0, "imp_rejectable": True}
    )  # fmt: skip
    mended = seen.iloc[[1]].assign(round=1, verdict="accept", date=pd.Timestamp("2026-05-20"))
    tickets = pd.DataFrame(
        {"welder": ["K7", "K7"], "certificate": ["C-1", "C-2"], "standard": "ISO 9606-2",
         "process": ["131", "141"], "positions": "PA;PF",
         "qualified_on": pd.to_datetime(["2025-12-20", "2024-01-10"])}
    )  # fmt: skip
    columns = ["job", "joint", "method", "from_mm", "to_mm", "round", "report", "verdict", "date"]
    with register.batch(kind="load", subject="all", now=NOW) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("welders", pd.DataFrame({"welder": ["K7"], "name": [f"Kim {HOSTILE}"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
        batch.merge("qualifications", tickets)
        batch.merge("examinations", seen[columns], found)
    with register.batch(kind="load", subject="more", now=NOW + timedelta(hours=1)) as batch:
        batch.merge("examinations", mended[columns])
    yield register
    register.close()


@pytest.fixture(scope="module")
def shop(yard):
    return shop_of(yard)


@pytest.fixture(scope="module")
def page(shop):
    return page_of(welder_facts(shop, "k7"))


@pytest.fixture(scope="module")
def html(page):
    return render_page(page, shared="plotly.js")


def said(page) -> str:
    return " ".join(page.headline) + repr(page.sections) + str(list(page.figures.values()))


def test_the_headline_has_numerator_denominator_and_bounds(page):
    # 3 of 30, Clopper-Pearson 95 %: 2.1 % to 26.5 % (tests/references/binomial_ci.csv has others).
    assert page.headline[0] == (
        "3 of 30 spots examined by RT were rejected at first examination, 10.0 %. With 95 % "
        "confidence the true rate lies between 2.1 % and 26.5 %."
    )


def test_the_figures_are_those_of_the_rates_stage(yard, shop):
    facts = welder_facts(shop, "K7")
    same = rates(yard, method="RT").set_index("welder").loc["K7"]
    for name in ("rejected", "examined", "rate", "lower", "upper", "shared"):
        assert facts.own[name] == same[name], name
    assert facts.parts["examined"].sum() == 30
    assert facts.kinds.set_index("imperfection")["rejected"].to_dict() == {"2011": 1, "401": 2}
    assert facts.length["rejected"] == 60
    assert facts.length["examined"] == 9000


def test_nobody_else_is_named_and_nobody_is_ranked(shop, html):
    others = [name for name in WORK if name not in {"K7", HOSTILE}]
    for name in others:
        assert name not in html, name
    # Neither his own name nor another's stamp can do harm.
    assert "<script>alert" not in html
    assert "rank" not in said(page_of(welder_facts(shop, "K7"))).replace("It ranks nobody", "")
    theirs = said(page_of(welder_facts(shop, "M2")))
    assert not [name for name in ("K7", "N3", "Q5", "R6") if name in theirs]


def test_the_range_of_the_shop_is_that_of_its_middle(shop):
    facts = welder_facts(shop, "K7")
    rank = shop.comparison.table["shrunk"].sort_values().to_numpy()
    # Quantiles by linear interpolation (Hyndman & Fan 1996, type 7), reckoned here by hand.
    at = (1 - MIDDLE) / 2 * (len(rank) - 1)
    low = rank[0] + at * (rank[1] - rank[0])
    high = rank[-1] - at * (rank[-1] - rank[-2])
    assert (facts.low, facts.high) == pytest.approx((low, high))
    assert "6 welders lie" in shop_sentence(facts)


def test_few_welders_give_no_range_that_tells_who_is_who(shop):
    three = shop.comparison.table.query("welder in ['K7', 'M2', 'N3']")
    few = replace(shop, comparison=replace(shop.comparison, table=three))
    facts = welder_facts(few, "N3")
    assert np.isnan(facts.low)
    assert "too few welders" in shop_sentence(facts)
    # The figure has no band, and the page no number in its place.
    assert not page_of(facts).figures["beside"].layout.shapes


def test_small_samples_are_called_small(shop):
    one = " ".join(page_of(welder_facts(shop, "R6")).headline)
    assert "The one spot examined by RT was accepted." in one
    assert "One spot says next to nothing." in one
    assert "No certificate of this welder is in the register." in one
    twenty = page_of(welder_facts(shop, "N3")).headline[0]
    assert twenty.startswith("None of 20 spots examined by RT was rejected")
    # 0 of 20: upper Clopper-Pearson 95 % bound 16.84 %.
    assert "below 16.8 %; no reject does not prove that it is 0." in twenty
    assert twenty.endswith(
        "That is a small sample: with so few spots it may lie anywhere below that."
    )


def test_certificates_say_what_lapses_when(page):
    # ISO 9606-2: tested on 20 December 2025, to be confirmed by 20 June 2026; the other one lapsed.
    assert page.headline[1] == (
        "1 of 2 certificates is in force on 2026-06-01. C-2 (process 141) lapsed after 2024-07-10: "
        "six-monthly confirmation. C-1 (process 131) lapses after 2026-06-20, in 19 days: "
        "six-monthly confirmation."
    )


def test_rejects_say_what_is_open_and_how_repairs_went(shop, html):
    facts = welder_facts(shop, "K7")
    assert rejects_sentence(facts.rejects) == (
        "3 rejects by any method, 2 of them open. 1 of 1 first repair was accepted."
    )
    assert "charged to others too" in html
    assert "1 reject is shared" in said(page_of(facts))
    assert rejects_sentence(facts.rejects.iloc[:0]).startswith("No reject")


def test_a_trend_needs_months_and_spots(shop):
    assert len(welder_facts(shop, "K7").trend.months) == 3
    few = welder_facts(shop, "Q5")
    assert few.trend is None
    assert "so far there are 12 spots" in said(page_of(few))


def test_figures_draw_intervals_denominators_and_units(page):
    figures = page.figures
    assert set(figures) == {"beside", "parts", "kinds", "trend"}
    beside = figures["beside"]
    assert list(beside.data[0].y) == ["shrunk", "counted alike, 30 spots"]
    assert min(beside.data[0].error_x.array) > 0
    assert "3 of 30 rejected" in beside.data[0].hovertext[1]
    assert beside.layout.shapes[0].x0 < beside.layout.shapes[0].x1
    assert "[%]" in beside.layout.xaxis.title.text
    assert "2 in 9.0 m" in figures["kinds"].data[0].hovertext[-1]
    assert "[per m]" in figures["kinds"].layout.xaxis.title.text


def test_every_figure_has_its_table_and_they_agree(page):
    blocks = {
        block.name: block for section in page.sections for block in section.blocks
        if isinstance(block, Figure)
    }  # fmt: skip
    assert all(block.table for block in blocks.values())
    rates_in_table = list(blocks["parts"].table.columns[4].cells)
    assert rates_in_table == [f"{x:.1f} %" for x in reversed(blocks["parts"].figure.data[0].x)]


def test_empty_data_draws_nothing():
    none = pd.DataFrame(columns=["name", "rejected", "examined", "rate", "lower", "upper"])
    assert beside_figure(none, 0.1, 0.2) is None
    assert kinds_figure(none) is None


def test_a_welder_without_examinations_has_a_page_of_sentences(register):
    with register.batch(kind="load", subject="welders", now=NOW) as batch:
        batch.merge("welders", pd.DataFrame({"welder": ["K7"], "name": ["Kim"]}))
    page = welder_page(register, "K7")
    assert page.figures == {}
    text = said(page)
    for sentence in (
        "has been examined by RT yet", "nothing to compare", "no imperfection is known",
        "so far there are no spots", "No reject by any method",
    ):  # fmt: skip
        assert sentence in text, sentence


def test_the_same_register_gives_the_same_bytes(yard, page):
    assert render_page(welder_page(yard, "K7")) == render_page(page)


def test_an_unknown_welder_is_refused_with_the_nearest(shop):
    with pytest.raises(UseError, match='did you mean "K7"'):
        welder_facts(shop, "K77")


@pytest.mark.parametrize(
    ("out", "bounds", "told"),
    [
        ("high", (1.2, 3.0), "more than chance brings among 9 welders: it stands out"),
        ("low", (0.1, 0.6), "it stands out as work to learn from"),
        ("", (1.2, 3.0), "some differ as much, so it does not stand out"),
        ("", (0.4, 3.0), "no more of a difference than chance brings"),
    ],
)
def test_a_difference_is_called_one_only_if_the_test_says_so(out, bounds, told):
    row = {"rejected": 1, "examined": 12, "expected": 0.5, "ratio": 2.0, "ratio_lower": bounds[0],
           "ratio_upper": bounds[1], "stands_out": out}  # fmt: skip
    sentence = expected_sentence(pd.Series(row), 9, 0.95)
    assert told in sentence
    assert "12 spots in the hands of all; 1 was found" in sentence
    assert "nothing to compare" in expected_sentence(pd.Series(row), 1, 0.95)


def test_weighted_rates_are_said_to_be_of_all_welds():
    row = {"basis": "unbiased", "rejected": 1, "examined": 40, "rate": 0.02, "lower": 1e-9,
           "upper": 0.2, "level": 0.9}  # fmt: skip
    assert own_sentence(pd.Series(row), "UT") == (
        "1 of 40 spots chosen by rule or by chance and examined by UT was rejected at first "
        "examination, about 2.0 % of all welds under the rules. With 90 % confidence the true rate "
        "lies between nearly 0 % and 20.0 %."
    )


def test_one_indication_is_told_in_the_singular():
    length = pd.Series({"examined": 9000.0})
    one = pd.DataFrame({"rejected": [1]})
    assert (
        kinds_sentence(one, length, "RT")
        == "1 rejectable indication of 1 type was found in 9.0 m examined by RT."
    )
    assert "No rejectable indication" in kinds_sentence(one.iloc[:0], length, "RT")


def test_every_imperfection_has_usual_causes_with_where_they_come_from():
    for number in IMPERFECTIONS:
        cause = cause_of(number)
        assert cause is not None, number
        assert cause.causes.endswith(".")
        assert cause.helps.endswith(".")
        assert "no source" in cause.source
    assert set(causes()) <= set(IMPERFECTIONS)


def test_causes_stand_on_the_page_of_what_was_found(html):
    assert cause_of("401").helps.split(",")[0] in html
    assert cause_of("2011").causes.split(":")[0] in html
    assert cause_of("3041").causes.split(",")[0] not in html


def test_every_welder_has_a_page_and_the_command_writes_them(yard, ndtstats):
    where = ("--register", yard.name, "--out", "pages", "--shared-assets")
    code, out, _ = ndtstats("report", "welder", "--all", *where)
    assert code == 0
    assert out.count("Open ") == len(WORK)
    assert len(list(Path("pages").glob("welder-*.html"))) == len(WORK)
    for wrong in ((), ("--all", "--welder", "K7")):
        code, _, err = ndtstats("report", "welder", *wrong, *where)
        assert code == 2
        assert "--welder STAMP" in err
