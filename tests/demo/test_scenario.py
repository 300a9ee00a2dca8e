import pandas as pd
import pytest

from ndtstats.columns import TABLES
from ndtstats.demo import make_yard
from ndtstats.demo.people import (
    DRIFTING,
    FIRST_DAY,
    LAST_DAY,
    LATE,
    NOT_OVERHEAD,
    RUNS_OUT,
    WELDERS,
    true_rate_per_m,
)
from ndtstats.demo.scenario import known_on
from ndtstats.qualification import Papers, outside_of, pieces
from ndtstats.register.frames import natural_key, typed
from ndtstats.words import IMPERFECTIONS, POSITIONS, PROCESSES

NAMES = [name for name in TABLES if name != "examinations"]


def table(yard, name):
    return yard.tables[name]


def examinations(yard):
    return pd.concat([yard.visual, yard.early], ignore_index=True)


@pytest.mark.parametrize("name", [*NAMES, "visual", "early"])
def test_the_same_seed_gives_the_same_yard(yard, name):
    again = make_yard(yard.seed)
    mine, theirs = (
        (getattr(yard, name), getattr(again, name))
        if name in {"visual", "early"}
        else (table(yard, name), table(again, name))
    )
    pd.testing.assert_frame_equal(mine, theirs)


def test_another_seed_gives_another_yard(yard):
    other = make_yard(yard.seed + 1)
    assert not table(yard, "joints")["length_mm"].equals(table(other, "joints")["length_mm"])


@pytest.mark.parametrize("name", NAMES)
def test_tables_have_the_columns_types_and_required_cells_of_their_table(yard, name):
    frame, shape = table(yard, name), TABLES[name]
    assert list(frame.columns) == list(shape.names)
    pd.testing.assert_frame_equal(frame, typed(frame, shape.columns))
    required = [column.name for column in shape.columns if column.required]
    assert not frame[required].isna().any(axis=None)


@pytest.mark.parametrize(
    ("name", "column"),
    [(name, c) for name in NAMES for c in TABLES[name].columns if c.allowed or c.above is not None],
    ids=lambda value: getattr(value, "name", value),
)
def test_cells_are_what_their_column_allows(yard, name, column):
    values = table(yard, name)[column.name].dropna()
    if column.allowed:
        assert values.isin(column.allowed).all()
    else:
        assert (values > column.above).all()


@pytest.mark.parametrize("name", NAMES)
def test_no_key_stands_twice(yard, name):
    assert not natural_key(name, table(yard, name)).duplicated().any()


def test_codes_are_those_of_the_standards(yard):
    joints, shown = table(yard, "joints"), examinations(yard)["imperfection"].dropna()
    assert joints["process"].isin(PROCESSES).all()
    assert joints["position"].isin(POSITIONS).all()
    assert shown.isin(IMPERFECTIONS).all()


@pytest.mark.parametrize("name", ["deposits", "beads", "visual", "early", "truth"])
def test_every_row_belongs_to_a_joint(yard, name):
    frame = table(yard, name) if name in NAMES else getattr(yard, name)
    known = pd.MultiIndex.from_frame(table(yard, "joints")[["job", "joint"]])
    assert len(frame)
    assert pd.MultiIndex.from_frame(frame[["job", "joint"]]).isin(known).all()


def test_zones_and_welders_that_are_named_exist(yard):
    zones = table(yard, "zones")
    known = pd.MultiIndex.from_frame(zones[["job", "zone"]])
    for name in ("joints", "tests"):
        assert pd.MultiIndex.from_frame(table(yard, name)[["job", "zone"]]).isin(known).all()
    nested = zones.dropna(subset="parent")
    assert pd.MultiIndex.from_frame(nested[["job", "parent"]]).isin(known).all()
    stamps = table(yard, "welders")["welder"]
    for name in ("deposits", "qualifications"):
        assert table(yard, name)["welder"].isin(stamps).all()


def test_zones_nest_more_than_once(yard):
    parent = table(yard, "zones").set_index("zone")["parent"]
    assert parent["FUEL TANK PS"] == "AFT BLOCK"
    assert parent["AFT BLOCK"] == "HULL"


def test_what_is_placed_on_a_joint_lies_within_it(yard):
    length = table(yard, "joints").set_index(["job", "joint"])["length_mm"]
    for frame in (table(yard, "deposits"), examinations(yard)):
        end = frame.set_index(["job", "joint"])["to_mm"].dropna()
        assert (end <= length.reindex(end.index)).all()
    beads = table(yard, "beads").set_index(["job", "joint"])
    assert (beads["from_mm"] + beads["length_mm"] <= length.reindex(beads.index)).all()


