"""Write the CSV files of a large register, clean and with nothing in it that a check would stop.

    python tests/benchmarks/make_large.py DIR
    python tests/benchmarks/make_large.py DIR --joints 1000000 --examinations 1000000

By default 10,000 joints and 100,000 examinations. Load the files in the order jobs, zones, joints,
welders, deposits, examinations. All of it is invented; the same arguments give the same files.
"""

import argparse
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

JOB = "LARGE"
WELDERS, ZONES = 40, 50
FIRST_DAY, DAYS = np.datetime64("2025-01-06"), 360

#: Places in a report, and shares of the radiographs that are taken again or rejected.
_IN_REPORT, _RESHOT, _REJECTED = 250, 0.02, 0.03
_SPOT_MM = 300.0


def make_tables(joints: int, examinations: int, seed: int) -> dict[str, pd.DataFrame]:
    """Return the tables by name, in the order of loading.

    Every joint is examined by eye if there are at least twice as many examinations as joints; the
    rest are radiographs, some of them images taken again, rejects, and repairs.
    """
    rng = np.random.default_rng(seed)
    stamps = np.array([f"W{n:02d}" for n in range(1, WELDERS + 1)])
    zones = np.array([f"BLOCK {n:02d}" for n in range(1, ZONES + 1)])
    welds = _joints(joints, zones, rng)
    welded = FIRST_DAY + rng.integers(0, DAYS, joints)
    visual = _visual(welds, welded) if examinations >= 2 * joints else pd.DataFrame()
    films = _films(welds, welded, examinations - len(visual), rng)
    return {
        "jobs": pd.DataFrame({"job": [JOB], "title": ["large register, invented"]}),
        "zones": pd.DataFrame({"job": JOB, "zone": zones}),
        "joints": welds,
        "welders": pd.DataFrame({"welder": stamps}),
        "deposits": pd.DataFrame(
            {
                "job": JOB,
                "joint": welds["joint"],
                "welder": rng.choice(stamps, joints),
                "date": welded,
            }
        ),
        "examinations": pd.concat([visual, films], ignore_index=True),
    }


def _joints(number: int, zones: Any, rng: np.random.Generator) -> pd.DataFrame:
    """Return butts in categories of the aluminium hull preset, one to six metres long."""
    width = len(str(number))
    length = rng.integers(1000, 6000, number)
    return pd.DataFrame(
        {
            "job": JOB,
            "zone": rng.choice(zones, number),
            "joint": "B-" + pd.Series(np.arange(1, number + 1)).astype(str).str.zfill(width),
            "category": rng.choice(["SHELL-BUTT", "SHELL-SEAM", "BHD-BUTT"], number),
            "joint_type": "butt",
            "penetration": "full",
            "length_mm": length,
            "thickness_mm": rng.choice([5, 6, 8], number),
            "material": "22.4",
            "process": "131",
            "position": rng.choice(["PA", "PC", "PF"], number),
            "procedure": rng.choice(["WPS-1", "WPS-2"], number),
            "crossings_mm": length // 2,
        }
    )


def _visual(welds: pd.DataFrame, welded: Any) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "job": JOB,
            "joint": welds["joint"],
            "method": "VT",
            "verdict": "accept",
            "date": welded,
            "report": "VT-" + pd.Series(welded).astype(str),
        }
    )


def _films(welds: pd.DataFrame, welded: Any, number: int, rng: np.random.Generator) -> pd.DataFrame:
    """Return so many rows of radiographs: first ones, images taken again, rejects and repairs."""
    reshot, rejected = int(number * _RESHOT), int(number * _REJECTED)
    first = number - reshot - rejected
    at = rng.integers(0, len(welds), first)
    spots = welds["length_mm"].to_numpy()[at] // int(_SPOT_MM)
    start = (rng.random(first) * spots).astype(int) * _SPOT_MM
    order = np.arange(first)
    films = pd.DataFrame(
        {
            "job": JOB,
            "joint": welds["joint"].to_numpy()[at],
            "method": "RT",
            "from_mm": start,
            "to_mm": start + _SPOT_MM,
            "round": 0,
            "verdict": "accept",
            "date": welded[at] + rng.integers(2, 9, first),
            "report": "R-" + pd.Series(order // _IN_REPORT).astype(str).str.zfill(6),
            "exposure": (order % _IN_REPORT + 1).astype(str),
        }
    )
    bad = rng.permutation(first)[: reshot + rejected]
    again = films.iloc[bad[:reshot]].assign(verdict="re-shoot", remark="density too low")
    films.loc[bad[:reshot], "exposure"] += "A"
    rejects = bad[reshot:]
    films.loc[rejects, "verdict"] = "reject"
    films.loc[rejects, "imperfection"] = rng.choice(["2013", "401", "402"], rejected)
    films.loc[rejects, "imp_from_mm"] = films.loc[rejects, "from_mm"] + rng.integers(
        0, 250, rejected
    )
    films.loc[rejects, "imp_length_mm"] = rng.integers(2, 40, rejected)
    repairs = films.loc[rejects, ["job", "joint", "method", "from_mm", "to_mm", "date", "report"]]
    repairs = repairs.assign(
        round=1,
        verdict="accept",
        date=repairs["date"] + np.timedelta64(4, "D"),
        exposure=films.loc[rejects, "exposure"] + "R1",
    )
    return pd.concat([films, again, repairs], ignore_index=True)


def main() -> None:
    """Write the files that the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("directory", type=Path)
    parser.add_argument("--joints", type=int, default=10_000)
    parser.add_argument("--examinations", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    asked.directory.mkdir(parents=True, exist_ok=True)
    tables = make_tables(asked.joints, asked.examinations, asked.seed)
    for name, table in tables.items():
        table.to_csv(asked.directory / f"{name}.csv", index=False, date_format="%Y-%m-%d")


if __name__ == "__main__":
    main()
