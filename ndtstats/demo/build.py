"""Joints and zones of the two invented jobs: a small aluminium hull, a run of stainless piping."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.demo.frames import shaped, working_day
from ndtstats.demo.people import FIRST_DAY, LAST_DAY

HULL = "WB-41"
PIPING = "PL-7"

_INVENTED = "invented for demonstration"


@dataclass(frozen=True, slots=True)
class Zone:
    """A zone with the working days, counted from the first, within which it is welded."""

    job: str
    zone: str
    parent: str | None
    opens: int
    closes: int
    milestone: str
    leak_test: bool = False


#: Working days 0 to 174 are those from the first to the last day of the demo; what lies beyond is
#: not welded yet.
ZONES = (
    Zone(HULL, "HULL", None, 0, 190, "hand over"),
    Zone(HULL, "AFT BLOCK", "HULL", 0, 110, "turn"),
    Zone(HULL, "ENGINE ROOM", "AFT BLOCK", 0, 90, "close"),
    Zone(HULL, "FUEL TANK PS", "AFT BLOCK", 15, 85, "close", leak_test=True),
    Zone(HULL, "FUEL TANK SB", "AFT BLOCK", 25, 95, "close", leak_test=True),
    Zone(HULL, "FORE BLOCK", "HULL", 40, 150, "turn"),
    Zone(HULL, "HOLD", "FORE BLOCK", 40, 130, "paint"),
    Zone(HULL, "FORE PEAK", "FORE BLOCK", 60, 140, "close"),
    Zone(HULL, "DECK", "HULL", 90, 170, "paint"),
    Zone(HULL, "WHEELHOUSE", "HULL", 130, 190, "hand over"),
    Zone(PIPING, "PLANT", None, 30, 185, "hand over"),
    Zone(PIPING, "LINE 101", "PLANT", 30, 90, "test", leak_test=True),
    Zone(PIPING, "LINE 102", "PLANT", 50, 120, "test", leak_test=True),
    Zone(PIPING, "LINE 103", "PLANT", 80, 150, "test", leak_test=True),
    Zone(PIPING, "PUMP SKID", "PLANT", 110, 185, "test", leak_test=True),
)

#: Working days between the last weld of a zone and its due date.
_GRACE = 15


@dataclass(frozen=True, slots=True)
class Kind:
    """Joints of one kind: how many, how long, of what, in which zones of the job."""

    prefix: str
    number: int
    category: str
    joint_type: str
    penetration: str
    zones: tuple[str, ...]
    positions: tuple[str, ...]
    shortest_mm: float
    longest_mm: float
    thicknesses_mm: tuple[float, ...]
    whole: bool = False
    crossings: int = 0


_HOLDS = ("ENGINE ROOM", "HOLD", "FORE PEAK")
_STIFFENED = ("ENGINE ROOM", "HOLD")
_SHELL = (*_HOLDS, "DECK")
_BODY = (*_SHELL, "FUEL TANK PS", "FUEL TANK SB")
_ALL = (*_BODY, "WHEELHOUSE")
_FLAT = ("PA", "PA", "PC", "PF")
_TEES = ("PB", "PB", "PB", "PF", "PF", "PD")

HULL_KINDS = (
    Kind("SB", 28, "SHELL-BUTT", "butt", "full", _SHELL, _FLAT, 900, 2400, (5, 6, 8), crossings=2),
    Kind("SS", 18, "SHELL-SEAM", "butt", "full", _SHELL, _FLAT, 2500, 6000, (5, 6, 8)),
    Kind("BB", 16, "BHD-BUTT", "butt", "full", _ALL, ("PF", "PC"), 600, 1800, (5,), crossings=1),
    Kind("LB", 36, "LONG-BUTT", "butt", "full", _STIFFENED, _FLAT, 60, 120, (6,), True),
    Kind("LE", 20, "LONG-BUTT-END", "butt", "full", ("FORE PEAK",), _FLAT, 60, 120, (6,), True),
    Kind("FP", 12, "FULL-PEN", "tee", "full", _BODY, ("PB", "PF"), 400, 2000, (8, 10)),
    Kind("F", 84, "FILLET", "tee", "fillet", _ALL, _TEES, 400, 3000, (5, 6)),
    Kind("FI", 36, "FILLET", "tee", "fillet", _HOLDS, ("PB", "PF"), 1200, 3000, (5,)),
)  # fmt: skip

#: Outer diameter and wall of the pipes, mm: sizes of ISO 4200 (from memory), DN 50 to DN 200.
PIPES_MM = np.array([[60.3, 2.9], [88.9, 3.2], [114.3, 3.6], [168.3, 4.5], [219.1, 6.3]])

_LINES = ("LINE 101", "LINE 102", "LINE 103", "PUMP SKID")
_PIPE = ("PA", "PA", "PA", "PH", "PC", "H-L045")

PIPING_KINDS = (
    Kind("G", 116, "NORMAL", "butt", "full", _LINES, _PIPE, 0, 0, (), True),
    Kind("GM", 38, "CATEGORY-M", "butt", "full", ("LINE 102", "PUMP SKID"), _PIPE, 0, 0, (), True),
    Kind("S", 26, "SOCKET", "lap", "fillet", _LINES, ("PB", "PF"), 0, 0, (), True),
)


def jobs_table() -> pd.DataFrame:
    """Return the table of jobs."""
    rows = [
        {"job": HULL, "title": f"aluminium work boat, 14 m ({_INVENTED})", "started": FIRST_DAY},
        {
            "job": PIPING,
            "title": f"stainless process piping ({_INVENTED})",
            "started": working_day(FIRST_DAY, pd.Series([30])).iloc[0],
        },
    ]
    return shaped("jobs", pd.DataFrame(rows))


def zones_table() -> pd.DataFrame:
    """Return the table of zones; they nest, and each is due three weeks after its last weld."""
    frame = pd.DataFrame(
        [
            {
                "job": z.job, "zone": z.zone, "parent": z.parent, "milestone": z.milestone,
                "leak_test": z.leak_test, "closes": z.closes,
            }
            for z in ZONES
        ]
    )  # fmt: skip
    return shaped("zones", frame.assign(due=working_day(FIRST_DAY, frame["closes"] + _GRACE)))


def hull_joints(rng: np.random.Generator) -> pd.DataFrame:
    """Return the joints of the hull, with a column ``welded`` for the day each is finished."""
    frame = pd.concat([_kind(HULL, kind, rng) for kind in HULL_KINDS], ignore_index=True)
    frame["material"] = "22.4"
    frame["process"] = "131"
    frame["procedure"] = "WPS-AL-" + np.where(frame["penetration"] == "full", "01", "02")
    stitched = frame["joint"].str.startswith("FI")
    pitch = pd.Series(rng.choice([150.0, 225.0], len(frame)), index=frame.index)
    pattern = pd.Series(rng.choice(["chain", "staggered"], len(frame)), index=frame.index)
    # Beads of two sides that fill every gap between them are no intermittent weld any more.
    pattern = pattern.mask(pitch == 150.0, "chain")
    frame["bead_pattern"] = pattern.where(stitched)
    frame.loc[frame["joint"].str.startswith("F-"), "bead_pattern"] = "continuous"
    frame["bead_length_mm"] = np.where(stitched, 75.0, np.nan)
    frame["bead_pitch_mm"] = pitch.where(stitched)
    frame["bead_end_mm"] = np.where(stitched, 100.0, np.nan)
    frame["ends_wrapped"] = pd.Series(True, frame.index).where(frame["penetration"] == "fillet")
    frame["drawing"] = "D-41-" + frame["zone"].str.replace(" ", "-")
    return _with_days(frame, rng)


def piping_joints(rng: np.random.Generator) -> pd.DataFrame:
    """Return the joints of the piping: girth butts examined whole, and sockets."""
    frame = pd.concat([_kind(PIPING, kind, rng) for kind in PIPING_KINDS], ignore_index=True)
    socket = (frame["category"] == "SOCKET").to_numpy()
    size = np.where(socket, 0, rng.integers(0, len(PIPES_MM), len(frame)))
    frame["length_mm"] = np.round(np.pi * PIPES_MM[size, 0])
    frame["thickness_mm"] = PIPES_MM[size, 1]
    frame["material"] = "8.1"
    thick = frame["thickness_mm"] >= 4.0
    # The thicker walls get a TIG root and are filled by flux cored wire; thin ones are TIG alone.
    frame["process"] = np.where(thick, "136", "141")
    frame["position"] = frame["position"].mask(thick & (frame["position"] == "H-L045"), "PH")
    frame["procedure"] = np.where(thick, "WPS-SS-12", "WPS-SS-11")
    frame["drawing"] = "ISO-" + frame["zone"].str.replace(" ", "-")
    return _with_days(frame, rng)


def _kind(job: str, kind: Kind, rng: np.random.Generator) -> pd.DataFrame:
    number = np.arange(1, kind.number + 1)
    length = np.round(rng.uniform(kind.shortest_mm, kind.longest_mm, kind.number), -1)
    frame = pd.DataFrame(
        {
            "joint": [f"{kind.prefix}-{n:03d}" for n in number],
            "zone": rng.choice(kind.zones, kind.number),
            "length_mm": length,
            "position": rng.choice(kind.positions, kind.number),
            "crossings_mm": _crossings(length, kind.crossings),
        }
    )
    if kind.thicknesses_mm:
        frame["thickness_mm"] = rng.choice(kind.thicknesses_mm, kind.number).astype(float)
    whole = kind.whole or None
    return frame.assign(
        job=job,
        category=kind.category,
        joint_type=kind.joint_type,
        penetration=kind.penetration,
        whole=pd.array([whole] * kind.number, dtype="boolean"),
    )


def _crossings(length: Any, number: int) -> Any:
    """Return positions of crossings that part a joint evenly, as the table writes them."""
    if not number:
        return pd.array([None] * len(length), dtype="str")
    at = np.round(np.outer(length, np.arange(1, number + 1) / (number + 1)), -1)
    return pd.DataFrame(at).map("{:g}".format).agg(";".join, axis=1)


def _with_days(frame: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the joints in the order in which they are welded, each with its last day."""
    opens = frame["zone"].map({z.zone: z.opens for z in ZONES})
    closes = frame["zone"].map({z.zone: z.closes for z in ZONES})
    day = np.floor(opens + rng.random(len(frame)) * (closes - opens))
    welded = working_day(FIRST_DAY, pd.Series(day, index=frame.index))
    frame = frame.assign(welded=welded.where(welded <= LAST_DAY))
    return frame.sort_values(["joint"], ignore_index=True)
