"""Time the frame and the draw at a million cells against bare numpy, in one run.

    python tests/benchmarks/planning.py [--joints 100000]

Printed beside it: a whole plan with risk, welders and strata of the same cells, and what a general
survey-sampling library takes for the draw of 100,000 of them (``pip install samplics``).
"""

import argparse
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.planning import Yard, cut_frame, draw
from ndtstats.planning.draw import DRAWS, inclusion_probabilities
from ndtstats.rules import read_rules

SPOT_MM, SHARE = 300.0, 0.05
RULES = """
title = "a benchmark"
follows = "nothing"
edition = "none"

[risk]
exponent = 0.5
bead_end = 1.5
first_work_of_welder = 2.0

[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = { family = "share-of-length", percent = 5.0 }
spots_per_welder = 1
"""


def best(work: Callable[[], Any], runs: int = 3) -> tuple[float, Any]:
    """Return the shortest time of several runs in seconds, and what the last returned."""
    times, result = [], None
    for _ in range(runs):
        started = time.perf_counter()
        result = work()
        times.append(time.perf_counter() - started)
    return min(times), result


def told(what: str, seconds: float, bare: float) -> None:
    """Print one line: what, how long, and how many times the bare work."""
    print(f"{what:<52} {seconds:8.3f} s {seconds / bare:8.1f} x bare", flush=True)  # noqa: T201


def invented(number: int) -> Yard:
    """Return joints of about 3 m by a hundred welders."""
    rng = np.random.default_rng(1)
    nothing = pd.Series([None] * number, dtype="str")
    joints = pd.DataFrame(
        {
            "joint": pd.Series([f"J-{n:06d}" for n in range(number)], dtype="str"),
            "zone": "Z", "category": "A", "joint_type": "butt", "whole": False,
            "length_mm": np.round(rng.uniform(2700, 3299, number)), "crossings_mm": nothing,
            "process": "135", "position": "PA", "thickness_mm": 8.0, "procedure": "W-1",
        }
    )  # fmt: skip
    deposits = pd.DataFrame(
        {
            "joint": joints["joint"],
            "welder": pd.Series([f"W{n % 100}" for n in range(number)], dtype="str"),
            "date": pd.Timestamp("2026-01-01") + pd.to_timedelta(np.arange(number) % 300, unit="D"),
            "from_mm": np.nan, "to_mm": np.nan,
            **dict.fromkeys(("process", "position", "procedure"), nothing),
        }
    )  # fmt: skip
    rejects = pd.DataFrame({"joint": pd.Series(dtype="str"), "from_mm": [], "to_mm": []})
    return Yard(joints, deposits, rejects)


def bare_draw(length: Any) -> Any:
    """Cut, sum up and draw systematically, with nothing but numpy: no planner does without."""
    parts = np.maximum(length // SPOT_MM, 1).astype(int)
    step = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
    wide = np.repeat(length / parts, parts)
    size = np.round((step + 1) * wide) - np.round(step * wide)
    pi = size * (SHARE * len(size) / size.sum())
    upper = np.cumsum(pi) - np.random.default_rng(1).random()
    return np.floor(upper) != np.floor(upper - pi)


def library_draw(size: Any, number: int) -> float | None:
    """Return the seconds that a survey-sampling library takes, None where it is not installed."""
    try:
        from samplics import SelectMethod  # noqa: PLC0415
        from samplics.sampling import SampleSelection  # noqa: PLC0415
    except ImportError:
        return None
    chosen = SampleSelection(method=SelectMethod.pps_sys, strat=False, wr=False)
    started = time.perf_counter()
    chosen.select(samp_unit=np.arange(len(size)), samp_size=number, mos=size)
    return time.perf_counter() - started


def main() -> None:
    """Run all of it and print a line each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--joints", type=int, default=100_000)
    yard = invented(parser.parse_args().joints)
    length = yard.joints["length_mm"].to_numpy()
    bare, drawn = best(lambda: bare_draw(length))
    told(f"bare numpy: cut, sum, draw of {len(drawn):,} cells", bare, bare)
    framed, cells = best(lambda: cut_frame(yard.joints, spot_length_mm=SPOT_MM))
    size = (cells["to_mm"] - cells["from_mm"]).to_numpy()
    stratum, number = np.zeros(len(size), dtype=np.int64), [int(SHARE * len(size))]
    told("frame of the joints", framed, bare)
    for name, method in DRAWS.items():

        def probabilities_and_draw(method: Any = method) -> Any:
            pi = inclusion_probabilities(size, stratum, number)
            return method(pi, stratum, np.random.default_rng(1))

        seconds, _ = best(probabilities_and_draw)
        told(f"frame, probabilities, {name} draw", framed + seconds, bare)
    rules = read_rules(RULES, source="benchmark")
    whole, _ = best(lambda: draw(yard, rules, seed=1), runs=1)
    told("a plan: risk, welders, strata, draw, reserves", whole, bare)
    some = size[:100_000]
    library = library_draw(some, int(SHARE * len(some)))
    what = f"draw of {len(some):,} cells by a survey-sampling library"
    if library is None:
        print(f"{what}: not installed")  # noqa: T201
    else:
        told(what, library, bare)


if __name__ == "__main__":
    main()
