"""Every row of published extent rules that is known can be written as a rules file and planned by.

Each case is a text that a yard could use, an invented register, and what the rule asks for there.
The plan is drawn, examined where it says, and measured: it meets the rules, and nothing less does.
Marks beside each case: seen in a published page, or from memory; editions were not noted.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
import pytest

from ndtstats.extent import extent_table
from ndtstats.planning.draw import DRAWS
from ndtstats.planning.drawing import Drawing, Yard, draw
from ndtstats.planning.one_spot import draw_of_frame
from ndtstats.register.frames import typed
from ndtstats.register.schema import STORED
from ndtstats.rules import Rules, read_rules

TOP = 'title = "t"\nfollows = "f"\nedition = "e"\n'
#: Circumference in mm of a pipe, by its nominal diameter: outside diameters of ISO 4200 (from
#: memory): 60.3, 76.1, 88.9, 114.3, 168.3, 219.1 mm.
GIRTH = {50: 189.0, 65: 239.0, 80: 279.0, 100: 359.0, 150: 529.0, 200: 688.0}


def table(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    return typed(pd.DataFrame(rows), STORED[name])


def weld(number: int, length_mm: float, name: str = "W", **columns: Any) -> list[dict[str, Any]]:
    """Joints alike, of category A if nothing else is said."""
    return [
        {"joint": f"{name}{n:03d}", "length_mm": length_mm, "category": "A", "zone": "Z1",
         "joint_type": "butt", **columns}
        for n in range(1, number + 1)
    ]  # fmt: skip


def made(joints: list[dict[str, Any]], welders: int, layers: int = 1) -> list[dict[str, Any]]:
    """Who welded what: the welders in turn; with several layers, as many of them on each joint."""
    return [
        {"joint": joint["joint"], "welder": f"K{(n + layer) % welders}",
         "date": pd.Timestamp("2026-01-01") + pd.Timedelta(n, "h")}
        for n, joint in enumerate(joints)
        for layer in range(layers)
    ]  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A row of a rule: its text, the register, and how many spots (or joints) it asks for.

    ``number`` maps the name of a rule to the number of spots drawn; ``required`` to what extent
    says is required, where a length or something else says more.
    """

    text: str
    joints: list[dict[str, Any]]
    number: dict[str, int]
    required: dict[str, float] = field(default_factory=dict)
    welders: int = 2
    layers: int = 1


def examined(spots: pd.DataFrame) -> pd.DataFrame:
    rows = spots[["joint", "method", "from_mm", "to_mm"]].assign(verdict="accept", round=0)
    return typed(rows, STORED["examinations"])


def planned(case: Case, seed: int = 3) -> tuple[Rules, Drawing, pd.DataFrame]:
    """Return the rules, the draw, and the extents when all but the reserves is examined."""
    rules = read_rules(TOP + case.text, source="r")
    joints = table("joints", case.joints)
    deposits = table("deposits", made(case.joints, case.welders, case.layers))
    nothing = pd.DataFrame({"joint": [], "from_mm": [], "to_mm": []})
    drawing = draw(Yard(joints, deposits, nothing), rules, seed=seed)
    spots = drawing.spots[drawing.spots["part"] != "reserve"]
    return rules, drawing, extent_table(joints, deposits, examined(spots), rules=rules)


def spots_of(drawing: Drawing) -> pd.DataFrame:
    return drawing.spots[drawing.spots["part"] != "reserve"]


def rule(name: str, amount: str, categories: str = '"A"', method: str = "RT", **keys: str) -> str:
    lines = {"name": f'"{name}"', "categories": f"[{categories}]", "method": f'"{method}"', **keys}
    text = "".join(f"{key} = {value}\n" for key, value in lines.items())
    return f"[[extent]]\n{text}amount = {{ {amount} }}\n"


WHOLE = 'family = "percent-of-joints", percent = 100'
ALL_OF_IT = 'family = "share-of-length", percent = 100'

