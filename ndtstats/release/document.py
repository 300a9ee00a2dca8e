"""The answer to a release as a paper: what stands in the way, what was passed over, what rests."""

from datetime import datetime

import numpy as np
import pandas as pd

from ndtstats import __version__
from ndtstats.register import Register
from ndtstats.release.ask import Release, sentence
from ndtstats.release.gates import CHECKS, SAID
from ndtstats.release.paper import Paper
from ndtstats.request.cautions import DECISION, PRESSURE
from ndtstats.rules import rules_in_force


def release_paper(register: Register, answer: Release, *, as_of: datetime | None = None) -> Paper:
    """Return the list of what stands in the way of a release, to walk with.

    Parameters
    ----------
    answer : Release
        As :func:`ndtstats.release.release` gives it.
    as_of : datetime, optional
        The instant of which it speaks; by default when the register last changed.
    """
    moment = as_of or register.latest_time()
    rules = rules_in_force(register, answer.job, as_of)
    stands = answer.obstacles
    parts = [
        (CHECKS[str(check)].capitalize(), _shown(rows))
        for check, rows in stands.groupby("check", sort=False)
    ]
    excused = answer.overridden
    if len(excused):
        told = _shown(excused).assign(
            override="by " + excused["person"] + ": " + excused["reason"],
        )
        parts.append(("Passed over by name", told.drop(columns=["what would clear it"])))
    if len(answer.later):
        parts.append(("Not needed for this, but later", _shown(answer.later)))
    pressure = PRESSURE if "test" in set(answer.later["check"]) | set(stands["check"]) else ()
    return Paper(
        title=f"Zone {answer.zone}, to be {SAID[answer.milestone]}: job {answer.job}",
        said=sentence(answer),
        parts=tuple(parts),
        cautions=(*pressure, *DECISION),
        basis=(
            ("as of", moment.strftime("%Y-%m-%d %H:%M UTC") if moment else "an empty register"),
            ("data SHA-256", register.data_sha256(as_of)),
            ("rules", f"{rules.title}, SHA-256 {rules.sha256[:12]}" if rules else "none in force"),
            ("made by", f"ndtstats {__version__}"),
        ),
    )


def _shown(rows: pd.DataFrame) -> pd.DataFrame:
    where = rows["zone"].astype("str").fillna("whole job")
    return pd.DataFrame(
        {
            "zone": where,
            "joint": np.where(rows["joint"].isna(), "", rows["joint"]),
            "what stands in the way": rows["what"],
            "what would clear it": rows["clears"],
            "name": rows["handle"],
        }
    )
