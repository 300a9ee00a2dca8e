"""Films and welds as plain frames, of which nothing needs a register."""

from datetime import timedelta
from types import SimpleNamespace

import pandas as pd
import pytest

from ndtstats.rules import adopt, load_rules

DAY_0 = pd.Timestamp("2026-03-01")
WELDED = pd.Timestamp("2026-02-01")


def films(*rows, lot="A", welded=WELDED):
    """Films of whole joints as (joint, verdict, report[, role[, answers]]); a report a day."""
    frame = pd.DataFrame(
        [
            {
                "joint": joint, "rejected": verdict == "reject", "report": f"R-{report:02d}",
                "date": DAY_0 + pd.Timedelta(days=report),
                "role": more[0] if more else "unknown",
                "answers": more[1] if len(more) > 1 else "",
            }
            for joint, verdict, report, *more in rows
        ]
    )  # fmt: skip
    frame["ref"] = "RT " + frame["report"] + ", " + frame["joint"]
    return frame.assign(
        lot=lot, from_mm=0.0, to_mm=350.0, bad_from_mm=None, bad_to_mm=None, method="RT", round=0,
        sequence=range(len(frame)), order=range(len(frame)), welded=welded,
    )  # fmt: skip


def spots(*rows):
    """Spots of the joint B-1 as (from, to, verdict, report[, bad_from, bad_to])."""
    frame = films(*(("B-1", verdict, report) for _, _, verdict, report, *_ in rows))
    places = pd.DataFrame(
        [(low, high, *(bad or (None, None))) for low, high, _, _, *bad in rows],
        columns=["from_mm", "to_mm", "bad_from_mm", "bad_to_mm"],
    )
    frame[places.columns] = places
    frame["ref"] = frame["ref"] + " " + frame["from_mm"].map("{:g}".format)
    return frame


def welds(number, lot="A", welded=WELDED):
    """Joints J1, J2 ... that are examined whole."""
    names = [f"J{n}" for n in range(1, number + 1)]
    return pd.DataFrame(
        {"lot": lot, "joint": names, "from_mm": 0.0, "to_mm": 350.0, "length_mm": 350.0,
         "welded": welded}
    )  # fmt: skip


def weld(length_mm, spot_mm, joint="B-1", lot="A"):
    """One long joint, cut into the places that can be examined."""
    number = int(length_mm / spot_mm)
    start = [spot_mm * n for n in range(number)]
    return pd.DataFrame(
        {"lot": lot, "joint": joint, "from_mm": start, "to_mm": [s + spot_mm for s in start],
         "length_mm": float(length_mm), "welded": WELDED}
    )  # fmt: skip


def found(items):
    """Return what of each item matters to most tests, by round."""
    rows = items.sort_values(["round", "what"])
    return list(zip(rows["what"], rows["round"], rows["count"], rows["state"], strict=True))


@pytest.fixture(scope="session")
def make():
    return SimpleNamespace(films=films, spots=spots, welds=welds, weld=weld, found=found)


@pytest.fixture
def piping(register, now):
    """Twenty pipe butts by two welders; J1 by A is rejected."""

    def bring(*films, rules=True, when=1):
        if rules:
            preset = load_rules("process-piping")
            adopt(register, "L1", preset, agreed_by=None, by="lead", now=now)
        joints = pd.DataFrame(
            {
                "job": "L1", "zone": "RACK", "joint": [f"J{n}" for n in range(1, 21)],
                "category": "NORMAL", "joint_type": "butt", "length_mm": 350.0, "whole": True,
            }
        )  # fmt: skip
        deposits = joints[["job", "joint"]].assign(
            welder=["A", "B"] * 10, date=pd.Timestamp("2026-02-01")
        )
        exams = pd.DataFrame(
            [
                {
                    "job": "L1", "joint": joint, "method": "RT", "verdict": verdict,
                    "report": report, "round": round_,
                    "date": pd.Timestamp("2026-03-01") + pd.Timedelta(days=int(report[2:])),
                }
                for joint, verdict, report, round_ in films
            ]
        )  # fmt: skip
        with register.batch(kind="load", subject="all", now=now + timedelta(hours=when)) as batch:
            batch.merge("jobs", pd.DataFrame({"job": ["L1"]}))
            batch.merge("zones", pd.DataFrame({"job": ["L1"], "zone": ["RACK"]}))
            batch.merge("joints", joints)
            batch.merge("deposits", deposits)
            batch.merge("examinations", exams)
        return register

    return bring
