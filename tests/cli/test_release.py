import json

import pandas as pd
import pytest

from ndtstats.register import Register

WHO = ("--by", "A. Lead", "--reason", "agreed with the owner")


@pytest.fixture
def yard(tmp_path, now):
    """A tank to be closed with one weld that nobody looked at, and to be tested after that."""
    register = Register.open(tmp_path / "ndtstats.sqlite", create=True)
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": "H1", "zone": ["TANK"], "milestone": "close",
                                           "leak_test": True}))  # fmt: skip
        batch.merge("joints", pd.DataFrame({"job": "H1", "joint": ["F-1"], "zone": "TANK",
                                            "category": "A", "length_mm": 900.0}))  # fmt: skip
    register.close()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--override", *WHO), "name the zone"),
        (("--sign", *WHO), "name the zone"),
        (("--for", "paint"), "name the zone"),
        (("TANK", "--sign", *WHO, "--as-of", "2026-04-01"), "leave out --as-of"),
        (("TANK", "--override", "--by", "A. Lead"), "a decision needs the reason"),
        (("TANK", "--file", "tank.pdf"), "write an .xlsx or an .html file"),
    ],
)
def test_wrong_use_is_told(yard, ndtstats, words, says):
    code, _, err = ndtstats("release", *words)
    assert code == 2
    assert says in err


def test_what_is_passed_over_and_signed_is_told_with_who_and_why(yard, ndtstats, tmp_path):
    code, out, _ = ndtstats("release", "TANK", "--format", "json")
    assert code == 1
    assert {row["check"] for row in json.loads(out)} == {"rules", "visual"}
    assert ndtstats("release")[0] == 1
    code, out, _ = ndtstats("release", "TANK", "--override", "--sign", *WHO)
    assert code == 0
    assert "Passed over by A. Lead: " in out
    assert "Not needed for this, but later: zone TANK: " in out
    assert "Released: D" in out
    code, out, err = ndtstats("release", "TANK", "--file", "tank.html")
    assert code == 0
    assert "by A. Lead: agreed with the owner (D" in out
    assert "Written: tank.html" in err
    assert "Passed over by name" in (tmp_path / "tank.html").read_text()
    code, out, _ = ndtstats("release")
    assert (code, out.splitlines()[0]) == (0, "1 of 1 zone can be released for what comes next.")
