"""Which method a code asks for, by what is welded and what it must stand.

The table is the mandatory minimum of ASME B31.1, table 136.4.1 (edition not noted; seen, except the
row marked below). The contract's edition governs.
"""

from typing import Literal, NamedTuple

from ndtstats.errors import UseError

Weld = Literal["butt", "branch", "fillet"]

#: Above this temperature, at any pressure: ASME B31.1, table 136.4.1; seen.
HOT_C = 400.0
#: From this temperature, above the pressure below: ASME B31.1, table 136.4.1; seen.
WARM_C = 175.0
#: Gauge pressure, 1025 psi: ASME B31.1, table 136.4.1; seen.
WARM_KPA = 7100.0

Service = Literal["hot", "warm", "other"]


class _Row(NamedTuple):
    """Methods of a kind of weld in a service, beyond a size and a thickness."""

    weld: Weld
    service: Service
    above_dn: float
    above_mm: float
    methods: tuple[str, ...]


_INSIDE, _SURFACE, _EYE = ("RT", "UT"), ("MT", "PT"), ("VT",)

#: The first row that fits holds. Sizes of branches are those of the branch.
_TABLE = (
    _Row("butt", "hot", 50.0, 0.0, _INSIDE),
    _Row("butt", "hot", 0.0, 0.0, _SURFACE),
    _Row("butt", "warm", 50.0, 19.0, _INSIDE),
    _Row("butt", "warm", 0.0, 19.0, _SURFACE),  # from memory: small and thick was not seen
    _Row("branch", "hot", 100.0, 0.0, _INSIDE),
    _Row("branch", "hot", 0.0, 0.0, _SURFACE),
    _Row("branch", "warm", 100.0, 19.0, _INSIDE),
    _Row("branch", "warm", 0.0, 19.0, _SURFACE),
    _Row("fillet", "hot", 0.0, 0.0, _SURFACE),
)


def service_of(temperature_c: float, pressure_kpa: float) -> Service:
    """Return the column of the table: by temperature, and by pressure (gauge) where it matters."""
    if temperature_c > HOT_C:
        return "hot"
    return "warm" if temperature_c >= WARM_C and pressure_kpa > WARM_KPA else "other"


def power_piping_methods(
    weld: Weld,
    *,
    size_dn: float,
    thickness_mm: float,
    temperature_c: float,
    pressure_kpa: float,
) -> tuple[str, ...]:
    """Return the methods between which ASME B31.1 leaves the choice, besides visual examination.

    Parameters
    ----------
    weld : {"butt", "branch", "fillet"}
        Girth and longitudinal butts; branch welds; fillet, socket, attachment and seal welds.
    size_dn, thickness_mm : float
        Nominal size and wall thickness, of the branch for a branch weld.
    temperature_c, pressure_kpa : float
        Design temperature and gauge pressure.

    Returns
    -------
    tuple of str
        ISO 9712 methods, one of which is to be used; ``("VT",)``: visual examination is enough.

    Raises
    ------
    UseError
        If a size or thickness is not greater than 0.

    Examples
    --------
    >>> power_piping_methods("butt", size_dn=80, thickness_mm=10, temperature_c=410,
    ...                      pressure_kpa=4000)
    ('RT', 'UT')
    """
    if size_dn <= 0 or thickness_mm <= 0:
        raise UseError(f"size {size_dn:g} and thickness {thickness_mm:g} must be greater than 0")
    service = service_of(temperature_c, pressure_kpa)
    for row in _TABLE:
        fits = row.weld == weld and row.service == service
        if fits and size_dn > row.above_dn and thickness_mm > row.above_mm:
            return row.methods
    return _EYE
