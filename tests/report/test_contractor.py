"""The page for the contractor: what it counts, what it says, and above all what it leaves out."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest

from ndtstats.register import Register
from ndtstats.report.contractor import contractor_facts, contractor_page
from ndtstats.report.contractor.figures import reshoots_figure, turnaround_figure
from ndtstats.report.contractor.words import (
    corrections_sentence,
    images_sentence,
    states_sentence,
    turnaround_sentence,
)
from ndtstats.report.formatting import unbroken
from ndtstats.report.page import Figure
from ndtstats.report.render import render_page

HOSTILE = '<script>alert("x")</script>'
DRAWN = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
JOINTS = [f"B-{number:02d}" for number in range(1, 31)]
#: Words that would tell why a place was chosen, what was found, or what is thought of a welder.
TELLING = (
    "random", "targeted", "reserve", "required", "stratum", "probability of being drawn", "risk",
    "seed", "accept", "reject", "imperfection", "indication", "K7", "Welder",
)  # fmt: skip


def _spots() -> pd.DataFrame:
    parts = ["targeted"] * 3 + ["random"] * 26 + ["reserve"]
    return pd.DataFrame(
        {
            "spot": [f"P1-{number:04d}" for number in range(1, 31)], "plan": "P1", "job": "H1",
            "joint": JOINTS, "method": "RT", "from_mm": 100.0, "to_mm": 400.0, "part": parts,
            "why": "shaky welder", "round": 0, "rule": "butts", "stratum": "s", "pi": 0.1,
            "draw_order": range(30),
        }
    )  # fmt: skip


def _answers() -> pd.DataFrame:
    """28 spots answered: the first ten in 8 days, 17 in 15 days, one not done; one left open."""
    rows = _spots().iloc[:28][["job", "joint", "method", "from_mm", "to_mm", "round", "spot"]]
    rows = rows.rename(columns={"spot": "request"}).assign(
        verdict=["reject", *["accept"] * 27],
        report="R-1",
        exposure="1",
        technician="Ada",
        date=pd.to_datetime(["2026-03-10"] * 10 + ["2026-03-17"] * 18),
        remark=None,
    )
    rows.loc[27, ["verdict", "remark"]] = ["not done", HOSTILE]
    rows.loc[26, "to_mm"] = 300.0
    # An image no good, and the one that replaced it.
    again = rows.iloc[[0]].assign(verdict="re-shoot", exposure="0", remark="density too low")
    return pd.concat([rows, again], ignore_index=True)


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Register:
    register = Register.open(tmp_path_factory.mktemp("yard") / "yard.sqlite", create=True)
    joints = pd.DataFrame(
        {"job": "H1", "joint": JOINTS, "zone": "Z", "category": "A", "joint_type": "butt",
         "length_mm": 3000.0}
    )  # fmt: skip
    deposits = joints[["job", "joint"]].assign(welder="K7", date=pd.Timestamp("2026-02-01"))
    plan = {
        "plan": "P1", "job": "H1", "kind": "draw", "seed": 4711, "frame_sha256": "f",
        "version": "0", "drawn_at": DRAWN.isoformat(),
    }  # fmt: skip
    with register.batch(kind="load", subject="joints", now=DRAWN) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"], "title": ["invented"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
        batch.insert("plans", pd.DataFrame([plan]))
        batch.insert("spots", _spots())
    came = DRAWN + timedelta(days=20)
    entry = {"kind": "load", "subject": "examinations", "source": f"{HOSTILE}.csv"}
    with register.batch(**entry, now=came, left_out=2) as batch:
        batch.merge("examinations", _answers())
    with register.batch(**entry, now=came + timedelta(days=1)) as batch:
        batch.merge("examinations", _answers().iloc[[3]].assign(technician=HOSTILE))
    yield register
    register.close()


@pytest.fixture(scope="module")
def facts(yard):
    return contractor_facts(yard)


def said(page) -> str:
    """All that the sections say, cells of tables and pointed-at numbers included."""
    return " ".join(page.headline) + repr(page.sections) + str(list(page.figures.values()))


def test_reshoots_and_days_are_those_counted_by_hand(facts):
    assert facts.total[["reshoots", "taken"]].tolist() == [1, 28]
    assert facts.turnaround.examined == 27
    assert facts.turnaround.waiting == 2  # the one left open, and the substitute that was called
    # 29 requests: 10 within 8 days, 27 within 15; the 15th is the one in the middle.
    assert facts.turnaround.half[0] == 15
    assert facts.turnaround.oldest_days == 21  # 2 to 23 March


def test_the_headline_says_how_sure_it_is(yard):
    images, days = contractor_page(yard).headline
    # 1 of 28, Clopper-Pearson 95 %: 0.09 % to 18.35 % (R 4.2, binom.test(1, 28)).
    assert images == (
        "1 of 28 exposures had to be taken again: a re-shoot rate of 3.6 %. With 95 % confidence "
        "the rate behind it lies between 0.09 % and 18.3 %. That is a small sample."
    )
    assert days.startswith("Half of 29 requests are examined within 15 days (95 % bounds ")
    assert days.endswith("2 requests stand open, the oldest for 21 days.")


def test_the_page_is_blind(yard):
    page = contractor_page(yard)
    text = said(page)
    found = [word for word in TELLING if word.casefold() in text.casefold()]
    # The section that says what is left out names it.
    text_of_rest = repr(page.sections[:-1])
    assert [w for w in found if w.casefold() in text_of_rest.casefold()] == []
    assert "4711" not in render_page(page, shared="plotly.js")
    assert "K7" not in render_page(page, shared="plotly.js")


def test_what_was_short_and_not_done_is_listed_with_its_reason(yard):
    html = render_page(contractor_page(yard), shared="plotly.js")
    assert (
        "Of 30 requests 26 were examined as asked, 1 was examined short, 1 was not done, 2 are"
        " open." in html
    )
    assert unbroken("100 to 400 mm") in html
    assert unbroken("100 to 300 mm") in html
    assert "density too low" in html
    assert HOSTILE not in html
    assert "&lt;script&gt;" in html


def test_corrections_and_rows_left_out_are_told(facts):
    assert facts.files[["corrected", "left_out"]].sum().tolist() == [1, 2]
    assert corrections_sentence(facts.files) == (
        "2 files of examinations were loaded. 1 row corrected an earlier one, and 2 rows could not "
        "be taken as they were."
    )


def test_readers_stand_there_if_readings_are_given(yard):
    # Cohen 1960: 2 of 3 agree, by chance 4/9; kappa 0.4.
    seen = pd.DataFrame(
        {"image": [1, 1, 2, 2, 3, 3], "reader": ["A", "B"] * 3,
         "verdict": ["re-shoot", "re-shoot", "accept", "re-shoot", "accept", "accept"]}
    )  # fmt: skip
    html = render_page(contractor_page(yard, readings=seen), shared="plotly.js")
    assert "kappa 0.40" in html.replace("</a>", "").split("Do readers agree?")[1]
    without = render_page(contractor_page(yard), shared="plotly.js")
    assert "No images read by two readers were given" in without


def test_the_same_register_gives_the_same_bytes(yard):
    assert render_page(contractor_page(yard)) == render_page(contractor_page(yard))


def test_every_figure_draws_its_intervals_and_shows_its_denominators(facts):
    months = reshoots_figure(facts.months)
    assert months.data[0].error_y.array[0] > 0
    assert "1 of 28 taken again" in months.data[0].hovertext[0]
    assert "[%" in months.layout.yaxis.title.text
    days = turnaround_figure(facts.turnaround.curve)
    lower, upper, share = (list(trace.y) for trace in days.data)
    assert lower[1] < share[1] < upper[1]
    # The substitute, called on the 17th, has waited 6 days only and counts no longer at 8.
    assert "10 of 28 still waiting" in days.data[2].hovertext[1]
    assert days.layout.xaxis.title.text == "days from request to examination"


def test_figures_and_tables_agree(yard):
    page = contractor_page(yard)
    figures = {
        block.name: block for section in page.sections for block in section.blocks
        if isinstance(block, Figure)
    }  # fmt: skip
    assert set(figures) == {"reshoots", "turnaround"}
    curve = figures["turnaround"]
    by_then = [f"{value:.1f} %" for value in curve.figure.data[2].y[1:]]
    assert list(curve.table.columns[3].cells) == by_then


def test_nothing_gives_sentences_and_no_empty_box(register):
    page = contractor_page(register)
    assert page.figures == {}
    for sentence in (
        "No exposure has been reported yet", "there is no turnaround yet", "No request came back",
        "No file of examinations has been loaded yet.",
    ):  # fmt: skip
        assert sentence in said(page)
    assert reshoots_figure(pd.DataFrame()) is None
    assert turnaround_figure(pd.DataFrame()) is None


@pytest.mark.parametrize(
    ("reshoots", "taken", "begin", "small"),
    [(0, 1, "0 of 1 exposure had", True), (1, 400, "1 of 400 exposures had", False)],
)
def test_one_and_many(reshoots, taken, begin, small):
    row = {"reshoots": reshoots, "taken": taken, "rate": 0.1, "lower": 0.0, "upper": 1.0}
    told = images_sentence(pd.Series(row), 0.95)
    assert told.startswith(begin)
    assert told.endswith("That is a small sample.") == small


def test_states_are_told_in_words(facts):
    none = facts.states * 0
    assert states_sentence(none) == "Nothing asked."
    waits = states_sentence(
        none + pd.Series({"not welded": 1, "done": 1}).reindex(none.index, fill_value=0)
    )
    assert waits == (
        "Of 1 request 1 was examined as asked. 1 more place waits for its joint to be welded, and "
        "nobody was asked yet."
    )


def test_images_of_before_have_no_turnaround(yard):
    early = contractor_facts(yard).turnaround
    told = turnaround_sentence(early, 0.95)
    assert "dated before" not in told
    before = type(early)(early.curve, 0, 0, 1, early.half, early.most, float("nan"))
    assert turnaround_sentence(before, 0.95) == (
        "No request has been answered or stands open, so there is no turnaround yet. 1 place was "
        "answered by images dated before the request; of it there is no turnaround."
    )


def test_the_command_writes_the_page(yard, ndtstats, tmp_path):
    readings = tmp_path / "readings.csv"
    readings.write_text("image,reader,verdict\n1,A,accept\n1,B,reject\n", encoding="utf-8")
    where = yard.name
    code, out, _ = ndtstats(
        "report", "contractor", "--register", where, "--out", "pages", "--readings", readings
    )
    assert code == 0
    assert "1 of 28 exposures" in out
    assert Path("pages/contractor-all.html").stat().st_size < 3_000_000
    code, _, err = ndtstats("report", "contractor", "--register", where, "--out", "pages",
                            "--job", "H9")  # fmt: skip
    assert code == 2
    assert "H9" in err
