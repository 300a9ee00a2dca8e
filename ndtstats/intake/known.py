"""What the register knows already, read once for all checks of a file."""

from functools import cached_property

import pandas as pd

from ndtstats.qualification import Papers, papers_of
from ndtstats.register import Register
from ndtstats.rules import Rules, hold_of, is_under, rules_in_force


class Known:
    """The register as the checks see it; each table is read when first asked for."""

    def __init__(self, register: Register, frame: pd.DataFrame) -> None:
        self._register = register
        self._keys = frame[[name for name in ("job", "joint") if name in frame]]
        self._named = list(pd.unique(frame["job"].dropna())) if "job" in frame else []
        self._tables: dict[str, pd.DataFrame] = {}

    def table(self, name: str) -> pd.DataFrame:
        """Return the rows in force of a table, of the jobs of the file where it has jobs."""
        if name not in self._tables:
            only = str(self._named[0]) if len(self._named) == 1 else None
            self._tables[name] = self._register.table(name, job=only)
        return self._tables[name]

    @cached_property
    def papers(self) -> Papers:
        """The certificates of all welders, and the work that keeps them alive, of all jobs."""
        return papers_of(self._register)

    @cached_property
    def rules(self) -> dict[str, Rules]:
        """The rules in force, by job; a job without any is left out."""
        jobs = [job for job in self.table("jobs")["job"] if job in set(self._named)]
        found = {job: rules_in_force(self._register, job) for job in jobs}
        return {job: rules for job, rules in found.items() if rules is not None}

    @cached_property
    def spots(self) -> pd.DataFrame:
        """Return job, joint and method of each spot ever requested, of all jobs, by its id."""
        spots = self._register.table("spots", columns=["spot", "job", "joint", "method"])
        return spots.drop_duplicates("spot").set_index("spot")

    @cached_property
    def joints(self) -> pd.DataFrame:
        """The joint of each row of the file (job, joint), aligned to it; missing where unknown."""
        joints = self.table("joints").drop(columns=["id", "batch"])
        found = self._keys.merge(joints, on=["job", "joint"], how="left")
        return found.set_axis(self._keys.index)

    def welded(self) -> pd.DataFrame:
        """Return first and last day of welding of each joint."""
        deposits = self.table("deposits")
        by_joint = deposits.groupby(["job", "joint"], as_index=False)
        return by_joint.agg(first=("date", "min"), last=("date", "max"))

    def hold_hours(self, frame: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
        """Return the longest hold time of each row by its joint and method, 0 where no rule says.

        Columns ``hours`` and ``assumed``, as :func:`ndtstats.rules.hold_hours` has them.
        """
        hold = pd.DataFrame({"hours": 0.0, "assumed": ""}, index=frame.index)
        for job, rules in self.rules.items():
            for rule in rules.extent:
                mine = (frame["job"] == job) & frame["method"].isin(rule.methods)
                mine &= is_under(joints, rule)
                asked = hold_of(rule, joints)
                hold = hold.where(~mine | (hold["hours"] >= asked["hours"]), asked)
        return hold