CASES: dict[str, Case] = {
    # Process piping: ASME B31.3.
    # 341.4.1: visual 5 % of fabrication, each welder (seen); radiography or ultrasonics 5 % of the
    # welds, each whole (seen); 5 % of 40 is 2, and there are 3 welders.
    "B31.3 341.4.1 normal service": Case(
        rule("visual", 'family = "percent-of-joints", percent = 5', method="VT",
             spots_per_welder="1")
        + rule("random", 'family = "percent-of-joints", percent = 5', spots_per_welder="1",
               or_by='["UT"]'),
        weld(40, GIRTH[100]), {"visual": 3, "random": 3}, welders=3,
    ),
    # 341.4.1(a): all longitudinal welds that are not made to a listed specification (seen).
    "B31.3 341.4.1(a) longitudinal welds, visual": Case(
        rule("visual", ALL_OF_IT, '"LONG"', "VT", spot_length_mm="1000"),
        weld(3, 6000, category="LONG"), {"visual": 18}, {"visual": 18_000},
    ),
    # M341.4: visual of all fabrication (from memory), 20 % radiography (seen): 8 of 40.
    "B31.3 M341.4 category M": Case(
        rule("visual", WHOLE, method="VT")
        + rule("random", 'family = "percent-of-joints", percent = 20', spots_per_welder="1"),
        weld(40, GIRTH[100]), {"visual": 40, "random": 8},
    ),
    # 341.4.3: all, with branches; sockets and branches that are not looked through by MT or PT
    # (seen).
    "B31.3 341.4.3 severe cyclic": Case(
        rule("visual", WHOLE, '"GIRTH", "BRANCH", "SOCKET"', "VT")
        + rule("volumetric", WHOLE, '"GIRTH", "BRANCH"', or_by='["UT"]')
        + rule("surface", WHOLE, '"SOCKET"', "PT", or_by='["MT"]'),
        weld(5, GIRTH[80], "G", category="GIRTH") + weld(3, GIRTH[50], "B", category="BRANCH")
        + weld(4, GIRTH[50], "S", category="SOCKET"),
        {"visual": 12, "volumetric": 8, "surface": 4},
    ),
    # K341.4: all (from memory; seen).
    "B31.3 K341.4 high pressure": Case(
        rule("visual", WHOLE, method="VT") + rule("volumetric", WHOLE),
        weld(6, GIRTH[80]), {"visual": 6, "volumetric": 6},
    ),
    # 341.4.1: 5 % of 3 welds is one whole weld (opinion, seen).
    "B31.3 341.4.1 a fraction of a weld is a weld": Case(
        rule("random", 'family = "percent-of-joints", percent = 5'),
        weld(3, GIRTH[80]), {"random": 1},
    ),
    # 341.5.1: 300 mm in each 30 m of longitudinal weld of each welder (from memory). Two welders
    # with 36 m each: two spots each, where 72 m together would have three.
    "B31.3 341.5.1 spot, longitudinal": Case(
        rule("spots", 'family = "spot-per-increment", increment_m = 30, '
             'counted_for = "each-welder"', spot_length_mm="300"),
        weld(12, 6000), {"spots": 4}, {"spots": 4},
    ),
    # 341.5.1: one shot on one in each 20 girth welds of each welder (from memory): 2 for 30 welds.
    # 344.5.3: the lesser of 25 % of the circumference and 152 mm (from memory).
    "B31.3 341.5.1 and 344.5.3 spot, girth": Case(
        rule("spots", 'family = "percent-of-joints", one_in = 20, examined = "one-spot", '
             'counted_for = "each-welder"', spot_length_mm="152", spot_percent="25"),
        weld(60, GIRTH[100]), {"spots": 4}, {"spots": 4},
    ),
    # 344.5.3: up to DN 65 one exposure of all of the circumference (from memory): a girth up to
    # that size is examined whole.
    "B31.3 344.5.3 small pipe": Case(
        rule("small", 'family = "percent-of-joints", one_in = 20',
             where="{ length_mm = { up_to = 240 } }")
        + rule("large", 'family = "percent-of-joints", one_in = 20, examined = "one-spot"',
               where="{ length_mm = { above = 240 } }", spot_length_mm="152", spot_percent="25"),
        weld(20, GIRTH[65], "S") + weld(40, GIRTH[150], "L"), {"small": 1, "large": 2},
    ),
    # 345.9.1: without a leak test all groove welds are looked through, and all else is PT or MT
    # (seen).
    "B31.3 345.9.1 instead of a leak test": Case(
        rule("groove", WHOLE, '"GROOVE"', or_by='["UT"]')
        + rule("other", WHOLE, '"OTHER"', "PT", or_by='["MT"]'),
        weld(4, GIRTH[80], "G", category="GROOVE") + weld(5, GIRTH[50], "O", category="OTHER"),
        {"groove": 4, "other": 5},
    ),
    # Power piping: ASME B31.1, table 136.4.1 (seen). Above 400 C: butts over DN 50 by RT or UT, up
    # to it by MT or PT. T10.
    "B31.1 table 136.4.1, above 400 C": Case(
        rule("large butts", WHOLE, where="{ length_mm = { above = 190 } }", or_by='["UT"]')
        + rule("small butts", WHOLE, method="PT", where="{ length_mm = { up_to = 190 } }",
               or_by='["MT"]')
        + rule("visual", WHOLE, method="VT"),
        weld(3, GIRTH[80], "L", thickness_mm=10.0) + weld(2, GIRTH[50], "S", thickness_mm=10.0),
        {"large butts": 3, "small butts": 2, "visual": 5},
    ),
    # 175 to 400 C above 7100 kPa: over DN 50 and over 19 mm by RT or UT, all others VT (seen). T10.
    "B31.1 table 136.4.1, above 7100 kPa": Case(
        rule("thick butts", WHOLE, or_by='["UT"]',
             where="{ length_mm = { above = 190 }, thickness_mm = { above = 19 } }")
        + rule("visual", WHOLE, method="VT"),
        weld(3, GIRTH[80], "T", thickness_mm=22.0) + weld(2, GIRTH[80], "U", thickness_mm=10.0),
        {"thick butts": 3, "visual": 5},
    ),
    # All other: visual (seen).
    "B31.1 table 136.4.1, all other": Case(
        rule("visual", WHOLE, method="VT"), weld(4, GIRTH[80], thickness_mm=10.0), {"visual": 4}
    ),
    # Vessels: ASME VIII-1.
    # UW-11(a), UW-12: full radiography for a joint efficiency of 1 (from memory); girth seams of
    # such a vessel meet UW-52 (opinion, seen). 40 m of them: three increments of 15.2 m.
    "VIII-1 UW-11(a)(5)(b)": Case(
        rule("long seams", ALL_OF_IT, '"LONG"', spot_length_mm="400")
        + rule("girth seams", 'family = "spot-per-increment", increment_m = 15.2', '"GIRTH"',
               spot_length_mm="152", spots_per_welder="1"),
        weld(4, 2400, "L", category="LONG") + weld(5, 8000, "G", category="GIRTH"),
        {"long seams": 24, "girth seams": 3}, {"long seams": 9600, "girth seams": 3},
    ),
    # UW-52(b)(1): an increment of 15.2 m or a fraction of it (opinion, seen). T3: 100 m, 7 spots.
    "VIII-1 UW-52(b)(1) increments": Case(
        rule("spots", 'family = "spot-per-increment", increment_m = 15.2', spot_length_mm="152",
             spots_per_welder="1"),
        weld(10, 10_000), {"spots": 7}, {"spots": 7},
    ),
    # T3: nine welders with stretches of their own: nine spots.
    "VIII-1 UW-52(b)(2) each welder": Case(
        rule("spots", 'family = "spot-per-increment", increment_m = 15.2', spot_length_mm="152",
             spots_per_welder="1"),
        weld(9, 100_000 / 9), {"spots": 9}, {"spots": 7}, welders=9,
    ),
    # UW-52(b)(2): a spot may stand for all who welded layers of a joint (from memory).
    "VIII-1 UW-52(b)(2) layers of a joint": Case(
        rule("spots", 'family = "spot-per-increment", increment_m = 15.2', spot_length_mm="152",
             spots_per_welder="1"),
        weld(3, 15_000), {"spots": 3}, {"spots": 3}, welders=3, layers=3,
    ),
    # UW-52(b)(2), to the letter: in each increment each welder who welded some of it (from memory).
    # Two welders in turn on joints of 7.6 m, two joints to an increment: two spots in each of 3.
    "VIII-1 UW-52(b)(2) each welder in each increment": Case(
        rule("spots", 'family = "spot-per-increment", increment_m = 15.2, '
             'shown_in = "each-increment"', spot_length_mm="152", spots_per_welder="1"),
        weld(6, 7600), {"spots": 6}, {"spots": 3},
    ),
    # UW-52(b)(1): identical vessels of less than 15.2 m each are one increment (opinion, seen):
    # those of one drawing. Two drawings, three vessels of 4 m each: two spots.
    "VIII-1 UW-52(b)(1) identical vessels": Case(
        rule("spots", 'family = "spot-per-increment", increment_m = 15.2', spot_length_mm="152",
             counted_per='["drawing"]'),
        weld(3, 4000, "A", drawing="D1", zone="V1") + weld(3, 4000, "B", drawing="D2", zone="V2"),
        {"spots": 2}, {"spots": 2}, welders=1,
    ),
    # UW-52(b)(4): radiographs at places that another clause fixes count for no spot (from memory):
    # three crossings beside two spots for 30 m.
    "VIII-1 UW-52(b)(4) fixed places": Case(
        rule("spots", 'family = "spot-per-increment", increment_m = 15.2', spot_length_mm="152",
             always='["crossings"]', always_counts="false"),
        weld(3, 10_000, crossings_mm="5000"), {"spots": 5}, {"spots": 2}, welders=1,
    ),
    # EN 13445-5, table 6.6.1-1: 25, 10 and 0 % for testing groups 3a, 3b and 4, all 100 % visual
    # (seen).
    "EN 13445-5 table 6.6.1-1, groups 1, 3a, 3b, 4": Case(
        rule("group 1", ALL_OF_IT, '"1"', spot_length_mm="500")
        + rule("group 3a", 'family = "share-of-length", percent = 25', '"3A"', spot_length_mm="500")
        + rule("group 3b", 'family = "share-of-length", percent = 10', '"3B"', spot_length_mm="500")
        + rule("visual", ALL_OF_IT, '"1", "3A", "3B", "4"', "VT", spot_length_mm="5000"),
        weld(1, 10_000, "P", category="1") + weld(2, 10_000, "A", category="3A")
        + weld(2, 10_000, "B", category="3B") + weld(1, 10_000, "Q", category="4"),
        {"group 1": 20, "group 3a": 10, "group 3b": 4, "visual": 12},
        {"group 1": 10_000, "group 3a": 5000, "group 3b": 2000, "visual": 60_000},
    ),
    # EN 13480-5: 10 % of girth and branch welds of classes I and II over DN 25 with such contents
    # (seen): 107 mm is the girth of DN 25.
    "EN 13480-5 toxic contents, over DN 25": Case(
        rule("volumetric", 'family = "percent-of-joints", percent = 10',
             where="{ length_mm = { above = 107 } }", or_by='["UT"]'),
        weld(25, GIRTH[50]), {"volumetric": 3},
    ),
    # EN 13480-5: calculated stress below 70 % of the design stress halves the extent (seen): 10 %
    # of 40 welds is 4, half of it 2.
    "EN 13480-5 low stress": Case(
        rule("volumetric", 'family = "percent-of-joints", percent = 10',
             adjusted='{ factor = 0.5, reason = "stress below 70 % of the design stress" }'),
        weld(40, GIRTH[50]), {"volumetric": 2}, {"volumetric": 2},
    ),
    # Structures: EN 1090-2.
    # 12.4.2.1: all welds by eye, over their length (from memory).
    "EN 1090-2 12.4.2.1 visual": Case(
        rule("visual", ALL_OF_IT, method="VT", spot_length_mm="5000"),
        weld(3, 5000), {"visual": 3}, {"visual": 15_000},
    ),
    # 12.4.2.3: of the first five joints to a new procedure twice the percentage, at least 5 %, and
    # at least 900 mm (from memory). 10 % of 6 m doubled is 1.2 m: on each of five, 6 m in all,
    # which is 10 % of ten joints of 6 m as well.
    "EN 1090-2 12.4.2.3 first joints of a procedure": Case(
        rule("butts", 'family = "share-of-length", percent = 10', method="UT", spot_length_mm="300",
             always='["first-off"]',
             first_off='{ of = "procedure", joints = 5, factor = 2.0, percent = 5.0, '
             "least_mm = 900 }"),
        weld(10, 6000, procedure="WPS-1"), {"butts": 20}, {"butts": 6000},
    ),
    # AWS D1.2 5.8.1: full length where nothing else is said (seen).
    "AWS D1.2 5.8.1 full length": Case(
        rule("butts", ALL_OF_IT, spot_length_mm="500"), weld(2, 2000), {"butts": 8}, {"butts": 4000}
    ),
    # AWS D1.2 5.8.3, D1.1 6.15.3: so many spots in a stated length, each at least 100 mm (seen;
    # from memory). Say one in 3 m of each category.
    "AWS D1.2 5.8.3 and D1.1 6.15.3 spots": Case(
        rule("spots", 'family = "spot-per-increment", increment_m = 3', '"A", "B"',
             spot_length_mm="100", counted_per='["category"]'),
        weld(2, 4000, "A") + weld(1, 4000, "B", category="B"), {"spots": 5}, {"spots": 5},
    ),
    # AWS D1.1:2015, Annex K, an example: 25 % UT of butts in tension (seen).
    "AWS D1.1 Annex K example": Case(
        rule("tension butts", 'family = "share-of-length", percent = 25', method="UT",
             spot_length_mm="250"),
        weld(4, 2000), {"tension butts": 8}, {"tension butts": 2000},
    ),
    # API 1104: as the company specifies (from memory); say a tenth of each day's welds by each
    # welder. Subsea: all (seen).
    "API 1104 company extent": Case(
        rule("line", 'family = "percent-of-joints", percent = 10, counted_for = "each-welder"')
        + rule("subsea", WHOLE, '"SUBSEA"'),
        weld(60, GIRTH[200]) + weld(5, GIRTH[200], "S", category="SUBSEA"),
        {"line": 6, "subsea": 5},
    ),
    # Hulls.
    # ABS: n = L (B + D) / 46.5 at intersections in strakes amidships, zones here (seen). T1: 12 for
    # 40, 9, 4 m. One of them is left to the rest, so that chance reaches it. Outside at random.
    "ABS hull welds, midship 0.6 L": Case(
        "[structure]\nlength_m = 40\nbreadth_m = 9\ndepth_m = 4\n"
        + rule("midship", 'family = "check-points", divisor = 46.5', where='{ zone = ["MID"] }',
               first='["crossings"]', or_by='["UT"]')
        + rule("outside", 'family = "check-points", points = 3',
               where='{ zone = ["FORE", "AFT"] }'),
        weld(20, 3000, "M", zone="MID", crossings_mm="1000;2000")
        + weld(6, 3000, "F", zone="FORE") + weld(6, 3000, "E", zone="AFT"),
        {"midship": 12, "outside": 3}, {"midship": 12, "outside": 3},
    ),
    # CB/T 3177: other parts by agreement, at most a tenth of N (seen; how N follows was not).
    "CB/T 3177 other parts": Case(
        "[structure]\nlength_m = 150\nbreadth_m = 25\ndepth_m = 15\n"
        + rule("other parts", 'family = "check-points", divisor = 46.5',
               adjusted='{ factor = 0.1, reason = "as agreed, a tenth of N" }'),
        weld(20, 3000), {"other parts": 13}, {"other parts": 13},
    ),
    # BV NR600: in each transverse section one film on each butt of sheerstrake, stringer, bilge and
    # keel, two in the bottom, two in the deck (seen). A section is a zone here: two of them.
    "BV NR600 transverse sections": Case(
        rule("strakes", 'family = "percent-of-joints", percent = 100, examined = "one-spot"',
             '"STRAKE"', spot_length_mm="300")
        + rule("bottom", 'family = "check-points", points = 2', '"BOTTOM"', counted_per='["zone"]',
               first='["crossings"]')
        + rule("deck", 'family = "check-points", points = 2', '"DECK"', counted_per='["zone"]'),
        weld(4, 1500, "S", category="STRAKE", zone="S1")
        + weld(4, 1500, "T", category="STRAKE", zone="S2")
        + weld(5, 1500, "B", category="BOTTOM", zone="S1", crossings_mm="700")
        + weld(5, 1500, "C", category="BOTTOM", zone="S2", crossings_mm="700")
        + weld(5, 1500, "D", category="DECK", zone="S1")
        + weld(5, 1500, "E", category="DECK", zone="S2"),
        {"strakes": 8, "bottom": 4, "deck": 4}, {"strakes": 8, "bottom": 4, "deck": 4},
    ),
    # LR Special Service Craft, Pt 7 Ch 2, 3.6 (seen). L = 4 m: check points at intersections add up
    # to 4 m; beside them 1 m in 25 m of 108 m of butts.
    "LR SSC 3.6 intersections and butts": Case(
        "[structure]\nlength_m = 4\n"
        + rule("intersections", 'family = "check-points", lengths = 1', places='"crossings"')
        + rule("butts", 'family = "share-of-length", one_in = 25', places='"elsewhere"'),
        weld(40, 2700, crossings_mm="1350"), {"intersections": 14, "butts": 15},
        {"intersections": 4000, "butts": 4320},
    ),
    # LR: 1 m in 100 m of seams; in 20 m of bilge keel butts and of full penetration items (seen).
    "LR SSC 3.6 seams, bilge keel, full penetration": Case(
        rule("seams", 'family = "share-of-length", one_in = 100', '"SEAM"')
        + rule("bilge keel", 'family = "share-of-length", one_in = 20', '"BILGE"')
        + rule("full penetration", 'family = "share-of-length", one_in = 20', '"FULL-PEN"', "UT"),
        weld(10, 12_000, "S", category="SEAM") + weld(10, 1200, "B", category="BILGE")
        + weld(5, 1200, "F", category="FULL-PEN"),
        {"seams": 4, "bilge keel": 2, "full penetration": 1},
        {"seams": 1200, "bilge keel": 600, "full penetration": 300},
    ),
    # LR: butts in longitudinals, 1 in 10 within 0.4 L and 1 in 20 outside (seen). T2: 37 and 25
    # welds, 4 and 2.
    "LR SSC 3.6 butts in longitudinals": Case(
        rule("within", 'family = "percent-of-joints", one_in = 10', where='{ zone = ["0.4L"] }')
        + rule("outside", 'family = "percent-of-joints", one_in = 20',
               where='{ zone = ["FORE", "AFT"] }'),
        weld(37, 180, "M", zone="0.4L") + weld(15, 180, "F", zone="FORE")
        + weld(10, 180, "E", zone="AFT"),
        {"within": 4, "outside": 2},
    ),
    # US Army craft, TB 55-1900-201-45/1: spots in at least the middle half (seen), as many as the
    # record warrants: 2 % here.
    "TB 55-1900-201-45/1 middle half": Case(
        rule("middle half", 'family = "share-of-length", percent = 2', or_by='["UT"]',
             where='{ zone = ["FRAMES 10-30"] }', spots_per_welder="1"),
        weld(10, 6000, "M", zone="FRAMES 10-30"), {"middle half": 4}, {"middle half": 1200},
    ),
}  # fmt: skip


