"""Leak and pressure tests of zones, as data: how each kind is done, at which pressure."""

import tomllib
from functools import cache
from importlib import resources
from typing import Literal, cast, get_args

from ndtstats.rules.families import NotNegative, Part, Percent, Positive

Test = Literal["leak", "pressure"]
Kind = Literal[
    "air", "air-by-fall", "air-inland", "air-rudder", "hose", "vacuum-box", "kerosene",
    "head-of-water", "head-of-water-inland",
]  # fmt: skip

#: Names of the kinds, in the order of the data.
KINDS: tuple[Kind, ...] = get_args(Kind)


class ZoneTest(Part):
    """How a zone is tested; what a rules file leaves out is as usual for the kind.

    Attributes
    ----------
    kind : str
        One of :data:`KINDS`.
    pressure_bar : float or None
        Least gauge pressure while one looks; below the atmosphere for a vacuum box. A zone whose
        drawing states a pressure is held against that instead. None: none is asked for.
    fills : bool
        Whether the pressure fills the zone; that of a hose and of a vacuum box does not, and has
        nothing to do with what the drawing states.
    raised_to_bar : float or None
        Pressure to which it is raised before.
    most_bar : float or None
        Pressure that is never exceeded.
    hold_min : float
        How long it is held, in minutes.
    fall_percent : float or None
        Fall of the pressure over the hold below which the zone is tight; None: one looks for leaks.
    look : str
        How one looks.
    """

    kind: Kind
    pressure_bar: Positive | None = None
    fills: bool = True
    raised_to_bar: Positive | None = None
    most_bar: Positive | None = None
    hold_min: NotNegative = 0.0
    fall_percent: Percent | None = None
    look: str = ""

    @property
    def whole(self) -> "ZoneTest":
        """The test with what is usual for its kind filled in.

        Examples
        --------
        >>> test = ZoneTest(kind="air", hold_min=30.0).whole
        >>> test.pressure_bar, test.raised_to_bar, test.hold_min
        (0.15, 0.2, 30.0)
        """
        given = {name: getattr(self, name) for name in self.model_fields_set}
        return ZoneTest.model_validate(usual_test(self.kind).model_dump() | given)


class ZoneTests(Part):
    """How the zones of a job are tested: for leaks, and for strength."""

    leak: ZoneTest | None = None
    pressure: ZoneTest | None = None


def usual_test(kind: Kind) -> ZoneTest:
    """Return a kind of test as the data of this package describes it, source beside each value."""
    told = {name: value for name, value in _data()[kind].items() if name != "test"}
    return ZoneTest.model_validate({"kind": kind, **told})


def serves(kind: Kind) -> Test:
    """Return whether a kind of test is one for leaks or one of pressure."""
    return cast("Test", _data()[kind]["test"])


def kinds_text() -> str:
    """Return the data on the kinds of test as it is written, with its sources."""
    return (resources.files("ndtstats.rules") / "zone_tests.toml").read_text(encoding="utf-8")


def how_tested(test: ZoneTest) -> str:
    """Return how a zone is tested, in a line.

    Examples
    --------
    >>> how_tested(usual_test("air"))
    'air: raise to 0.2 bar, hold 60 min, look at 0.15 bar: soap all joints'
    """
    whole = test.whole
    below = " below the atmosphere" if whole.kind == "vacuum-box" else ""
    steps = [
        f"raise to {whole.raised_to_bar:g} bar" if whole.raised_to_bar else "",
        f"hold {whole.hold_min:g} min" if whole.hold_min else "",
        f"look at {whole.pressure_bar:g} bar{below}" if whole.pressure_bar else "",
        f"never above {whole.most_bar:g} bar{below}" if whole.most_bar else "",
        f"a fall below {whole.fall_percent:g} % is tight" if whole.fall_percent else "",
    ]
    done = ", ".join(step for step in steps if step)
    return f"{whole.kind}: {done}: {whole.look}" if done else f"{whole.kind}: {whole.look}"


@cache
def _data() -> dict[str, dict[str, object]]:
    return tomllib.loads(kinds_text())
