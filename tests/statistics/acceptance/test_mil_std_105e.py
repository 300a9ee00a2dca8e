import numpy as np
import pytest

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance import accept_probability, code_letters, standard_plan
from ndtstats.statistics.acceptance.mil_std_105e import AQLS_PERCENT, INSPECTIONS, LEVELS

#: A lot, by level, for each code letter: the way from a lot to any row of Tables II.
LOT_OF = {
    letter: (lot, level)
    for level in ("II", "III", "I")
    for lot in (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_001)
    for letter in [str(code_letters(lot, level))]
}


@pytest.mark.parametrize("level", LEVELS)
def test_published_code_letters(level, reference):
    # MIL-STD-105E Table I; agrees with a public copy of the tables.
    rows = reference("mil_std_105e_code_letters.csv")
    largest = rows["lot_max"].fillna(10_000_000).astype(int)
    smallest = np.concatenate([[2], largest[:-1] + 1])
    assert code_letters(largest, level).tolist() == rows[level].tolist()
    assert code_letters(smallest, level).tolist() == rows[level].tolist()


@pytest.mark.parametrize("inspection", INSPECTIONS)
def test_published_single_plans_arrows_followed(inspection, reference):
    # MIL-STD-105E Tables II-A, II-B, II-C; all direct cells and the acceptance numbers behind all
    # arrows agree with a public copy of the tables. Row S is reached by an arrow only.
    table = reference("mil_std_105e_single.csv")
    rows = table[(table["inspection"] == inspection) & (table["code"] != "S")]
    assert len(rows) == 16 * len(AQLS_PERCENT)
    for row in rows.itertuples():
        lot, level = LOT_OF[row.code]
        plan = standard_plan(lot, row.aql, level=level, inspection=inspection)
        assert (plan.letter, plan.used_letter) == (row.code, row.use_code)
        assert (plan.accept, plan.reject) == (row.use_ac, row.use_re)
        assert plan.examine == min(row.use_n, lot)
        assert plan.whole_lot == (row.use_n >= lot)


# Montgomery, Introduction to Statistical Quality Control, ch. 15: lot 2,000, AQL 0.65 %, level II;
# from memory.
@pytest.mark.parametrize(
    ("inspection", "plan"),
    [("normal", (125, 2, 3)), ("tightened", (125, 1, 2)), ("reduced", (50, 1, 3))],
)
def test_published_example(inspection, plan):
    found = standard_plan(2000, 0.65, inspection=inspection)
    assert found.letter == "K"
    assert (found.examine, found.accept, found.reject) == plan


@pytest.mark.parametrize("aql", AQLS_PERCENT)
def test_severities_keep_their_order_at_the_quality_level(aql):
    # At higher rates an arrow can lead tightened inspection to a smaller sample, which then
    # passes more often than the normal one; at the quality level itself it never does.
    for lot in (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000):
        normal, tightened, reduced = (
            float(accept_probability(aql / 100, plan.examine, plan.allowed))
            for plan in (standard_plan(lot, aql, inspection=name) for name in INSPECTIONS)
        )
        assert tightened <= normal <= reduced


def test_reduced_inspection_passes_up_to_the_rejection_number():
    plan = standard_plan(2000, 0.65, inspection="reduced")
    assert (plan.accept, plan.reject, plan.allowed) == (1, 3, 2)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"lot": 1, "aql_percent": 1.0}, "lot 1 is not"),
        ({"lot": 100, "aql_percent": 1.0, "level": "IV"}, 'level "IV"'),
        ({"lot": 100, "aql_percent": 1.1}, "0.65, 1, 1.5"),
        ({"lot": 100, "aql_percent": 15}, "not a step"),
        ({"lot": 100, "aql_percent": 1.0, "inspection": "tight"}, 'did you mean "tightened"'),
        ({"lot": 100, "aql_percent": 1.0, "inspection": "x"}, "use one of normal"),
    ],
)
def test_what_the_standard_has_not_is_told(arguments, says):
    with pytest.raises(UseError, match=says):
        standard_plan(**arguments)
