import numpy as np
import pandas as pd
import pytest

from ndtstats.rates.chance import with_parts

DAY = pd.Timestamp("2026-02-10")


def exams(*rows):
    """First examinations: request, joint, from, to, and the rest if it matters."""
    frame = pd.DataFrame([dict(zip(("request", "joint", "from_mm", "to_mm"), r, strict=False))
                          for r in rows])  # fmt: skip
    blanks = {"id": range(1, len(rows) + 1), "batch": 9, "job": "H1", "method": "RT", "round": 0,
              "date": DAY}  # fmt: skip
    return frame.astype({"request": "str"}).assign(**blanks)


def spots(*rows, plan="P1", batch=1):
    """Spots of a plan: part, joint, from, to, pi."""
    frame = pd.DataFrame(rows, columns=["part", "joint", "from_mm", "to_mm", "pi"])
    return frame.assign(
        spot=[f"{plan}-{n}" for n in range(1, len(rows) + 1)], plan=plan, batch=batch, job="H1",
        method="RT", round=0, rule="r", stratum="s", draw_order=range(1, len(rows) + 1),
    ).astype({"spot": "str", "from_mm": float, "to_mm": float, "pi": float})  # fmt: skip


def plans(**drawn):
    return pd.DataFrame({"plan": list(drawn), "drawn_at": list(drawn.values())}, dtype="str")


P1 = plans(P1="2026-02-01T08:00:00+00:00")
NONE = pd.Series([], dtype="str")


def parts(rows, drawn, known=P1, not_done=NONE):
    return with_parts(rows, drawn, known, not_done)


def test_each_part_has_its_weight():
    drawn = spots(
        ("required", "B-1", 0, 300, 1.0), ("random", "B-2", 0, 300, 0.2),
        ("targeted", "B-3", 0, 300, np.nan), ("extra", "B-4", 0, 300, np.nan),
    )  # fmt: skip
    rows = exams(*((f"P1-{n}", f"B-{n}", 0, 300) for n in range(1, 5)), (None, "B-9", 0, 300))
    found = parts(rows, drawn)
    assert found["part"].tolist() == ["required", "random", "targeted", "extra", "unplanned"]
    np.testing.assert_array_equal(found["weight"], [1.0, 5.0, np.nan, np.nan, np.nan])
    assert found["stratum"].tolist()[:2] == ["P1|r|s", "P1|r|s"]


def test_a_place_without_a_request_id_is_found():
    drawn = spots(("random", "B-1", 0, 300, 0.5))
    assert parts(exams((None, "B-1", 20, 320)), drawn)["weight"].tolist() == [2.0]


@pytest.mark.parametrize(
    ("date", "weight"), [("2026-01-31", np.nan), ("2026-02-01", 2.0), ("2026-02-20", 2.0)]
)
def test_what_was_examined_before_the_draw_was_not_drawn(date, weight):
    # Old results lie wherever somebody chose; that a later draw falls on one makes it no sample.
    rows = exams((None, "B-1", 0, 300)).assign(date=pd.Timestamp(date))
    found = parts(rows, spots(("random", "B-1", 0, 300, 0.5)))
    np.testing.assert_array_equal(found["weight"], [weight])
    assert found["part"].tolist() == ["unplanned" if np.isnan(weight) else "random"]


def test_what_the_register_knew_before_the_draw_was_not_drawn():
    # The day may be that of the draw; the log knows which came first.
    rows = exams((None, "B-1", 0, 300)).assign(batch=3, date=pd.Timestamp("2026-02-01"))
    drawn = spots(("random", "B-1", 0, 300, 0.5), batch=4)
    assert parts(rows, drawn)["part"].tolist() == ["unplanned"]