@pytest.mark.parametrize("row", CASES)
def test_a_plan_by_the_row_asks_for_its_number_and_meets_it(row: str) -> None:
    case = CASES[row]
    _, drawing, found = planned(case)
    drawn = spots_of(drawing)["rule"].value_counts().to_dict()
    assert drawn == case.number
    assert found.loc[found["state"] != "met", ["rule", "missing", "note"]].to_dict("records") == []
    asked = found.groupby("rule")["required"].sum().to_dict()
    assert {name: asked[name] for name in case.required} == pytest.approx(case.required)


@pytest.mark.parametrize("row", CASES)
def test_less_than_the_plan_does_not_meet_the_row(row: str) -> None:
    case = CASES[row]
    rules, drawing, _ = planned(case)
    joints = table("joints", case.joints)
    deposits = table("deposits", made(case.joints, case.welders, case.layers))
    few = spots_of(drawing).groupby("rule").tail(-1)  # one less of each rule
    found = extent_table(joints, deposits, examined(few), rules=rules)
    assert (found["state"] == "short").groupby(found["rule"]).any().all()


# API 650, 8.1.2 (seen): upright welds up to 10 mm, those of the lowest course, from 10 to 25 mm,
# over 25 mm; level welds. A radiograph shows 150 mm (seen), at junctions 75 mm of the upright weld
# (from memory). Every tank is a job here, or a zone.
UPRIGHT = (
    'family = "spot-per-increment", increment_m = 30, remainder = "major-fraction", first_m = 3, '
    'first_for = "each-welder", crossing_percent = 25, crossing_least = 2'
)
THIN, MIDDLE, THICK = "{ up_to = 10 }", "{ above = 10, up_to = 25 }", "{ above = 25 }"


