import json

import pytest

RULES = """
title = "rules of an invented yard"
follows = "nothing: rules for a test"
edition = "none"

[risk]
bead_end = 1.5

[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = { family = "share-of-length", percent = 10.0 }
spots_per_welder = 1
"""


@pytest.fixture
def yard(ndtstats, tmp_path):
    """A register with six butts of an invented hull by two welders, and rules."""
    files = {
        "jobs": "job,title\nH1,an invented hull\n",
        "zones": "job,zone\nH1,Z1\n",
        "joints": "job,zone,joint,category,joint_type,length_mm\n"
        + "".join(f"H1,Z1,B-{n},A,butt,3000\n" for n in range(6)),
        "welders": "welder\nK1\nK2\n",
        "deposits": "job,joint,welder,date\n"
        + "".join(f"H1,B-{n},K{n % 2 + 1},2026-02-0{n + 1}\n" for n in range(6)),
    }
    ndtstats("init")
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text)
        assert ndtstats("load", name, str(tmp_path / f"{name}.csv"))[0] == 0
    (tmp_path / "rules.toml").write_text(RULES)
    return ndtstats


def drawn(yard, tmp_path, *more):
    code, out, err = yard(
        "plan", "draw", "--rules", str(tmp_path / "rules.toml"), "--seed", "1", *more
    )
    assert code == 0, err
    return out, err


def test_a_budget_is_aimed_and_told(yard, tmp_path):
    out, err = drawn(yard, tmp_path, "--budget", "5")
    assert "5 targeted" in out
    assert "5 of 5 exposures beyond the rules aimed at 5 places" in err
    assert "No results yet" in err


def test_why_prints_the_product_factor_by_factor(yard, tmp_path):
    drawn(yard, tmp_path)
    code, out, _ = yard("plan", "why", "P1-0001")
    assert code == 0
    assert out.startswith("P1-0001, joint B-")
    for factor in ("process", "welder", "bead end", "hidden later", "consequence"):
        assert f"\n{factor} " in out
    assert "Risk " in out.splitlines()[-1]
    code, out, _ = yard("plan", "why", "p1-0001", "--format", "json")
    assert {row["factor"] for row in json.loads(out)} >= {"welder", "crossing"}
    code, _, err = yard("plan", "why", "P7-0001")
    assert code == 2
    assert "no plan has a spot" in err


def test_value_shows_the_curve_as_table_and_picture(yard, tmp_path):
    drawn(yard, tmp_path)
    code, out, err = yard("plan", "value", "--further", "20", "--step", "5")
    assert code == 0
    assert out.startswith("1.8 rejectable imperfections are expected in 18 m.")
    assert "20 more would find" in out
    assert "100 % │" in out
    assert "further" in out
    assert "No results yet" in err
    drawing = tmp_path / "value.svg"
    assert yard("plan", "value", "--picture", str(drawing))[0] == 0
    assert drawing.read_text().count("<path") > 10
    assert "exposures (" in drawing.read_text()
    assert yard("plan", "value", "--picture", str(tmp_path / "value.png"))[0] == 2
    code, out, _ = yard("plan", "value", "--format", "csv")
    assert out.splitlines()[0] == "exposures,found,consequence,hidden,caught,part"


def test_value_without_rules_or_plan_says_what_to_do(yard, tmp_path):
    code, _, err = yard("plan", "value")
    assert code == 2
    assert "no rules in force" in err
    code, _, err = yard("plan", "value", "--rules", str(tmp_path / "rules.toml"))
    assert code == 2
    assert "ndtstats plan draw" in err