def test_the_size_is_that_of_a_small_yard(yard):
    number = table(yard, "joints").groupby("job").size()
    assert number.to_dict() == {"WB-41": 250, "PL-7": 180}
    made = table(yard, "deposits")["date"]
    assert (made.min(), made.max()) >= (FIRST_DAY, FIRST_DAY)
    assert made.max() <= LAST_DAY
    assert 6 <= len(WELDERS) <= 12


def test_some_joints_are_not_welded_yet(yard):
    joints, made = table(yard, "joints"), table(yard, "deposits")
    open_joints = ~joints["joint"].isin(made["joint"])
    assert 0 < open_joints.sum() < 40
    assert not joints.loc[open_joints, "joint"].isin(examinations(yard)["joint"]).any()


def test_one_welder_drifts_and_no_other_gets_worse(yard):
    first, last = (
        true_rate_per_m(pd.Series([w.stamp for w in WELDERS]), pd.Series([day] * len(WELDERS)))
        for day in (FIRST_DAY, LAST_DAY)
    )
    worse = pd.Series([w.stamp for w in WELDERS])[last > first]
    assert worse.tolist() == [DRIFTING]
    # And so do his welds, not only the figure they are made from.
    truth, parts = yard.truth, table(yard, "deposits")
    inside = truth[truth["rejectable"] & ~truth["surface"] & (truth["welder"] == DRIFTING)]
    his = parts[parts["welder"] == DRIFTING]
    length = table(yard, "joints").set_index("joint")["length_mm"]
    metres = (his["to_mm"] - his["from_mm"]).fillna(his["joint"].map(length)) / 1000.0
    middle = pd.Timestamp("2026-06-01")
    early, late = (
        (inside["date"] < middle).sum() / metres[his["date"] < middle].sum(),
        (inside["date"] >= middle).sum() / metres[his["date"] >= middle].sum(),
    )
    assert late > 2 * early


def test_only_the_three_welders_meant_weld_outside_their_certificates(yard):
    work = pieces(table(yard, "deposits"), table(yard, "joints"))
    papers = Papers(table(yard, "qualifications"), table(yard, "confirmations"), work)
    outside = outside_of(work, papers)
    assert set(outside["welder"]) == {NOT_OVERHEAD, RUNS_OUT, LATE}
    late = outside.loc[outside["welder"] == LATE, "reason"]
    assert late.str.endswith("only: its six-monthly confirmation is missing or came late").all()
    assert outside.loc[outside["welder"] == NOT_OVERHEAD, "position"].isin(["PD", "PE"]).all()
    assert outside.loc[outside["welder"] == RUNS_OUT, "date"].min() > pd.Timestamp("2026-08-31")


def test_the_early_films_hold_all_that_happens_to_films(yard):
    early = yard.early
    assert set(early["verdict"]) >= {"accept", "reject", "re-shoot"}
    # One weld had to be repaired twice, and one reject waits for its repair.
    assert early["round"].max() == 2
    assert (early["round"] == 2).sum() == 1
    places = ["joint", "from_mm", "to_mm"]
    rejected = early[(early["verdict"] == "reject") & (early["round"] == 0)][places]
    repaired = early[(early["verdict"] == "accept") & (early["round"] > 0)][places]
    assert len(rejected.drop_duplicates()) > len(repaired.drop_duplicates()) > 0


def test_repairs_come_after_the_reject_and_films_after_welding(yard):
    rows = examinations(yard)
    finished = table(yard, "deposits").groupby(["job", "joint"])["date"].max()
    dated = rows.set_index(["job", "joint"])["date"]
    assert (dated >= finished.reindex(dated.index)).all()
    place = ["job", "joint", "method", "from_mm", "to_mm"]
    first = rows[rows["round"] == 0].drop_duplicates(place).set_index(place)["date"]
    again = rows[rows["round"] > 0].set_index(place)["date"]
    assert (again > first.reindex(again.index)).all()


def test_on_a_day_nothing_is_known_of_what_is_done_later(yard):
    day = pd.Timestamp("2026-05-25")
    then = known_on(yard, day)
    for name in ("deposits", "beads", "confirmations"):
        dates = then.tables[name]["date"]
        assert 0 < len(dates) < len(yard.tables[name])
        assert dates.max() <= day
    assert then.visual["date"].max() <= day
    # What was drawn, and who may weld, is known from the beginning.
    assert then.tables["joints"].equals(yard.tables["joints"])


def test_on_the_last_day_all_is_known(yard):
    last = known_on(yard, pd.Timestamp("2026-12-31"))
    pd.testing.assert_frame_equal(last.tables["deposits"], yard.tables["deposits"])
    pd.testing.assert_frame_equal(last.visual, yard.visual)