def in_mm(thickness: str) -> str:
    return f"{{ thickness_mm = {thickness} }}"


def at_junctions(spots: pd.DataFrame, length_mm: float) -> int:
    return int(((spots["from_mm"] <= 0) | (spots["to_mm"] >= length_mm)).sum())


# T5: two welders and 90 m, 5 spots; three and 120 m, 7. A quarter, and two, at junctions.
@pytest.mark.parametrize(("number", "welders", "spots"), [(36, 2, 5), (48, 3, 7)])
def test_api_650_upright_welds_up_to_10_mm(number: int, welders: int, spots: int) -> None:
    joints = weld(number, 2500, crossings_mm="0;2500", thickness_mm=8.0)
    text = rule("uprights", UPRIGHT, spot_length_mm="150", where=in_mm(THIN), spots_per_welder="1")
    for seed in range(5):
        _, drawing, found = planned(Case(text, joints, {}, welders=welders), seed)
        drawn = spots_of(drawing)
        assert len(drawn) == spots
        assert at_junctions(drawn, 2500) >= 2
        assert found["state"].tolist() == ["met"]
        # The welders weld in turn, 2.5 m each: 3 m of the first is his first joint, and 0.5 m.
        for first in range(welders):
            own = drawn[drawn["joint"] == f"W{first + 1:03d}"]
            next_one = drawn[drawn["joint"] == f"W{first + 1 + welders:03d}"]
            assert len(own) or (next_one["from_mm"] < 500).any()


