import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.rates.base import indications
from ndtstats.rates.charge import charge, charge_each, charge_welders
from ndtstats.rates.rates import rates

WELDED = pd.Timestamp("2026-01-05")
LOOKED = pd.Timestamp("2026-02-01")


def look(*places, rejected=True):
    """Examinations of one joint."""
    low, high = zip(*places, strict=True)
    return pd.DataFrame(
        {
            "id": range(11, 11 + len(places)), "job": "H1", "joint": "B-0", "from_mm": low,
            "to_mm": high, "date": LOOKED, "rejected": rejected, "process": "131",
            "position": "PA", "procedure": None,
        }
    ).astype({"from_mm": float, "to_mm": float, "procedure": "str"})  # fmt: skip


def weld(*rows):
    """Deposits: welder, pass, from, to."""
    frame = pd.DataFrame(rows, columns=["welder", "pass", "from_mm", "to_mm"])
    blanks = {"job": "H1", "joint": "B-0", "date": WELDED, "side": None, "process": None,
              "position": None, "procedure": None}  # fmt: skip
    return frame.assign(**blanks).astype(
        dict.fromkeys(("pass", "side", "process", "position", "procedure"), "str")
        | {"from_mm": float, "to_mm": float}
    )


class Shown:
    """A register that holds imperfections and nothing else."""

    def __init__(self, *rows):
        names = ["examination", "imp_from_mm", "imp_length_mm", "imp_pass", "imp_rejectable"]
        frame = pd.DataFrame(rows, columns=names).assign(imperfection="401", imp_side=None)
        self.rows = frame.astype(
            {"imp_from_mm": float, "imp_length_mm": float, "imp_pass": "str", "imp_side": "str",
             "imp_rejectable": "boolean", "examination": "int64"}
        )  # fmt: skip

    def table(self, name, **_):
        assert name == "imperfections"
        return self.rows


def found(rows, *shown):
    return indications(Shown(*shown), rows, job=None, as_of=None)


ROOT_CAP_AND_REST = weld(("K7", "root", 0, 500), ("M2", "cap", 0, 500), ("N3", None, 500, 1000))


@pytest.mark.parametrize(
    ("place", "length", "which", "blamed"),
    [
        (100.0, 30.0, "root", {"K7"}),
        (None, None, "cap", {"M2", "N3"}),  # the pass is known, the half is not
        (700.0, 30.0, None, {"N3"}),
        (
            700.0,
            30.0,
            "root",
            {"N3"},
        ),  # nobody is recorded for the root there: who welded the place
        (100.0, 30.0, None, {"K7", "M2"}),
        (490.0, 30.0, None, {"K7", "M2", "N3"}),
        (500.0, None, None, {"N3"}),  # a point, at the first millimetre of the second half
        (None, 10.0, None, {"K7", "M2", "N3"}),
        (100.0, 30.0, "fill", {"K7", "M2"}),
    ],
)
def test_a_reject_is_charged_to_who_made_it(place, length, which, blamed):
    rows = look((0, 1000))
    shown = found(rows, (11, place, length, which, True))
    charged = charge_welders(rows, shown, ROOT_CAP_AND_REST).set_index("welder")
    assert set(charged.index) == {"K7", "M2", "N3"}
    assert set(charged.index[charged["rejected"]]) == blamed
    assert (charged["shared"] == (charged["rejected"] & (len(blamed) > 1))).all()


def test_a_reject_without_indications_is_everybodys():
    rows = look((0, 1000))
    charged = charge_welders(rows, found(rows), ROOT_CAP_AND_REST)
    assert charged["rejected"].all()
    assert charged["shared"].all()


def test_what_is_not_rejectable_is_nobodys_fault_and_what_is_unsaid_is():
    rows = look((0, 1000))
    told = [(11, 700.0, 30.0, None, False), (11, 100.0, 30.0, "root", None)]
    charged = charge_welders(rows, found(rows, *told), ROOT_CAP_AND_REST).set_index("welder")
    assert charged["rejected"].to_dict() == {"K7": True, "M2": False, "N3": False}


def test_an_indication_outside_every_deposit_is_everybodys():
    rows = look((0, 1000))
    deposits = weld(("K7", None, 0, 300), ("M2", None, 300, 600))
    charged = charge_welders(rows, found(rows, (11, 800.0, 20.0, None, True)), deposits)
    assert charged["rejected"].tolist() == [True, True]


def test_only_who_welded_the_examined_length_is_asked():
    rows = look((0, 300), rejected=False)
    charged = charge_welders(rows, found(rows), ROOT_CAP_AND_REST)
    assert charged["welder"].tolist() == ["K7", "M2"]
    assert not charged["rejected"].any()


def test_a_repair_made_afterwards_was_not_there_to_be_examined():
    rows = look((0, 300))
    deposits = weld(("K7", None, 0, 1000), ("M2", None, 0, 1000))
    deposits["date"] = [WELDED, LOOKED + pd.Timedelta(days=3)]
    assert charge_welders(rows, found(rows), deposits)["welder"].tolist() == ["K7"]


