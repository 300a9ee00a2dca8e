"""What the register knows already, read once for all checks of a file."""

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.intake.body import Body
from ndtstats.intake.cells import combined
from ndtstats.intake.draft import Draft
from ndtstats.qualification import Papers, papers_of
from ndtstats.register import Register
from ndtstats.rules import Rules, hold_of, is_under, rules_in_force
from ndtstats.rules.where import LISTS, RANGES

#: Up to so many joints or reports are asked for by name; of more, all are read.
MOST_NAMED = 5_000

#: What checks ask of a joint; and what those of deposits ask besides.
_OF_JOINT = ("job", "joint", "length_mm", "penetration", "joint_type")
_OF_JOINT_FOR_DEPOSITS = ("process", "position", "thickness_mm", "material")


class Known:
    """The register as the checks of a file see it; each part is read when first asked for.

    Parameters
    ----------
    register : Register
        Where the file is to go.
    body : Body
        The rows of the file.

    Attributes
    ----------
    pairs : DataFrame
        The distinct joints (job, joint) that the file names.
    pair : array of int
        For each row of the file, the row of ``pairs`` that is its joint.
    """

    def __init__(self, register: Register, body: Body) -> None:
        self._register = register
        self.body = body
        self._keys = [name for name in ("job", "joint") if name in body.table.names]
        self._tables: dict[str, pd.DataFrame] = {}
        numbers = [body.value_numbers(name) for name in self._keys] or [np.zeros(len(body), "u1")]
        pair, distinct = pd.factorize(combined(numbers))
        self.pair: npt.NDArray[np.int32] = pair.astype("int32")
        first = np.zeros(len(distinct), dtype="int64")
        first[self.pair[::-1]] = np.arange(len(body), dtype="int32")[::-1]
        self.pairs = body.frame(first, self._keys).reset_index(drop=True)
        self.jobs = list(self.pairs["job"].dropna().unique()) if "job" in self._keys else []

    def table(self, name: str) -> pd.DataFrame:
        """Return the rows in force of a table, of the jobs of the file where it has jobs."""
        if name not in self._tables:
            self._tables[name] = self.some(name)
        return self._tables[name]

    def some(
        self,
        name: str,
        columns: Sequence[str] | None = None,
        only: Mapping[str, Sequence[str]] | None = None,
    ) -> pd.DataFrame:
        """Return columns of those rows of :meth:`table` that hold one of some texts."""
        job = str(self.jobs[0]) if len(self.jobs) == 1 else None
        return self._register.table(name, job=job, columns=columns, only=only)

    def named(self, column: str) -> dict[str, list[str]]:
        """Return the texts of a column of the file, to ask for; nothing if they are too many."""
        values = self.body.columns[column].values
        texts = [str(text) for text in pd.unique(values.dropna())]
        return {column: texts} if len(texts) <= MOST_NAMED else {}

    @cached_property
    def papers(self) -> Papers:
        """The certificates of all welders, and the work that keeps them alive, of all jobs."""
        return papers_of(self._register)

    @cached_property
    def rules(self) -> dict[str, Rules]:
        """The rules in force, by job; a job without any is left out."""
        jobs = [job for job in self.table("jobs")["job"] if job in set(self.jobs)]
        found = {job: rules_in_force(self._register, job) for job in jobs}
        return {job: rules for job, rules in found.items() if rules is not None}

    @cached_property
    def spots(self) -> pd.DataFrame:
        """Return job, joint and method of each spot ever requested, of all jobs, by its id."""
        spots = self._register.table("spots", columns=["spot", "job", "joint", "method"])
        return spots.drop_duplicates("spot").set_index("spot")

    @cached_property
    def _joints(self) -> pd.DataFrame:
        """The joint of each pair; missing where unknown."""
        columns = {*_OF_JOINT, *self._asked_by_rules()}
        if self.body.table.name == "deposits":
            columns |= {*_OF_JOINT_FOR_DEPOSITS}
        return self._of_pairs(self.some("joints", sorted(columns), self.named("joint")))

    def _asked_by_rules(self) -> set[str]:
        """Return what decides about the hold time of a joint."""
        asked = {"category"}
        for rule in (rule for rules in self.rules.values() for rule in rules.extent):
            asked |= {name for name in (*LISTS, *RANGES) if getattr(rule.where, name)}
            if rule.hold_times is not None:
                asked |= {"material", "thickness_mm"}
        return asked

    @cached_property
    def names_of_joints(self) -> pd.DataFrame:
        """Job and joint of all joints, to say which one may be meant."""
        return self.some("joints", ["job", "joint"])

    def joints(self, draft: Draft) -> pd.DataFrame:
        """Return the joint of each row of a draft, aligned to it; missing where unknown."""
        return self._aligned(self._joints, draft)

    def of_joint(self, draft: Draft, column: str) -> Any:
        """Return one column of :meth:`joints`."""
        return self._aligned(self._joints[[column]], draft)[column]

    @cached_property
    def _welded(self) -> pd.DataFrame:
        deposits = self.some("deposits", ["job", "joint", "date"], self.named("joint"))
        by_joint = deposits.groupby(["job", "joint"], as_index=False)
        welded = by_joint.agg(first=("date", "min"), last=("date", "max"))
        return self._of_pairs(welded)[["first", "last"]]

    def welded(self, draft: Draft) -> pd.DataFrame:
        """Return first and last day of welding of the joint of each row, aligned to it."""
        return self._aligned(self._welded, draft)

    @cached_property
    def _seen(self) -> tuple[pd.DataFrame, set[str]]:
        """First accepted visual examination of each pair, and the jobs that have any at all."""
        columns = ["job", "joint", "method", "verdict", "date"]
        visual = np.flatnonzero(
            self.body.where("method", self.body.columns["method"].values == "VT")
        )
        only = {"method": ["VT"], **self.named("joint")}
        there = self.some("examinations", columns, only)
        jobs = {*there["job"], *self.body.values("job", visual).dropna()}
        if set(self.jobs) - jobs:
            others = self.some("examinations", ["job"], {"method": ["VT"]})
            jobs |= set(others["job"])
        both = pd.concat([there[columns], self.body.frame(visual, columns)])
        accepted = both[both["verdict"] == "accept"]
        first = accepted.groupby(["job", "joint"], as_index=False).agg(date=("date", "min"))
        return self._of_pairs(first)[["date"]], jobs

    def seen(self, draft: Draft) -> tuple["pd.Series[Any]", set[str]]:
        """Return when the joint of each row was first accepted by eye, here or in the file.

        Aligned to the rows; and the jobs of which any visual examination is recorded at all.
        """
        first, jobs = self._seen
        return self._aligned(first, draft)["date"], jobs

    def _of_pairs(self, found: pd.DataFrame) -> pd.DataFrame:
        found = found.drop(columns=["id", "batch"], errors="ignore")
        return self.pairs.merge(found, on=["job", "joint"], how="left")

    def _aligned(self, of_pairs: pd.DataFrame, draft: Draft) -> pd.DataFrame:
        rows = draft.frame.index
        return of_pairs.take(self.pair[rows]).set_axis(rows)

    def hold_hours(self, frame: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
        """Return the longest hold time of each row by its joint and method, 0 where no rule says.

        Columns ``hours`` and ``assumed``, as :func:`ndtstats.rules.hold_hours` has them.
        """
        hold = pd.DataFrame({"hours": 0.0, "assumed": ""}, index=frame.index)
        for job, rules in self.rules.items():
            for rule in rules.extent:
                if rule.hold_times is None and not rule.hold_hours:
                    continue
                mine = (frame["job"] == job) & frame["method"].isin(rule.methods)
                mine &= is_under(joints, rule)
                asked = hold_of(rule, joints)
                hold = hold.where(~mine | (hold["hours"] >= asked["hours"]), asked)
        return hold