def test_api_650_counts_each_thickness_apart() -> None:
    # 60 m of 8 mm and 60 m of 6 mm by one welder: 1 + 57/30, twice 3.
    joints = weld(24, 2500, "A", thickness_mm=8.0) + weld(24, 2500, "B", thickness_mm=6.0)
    text = rule("uprights", UPRIGHT, spot_length_mm="150", counted_per='["thickness_mm"]')
    _, drawing, found = planned(Case(text, joints, {}, welders=1))
    assert spots_of(drawing)["joint"].str[0].value_counts().to_dict() == {"A": 3, "B": 3}
    assert found["state"].tolist() == ["met"]


def test_api_650_first_stretches_are_shown_at_junctions_where_the_number_is_small() -> None:
    # 20 m by two welders: two firsts, and the rest of 14 m is no major fraction. Two, at junctions.
    joints = weld(8, 2500, crossings_mm="0;2500", thickness_mm=8.0)
    text = rule("uprights", UPRIGHT, spot_length_mm="150")
    _, drawing, found = planned(Case(text, joints, {}, welders=2))
    drawn = spots_of(drawing)
    assert (len(drawn), at_junctions(drawn, 2500)) == (2, 2)
    assert set(drawn["welder"]) == {"K0", "K1"}
    assert found[["required", "state"]].to_numpy().tolist() == [[2, "met"]]


