"""Time the escalation of 5,000 welders and 1,000,000 examinations against a bare groupby.

    python tests/benchmarks/escalation.py [--examinations 1000000] [--welders 5000]

The bare work is what nobody can do without: the rejects of each lot, by a pandas groupby of the
same frame. Processor time, for other work on the machine would stand in the clock.
"""

import argparse
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.escalation import decide, repairs, severity_of
from ndtstats.rules.procedures import PRESETS
from ndtstats.rules.signals import Signals

#: Places for each one that is examined, share rejected, and examinations in a report.
_SPARE, _REJECTED, _IN_REPORT = 1.25, 0.02, 200
_DAYS = 700


def invented(examinations: int, welders: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return first examinations and what they were chosen from, a joint each."""
    rng = np.random.default_rng(1)
    places = int(_SPARE * examinations)
    welder = np.char.mod("W%04d", rng.integers(0, welders, places))
    welded = np.datetime64("2024-01-01", "D") + np.sort(rng.integers(0, _DAYS, places))
    population = pd.DataFrame(
        {
            "lot": pd.Series("welder ", index=range(places)) + pd.Series(welder, dtype="str"),
            "joint": pd.Series(np.char.mod("J%07d", np.arange(places)), dtype="str"),
            "from_mm": 1000.0, "to_mm": 1350.0, "length_mm": 3500.0, "welded": welded,
        }
    )  # fmt: skip
    chosen = np.sort(rng.choice(places, examinations, replace=False))
    films = population.iloc[chosen].reset_index(drop=True)
    number = pd.Series(np.arange(examinations) // _IN_REPORT)
    return films.assign(
        welder=welder[chosen],
        date=films["welded"] + np.timedelta64(3, "D"),
        report=number.map("R-{:05d}".format), sequence=np.arange(examinations),
        order=np.arange(examinations), ref="RT " + films["joint"],
        rejected=rng.random(examinations) < _REJECTED, bad_from_mm=np.nan, bad_to_mm=np.nan,
        role="unknown", answers="", method="RT", round=0,
    ), population  # fmt: skip


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return the processor time of some work in seconds, and its result."""
    started = time.process_time()
    result = work()
    return time.process_time() - started, result


def main() -> None:
    """Print how long each part takes, and how many times the bare work that is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examinations", type=int, default=1_000_000)
    parser.add_argument("--welders", type=int, default=5_000)
    given = parser.parse_args()
    films, population = invented(given.examinations, given.welders)
    nowhere = pd.DataFrame({"ref": [], "start_mm": [], "end_mm": []})
    bare, _ = timed(lambda: films.groupby("lot")["rejected"].agg(["size", "sum"]))
    print(f"{'a bare groupby of the lots':<40} {bare:7.2f} s")  # noqa: T201
    works: dict[str, Callable[[], Any]] = {
        f"decide, {name}": lambda name=name: decide(films, population, PRESETS[name])
        for name in ("progressive-piping", "percent-of-lot", "until-sound-hull")
    }
    works["repairs"] = lambda: repairs(films, nowhere)
    works["signals"] = lambda: severity_of(films, Signals())
    for what, work in works.items():
        seconds, result = timed(work)
        told = f"{seconds:7.2f} s {seconds / bare:8.1f} x bare   {len(result):,} rows"
        print(f"{what:<40} {told}", flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
