"""Presets: each value says where it comes from, and each figure is that of the rule it follows."""

import re

import pandas as pd
import pytest

from ndtstats.rules import joints_under, power_piping_methods
from ndtstats.rules.describe import sources
from ndtstats.rules.families import CheckPoints, PercentOfJoints, SpotPerIncrement
from ndtstats.rules.reader import list_presets, load_rules, preset_text

READ = re.compile(r"\b(seen|from memory)\b")
OTHER = re.compile(r"common practice, no source|chosen here, edit")
#: Who published it, and the edition, if only to say that it was not noted.
PUBLISHER = re.compile(r"\b(ABS|API|AWS|ASME|BV|EN|IACS|ISO|LR)\b")
EDITION = re.compile(r"editions? not noted|:(19|20)\d\d\b")


@pytest.mark.parametrize("name", list_presets())
def test_every_value_has_its_source_edition_and_mark(name):
    values = sources(preset_text(name))
    bare = values["source"].map(lambda source: not (READ.search(source) or OTHER.search(source)))
    assert values[bare].empty
    read = values[values["source"].map(lambda source: READ.search(source) is not None)]
    assert len(read)
    for row in read.itertuples():
        # Where a standard stands in the value itself, the comment need not name it again.
        assert PUBLISHER.search(f"{row.source} {row.value}"), row
        assert EDITION.search(row.source), row


@pytest.mark.parametrize("name", list_presets())
def test_every_preset_begins_with_its_caution(name):
    header = preset_text(name).split("\n\n")[0].replace("\n# ", " ")
    assert all(line.startswith("#") for line in preset_text(name).split("\n\n")[0].split("\n"))
    for caution in ("starting point", "contract governs", "certified people", "by eye", "licensed"):
        assert caution in header


def test_the_presets():
    assert list_presets() == [
        "aluminium-hull",
        "power-piping",
        "pressure-vessel",
        "process-piping",
        "steel-hull",
        "steel-structure",
        "tank-shell",
    ]


def test_figures_of_the_aluminium_hull():
    # LR Special Service Craft, Pt 7 Ch 2, 3.6 (seen).
    by_name = {rule.name: rule for rule in load_rules("aluminium-hull").extent}
    points = by_name["intersections of butts and seams"]
    assert isinstance(points.amount, CheckPoints)
    assert (points.amount.lengths, points.places) == (1.0, "crossings")
    shares = {name: rule.amount.share for name, rule in by_name.items() if rule is not points}
    assert shares == {
        "butts in plating": 1 / 25,
        "seams in plating": 1 / 100,
        "butts in longitudinals, within 0.4 L": 1 / 10,
        "butts in longitudinals, outside 0.4 L": 1 / 20,
        "bilge keel butts": 1 / 20,
        "structural items of full penetration": 1 / 20,
        "fillets by penetrant": 0.02,
    }
    assert 300 <= points.spot_length_mm <= 500


def test_figures_of_the_steel_hull():
    # ABS Guide for Nondestructive Inspection of Hull Welds (seen).
    midship = load_rules("steel-hull").extent[0]
    assert isinstance(midship.amount, CheckPoints)
    assert midship.amount.divisor == 46.5
    assert midship.first[0] == "crossings"


def test_figures_of_process_piping():
    # ASME B31.3, 341.4 and M341.4 (seen; the least of one weld: opinion, seen).
    rules = load_rules("process-piping")
    normal, category_m, severe = rules.extent[:3]
    assert isinstance(normal.amount, PercentOfJoints)
    assert (normal.amount.percent, normal.amount.least, normal.spots_per_welder) == (5.0, 1, 1)
    assert (category_m.amount.share, severe.amount.share) == (0.2, 1.0)
    assert {rule.escalation for rule in rules.extent} == {"progressive-piping"}