def test_api_650_lowest_course() -> None:
    # One spot on each upright weld of the lowest course, which may be one of the others.
    joints = weld(8, 2500, crossings_mm="0;2500", thickness_mm=9.0)
    text = rule("lowest", UPRIGHT, spot_length_mm="150", spots_per_joint="1")
    _, drawing, found = planned(Case(text, joints, {}, welders=2))
    drawn = spots_of(drawing)
    assert sorted(drawn["joint"]) == [joint["joint"] for joint in joints]
    assert at_junctions(drawn, 2500) >= 2
    assert found[["required", "achieved", "state"]].to_numpy().tolist() == [[8, 8, "met"]]
    # Eight spots on seven of them are not that.
    moved = drawn.assign(joint=drawn["joint"].replace("W008", "W001"))
    rules = read_rules(TOP + text, source="r")
    known, people = table("joints", joints), table("deposits", made(joints, 2))
    short = extent_table(known, people, examined(moved), rules=rules).iloc[0]
    assert short["state"] == "short"
    assert "fewer than 1 on joint W008" in short["note"]


def test_api_650_lowest_course_from_10_to_25_mm() -> None:
    # As above, all junctions (here the tops), and the bottom end of each: its datum end.
    joints = weld(4, 2500, crossings_mm="2500", thickness_mm=18.0)
    text = rule("lowest", UPRIGHT, spot_length_mm="150", spots_per_joint="1", where=in_mm(MIDDLE),
                always='["crossings", "datum-ends"]', always_counts="false")  # fmt: skip
    _, drawing, found = planned(Case(text, joints, {}, welders=1))
    drawn = spots_of(drawing)
    ends = drawn[drawn["part"] == "required"].groupby("joint")
    assert ends["from_mm"].min().tolist() == [0] * 4
    assert ends["to_mm"].max().tolist() == [2500] * 4
    assert found["state"].tolist() == ["met"]
    # One at random on each joint, beside its two fixed ones.
    assert drawn["joint"].value_counts().tolist() == [3] * 4
    rules = read_rules(TOP + text, source="r")
    known, people = table("joints", joints), table("deposits", made(joints, 1))
    before = extent_table(known, people, examined(drawn.head(0)), rules=rules)
    assert before["missing"].tolist() == [4 + 8]


