from fractions import Fraction
from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.errors import UseError
from ndtstats.statistics import finite_lot_interval, proportion_interval


def test_published_bounds(reference):
    # Kauermann & Küchenhoff 2010, p. 53, and what the strict inversion of the test makes of it:
    # the published method goes one unit outside it at both ends. Source in each row.
    rows = reference("hypergeometric_bounds.csv")
    for row in rows.itertuples():
        lower, upper = finite_lot_interval(row.x, row.n, row.N, level=row.conf)
        assert (lower, upper) == (row.strict_lower, row.strict_upper)
        one_sided = finite_lot_interval(row.x, row.n, row.N, level=row.conf, sides="upper")
        assert (one_sided.lower, one_sided.upper) == (row.x, row.strict_upper_onesided)
        if not np.isnan(row.published_upper):
            assert row.published_lower <= lower
            assert upper <= row.published_upper


def exactly(k, n, lot, bad):
    """Probability of k bad ones among n, as a fraction."""
    if not 0 <= k <= min(n, bad) or n - k > lot - bad:
        return Fraction(0)
    return Fraction(comb(bad, k) * comb(lot - bad, n - k), comb(lot, n))


LOTS = st.integers(1, 25).flatmap(
    lambda lot: st.integers(1, lot).flatmap(
        lambda n: st.tuples(st.integers(0, n), st.just(n), st.just(lot))
    )
)


@settings(max_examples=60)
@given(LOTS)
def test_the_bounds_are_where_exact_fractions_put_them(numbers):
    k, n, lot = numbers
    allowed = Fraction(1, 20)
    numbers_bad = range(k, lot - n + k + 1)
    few = [sum(exactly(x, n, lot, bad) for x in range(k + 1)) > allowed for bad in numbers_bad]
    many = [sum(exactly(x, n, lot, bad) for x in range(k, n + 1)) > allowed for bad in numbers_bad]
    lower, upper = finite_lot_interval(k, n, lot, level=0.9)
    assert lower == min(bad for bad, kept in zip(numbers_bad, many, strict=True) if kept)
    assert upper == max(bad for bad, kept in zip(numbers_bad, few, strict=True) if kept)


def test_all_examined_is_all_known():
    assert finite_lot_interval(3, 20, 20) == (3.0, 3.0)


def test_a_large_lot_is_nearly_endless():
    lower, upper = finite_lot_interval([0, 3], 30, 3_000_000)
    endless = proportion_interval([0, 3], 30)
    np.testing.assert_allclose(lower / 3e6, endless.lower, atol=1e-5)
    np.testing.assert_allclose(upper / 3e6, endless.upper, rtol=1e-4)


@pytest.mark.parametrize("numbers", [(-1, 5, 10), (6, 5, 10), (1, 11, 10)])
def test_numbers_that_do_not_fit_are_told(numbers):
    with pytest.raises(UseError, match="between 0 and those examined"):
        finite_lot_interval(*numbers)
