"""Hold times against the tables they follow.

The grid of S235 to S420 is that of EN 1090-2, table 23, and of NSSS, 5th edition, table A, as read
in published pages; S460 and above from memory, as are the yield strengths of the groups of ISO/TR
15608. BS EN 1011-2:2001, clause 18, EEMUA 158 (1994), 7.2.2, CSA W59 and AWS D1.1 as read in
published pages; the hours of IACS UR W33 from memory.
"""

from importlib import resources

import numpy as np
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.rules import hold_hours, hold_of, hold_tables, load_rules, preset_text, read_rules
from ndtstats.rules.locate import comments_of, lines_of


def one(scheme, material, thickness, heat=None):
    found = hold_hours(scheme, [material], [thickness], None if heat is None else [heat])
    return found["hours"].iloc[0], found["assumed"].iloc[0]


# throat or thickness in mm, heat input in kJ/mm, hours for S235 to S420, hours for S460 and above
GRID = [
    (6.0, 2.0, 0, 24), (6.0, 3.5, 0, 24),
    (6.1, 3.0, 8, 24), (12.0, 3.0, 8, 24), (12.0, 3.1, 16, 40),
    (12.1, 3.0, 16, 40), (60.0, 3.1, 40, 48),
]  # fmt: skip


@pytest.mark.parametrize(("thickness", "heat", "usual", "high"), GRID)
def test_the_grid_of_en_1090_2(thickness, heat, usual, high):
    assert one("en-1090-2", "1.2", thickness, heat) == (usual, "")
    assert one("en-1090-2", "2.2", thickness, heat) == (high, "")
    assert one("nsss", "1.2", thickness, heat) == (usual, "")


@pytest.mark.parametrize(
    ("scheme", "material", "hours"),
    [
        ("bs-en-1011-2", "1.2", 16),
        ("eemua-158", "1.2", 48),
        ("csa-w59", "3.1", 48),
        ("csa-w59", "1.2", 0),
        ("aws-d1.1", "3.1", 48),
        ("aws-d1.1", "2.1", 0),
        ("iacs-w33", "1.2", 0),
        ("iacs-w33", "3.1", 48),
        ("iacs-w33", "2.2", 72),  # over 460 N/mm2 without an upper bound
        ("iacs-w33", "3.2", 72),
    ],
)
def test_the_other_tables(scheme, material, hours):
    assert hold_hours(scheme, [material], [20.0])["hours"].tolist() == [hours]


@pytest.mark.parametrize("scheme", list(hold_tables()))
def test_aluminium_and_austenite_only_cool_down(scheme):
    # Common practice, no source.
    for group in ("21", "22.3", "26", "8", "8.1"):
        assert one(scheme, group, 40.0) == (0.0, "")


@pytest.mark.parametrize(
    ("material", "thickness", "heat", "hours", "assumed"),
    [
        ("1.2", 10.0, None, 16, "heat input"),
        ("1.2", None, 2.0, 16, "thickness"),
        (None, 10.0, 2.0, 24, "material"),
        ("5.1", 10.0, 2.0, 24, "material"),  # creep-resisting: not a steel of the table
        ("1.3", 10.0, 2.0, 24, "material"),  # over 360 up to 460 N/mm2: S420 or S460
        (None, None, None, 48, "material, thickness, heat input"),
        ("1.2", 5.0, None, 0, ""),  # thin: the heat input changes nothing
    ],
)
def test_what_is_not_known_takes_the_longer_time_and_that_is_said(
    material, thickness, heat, hours, assumed
):
    assert one("en-1090-2", material, thickness, heat) == (hours, assumed)


def test_knowing_more_never_lengthens():
    rng = np.random.default_rng(1)
    groups = rng.choice(["1.1", "1.2", "1.3", "2.2", "3.1", "3.2", "5.1", "8", "22.3"], 500)
    size, heat = rng.uniform(1, 60, 500), rng.uniform(0.5, 6, 500)
    for scheme in hold_tables():
        known = hold_hours(scheme, groups, size, heat)["hours"]
        for less in (
            hold_hours(scheme, [None] * 500, size, heat),
            hold_hours(scheme, groups, [None] * 500, heat),
            hold_hours(scheme, groups, size),
        ):
            assert (less["hours"] >= known).all()


def test_the_index_of_the_joints_is_kept():
    joints = pd.DataFrame({"material": ["1.2", "22"], "thickness_mm": [20.0, 20.0]}, index=[7, 3])
    rule = load_rules("steel-structure").extent[0]
    found = hold_of(rule, joints)
    assert found["hours"].to_dict() == {7: 40.0, 3: 0.0}


def test_hold_hours_remain_the_least():
    rule = load_rules("steel-structure").extent[0].model_copy(update={"hold_hours": 30.0})
    joints = pd.DataFrame({"material": ["1.2", "1.2"], "thickness_mm": [20.0, 5.0]})
    assert hold_of(rule, joints)["hours"].tolist() == [40.0, 30.0]
    alone = rule.model_copy(update={"hold_times": None})
    assert hold_of(alone, joints)["hours"].tolist() == [30.0, 30.0]


def test_a_table_there_is_none_of_is_refused_with_its_line():
    text = preset_text("steel-structure").replace('"en-1090-2"', '"en-1090"')
    with pytest.raises(
        UseError, match='hold_times: "en-1090" is not a table of hold times; did you'
    ):
        read_rules(text, source="mine.toml")


def test_every_figure_has_its_source():
    text = (resources.files("ndtstats.rules") / "hold_times.toml").read_text(encoding="utf-8")
    comments = comments_of(text)
    for path, line in lines_of(text).items():
        if path[-1] == "hours" or (path[0] == "group" and len(path) == 2):
            above = next((n for n in range(line, 0, -1) if n in comments), 0)
            said = comments[above]
            assert "seen" in said or "from memory" in said or "no source" in said, (line, said)