def test_api_650_over_25_mm() -> None:
    joints = weld(3, 2500, crossings_mm="0;2500", thickness_mm=30.0)
    text = rule("all", ALL_OF_IT, where=in_mm(THICK), spot_length_mm="150")
    _, drawing, found = planned(Case(text, joints, {}))
    drawn = spots_of(drawing)
    assert (drawn["to_mm"] - drawn["from_mm"]).sum() == 7500
    assert found["state"].tolist() == ["met"]


# T6: 62 m, 2 spots; 93 m, 2; 94 m, 3; 250 m, 5. The first 3 m have one, whoever welds them.
@pytest.mark.parametrize(("metres", "spots"), [(62, 2), (93, 2), (94, 3), (250, 5)])
def test_api_650_level_welds(metres: int, spots: int) -> None:
    amount = (
        'family = "spot-per-increment", increment_m = 60, remainder = "major-fraction", first_m = 3'
    )
    joints = weld(metres // 31, metres * 1000 / (metres // 31), thickness_mm=8.0)
    text = rule("level", amount, spot_length_mm="150")
    _, drawing, found = planned(Case(text, joints, {}, welders=4))
    drawn = spots_of(drawing)
    assert len(drawn) == spots
    assert ((drawn["joint"] == "W001") & (drawn["from_mm"] < 3000)).any()
    assert found["state"].tolist() == ["met"]


def test_b31_3_341_4_1_crossings_with_long_seams_come_first() -> None:
    # Coverage of crossings is maximised (opinion, seen): of 40 welds two have such a crossing.
    joints = weld(38, GIRTH[100]) + weld(2, GIRTH[100], "X", crossings_mm="180")
    text = rule("random", 'family = "percent-of-joints", percent = 10', first='["crossings"]')
    _, drawing, _ = planned(Case(text, joints, {}))
    drawn = set(spots_of(drawing)["joint"])
    assert len(drawn) == 4
    assert {"X001", "X002"} <= drawn


def test_b31_3_341_4_2_category_d_asks_for_nothing() -> None:
    # Category D: no radiography, visual as the examiner needs it (from memory).
    text = 'nothing_asked = ["D"]\n' + rule("random", 'family = "percent-of-joints", percent = 5')
    _, drawing, found = planned(Case(text, weld(9, 200, "D", category="D") + weld(20, 200), {}))
    assert found["state"].tolist() == ["met"]
    assert not any("in no rule" in note for note in drawing.notes)


@pytest.mark.parametrize(
    "condition",
    [
        # 341.3.1 (seen); in-process examination in place of radiography: 341.4.1(b), 342.2 (seen).
        "after heat treatment (P-No. 3, 4, 5)",
        "before the reinforcing pad or saddle goes on",
        "or in-process examination, weld for weld, where design and inspector allow",
    ],
)
def test_b31_3_orders_of_work_go_with_the_spots(condition: str) -> None:
    text = rule("random", 'family = "percent-of-joints", percent = 5', conditions=f'"{condition}"')
    _, drawing, _ = planned(Case(text, weld(20, 200), {}))
    assert set(drawing.spots["conditions"]) == {condition}


def test_b31_3_341_4_1_ultrasonics_count_as_radiography_does() -> None:
    rules = read_rules(TOP + CASES["B31.3 341.4.1 normal service"].text, source="r")
    joints = weld(40, GIRTH[100])
    known, people = table("joints", joints), table("deposits", made(joints, 3))
    rows = [
        {"joint": f"W{n:03d}", "method": method, "verdict": "accept", "round": 0}
        for n, method in ((1, "RT"), (2, "UT"), (3, "UT"))
    ]
    found = extent_table(known, people, table("examinations", rows), rules=rules)
    assert found.set_index("rule")["state"].to_dict() == {"visual": "short", "random": "met"}


# EN 13445-5, table 6.6.1-1, testing group 2: 100 %, then 10 % after satisfactory experience (seen;
# how much that takes was not: 20 m here). 50 m of weld: 20 m + 10 % of 30 m.
def test_en_13445_5_testing_group_2() -> None:
    text = rule(
        "group 2",
        'family = "share-of-length", percent = 100, reduction = { after_m = 20, percent = 10 }',
    )
    rules = read_rules(TOP + text, source="r")
    joints = weld(10, 5000)
    known, people = table("joints", joints), table("deposits", made(joints, 1))

    def seen(verdict: str) -> Any:
        rows = [
            {"joint": f"W{n:03d}", "method": "RT", "verdict": verdict if n == 1 else "accept",
             "round": 0}
            for n in range(1, 5)
        ]  # fmt: skip
        return extent_table(known, people, table("examinations", rows), rules=rules).iloc[0]

    assert (seen("accept")["required"], seen("accept")["missing"]) == (23_000, 3_000)
    assert "clean record" in seen("accept")["note"]
    assert seen("reject")["required"] == 50_000


# EN 13480-5: 5 % of the first 100 welds; without a reject 2 % of all, at least 5 (seen).
def test_en_13480_5_reduction() -> None:
    less = "reduction = { after_joints = 100, percent = 2, least = 5 }"
    text = rule("volumetric", f'family = "percent-of-joints", percent = 5, {less}')
    rules = read_rules(TOP + text, source="r")
    joints = weld(300, GIRTH[50])
    rows = [{"joint": "W001", "method": "RT", "verdict": "accept", "round": 0}]
    found = extent_table(
        table("joints", joints), table("deposits", made(joints, 2)), table("examinations", rows),
        rules=rules,
    )  # fmt: skip
    assert found["required"].tolist() == [6]


def test_iacs_ur_w33_extent_and_points_are_agreed() -> None:
    # Number and extent of check points are agreed between yard and class (seen).
    text = (
        'agreed_with = "the surveyor"\nagreed_on = 2026-01-15\n'
        + rule("points", 'family = "check-points", points = 7', first='["crossings", "ends"]')
    )  # fmt: skip
    rules, drawing, found = planned(Case(text, weld(20, 3000, crossings_mm="1500"), {}))
    assert (rules.file.agreed_with, str(rules.file.agreed_on)) == ("the surveyor", "2026-01-15")
    assert (len(spots_of(drawing)), found["state"].tolist()) == (7, ["met"])


def test_lr_ssc_3_6_check_points_are_0_3_to_0_5_m() -> None:
    # T2: L = 40 m of check points: 134 of 0.3 m, 100 of 0.4 m, 80 of 0.5 m (seen).
    for spot, number in ((300, 134), (400, 100), (500, 80)):
        text = "[structure]\nlength_m = 40\n" + rule(
            "intersections", 'family = "check-points", lengths = 1', places='"crossings"',
            spot_length_mm=str(spot),
        )  # fmt: skip
        joints = weld(160, 2500, crossings_mm="1250")
        _, drawing, found = planned(Case(text, joints, {}))
        assert (len(spots_of(drawing)), found["state"].tolist()) == (number, ["met"])


def test_b31_3_341_5_1_never_two_spots_of_one_girth_weld() -> None:
    text = CASES["B31.3 341.5.1 and 344.5.3 spot, girth"].text.replace("one_in = 20", "one_in = 2")
    joints = weld(60, GIRTH[100])
    for seed in range(10):
        _, drawing, _ = planned(Case(text, joints, {}), seed)
        drawn = spots_of(drawing)
        assert len(drawn) == 30
        assert drawn["joint"].is_unique
        # The lesser of 25 % of 359 mm and 152 mm (from memory), cut evenly: a quarter.
        assert (drawn["to_mm"] - drawn["from_mm"]).between(89, 91).all()


def test_viii_1_uw_52_each_increment_holds_its_welders() -> None:
    # Joints of 7.6 m by two welders in turn: an increment of 15.2 m is two joints, with a spot on
    # each of them. Six spots are not enough where an increment has none.
    case = CASES["VIII-1 UW-52(b)(2) each welder in each increment"]
    rules, drawing, _ = planned(case)
    assert sorted(spots_of(drawing)["joint"]) == [joint["joint"] for joint in case.joints]
    joints, people = table("joints", case.joints), table("deposits", made(case.joints, 2))
    # None in the second increment, two in each of the first.
    at = [("W001", 0), ("W001", 900), ("W002", 0), ("W002", 900), ("W005", 0), ("W006", 0)]
    other = pd.DataFrame(at, columns=["joint", "from_mm"]).assign(method="RT")
    other["to_mm"] = other["from_mm"] + 152
    found = extent_table(joints, people, examined(other), rules=rules).iloc[0]
    assert (found["state"], found["missing"]) == ("short", 2)
    assert "not shown enough" in found["note"]


def test_what_is_drawn_keeps_the_probability_of_its_cell() -> None:
    # Horvitz & Thompson 1952: a cell is drawn as often as its probability says, also of one spot.
    text = CASES["B31.3 341.5.1 and 344.5.3 spot, girth"].text.replace("one_in = 20", "one_in = 4")
    joints = weld(8, GIRTH[80])
    case = Case(text, joints, {}, welders=1)
    rules, drawing, _ = planned(case)
    cells = drawing.cells
    codes, _ = pd.factorize(cells["rule"] + "|" + cells["stratum"])
    method, rng = DRAWS[rules.file.draw.method], np.random.default_rng(3)
    drawn = [draw_of_frame(method, cells, codes, rules, rng) for _ in range(1000)]
    share = np.mean(drawn, axis=0)
    # Two joints of eight, one of three or four cells: chance moves a share by about 0.008.
    assert abs(share - cells["pi"].to_numpy()).max() < 0.035
