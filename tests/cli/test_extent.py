import json

import pytest


@pytest.fixture
def line(ndtstats, tmp_path):
    """A register with three girth welds of an invented line, under the rules for piping."""
    files = {
        "jobs": "job,title\nP1,an invented line\n",
        "zones": "job,zone\nP1,Z1\n",
        "joints": "job,zone,joint,category,joint_type,length_mm,whole\n"
        + "".join(f"P1,Z1,G-{n},NORMAL,butt,500,yes\n" for n in (1, 2, 3)),
    }
    ndtstats("init")
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text)
        assert ndtstats("load", name, str(tmp_path / f"{name}.csv"))[0] == 0
    return ndtstats


def load_examination(ndtstats, tmp_path):
    path = tmp_path / "results.csv"
    path.write_text("job,joint,method,verdict,date,report\nP1,G-2,RT,accept,2026-03-01,R1\n")
    assert ndtstats("load", "examinations", str(path))[0] == 0


def test_a_short_extent_is_a_finding(line, tmp_path):
    line("rules", "adopt", "process-piping", "--job", "P1")
    code, out, _ = line("extent", "--job", "P1")
    assert code == 1
    assert out.startswith("1 of 1 extent is short: girth welds, normal service (RT), 1 joint")
    load_examination(line, tmp_path)
    code, out, _ = line("extent", "--job", "P1")
    assert code == 0
    assert out.startswith("The only extent is met.")


def test_the_rules_may_be_named(line, tmp_path):
    load_examination(line, tmp_path)
    code, out, _ = line("extent", "--rules", "process-piping", "--format", "json")
    assert code == 0
    (row,) = json.loads(out)
    assert row["job"] == "P1"
    assert (row["required"], row["achieved"], row["missing"]) == (1.0, 1.0, 0.0)
    assert (row["unit"], row["state"]) == ("joints", "met")


def test_without_rules_it_is_wrong_use(line):
    code, _, err = line("extent", "--job", "P1")
    assert code == 2
    assert "ndtstats rules adopt" in err