def test_a_spot_drawn_twice_belongs_to_the_latest_plan_before_it_was_examined():
    drawn = pd.concat(
        [
            spots(("random", "B-1", 0, 300, 0.5)),
            spots(("random", "B-1", 0, 300, 0.25), plan="P2", batch=2),
            spots(("random", "B-1", 0, 300, 0.1), plan="P3", batch=3),
        ],
        ignore_index=True,
    )
    known = plans(
        P1="2026-02-01T08:00:00+00:00", P2="2026-02-05T08:00:00Z", P3="2026-03-01T08:00:00Z"
    )
    rows = exams((None, "B-1", 0, 300), ("P1-1", "B-1", 0, 300))
    found = parts(rows, drawn, known)
    # Who names a request answers that one, whatever was drawn since.
    assert found["spot"].tolist() == ["P2-1", "P1-1"]
    assert found["weight"].tolist() == [4.0, 2.0]


@pytest.mark.parametrize(
    ("place", "stands"),
    [
        ((0, 300), True),
        ((100, 400), True),  # shifted, and still mostly the place that was drawn
        ((0, 480), True),  # a longer film
        ((0, 100), True),  # one of several films
        ((250, 550), False),  # somebody chose another place
    ],
)
def test_an_examination_elsewhere_was_not_drawn(place, stands):
    found = parts(exams(("P1-1", "B-1", *place)), spots(("random", "B-1", 0, 300, 0.5)))
    assert found["weight"].notna().tolist() == [stands]


def test_a_second_look_at_a_spot_does_not_count_twice():
    rows = exams(
        ("P1-1", "B-1", 0, 150), ("P1-1", "B-1", 150, 300), ("P1-1", "B-1", 10, 160)
    )  # fmt: skip
    found = parts(rows, spots(("random", "B-1", 0, 300, 0.5)))
    np.testing.assert_array_equal(found["weight"], [2.0, 2.0, np.nan])
    # The first look is the one of the earlier day, not the one loaded first.
    earlier = rows.assign(date=[DAY, DAY, DAY - pd.Timedelta(days=1)])
    found = parts(earlier, spots(("random", "B-1", 0, 300, 0.5)))
    np.testing.assert_array_equal(found["weight"], [np.nan, 2.0, 2.0])


def with_reserves():
    """Three random spots and two reserves of one stratum."""
    return spots(
        ("random", "B-1", 0, 300, 0.1), ("random", "B-2", 0, 300, 0.2),
        ("random", "B-3", 0, 300, 0.5), ("reserve", "B-4", 0, 300, 0.3),
        ("reserve", "B-5", 0, 300, 0.4),
    )  # fmt: skip


def test_a_reserve_stands_in_with_its_own_weight():
    rows = exams(("P1-1", "B-1", 0, 300), ("P1-4", "B-4", 0, 300))
    # The second is still to come; the third was reported as not done.
    found = parts(rows, with_reserves(), not_done=pd.Series(["P1-3"], dtype="str"))
    assert found["weight"].tolist() == [10.0, 1 / 0.3]


def test_a_reserve_that_was_not_done_is_replaced_by_the_next():
    rows = exams(("P1-1", "B-1", 0, 300), ("P1-3", "B-3", 0, 300), ("P1-5", "B-5", 0, 300))
    found = parts(rows, with_reserves(), not_done=pd.Series(["P1-2", "P1-4"], dtype="str"))
    assert found["weight"].tolist() == [10.0, 2.0, 2.5]


def test_a_reserve_that_replaces_nothing_has_no_weight():
    rows = exams(*((f"P1-{n}", f"B-{n}", 0, 300) for n in range(1, 5)))
    found = parts(rows, with_reserves())
    np.testing.assert_array_equal(found["weight"], [10.0, 5.0, 2.0, np.nan])


def test_reserves_stay_in_their_stratum():
    drawn = with_reserves().assign(stratum=["a", "b", "b", "a", "a"])
    rows = exams(("P1-4", "B-4", 0, 300), ("P1-5", "B-5", 0, 300))
    found = parts(rows, drawn, not_done=pd.Series(["P1-1", "P1-2"], dtype="str"))
    np.testing.assert_array_equal(found["weight"], [1 / 0.3, np.nan])


def test_without_a_plan_nothing_has_a_weight():
    found = parts(exams((None, "B-1", 0, 300)), spots(), plans())
    assert found["part"].tolist() == ["unplanned"]
    assert found["weight"].isna().all()
