import numpy as np
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.rates.readings import readers_agree, readers_sentence


def two_readers(a, b, c, d):
    """Return readings of two readers from a table of accept and reject."""
    pairs = [("accept", "accept")] * a + [("accept", "reject")] * b
    pairs += [("reject", "accept")] * c + [("reject", "reject")] * d
    return pd.DataFrame(
        [(n, reader, verdict) for n, pair in enumerate(pairs)
         for reader, verdict in zip("AB", pair, strict=True)],
        columns=["image", "reader", "verdict"],
    )  # fmt: skip


@pytest.mark.parametrize("case", [0, 1, 2])
def test_two_readers_have_the_published_kappa(reference, case):
    # Feinstein & Cicchetti 1990 and the documentation of R's epiR.
    row = reference("kappa_2x2.csv").iloc[case]
    result = readers_agree(two_readers(*(int(row[name]) for name in "abcd")))
    (found,) = result.table.to_dict("records")
    for mine, theirs in (("agreed", "po"), ("by_chance", "pe"), ("kappa", "kappa"),
                         ("lower", "lower"), ("upper", "upper")):  # fmt: skip
        assert found[mine] == pytest.approx(row[theirs], rel=1e-8)


def test_six_readers_have_the_published_kappas(reference):
    # Fleiss 1971: 30 patients, 6 psychiatrists, 5 diagnoses; who gave which does not matter.
    counts = reference("kappa_fleiss_diagnoses.csv").set_index("subject")
    expected = reference("kappa_fleiss_expected.csv").set_index("quantity")["value"]
    rows = [
        (subject, f"R{n}", name)
        for subject, given in counts.iterrows()
        for n, name in enumerate(np.repeat(counts.columns, given))
    ]
    result = readers_agree(pd.DataFrame(rows, columns=["image", "reader", "verdict"]))
    top = result.table.iloc[0]
    assert (top["readers"], top["images"], len(result.table)) == ("all 6", 30, 16)
    assert top["kappa"] == pytest.approx(expected["fleiss_kappa"], rel=1e-8)
    each = result.verdicts.set_index("verdict")["kappa"].loc[counts.columns]
    known = [expected[f"category_kappa_{n}"] for n in range(1, 6)]
    assert each.to_numpy() == pytest.approx(known, rel=1e-8)


def test_an_image_that_not_all_have_read_counts_only_by_pairs():
    rows = two_readers(8, 1, 1, 5)
    third = rows[rows["reader"] == "A"].iloc[:10].assign(reader="C")
    result = readers_agree(pd.concat([rows, third], ignore_index=True))
    images = result.table.set_index("readers")["images"].to_dict()
    assert images == {"all 3": 10, "A and B": 15, "A and C": 10, "B and C": 10}
    assert "5 of 15 images were not read by all" in result.remarks[0]


def test_the_sentence_has_agreement_chance_and_kappa():
    told = readers_sentence(readers_agree(two_readers(40, 9, 6, 45)))
    assert told == (
        "Readers A and B, 100 images: 85.0 % of readings agree (95 % bounds 76.5 % and 91.4 %), "
        "50.1 % by chance alone; kappa 0.70, 95 % bounds 0.56 and 0.84."
    )


def test_agreement_that_chance_would_give_is_not_called_agreement():
    told = readers_sentence(readers_agree(two_readers(10, 10, 10, 10)))
    assert told.endswith("agreement beyond chance is not shown.")


def test_one_verdict_alone_has_no_kappa():
    result = readers_agree(two_readers(20, 0, 0, 0))
    assert np.isnan(result.table["kappa"].iloc[0])
    assert "all verdicts are alike" in readers_sentence(result)


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([(1, "A", "accept"), (2, "A", "reject")], "two readers or more"),
        ([(1, "A", "accept"), (2, "B", "reject")], "no image was read by two"),
    ],
)
def test_what_cannot_agree_is_refused(rows, says):
    with pytest.raises(UseError, match=says):
        readers_agree(pd.DataFrame(rows, columns=["image", "reader", "verdict"]))
