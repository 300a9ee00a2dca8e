import numpy as np
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.statistics import proportion_interval
from ndtstats.statistics.blaker import blaker_interval


def test_published_limits(reference):
    # R's epiR, documentation of epi.prev (Reiczigel, Földi & Ózsvári 2010): rates corrected
    # for sensitivity and specificity. Its limits are found in steps of 5e-6.
    rows = reference("rogan_gladen.csv")
    rows = rows[rows["ap_interval"] == "blaker"]
    assert len(rows) == 4
    lower, upper = blaker_interval(rows["positives"], rows["tested"])
    better = rows["sensitivity"] + rows["specificity"] - 1
    for bound, known, printed in (
        (lower, rows["value_lower"], rows["published_lower_percent"]),
        (upper, rows["value_upper"], rows["published_upper_percent"]),
    ):
        true = (bound + rows["specificity"] - 1) / better
        np.testing.assert_allclose(true, known, atol=2e-5)
        assert (np.round(100 * true) == printed).all()


@pytest.mark.parametrize("size", [5, 13, 30])
def test_it_covers_and_lies_within_clopper_pearson(size):
    count = np.arange(size + 1)
    lower, upper = blaker_interval(count, size)
    outer = proportion_interval(count, size)
    assert (lower >= outer.lower - 1e-12).all()
    assert (upper <= outer.upper + 1e-12).all()
    assert (upper - lower).sum() < 0.99 * (outer.upper - outer.lower).sum()
    rate = np.linspace(0.003, 0.997, 400)
    chance = stats.binom.pmf(count, size, rate[:, None])
    inside = (lower <= rate[:, None]) & (rate[:, None] <= upper)
    assert ((chance * inside).sum(axis=1) >= 0.95 - 1e-9).all()


def test_rejected_and_accepted_change_places():
    lower, upper = blaker_interval([2, 18], 20)
    assert lower[0] == pytest.approx(1 - upper[1], abs=1e-12)
    assert upper[0] == pytest.approx(1 - lower[1], abs=1e-12)


def test_ends_and_shapes():
    lower, upper = blaker_interval([[0, 4], [0, 3]], [[4, 4], [0, 4]])
    assert lower.shape == (2, 2)
    assert (lower[0, 0], upper[0, 1]) == (0.0, 1.0)
    assert (lower[1, 0], upper[1, 0]) == (0.0, 1.0)


def test_impossible_counts_are_told():
    with pytest.raises(UseError, match="between 0 and examined"):
        blaker_interval(5, 4)
