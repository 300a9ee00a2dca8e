import pandas as pd

from ndtstats.planning.work import lead_for_all, leading_welder


def cells_of(**joints):
    rows = [
        (joint, 300.0 * n, 300.0 * (n + 1))
        for joint, number in joints.items()
        for n in range(number)
    ]
    return pd.DataFrame(rows, columns=["joint", "from_mm", "to_mm"])


def deposits_of(**welders):
    rows = [(joint, welder) for joint, named in welders.items() for welder in named.split()]
    return pd.DataFrame(rows, columns=["joint", "welder"]).assign(from_mm=None, to_mm=None)


def leaders(cells, deposits, least):
    lead = leading_welder(cells, deposits)
    return lead, lead_for_all(lead, cells, deposits, spot_length_mm=300.0, least=least)


def test_who_always_works_beside_others_leads_some_cells():
    # V welds more than A and more than B, and never alone: A and B lead all his cells.
    cells = cells_of(J1=6, J2=6, J3=4, J4=4)
    made = deposits_of(J1="V A", J2="V B", J3="A", J4="B")
    before, after = leaders(cells, made, least=1)
    assert "V" not in set(before)
    assert (after == "V").sum() >= 1
    assert (after[cells["joint"].isin(["J3", "J4"])] == before[-8:]).all()
    assert {"A", "B", "V"} == set(after)


def test_without_a_least_nobody_takes_over():
    cells, made = cells_of(J1=6, J2=4), deposits_of(J1="V A", J2="A")
    before, after = leaders(cells, made, least=0)
    assert before.equals(after)


def test_nobody_is_left_with_less_than_he_needs():
    # A leads one cell only; it is drawn for certain, and shows V as well.
    cells, made = cells_of(J1=1), deposits_of(J1="V A")
    before, after = leaders(cells, made, least=1)
    assert before.equals(after)


def test_a_welder_leads_no_cell_that_does_not_show_his_work():
    # A welded a third of the second cell; he has less work than B, but it is B that it shows.
    cells = cells_of(J1=4)
    made = deposits_of(J1="A B").assign(from_mm=[0.0, 400.0], to_mm=[400.0, 1200.0])
    assert leading_welder(cells, made).tolist() == ["A", "B", "B", "B"]


def test_a_short_deposit_within_a_cell_leads_it():
    cells = cells_of(J1=2)
    made = deposits_of(J1="A B").assign(from_mm=[100.0, 0.0], to_mm=[180.0, 600.0])
    assert leading_welder(cells, made).tolist() == ["A", "B"]
