"""What the register knows of qualifications, read once."""

from dataclasses import dataclass, replace
from datetime import date, datetime

import pandas as pd

from ndtstats.qualification.schemes import schemes, schemes_of
from ndtstats.qualification.spans import spans
from ndtstats.register import Register


@dataclass(frozen=True, slots=True)
class Papers:
    """Certificates, their confirmations, and who welded by which process when.

    Attributes
    ----------
    qualifications, confirmations : DataFrame
        Tables of the register; the index of the certificates counts from 0.
    uses : DataFrame
        Columns ``welder``, ``process``, ``date``; empty where no certificate lives by use.
    """

    qualifications: pd.DataFrame
    confirmations: pd.DataFrame
    uses: pd.DataFrame

    def spans(self, until: date | None = None) -> pd.DataFrame:
        """Return the spans in which each certificate is in force; see :func:`.spans.spans`."""
        last = None if until is None else pd.Timestamp(until)
        return spans(self.qualifications, self.confirmations, self.uses, until=last)

    def with_uses(self, work: pd.DataFrame) -> "Papers":
        """Return the papers with more work: ``welder``, ``process`` and ``date`` of each piece."""
        more = work[["welder", "process", "date"]].dropna()
        return replace(self, uses=pd.concat([self.uses, more]).drop_duplicates(ignore_index=True))


def papers_of(register: Register, as_of: datetime | None = None) -> Papers:
    """Read the papers of all welders.

    Parameters
    ----------
    as_of : datetime, optional
        What was known then.
    """
    return register.once(("papers", as_of), lambda: _read(register, as_of))


def _read(register: Register, as_of: datetime | None) -> Papers:
    qualifications = register.table("qualifications", as_of=as_of).reset_index(drop=True)
    confirmations = register.table("confirmations", as_of=as_of)
    if lives_by_use(qualifications):
        columns = ["job", "joint", "welder", "process", "date"]
        deposits = register.table("deposits", as_of=as_of, columns=columns)
        joints = register.table("joints", as_of=as_of, columns=["job", "joint", "process"])
    else:
        deposits = pd.DataFrame(columns=["job", "joint", "welder", "process", "date"])
        joints = deposits
    return Papers(qualifications, confirmations, uses_of(deposits, joints))


def lives_by_use(qualifications: pd.DataFrame) -> bool:
    """Return whether some certificate is kept alive by welding, so that deposits matter."""
    found = schemes_of(qualifications["standard"]).dropna().unique()
    return any(schemes()[name].continuity == "process" for name in found)


def uses_of(deposits: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
    """Return who welded by which process when, each once.

    Parameters
    ----------
    deposits, joints : DataFrame
        Tables of the register, of all jobs: welding on another job is use too.
    """
    keys = ["job", "joint"]
    of_joint = deposits[keys].merge(joints[[*keys, "process"]], on=keys, how="left")["process"]
    process = deposits["process"].fillna(of_joint.set_axis(deposits.index))
    used = deposits[["welder", "date"]].assign(process=process)
    return used[["welder", "process", "date"]].dropna().drop_duplicates(ignore_index=True)
