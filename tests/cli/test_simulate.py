import json
import re
from xml.etree import ElementTree as ET

import pandas as pd
import pytest

from ndtstats.rules import preset_text

#: A yard small enough to be tried in a test.
SMALL = "--welders 3 --joints-each 24 --joint-mm 500 --replicates 200"


@pytest.fixture
def simulate(ndtstats):
    def run(words):
        return ndtstats("plan", "simulate", *words.split())

    return run


def records(simulate, words):
    code, out, _ = simulate(f"{words} --format json")
    assert code == 0
    return json.loads(out)


def test_a_sentence_then_the_figures_the_curve_and_the_check(simulate):
    code, out, _ = simulate(f"--rules process-piping {SMALL}")
    first, about, heading, *rest = out.splitlines()
    assert code == 0
    assert re.match(
        r"A welder with 10 % bad places of 300 mm is caught by a reject with [\d.]+ % probability "
        r"\([\d.]+ to [\d.]+ %\), on average after [\d.]+ m of his 12.0 m and [\d.]+ exposures\. "
        r"Of the good welders \(2 % bad\) [\d.]+ % \([\d.]+ to [\d.]+ %\) are put into extra "
        r"examination\. It takes [\d.]+ exposures on average \(.*\), [\d]+ or fewer in 19 yards of "
        r"20\. [\d.]+ rejectable imperfections \(.*\) are left\.$",
        first,
    )
    assert about == (
        "Tried on an invented yard: 3 welders with 24 joints of 500 mm each, 36 m; 200 replicates, "
        "seed 0."
    )
    assert heading.split() == ["figure", "process-piping", "process-piping,", "95", "%"]
    text = "\n".join(rest)
    assert "cost" not in text
    assert re.search(r"^ +10\.0 % +[\d.]+ % +█+", text, re.MULTILINE)
    assert re.search(r"Check: a bad welder, \d+ of 24 places .* ± [\d.]+ points, exactly", text)
    assert "Assumed: all is welded before the first image is read" in text


def test_with_costs_and_another_threshold(simulate):
    _, out, _ = simulate(
        f"--rules process-piping {SMALL} --exposure-cost 80 --repair-cost 600 --allowed 1 "
        "--bad-rate 0.25 --place-mm 500"
    )
    assert "with 25 % bad places of 500 mm is caught by 2 rejects" in out
    assert ", and costs " in out
    assert "… or less in 19 yards of 20" in out


def test_two_plans_side_by_side(simulate, tmp_path):
    _, text, _ = simulate(f"--rules process-piping {SMALL}")
    more = preset_text("process-piping").replace("percent = 5.0, least", "percent = 50.0, least")
    (tmp_path / "more.toml").write_text(more)
    _, out, _ = simulate(f"--rules process-piping --against more.toml {SMALL}")
    lines = out.splitlines()
    assert lines[0].startswith("process-piping: A welder")
    assert lines[0].removeprefix("process-piping: ") == text.splitlines()[0]
    assert lines[1].startswith("more.toml: A welder")
    assert re.match(
        r"more.toml instead of process-piping: a bad welder is caught [\d.]+ ± [\d.]+ points more "
        r"often, for [\d.]+ ± [\d.]+ more exposures; [\d.]+ ± [\d.]+ fewer rejectable "
        "imperfections are left",
        lines[2],
    )
    assert "caught, process-piping" in out
    assert "caught, more.toml" in out


def test_machines_get_everything_with_its_error(simulate):
    table = pd.DataFrame(records(simulate, f"--rules process-piping {SMALL}"))
    figures = table[table["welder"].isna() & table["rate"].isna() & table["model"].isna()]
    figures = figures.set_index("figure")
    assert {"bad_caught", "good_extra", "exposures_95", "left"} <= set(figures.index)
    caught = figures.loc["bad_caught"]
    assert caught["lower"] < caught["value"] < caught["upper"]
    assert caught["standard_error"] > 0
    curve = table[table["figure"] == "caught"]
    at_bad_rate = curve.loc[(curve["rate"] - 0.1).abs() < 1e-9, "value"].iloc[0]
    assert at_bad_rate == pytest.approx(caught["value"])
    assert table.loc[table["figure"] == "caught_if_bad", "welder"].tolist() == ["W1", "W2", "W3"]
    check = table[table["figure"] == "check"].set_index("model")
    assert (check["value"] - check["exact"]).abs().max() < 0.15
    assert set(figures["unit"]) == {"share", "mm", "number"}