def test_work_of_nobody_known_is_unknown():
    rows = look((600, 900))
    charged = charge_welders(rows, found(rows), weld(("K7", None, 0, 500)))
    assert charged["welder"].tolist() == ["unknown"]
    assert charged["rejected"].tolist() == [True]


def test_a_deposit_says_where_it_differs_from_the_joint():
    rows = look((0, 300))
    deposits = weld(("K7", "root", 0, 500), ("K7", "cap", 0, 500)).assign(
        process=["141", np.nan], position=["PC", np.nan]
    )
    charged = charge_welders(rows, found(rows), deposits)
    assert charged[["welder", "process", "position"]].to_numpy().tolist() == [["K7", "141", "PC"]]
    by_process = charge(rows, found(rows), deposits, ["process"]).seen
    assert set(by_process["process"]) == {"131", "141"}


def test_lengths_end_where_the_deposit_ends():
    rows = look((0, 1000))
    charges = charge(
        rows, found(rows, (11, 490.0, 30.0, None, True)), ROOT_CAP_AND_REST, ["welder"]
    )
    lengths = charges.found.assign(
        welder=charges.seen["welder"].take(charges.found["of"].to_numpy()).to_numpy(),
        mm=charges.found["high"] - charges.found["low"],
    )
    assert lengths.set_index("welder")["mm"].to_dict() == {"K7": 10.0, "M2": 10.0, "N3": 20.0}
    pieces = charges.pieces.groupby("of").agg(low=("low", "min"), high=("high", "max"))
    assert pieces.to_numpy().tolist() == [[0, 500], [0, 500], [500, 1000]]


def test_a_welder_of_two_passes_is_charged_once():
    rows = look((0, 300))
    shown = found(rows, (11, 100.0, 30.0, None, True), (11, None, 7.0, None, True))
    both = weld(("K7", "root", 0, 500), ("K7", "cap", 0, 500))
    charges = charge(rows, shown, both, ["welder"])
    assert len(charges.seen) == 1
    assert not charges.seen["shared"].any()
    assert charges.found["counts"].sum() == 2
    assert charges.found["loose_mm"].sum() == 7.0


DEPOSITS = st.lists(
    st.tuples(st.sampled_from(["K7", "M2", "N3"]), st.sampled_from(["root", "cap", None]),
              st.integers(0, 9), st.integers(1, 10)),
    max_size=6,
)  # fmt: skip
SHOWN = st.lists(
    st.tuples(st.sampled_from([11, 12]), st.one_of(st.none(), st.integers(0, 1000)),
              st.one_of(st.none(), st.integers(0, 100)), st.sampled_from(["root", "fill", None]),
              st.sampled_from([True, False, None])),
    max_size=5,
)  # fmt: skip


@settings(max_examples=10)  # each example makes four tables of examinations and charges them
@given(DEPOSITS, SHOWN, st.randoms())
def test_no_reject_is_lost_and_no_accept_is_charged_in_any_order(deposits, shown, random):
    made = [(who, which, 100 * low, 100 * (low + length)) for who, which, low, length in deposits]
    rows = look((0, 500), (500, 1000), (0, 1000)).assign(rejected=[True, True, False])
    charges = charge(rows, found(rows, *shown), weld(*made), ["welder"])
    seen = charges.seen
    by_row = seen.groupby("row")["rejected"].any()
    assert by_row.tolist() == [True, True, False]
    # Every indication is charged to somebody, and once at most to each.
    told = found(rows, *shown)
    assert set(charges.found["indication"]) == set(range(len(told)))
    assert charges.found.groupby(["of", "indication"])["counts"].sum().eq(1).all()
    # Each has what he welded, and no more; places of a row stay within it.
    assert (charges.pieces["low"] < charges.pieces["high"]).all()
    random.shuffle(made)
    again = charge(rows, found(rows, *shown), weld(*made), ["welder"]).seen
    keys = ["row", "welder"]
    pd.testing.assert_frame_equal(
        seen.drop(columns="deposit").sort_values(keys, ignore_index=True),
        again.drop(columns="deposit").sort_values(keys, ignore_index=True),
    )


def test_a_part_of_the_charges_keeps_what_belongs_to_it():
    rows = look((0, 500), (500, 1000), (0, 300)).assign(rejected=[True, False, True])
    charges = charge_each(rows, found(rows))
    part = charges.only(np.array([False, True, True]))
    assert part.seen["row"].tolist() == [1, 2]
    assert part.pieces[["of", "low", "high"]].to_numpy().tolist() == [[0, 500, 1000], [1, 0, 300]]
    assert part.found["of"].tolist() == [1]


@pytest.mark.parametrize("process", [[None, None], ["135", None], [None, "135"]])
def test_an_unknown_process_is_one_of_its_own(register, write, process):
    # Two spots stay two, whatever is missing of them.
    joints = pd.DataFrame({"joint": ["B-1", "B-2"], "process": process})
    write(
        joints=joints,
        deposits=joints[["joint"]].assign(welder="K7"),
        examinations=joints[["joint"]].assign(verdict="accept"),
    )
    table = rates(register, by=["welder", "process"], method="RT")
    assert table["examined"].sum() == 2
