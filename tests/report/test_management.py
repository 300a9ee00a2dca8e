"""The page for management: which welder, which job, how sure, what it costs."""

from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.report.management import Costs, management_page
from ndtstats.report.management import words as told
from ndtstats.report.management.page import page_of


def test_which_welder_is_named_at_the_top_with_how_sure(management):
    page = page_of(management)
    total, welders, between, *_ = page.headline
    # Z9 made 20 bad places of 40, the other of his job none of 40.
    assert welders.startswith("Of concern among 6 welders: Z9 (job P2), 2.0 times the rejects")
    assert "to be expected: sure; " in welders
    assert total.startswith("2 jobs: ")
    assert "with 95 % confidence it lies between" in total
    assert between.startswith("Jobs: ")


def test_counts_are_those_of_the_register(kept, management):
    rows = kept.table("examinations")
    first = rows[(rows["round"] == 0) & (rows["method"] == "RT")]
    of = {job.job: job for job in management.jobs}
    assert list(of) == ["H1", "P2"]
    for name, mine in first.groupby("job"):
        assert of[name].total["examined"] == len(mine)
        assert of[name].total["rejected"] == (mine["verdict"] == "reject").sum()
    assert {name: job.repaired for name, job in of.items()} == {"H1": 0, "P2": 3}
    assert {name: job.made for name, job in of.items()} == {"H1": 40, "P2": 83}


def test_the_sentence_of_a_welder_says_what_its_row_says(management):
    concern = told.of_concern(management)
    row = next(concern.itertuples())
    assert (row.welder, row.sure) == ("Z9", told.SURE)
    said = told.welder_sentence(row, 6, 0.2)
    assert said.startswith("Welder Z9 (job P2): 20 of 40 spots rejected where such work leads to")
    assert f"{row.ratio:.1f} times what was to be expected" in said
    assert "Sure: chance does not explain it, although 6 welders were compared." in said
    assert "small sample" not in said


WELDER = {
    "welder": "K7", "jobs": "H1", "rejected": 1, "examined": 1, "expected": 0.25, "ratio": 4.0,
    "ratio_lower": 0.1, "ratio_upper": 4.0, "above": 0.8, "adjusted_p": 0.25,
}  # fmt: skip


@pytest.mark.parametrize(
    ("sure", "said"),
    [(told.LIKELY, "Likely, not proven: of 3 welders"), (told.SIGNAL, "A signal: his rejects")],
)
def test_nobody_is_called_proven_who_is_not(sure, said):
    text = told.welder_sentence(SimpleNamespace(**WELDER, sure=sure), 3, 0.05)
    assert said in text
    assert "Sure" not in text
    assert "1 of 1 spot rejected" in text
    assert "above that of all together (5.0 %) with 80 % probability" in text
    assert text.endswith("That is a small sample.")


def between(*rows):
    table = pd.DataFrame(
        rows, columns=["job", "rejected", "ratio", "ratio_lower", "ratio_upper", "stands_out"]
    )
    return SimpleNamespace(table=table)


def test_where_nobody_is_of_concern_nobody_is_named(management):
    table = management.welders.table.assign(stands_out="", funnel="within", above=0.5)
    calm = replace(
        management,
        welders=replace(management.welders, table=table),
        trend=replace(management.trend, welders=management.trend.welders.assign(signals=0)),
    )
    assert told.of_concern(calm).empty
    page = page_of(calm)
    assert page.headline[1].startswith("Welders: none of 6 welders is of concern")


def test_jobs_are_called_different_only_where_they_stand_out():
    none = between(("A", 3, 1.3, 0.4, 2.9, ""), ("B", 1, 0.7, 0.1, 2.0, ""))
    assert "neither stands out. Farthest above: A, 1.3 times" in told.between_sentence(none)
    one = between(("A", 30, 2.5, 1.9, 3.2, "high"), ("B", 1, 0.1, 0.0, 0.4, ""))
    assert told.between_sentence(one) == (
        "Jobs: A (2.5 times what was to be expected) stands out from what such work leads to."
    )
    both = between(("A", 30, 2.5, 1.9, 3.2, "high"), ("B", 1, 0.1, 0.0, 0.4, "low"))
    assert "A (2.5 times what was to be expected) and B (0.1 times" in told.between_sentence(both)
    assert " stand out " in told.between_sentence(both)
    assert "nothing to compare" in told.between_sentence(between(("A", 3, 1.0, 0.4, 2.9, "")))
    clean = between(("A", 0, 0.0, 0.0, 1.0, ""), ("B", 0, 0.0, 0.0, 1.0, ""))
    assert "not the same as no defect" in told.between_sentence(clean)


