"""Invented registers in which everything occurs that rates have to tell apart."""

from datetime import timedelta

import numpy as np
import pandas as pd

from ndtstats.register import examination_subjects, record_decisions

FIRST_DAY = np.datetime64("2026-01-05", "D")
JOBS, JOINTS = ("H1", "H2"), 12
VERDICTS = ["accept"] * 12 + ["reject"] * 2 + ["re-shoot", "not done"]


def fill(register, seed, now, *, planned=True, looks=100):
    """Fill a register with two jobs; a day later some of it is corrected, and some overturned."""
    rng = np.random.default_rng(seed)
    joints, deposits = _joints(rng), _deposits(rng)
    plans, spots = _spots(rng) if planned else (None, None)
    looked = _examinations(rng, spots, looks)
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
        if planned:
            batch.insert("plans", plans)
            batch.insert("spots", spots)
        batch.merge("examinations", looked, _imperfections(rng, looked))
    some = looked.sample(5, random_state=seed).assign(verdict=rng.choice(["accept", "reject"], 5))
    moved = deposits.sample(2, random_state=seed).assign(from_mm=np.nan, to_mm=np.nan)
    with register.batch(kind="load", subject="again", now=now + timedelta(days=1)) as batch:
        batch.merge("examinations", some)
        batch.merge("deposits", moved.drop_duplicates(["job", "joint", "welder", "date", "pass"]))
    _overturn(register, now + timedelta(days=2))


def _joints(rng):
    number = len(JOBS) * JOINTS
    return pd.DataFrame(
        {
            "job": np.repeat(JOBS, JOINTS), "joint": _names(range(JOINTS)) * 2,
            "zone": rng.choice(["Z1", "Z2"], number), "category": rng.choice(["A", "B"], number),
            "joint_type": "butt", "length_mm": rng.choice([900.0, 1000.0], number),
            "thickness_mm": rng.choice([5.0, 8.0], number),
            "process": rng.choice(["131", None], number),
        }
    )  # fmt: skip


def _deposits(rng, number=24):
    low, high = np.array([(np.nan, np.nan), (0, 1000), (0, 500), (500, 1000), (500, np.nan)])[
        rng.choice(5, number, p=[0.6, 0.2, 0.1, 0.05, 0.05])
    ].T
    rows = pd.DataFrame(
        {
            "job": rng.choice(JOBS, number), "joint": _names(rng.integers(0, JOINTS, number)),
            "welder": rng.choice(["K7", "M2", "N3"], number),
            "pass": rng.choice(["root", "cap", None], number),
            "date": FIRST_DAY + rng.choice([0, 0, 0, 0, 3, 50, 20], number),
            "from_mm": low, "to_mm": high,
            "process": rng.choice(["141", None, None], number),
        }
    )  # fmt: skip
    return rows.drop_duplicates(["job", "joint", "welder", "date", "pass"])


def _names(number):
    return [f"B-{n}" for n in number]


def _spots(rng):
    """Spots of some joints of the first job, in two strata."""
    number = 8
    spots = pd.DataFrame(
        {
            "spot": [f"P1-{n}" for n in range(number)], "plan": "P1", "job": JOBS[0],
            "joint": _names(rng.integers(0, 3, number)), "rule": "r", "method": "RT", "round": 0,
            "from_mm": rng.choice([0.0, 300.0, 600.0], number),
            "part": rng.choice(["required", "random", "reserve", "targeted", "extra"], number),
            "stratum": rng.choice(["s", "t"], number), "draw_order": range(number),
        }
    )  # fmt: skip
    pi = np.where(spots["part"] == "required", 1.0, rng.choice([0.2, 0.5], number))
    plans = pd.DataFrame(
        {"plan": ["P1"], "job": JOBS[0], "kind": "draw", "seed": 1, "frame_sha256": "f",
         "version": "0", "drawn_at": "2026-01-09T08:00:00+00:00"}
    )  # fmt: skip
    return plans, spots.assign(to_mm=spots["from_mm"] + 300, pi=pi)


def _examinations(rng, spots, number):
    low = rng.choice([np.nan, np.nan, 0.0, 300.0, 500.0, 600.0], number)
    long = rng.choice([300.0, 400.0, np.nan], number)
    rows = pd.DataFrame(
        {
            "job": rng.choice(JOBS, number),
            # One of the joints is not in the register.
            "joint": _names(rng.integers(0, JOINTS + 1, number)),
            "method": rng.choice(["RT", "RT", "UT", "VT"], number), "from_mm": low,
            "to_mm": np.nan_to_num(low) + long, "round": rng.choice([0, 0, 0, 1], number),
            "verdict": rng.choice(VERDICTS, number),
            "date": FIRST_DAY + rng.integers(1, 40, number),
            "report": [f"R-{n}" for n in range(number)],
        }
    )  # fmt: skip
    if spots is None:
        return rows
    answers = rows.iloc[: len(spots)].index
    place = ["job", "joint", "method", "round", "from_mm", "to_mm"]
    rows.loc[answers, place] = spots[place].to_numpy()
    rows["request"] = pd.Series(spots["spot"].to_numpy(), answers, dtype="str")
    return rows.astype({"from_mm": float, "to_mm": float, "round": int})


def _imperfections(rng, looked):
    which = looked.index[looked["verdict"] == "reject"].repeat(2)
    which = which[rng.random(len(which)) < 0.7]
    number = len(which)
    return pd.DataFrame(
        {
            "examination": which, "imperfection": rng.choice(["401", "2011", "100"], number),
            "imp_from_mm": rng.choice([np.nan, 100.0, 490.0, 700.0], number),
            "imp_length_mm": rng.choice([np.nan, 5.0, 30.0], number),
            "imp_pass": rng.choice(["root", "cap", None], number),
            "imp_rejectable": rng.choice([True, None], number),
        }
    )  # fmt: skip


def _overturn(register, now):
    rows = register.table("examinations")
    rejects = rows[rows["verdict"] == "reject"].head(2)
    if len(rejects):
        record_decisions(
            register, kind="overturned", subjects=examination_subjects(rejects).tolist(),
            person="A. Lead", reason="a scratch on the film", now=now,
        )  # fmt: skip