def test_figures_of_the_pressure_vessel():
    # ASME VIII-1, UW-52 (opinion, seen; 152 mm from memory).
    spot = load_rules("pressure-vessel").extent[0]
    assert isinstance(spot.amount, SpotPerIncrement)
    assert (spot.amount.increment_m, spot.amount.remainder) == (15.2, "fraction")
    assert (spot.spot_length_mm, spot.spots_per_welder) == (152.0, 1)


def test_figures_of_the_steel_structure():
    # EN 1090-2:2008, table 24, execution class 3 (from memory).
    rules = load_rules("steel-structure")
    shares = {rule.categories[0]: rule.amount.share for rule in rules.extent}
    assert shares == {
        "TB-HIGH": 0.20, "TB-LOW": 0.10, "CRUCIFORM": 0.20, "TJ": 0.10, "CRANE": 0.20,
        "TF-LARGE": 0.10, "TF-SMALL": 0.05, "LONG": 0.05,
    }  # fmt: skip
    first = rules.extent[0].first_off
    assert (first.of, first.joints, first.factor) == ("procedure", 5, 2.0)
    assert (first.percent, first.least_mm) == (5.0, 900.0)


def test_figures_of_the_tank_shell():
    # API 650, 8.1.2 (seen).
    rules = load_rules("tank-shell")
    for rule in rules.extent[:4]:
        assert isinstance(rule.amount, SpotPerIncrement)
        amount = rule.amount
        assert (amount.increment_m, amount.first_m, amount.first_for) == (30.0, 3.0, "each-welder")
        assert (amount.remainder, rule.spot_length_mm) == ("major-fraction", 150.0)
    up_to_10, lowest, to_25, lowest_to_25, over_25, level = rules.extent
    for rule in (up_to_10, lowest):
        assert isinstance(rule.amount, SpotPerIncrement)
        assert (rule.amount.crossing_percent, rule.amount.crossing_least) == (25.0, 2)
    assert [rule.spots_per_joint for rule in rules.extent[:4]] == [0, 1, 0, 1]
    assert (to_25.always, lowest_to_25.always) == (("crossings",), ("crossings", "datum-ends"))
    assert over_25.everything
    assert isinstance(level.amount, SpotPerIncrement)
    assert (level.amount.increment_m, level.amount.first_for) == (60.0, "once")


# T10. ASME B31.1, table 136.4.1 (seen; row marked in rules.method_choice from memory): the preset
# asks for what the table of the code gives, for girths of ISO 4200 (from memory).
@pytest.mark.parametrize("service", ["hot", "warm", "other"])
@pytest.mark.parametrize("weld", ["butt", "branch", "fillet"])
@pytest.mark.parametrize("thickness_mm", [10.0, 19.0, 22.0])
@pytest.mark.parametrize(("size_dn", "girth_mm"), [(50, 189), (65, 239), (100, 359), (125, 439)])
def test_methods_of_power_piping(service, weld, thickness_mm, size_dn, girth_mm):
    temperature_c, pressure_kpa = {"hot": (410, 900), "warm": (300, 8000), "other": (150, 900)}[
        service
    ]
    asked = power_piping_methods(
        weld, size_dn=size_dn, thickness_mm=thickness_mm, temperature_c=temperature_c,
        pressure_kpa=pressure_kpa,
    )  # fmt: skip
    rules = load_rules("power-piping")
    category = f"{service}-{weld}".upper()
    category = category if category in rules.categories else "OTHER"
    joint = pd.DataFrame(
        {"category": [category], "length_mm": [float(girth_mm)], "thickness_mm": [thickness_mm]}
    )
    found = [set(rule.methods) for rule in rules.extent if len(joints_under(joint, rule))]
    assert found == [{"VT"}] + ([] if asked == ("VT",) else [set(asked)])


@pytest.mark.parametrize("name", list_presets())
def test_a_fillet_is_never_looked_through(name):
    # Radiography and ultrasonics are not for fillets: common practice, no source.
    for rule in load_rules(name).extent:
        if "fillet" in rule.name:
            assert rule.method in {"PT", "MT"}