def test_the_same_seed_says_the_same(simulate):
    words = f"--rules process-piping {SMALL} --format csv"
    one, same, other = (simulate(f"{words} --seed {seed}")[1] for seed in (3, 3, 4))
    assert one == same
    assert one != other


def test_the_curve_is_drawn(simulate, tmp_path):
    _, _, err = simulate(f"--rules process-piping {SMALL} --picture curve.svg")
    assert "Drawn in curve.svg." in err
    root = ET.parse(tmp_path / "curve.svg").getroot()  # noqa: S314 - our own file
    text = " ".join(root.itertext())
    assert "chance (%)" in text
    assert "is caught by a reject with" in text
    simulate(f"--rules process-piping --against process-piping {SMALL} --picture two.html")
    page = (tmp_path / "two.html").read_text()
    assert "caught by the first plan" in page
    assert "caught by the second plan" in page


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("", "name the rules to try with --rules FILE|PRESET"),
        ("--rules process-piping --bad-rate 10", "bad rate 10 is no share below 1"),
        ("--rules process-piping --replicates 1", "1 replicates tell nothing"),
        ("--rules process-piping --welders 0", "welders of the invented yard: 0; write 1 or more"),
        ("--rules process-piping --job X --welders 2", "leave them out with --job"),
        ("--rules aluminium-hull --against process-piping", "they are about categories"),
    ],
)
def test_wrong_use_is_told_in_words(simulate, words, says):
    code, out, err = simulate(words)
    assert (code, out) == (2, "")
    assert says in err


@pytest.fixture
def job(ndtstats, tmp_path):
    (tmp_path / "jobs.csv").write_text("job\nB-1\n")
    (tmp_path / "zones.csv").write_text("job,zone\nB-1,1\n")
    (tmp_path / "welders.csv").write_text("welder\nA\nB\n")
    joints = ["job,zone,joint,category,joint_type,length_mm,whole"]
    joints += [f"B-1,1,J{n},NORMAL,butt,600,yes" for n in range(1, 41)]
    (tmp_path / "joints.csv").write_text("\n".join(joints) + "\n")
    deposits = ["job,joint,welder,date"]
    deposits += [f"B-1,J{n},{'AB'[n % 2]},2026-01-{n // 2 + 1:02d}" for n in range(1, 40)]
    (tmp_path / "deposits.csv").write_text("\n".join(deposits) + "\n")
    ndtstats("init")
    for table in ("jobs", "zones", "joints", "welders", "deposits"):
        code, _, err = ndtstats("load", table, f"{table}.csv")
        assert code == 0, err


def test_the_job_of_the_register_is_tried(ndtstats, simulate, job):
    code, out, _ = simulate("--rules process-piping --replicates 100")
    assert code == 0
    assert "Tried on job B-1: 40 joints, 24 m; 100 replicates, seed 0." in out
    assert "Least likely to be caught:" in out
    code, _, err = simulate("--replicates 100")
    assert code == 2
    assert "job B-1 has no rules in force" in err
    ndtstats("rules", "adopt", "process-piping", "--job", "B-1")
    _, again, _ = simulate("--replicates 100")
    assert again.splitlines()[0] == out.splitlines()[0]


def test_nothing_is_written_and_unknown_work_is_told(simulate, job, tmp_path):
    before = (tmp_path / "ndtstats.sqlite").read_bytes()
    _, out, _ = simulate("--rules process-piping --replicates 100")
    assert (tmp_path / "ndtstats.sqlite").read_bytes() == before
    assert "Nobody is known to have welded 0.60 m" in out
