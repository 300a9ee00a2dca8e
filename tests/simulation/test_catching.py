"""Who is caught, when: by hand, and against a plain loop over a list."""

import numpy as np
import pytest

from ndtstats.simulation.catching import catch, rates_caught
from ndtstats.simulation.truth import chance_of, rate_found_out


def one_by_one(group, bad, welded, exposures, allowed, number):
    """Return the same as :func:`catch`, as one would count at a desk."""
    found = [(False, 0.0, 0)] * number
    for wanted in range(number):
        rejects = shot = 0
        for g, b, w, e in zip(group, bad, welded, exposures, strict=True):
            if g != wanted or found[wanted][0]:
                continue
            rejects, shot = rejects + b, shot + e
            if rejects > allowed:
                found[wanted] = (True, w, shot)
    return found


@pytest.mark.parametrize("allowed", [0, 1, 3])
def test_as_counted_one_by_one(rng, allowed):
    group = np.sort(rng.integers(0, 12, 90))
    bad, welded = rng.random(90) < 0.3, rng.random(90)
    exposures = rng.integers(1, 4, 90)
    found = catch(group, bad, welded, exposures, allowed=allowed, shape=(3, 4))
    told = zip(
        found.caught.ravel().tolist(),
        found.welded_mm.ravel().tolist(),
        found.exposures.ravel().tolist(),
        strict=True,
    )
    assert list(told) == one_by_one(group, bad, welded, exposures, allowed, 12)


@pytest.mark.parametrize("allowed", [0, 2])
def test_the_rate_that_catches_him_is_where_he_begins_to_be_caught(rng, allowed):
    group = np.sort(rng.integers(0, 8, 60))
    found_out = rate_found_out(rng.random(60), rng.uniform(0.5, 3.0, 60))
    beyond = rates_caught(group, found_out, allowed=allowed, shape=(2, 4))
    for rate in (0.02, 0.1, 0.3, 0.8):
        caught = catch(
            group, found_out < rate, np.ones(60), np.ones(60, int), allowed=allowed, shape=(2, 4)
        ).caught
        assert ((beyond < rate) == caught).all()


def test_who_is_not_looked_at_is_not_caught():
    nobody = np.array([], dtype=np.int64)
    found = catch(nobody, nobody > 0, nobody * 1.0, nobody, allowed=0, shape=(1, 2))
    assert not found.caught.any()
    assert np.isinf(rates_caught(nobody, nobody * 1.0, allowed=0, shape=(1, 2))).all()


def test_two_places_are_bad_as_often_as_two_draws():
    # 1 - 0.9^2 = 0.19; a place of half the length 1 - sqrt(0.9).
    assert chance_of(0.1, [2.0, 0.5]) == pytest.approx([0.19, 1 - np.sqrt(0.9)])
    assert rate_found_out(chance_of(0.1, [2.0, 0.5]), np.array([2.0, 0.5])) == pytest.approx(0.1)