def job(**more):
    usual = {"made": 1, "repaired": 1, "planned": 1, "owed_examinations": 1, "owed_repairs": 1,
             "expected_repairs": 0.2}  # fmt: skip
    return SimpleNamespace(**(usual | more))


def test_costs_are_counted_where_no_price_is_given():
    facts = SimpleNamespace(jobs=(job(),), costs=Costs())
    assert told.cost_sentence(facts) == (
        "So far 1 exposure and 1 repair. To come: 1 planned exposure, 1 examination owed, 1 repair "
        "owed."
    )


def test_costs_add_up_over_jobs():
    jobs = (job(made=40), job(made=83, repaired=3, owed_repairs=17, expected_repairs=2.8))
    said = told.cost_sentence(SimpleNamespace(jobs=jobs, costs=Costs(100.0, 1000.0, "EUR")))
    # By hand: 123 x 100 + 4 x 1000; 4 x 100 + (18 + 3) x 1000.
    assert "So far 123 exposures and 4 repairs, about 16,300 EUR." in said
    assert "18 repairs owed and about 3 more" in said
    assert said.endswith("about 21,400 EUR.")


def test_a_cost_below_nothing_is_refused(kept):
    with pytest.raises(UseError, match="a repair cannot cost -1"):
        management_page(kept, cost_per_repair=-1.0)


def test_progress_is_told_in_numbers_that_add_up():
    extents = pd.DataFrame({"state": ["met", "short", "no rule"]})
    zones = pd.DataFrame({"state": ["released", "free", "hindered", "signed, but"]})
    one = SimpleNamespace(extents=extents, zones=zones)
    assert told.extent_words(one) == "1 of 2 met"
    assert told.zones_words(one) == "1 of 4 released, 1 free, 2 hindered"
    nothing = SimpleNamespace(extents=extents.iloc[:0], zones=zones.iloc[:0])
    assert (told.extent_words(nothing), told.zones_words(nothing)) == ("no rules", "no zones")


@pytest.mark.parametrize(("name", "of"), [("welders", "welders"), ("fair", "between")])
def test_figures_hold_what_their_tables_hold(management, management_html, figure_of, name, of):
    rows = getattr(management, of).table.iloc[::-1]
    (marks,) = figure_of(management_html, name)["data"]
    assert marks["x"] == pytest.approx(rows["ratio"].tolist())
    assert marks["error_x"]["array"] == pytest.approx(
        (rows["ratio_upper"] - rows["ratio"]).tolist()
    )
    counts = [f"{k} of {n}" for k, n in zip(rows["rejected"], rows["examined"], strict=True)]
    assert [text.rsplit(", ", 1)[1] for text in marks["y"]] == counts


def test_each_job_has_its_trend_with_bounds(management, management_html, figure_of):
    # P2 has more rejects, so it comes first.
    rows = management.jobs[1].months
    (marks,) = figure_of(management_html, "trend-1")["data"]
    assert marks["x"] == rows["month"].tolist()
    assert marks["error_y"]["array"] == pytest.approx(
        (100 * (rows["upper"] - rows["rate"])).tolist()
    )


def test_what_lapses_is_told(management_html):
    assert "Qualifications about to lapse" in management_html
    assert 'first that of welder Z9, <span class="w">C-9</span>' in management_html


def test_a_job_without_anything_has_sentences_instead_of_boxes(register, now):
    with register.batch(kind="load", subject="jobs", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
    page = management_page(register)
    assert page.figures == {}
    assert page.headline[0] == "1 job; nothing has been examined by RT yet."
    assert "nothing is known of any" in page.headline[1]
