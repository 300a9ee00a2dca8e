import pytest

from ndtstats.demo import DEFAULT_SEED, Yard, make_yard


@pytest.fixture(scope="session")
def yard() -> Yard:
    return make_yard(DEFAULT_SEED)
