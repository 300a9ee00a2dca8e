"""What is really in the invented welds, and what an examination of a place would show of it.

Nobody in the yard knows these tables; the generator answers the contractor's part from them, so
that results come back for the very places a plan has drawn.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.demo.people import true_rate_per_m
from ndtstats.words import VOLUMETRIC

#: Beyond these there are imperfections that do not reject: so many per metre of deposit, inside
#: and at the surface; and those at the surface that do.
_HARMLESS_PER_M = 0.25
_SURFACE_HARMLESS_PER_M = 0.10
_SURFACE_PER_M = 0.04

#: The root is where most goes wrong: shares of a welder's rate by pass.
_PASS_SHARE = {"root": 0.65, "cap": 0.35}

#: Share of imperfections that the image shows, by whether they lie flat: chosen here.
_SHOWN_FLAT, _SHOWN_ROUND = 0.80, 0.95


#: Columns of an examination's row that tell of an indication.
INDICATION = (
    "imperfection", "imp_from_mm", "imp_length_mm", "imp_pass", "imp_side", "imp_rejectable",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mix:
    """Imperfections by ISO 6520-1 number with their shares, and whether they lie flat."""

    numbers: tuple[str, ...]
    shares: tuple[float, ...]
    flat: tuple[bool, ...]


#: What goes wrong, by place and material: common practice, no source; the shares are invented.
_INSIDE_ALUMINIUM = Mix(
    ("2013", "2016", "401", "303", "402"),
    (0.40, 0.10, 0.25, 0.15, 0.10),
    (False, False, True, True, True),
)
_INSIDE_STEEL = Mix(
    ("2011", "3041", "4013", "402", "301"),
    (0.25, 0.10, 0.30, 0.20, 0.15),
    (False, False, True, True, False),
)
_AT_SURFACE = Mix(("5011", "2017", "506", "511"), (0.40, 0.30, 0.15, 0.15), (False,) * 4)
_HARMLESS = Mix(("2011", "2013"), (0.8, 0.2), (False, False))

#: Imperfections of the root, and what the same slip is called in a later pass.
_ABOVE_ROOT = {"4013": "4012", "402": "401"}


def truth_table(parts: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return every imperfection of a job's deposits.

    Parameters
    ----------
    parts : DataFrame
        Deposits with ``job``, ``joint``, ``welder``, ``date``, ``pass``, ``side``, ``from_mm``,
        ``to_mm``, ``length_mm`` (of the joint) and ``material``.

    Returns
    -------
    DataFrame
        ``job``, ``joint``, ``welder``, ``date``, ``pass``, ``side``, ``imperfection``,
        ``at_mm``, ``long_mm``, ``rejectable``, ``surface`` (visible to the eye), ``shows`` (in an
        image or by penetrant).
    """
    share = parts["pass"].map(_PASS_SHARE).fillna(1.0)
    rate = true_rate_per_m(parts["welder"], parts["date"]) * share
    aluminium = parts["material"].str.startswith("22")
    kinds = (
        (rate.where(aluminium, 0.0), _INSIDE_ALUMINIUM, True, False),
        (rate.where(~aluminium, 0.0), _INSIDE_STEEL, True, False),
        (rate * 0.0 + _HARMLESS_PER_M * share, _HARMLESS, False, False),
        (rate * 0.0 + _SURFACE_PER_M * share, _AT_SURFACE, True, True),
        (rate * 0.0 + _SURFACE_HARMLESS_PER_M * share, _AT_SURFACE, False, True),
    )
    found = pd.concat([_scatter(parts, *kind, rng) for kind in kinds])
    # What is called after the root cannot lie in the cap.
    above = found["imperfection"].map(_ABOVE_ROOT).where(found["pass"].isin(["cap"]))
    found["imperfection"] = above.fillna(found["imperfection"]).astype("str")
    return found.sort_values(["joint", "at_mm"], ignore_index=True)


def _scatter(
    parts: pd.DataFrame, rate: Any, mix: Mix, rejectable: bool, surface: bool,
    rng: np.random.Generator,
) -> pd.DataFrame:  # fmt: skip
    """Return imperfections of one kind, scattered at random over the length of the deposits."""
    low = parts["from_mm"].astype("float64").fillna(0.0)
    high = parts["to_mm"].astype("float64").fillna(parts["length_mm"])
    count = rng.poisson(rate * (high - low) / 1000.0)
    columns = ["job", "joint", "welder", "date", "pass", "side"]
    found = parts.loc[parts.index.repeat(count), columns].reset_index(drop=True)
    start, room = np.repeat(low.to_numpy(), count), np.repeat((high - low).to_numpy(), count)
    kind = rng.choice(len(mix.numbers), len(found), p=mix.shares)
    long = np.round(rng.gamma(2.0, 12.0 if rejectable else 3.0, len(found)) + 2.0)
    flat = np.array(mix.flat)[kind]
    long = np.minimum(long, room)
    return found.assign(
        imperfection=pd.Series(np.array(mix.numbers)[kind], dtype="str"),
        at_mm=np.floor(start + rng.random(len(found)) * (room - long)),
        long_mm=long,
        rejectable=rejectable,
        surface=surface,
        shows=rng.random(len(found)) < np.where(flat, _SHOWN_FLAT, _SHOWN_ROUND),
    )


def seen(truth: pd.DataFrame, places: pd.DataFrame) -> pd.DataFrame:
    """Return what an examination of each place shows.

    Parameters
    ----------
    truth : DataFrame
        As :func:`truth_table` gives it.
    places : DataFrame
        ``job``, ``joint``, ``method``, ``from_mm``, ``to_mm``; the index names the place.

    Returns
    -------
    DataFrame
        One row for each indication: ``place``, ``imperfection``, ``imp_from_mm``,
        ``imp_length_mm``, ``imp_pass``, ``imp_side``, ``imp_rejectable``; what reaches beyond the
        place is cut off there.
    """
    pairs = places.reset_index(names="place").merge(truth, on=["job", "joint"])
    inside = pairs["method"].isin(VOLUMETRIC)
    shows = np.where(inside, pairs["shows"] & ~pairs["surface"], pairs["surface"])
    low = np.maximum(pairs["at_mm"], pairs["from_mm"])
    high = np.minimum(pairs["at_mm"] + pairs["long_mm"], pairs["to_mm"])
    pairs = pairs.assign(imp_from_mm=low, imp_length_mm=high - low)
    found = pairs[shows & (high > low)].copy()
    # A film is flat: it tells the pass only by what can be in the root alone, and never the side.
    told = found["surface"] | found["imperfection"].isin(list(_ABOVE_ROOT))
    found["pass"] = found["pass"].where(told)
    found["side"] = found["side"].where(found["surface"])
    named = {"pass": "imp_pass", "side": "imp_side", "rejectable": "imp_rejectable"}
    return found.rename(columns=named)[["place", *INDICATION]].reset_index(drop=True)
