import numpy as np
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.rates.trial import corrected_rate, trial_of, trial_sentence


def looked_at(size, hits, trials):
    """Return one row for each flaw of a size, the first of them found."""
    each = [(s, n < k) for s, k, m in zip(size, hits, trials, strict=True) for n in range(m)]
    return pd.DataFrame(each, columns=["size_mm", "found"])


def test_sizes_are_those_of_a_published_trial(reference):
    # Doses of the male budworm are powers of 2, so that the logarithm of the size is theirs
    # (Venables & Ripley; a90/95 by profile likelihood in R).
    rows = reference("pod_budworm.csv").query("sex == 'M'")
    expected = reference("pod_budworm_a90_expected.csv").set_index("quantity")["value"]
    trial = trial_of(looked_at(2.0 ** rows["x"], rows["hits"], rows["n"]))
    names = ["a50", "a90", "a90_95_profile_likelihood"]
    assert np.log2(trial.table["size_mm"]).tolist() == pytest.approx(
        expected[names].tolist(), rel=1e-6
    )
    assert (trial.found, trial.looked_at) == (65, 120)
    assert trial_sentence(trial).startswith("65 of 120 known flaws found. Half of the flaws of 4.7")
    assert not any("few" in remark for remark in trial.remarks)


def test_a_small_trial_says_that_it_is_small_and_how_far_it_reaches():
    trial = trial_of(looked_at([1, 2, 4, 8], [1, 2, 3, 4], [5, 5, 5, 5]))
    assert "20 flaws are few" in trial.remarks[0]
    told = trial_sentence(trial)
    if np.isinf(trial.curve.a90_95):
        assert "no size" in told
    else:
        assert any("beyond the largest flaw tried, 8 mm" in remark for remark in trial.remarks)


def test_hits_and_misses_that_do_not_overlap_give_no_curve():
    with pytest.raises(UseError, match="overlap"):
        trial_of(looked_at([1, 2, 3, 4], [0, 0, 5, 5], [5, 5, 5, 5]))


@pytest.mark.parametrize("case", range(4))
def test_rates_are_set_right_as_published(reference, case):
    # Documentation of R's epiR (Rogan & Gladen 1978); bounds by Clopper & Pearson.
    row = reference("rogan_gladen.csv").iloc[case]
    found = corrected_rate(
        int(row["positives"]), int(row["tested"]),
        sensitivity=row["sensitivity"], specificity=row["specificity"],
    ).table.iloc[0]  # fmt: skip
    known = row[["value_tp", "value_cp_lower", "value_cp_upper"]].tolist()
    assert found[["true_rate", "lower", "upper"]].tolist() == pytest.approx(known, rel=1e-7)


def test_fewer_rejects_than_false_calls_alone_are_said_to_be_so():
    told = corrected_rate(6, 151, sensitivity=0.964, specificity=0.927).sentence
    assert "false calls alone would reject more" in told
    assert "at most 1.3 %" in told
