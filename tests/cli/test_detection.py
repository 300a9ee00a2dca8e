import json

import pytest


@pytest.fixture
def flaws(tmp_path):
    rows = [(size, n < hits) for size, hits in ((1, 1), (2, 3), (4, 6), (8, 9), (16, 10))
            for n in range(10)]  # fmt: skip
    path = tmp_path / "flaws.csv"
    text = "".join(f"{size},{'yes' if found else 'no'}\n" for size, found in rows)
    path.write_text("size_mm,found\n" + text)
    return path


def test_sizes_that_are_found(flaws, ndtstats):
    code, out, _ = ndtstats("detection", flaws)
    assert code == 0
    # The trial of the doctest of hit_miss_pod: 3.00, 8.07, 15.57 mm.
    assert out.startswith("29 of 50 known flaws found. Half of the flaws of 3 mm are found (a50)")
    assert "nine of ten of 15.6 mm (a90/95)" in out
    assert "50 flaws are few" in out
    _, out, _ = ndtstats("detection", flaws, "--format", "json")
    assert [round(row["size_mm"], 2) for row in json.loads(out)] == [3.0, 8.07, 15.57]


def test_a_rate_set_right(ndtstats):
    code, out, _ = ndtstats(
        "detection", "--rate", "45/150", "--sensitivity", "0.96", "--specificity", "0.89"
    )
    assert code == 0
    assert out.startswith("45 of 150 rejected, 30.0 %; behind it lie 22.4 % bad places")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), "one of the two"),
        (("--rate", "45"), "45/150"),
        (("--rate", "5/4", "--sensitivity", "0.9", "--specificity", "0.9"), "45/150"),
        (("--rate", "0/0", "--sensitivity", "0.9", "--specificity", "0.9"), "45/150"),
        (("--rate", "4/40"), "needs --sensitivity and --specificity"),
        (("--rate", "4/40", "--sensitivity", "0.4", "--specificity", "0.5"), "than a coin"),
    ],
)
def test_a_wrong_question_is_told(ndtstats, arguments, says):
    code, out, err = ndtstats("detection", *arguments)
    assert (code, out) == (2, "")
    assert says in err
