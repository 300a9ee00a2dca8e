"""How long a verb still takes that cannot count its work, told from how far it has come."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from time import monotonic

from ndtstats.progress import EACH_JOB

#: What a register tells when, and which share of a verb's time is spent when it first does.
Marks = Mapping[str, float]

#: By verb, and by its way to work where that is told. Rough: processor time of one run each over a
#: job of 100,000 examinations, as ``python tests/benchmarks/pace.py`` prints it.
MARKS: dict[str, Marks] = {
    "plan draw": {"examinations": 0.14, "history": 0.27, "zones": 0.48, "likelihoods": 0.60},
    "owed": {"examinations": 0.30, "imperfections": 0.42, "adoptions": 0.52},
    "repairs": {"examinations": 0.46, "imperfections": 0.67},
    "severity": {"examinations": 0.45, "spots": 0.60, "deposits": 0.70, "history": 0.88},
    "severity lots": {"examinations": 0.39, "imperfections": 0.54, "deposits": 0.65},
    "extent": {"joints": 0.11, "examinations": 0.72},
    "release": {"examinations": 0.26, "zones": 0.38, "extent": 0.52, "owed": 0.84},
    "walk": {"examinations": 0.25, "decisions": 0.52, "spots": 0.65},
    "tightness": {"deposits": 0.22, "joints": 0.50},
    "welders": {"joints": 0.15, "examinations": 0.84},
    "beads": {"joints": 0.38},
    "rates spots": {"counts": 0.20, "deposits": 0.33, "plans": 0.72},
    "rates joints": {"counts": 0.21, "deposits": 0.34, "plans": 0.79},
    "rates length": {"examinations": 0.53, "spots": 0.66, "imperfections": 0.77},
    "rates per-metre": {"examinations": 0.54, "spots": 0.66, "imperfections": 0.82},
    "compare": {"examinations": 0.56, "spots": 0.69, "deposits": 0.81},
    "trend": {"examinations": 0.24, "deposits": 0.37},
    "hidden": {"examinations": 0.34, "spots": 0.77},
    "plan show": {"spots": 0.28},
    "plan why": {"examinations": 0.24, "likelihoods": 0.44, "frame_cells": 0.66},
    "plan value": {"examinations": 0.22, "likelihoods": 0.42, "frame_cells": 0.62, "spots": 0.74},
    "plan repeat": {"examinations": 0.24, "likelihoods": 0.47, "spots": 0.85},
    "plan shifts": {"examinations": 0.67, "deposits": 0.83},
    "plan shortfall": {"examinations": 0.63, "deposits": 0.89},
    "plan strip": {"examinations": 0.21, "imperfections": 0.31, "owed": 0.66},
    "request write": {"examinations": 0.54, "deposits": 0.67, "rule_sets": 0.78},
    "request reconcile": {"examinations": 0.40},
    "report qa": {
        "examinations": 0.12,
        "history": 0.43,
        "owed": 0.58,
        "zones": 0.68,
        "frame_cells": 0.86,
    },
    "report management": {
        "decisions": 0.10,
        "extent": 0.24,
        "owed": 0.40,
        "frame_cells": 0.59,
        "beads": 0.70,
    },
    "report contractor": {"examinations": 0.48, "spots": 0.59, "deposits": 0.76},
    "report welder": {"examinations": 0.28, "spots": 0.40, "adoptions": 0.67, "outside": 0.89},
    "report all": {"owed": 0.12, "welders": 0.26},
    "plan extra": {"examinations": 0.21, "deposits": 0.33, "owed": 0.61},
    "waive": {"examinations": 0.33, "imperfections": 0.45, "spots": 0.55},
    "review": {"examinations": 0.48, "spots": 0.59, "deposits": 0.73, "history": 0.89},
    "overturn": {"examinations": 0.35, "imperfections": 0.50, "spots": 0.61},
    "upgrade": {"check": 0.10, "steps": 0.24, "rows": 0.95},
}


@dataclass(slots=True)
class Pace:
    """How far a verb is, by its marks, and how long it has taken so far.

    Between two marks the share that is done grows with what is read of the table whose end is the
    next one, else with time, at the pace so far; never beyond the next mark.
    """

    marks: Marks
    began: float = field(default_factory=monotonic)
    #: The table that is being read, and what was done of all work when that began.
    reading: str = ""
    before: float = 0.0
    #: The jobs done and how many there are; the share of the last mark that was passed in this one.
    jobs: tuple[int, int] = (0, 1)
    passed: float = 0.0
    #: When something was known for certain, in seconds from the beginning, and the share done then.
    known: tuple[float, float] = (0.0, 0.0)

    def tell(self, what: str, done: int, total: int) -> None:
        """Take note of what a register tells."""
        now = monotonic() - self.began
        if what == EACH_JOB:
            # Jobs that only a part of the work goes over, or a single one, change nothing.
            if total > 1 and (self.jobs[1] == total or not self.known[1]):
                self.jobs, self.passed = (done, total), 0.0
                self.known = (now, self._of_all(0.0))
            return
        if what != self.reading:
            self.before = self._share(now)
        self.reading = what if done < total else ""
        mark = self.marks.get(what, 0.0)
        if mark <= self.passed:
            return
        end = self._of_all(mark)
        if done == total:
            self.known, self.passed = (now, end), mark
        else:
            self.known = (now, self.before + (end - self.before) * done / total)

    def _of_all(self, share: float) -> float:
        """Return the share of the work for all jobs, from that for the job at hand."""
        done, total = self.jobs
        return (done + share) / total

    def _share(self, now: float) -> float:
        """Return the share of all work that is done by now; 0 while that cannot be told."""
        then, share = self.known
        if not (then and share):
            return 0.0
        following = min((mark for mark in self.marks.values() if mark > self.passed), default=1.0)
        return max(share, min(self._of_all(following), share * now / then))

    def text(self) -> str:
        """Return what the verb does and how long it takes yet; nothing where that cannot be told.

        It cannot before anything is known, nor when all of the time that was foreseen has gone.
        """
        now = monotonic() - self.began
        share = self._share(now)
        if not 0 < share < 1:
            return ""
        table = self.reading.replace("_", " ")
        doing = f"reading {table}" if table else f"at work for {now:.0f} s"
        return f"{doing}, some {max(1.0, now * (1 - share) / share):.0f} s left"
