import numpy as np
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.statistics import rate_interval


def test_published_limits(reference):
    # Garwood 1936 as tabulated in Pearson & Hartley; AICPA reliability factors: source in each row.
    rows = reference("poisson_limits.csv")
    for row in rows.itertuples():
        lower, upper = rate_interval(row.count, 1.0, level=row.conf, sides=row.sided)
        assert float(upper) == pytest.approx(row.value_upper, rel=1e-9)
        if row.sided == "two":
            assert float(lower) == pytest.approx(row.value_lower, rel=1e-9, abs=1e-12)


def test_limits_invert_the_poisson_test():
    lower, upper = rate_interval(4, 2.5)
    assert stats.poisson.cdf(4, 2.5 * upper) == pytest.approx(0.025, rel=1e-9)
    assert stats.poisson.sf(3, 2.5 * lower) == pytest.approx(0.025, rel=1e-9)


def test_nothing_examined_is_nothing_known():
    lower, upper = rate_interval([0, 3], [0.0, 1.0])
    assert lower[0] == 0.0
    assert np.isinf(upper[0])
    assert np.isfinite(upper[1])


def test_a_negative_count_is_told():
    with pytest.raises(UseError, match="negative"):
        rate_interval(-1, 2.0)
