import json

import pandas as pd
import pytest

from ndtstats.register import Register


@pytest.fixture
def yard(tmp_path, now):
    """A tank with one weld that nobody looked at, and no test yet."""
    register = Register.open(tmp_path / "ndtstats.sqlite", create=True)
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": "H1", "zone": ["TANK", "VOID"],
                                           "leak_test": [True, None],
                                           "test_pressure_bar": [0.15, None]}))  # fmt: skip
        batch.merge("joints", pd.DataFrame({"job": "H1", "joint": ["F-1"], "zone": "TANK",
                                            "category": "A", "length_mm": 900.0}))  # fmt: skip
    register.close()


def test_the_list_is_shown(yard, ndtstats):
    code, out, _ = ndtstats("walk", "--zone", "TANK")
    assert code == 0
    assert out.startswith("Zone TANK: 2 things to do on 1 joint: 1 look, 1 test.")
    _, out, _ = ndtstats("walk", "--zone", "TANK", "--format", "json")
    assert [record["do"] for record in json.loads(out)] == ["look", "test"]
    _, out, _ = ndtstats("walk", "--zone", "VOID")
    assert out == "Zone VOID: nothing to look at or to finish.\n"


def test_the_list_is_written_and_loads_back(yard, ndtstats, tmp_path):
    code, _, err = ndtstats("walk", "--zone", "TANK", "walk.xlsx")
    assert code == 0
    assert "walk.xlsx: filled in, load it with: ndtstats load examinations walk.xlsx" in err
    code, _, err = ndtstats("load", "examinations", "walk.xlsx")
    assert (code, "1 row not answered yet" in err) == (0, True)
    code, _, err = ndtstats("walk", "--zone", "TANK", "walk.html")
    assert (code, (tmp_path / "walk.html").exists()) == (0, True)
    assert "print it" in err


@pytest.mark.parametrize("file", ["walk.pdf", "there.html"])
def test_a_file_that_cannot_be_is_told(yard, ndtstats, tmp_path, file):
    (tmp_path / "there.html").write_text("mine")
    code, _, err = ndtstats("walk", "--zone", "TANK", file)
    assert code == 2
    assert file in err
    assert (tmp_path / "there.html").read_text() == "mine"


def test_tests_of_zones_with_their_cautions(yard, ndtstats, tmp_path):
    code, out, err = ndtstats("tightness")
    assert code == 1
    assert out.startswith(
        "0 of 1 zone that needs a leak or pressure test have one that holds: 1 missing."
    )
    assert "the drawing states 0.15 bar" in out
    # HSE GS4 (seen): air holds about two hundred times the energy of water.
    assert "two hundred times the energy of water" in err
    assert "licensed people" in err
    (tmp_path / "tests.csv").write_text(
        "job,zone,test,date,pressure_bar,verdict,report\nH1,TANK,leak,2026-03-01,0.15,accept,L-1\n"
    )
    assert ndtstats("load", "tests", "tests.csv")[0] == 0
    code, out, err = ndtstats("tightness", "--format", "json")
    assert (code, err) == (0, "")
    assert json.loads(out)[0]["state"] == "accepted"
    code, out, _ = ndtstats("tightness", "--zone", "VOID")
    assert (code, out.startswith("No zone needs")) == (0, True)
