"""T10: ASME B31.1, table 136.4.1 (edition not noted; seen), read by hand."""

import pytest

from ndtstats.errors import UseError
from ndtstats.rules.method_choice import power_piping_methods

INSIDE, SURFACE, EYE = ("RT", "UT"), ("MT", "PT"), ("VT",)


@pytest.mark.parametrize(
    ("weld", "size_dn", "thickness_mm", "temperature_c", "pressure_kpa", "methods"),
    [
        ("butt", 80, 10, 410, 4000, INSIDE),
        ("butt", 80, 10, 300, 8000, EYE),
        ("butt", 80, 22, 300, 8000, INSIDE),
        ("butt", 50, 10, 410, 4000, SURFACE),
        ("butt", 80, 10, 150, 9000, EYE),
        # Edges: 400 C is not above it; 7100 kPa is not above it; 175 C is included.
        ("butt", 80, 22, 400, 8000, INSIDE),
        ("butt", 80, 22, 400, 7100, EYE),
        ("butt", 80, 22, 175, 8000, INSIDE),
        ("butt", 80, 19, 300, 8000, EYE),
        ("butt", 51, 5, 401, 0, INSIDE),
        ("branch", 100, 10, 410, 4000, SURFACE),
        ("branch", 125, 10, 410, 4000, INSIDE),
        ("branch", 100, 22, 300, 8000, SURFACE),
        ("branch", 125, 22, 300, 8000, INSIDE),
        ("branch", 125, 19, 300, 8000, EYE),
        ("fillet", 25, 5, 410, 4000, SURFACE),
        ("fillet", 25, 22, 300, 8000, EYE),
    ],
)
def test_methods_of_power_piping(weld, size_dn, thickness_mm, temperature_c, pressure_kpa, methods):
    found = power_piping_methods(
        weld,
        size_dn=size_dn,
        thickness_mm=thickness_mm,
        temperature_c=temperature_c,
        pressure_kpa=pressure_kpa,
    )
    assert found == methods


def test_a_size_of_nothing_is_refused():
    with pytest.raises(UseError, match="greater than 0"):
        power_piping_methods(
            "butt", size_dn=0, thickness_mm=10, temperature_c=410, pressure_kpa=4000
        )
