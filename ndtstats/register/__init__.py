"""The register: everything that is known of the welds, kept for good.

Nothing is overwritten. Every change is a batch of the log; a corrected row stays, marked with the
batch that superseded it, so that every question can be asked as of a past instant.
"""

from ndtstats.register.backup import Verified, backup, blamed_on_damage, verify
from ndtstats.register.batch import Batch, Counts
from ndtstats.register.decisions import (
    decisions_in_force,
    record_decisions,
    withdraw_decision,
)
from ndtstats.register.overturned import (
    examination_subjects,
    overturned_examinations,
    second_reading,
)
from ndtstats.register.queries import (
    MOST_JOINTS_NAMED,
    Asked,
    each_job,
    first_on_joints,
    jobs_known,
    overturned_ids,
    require_job,
    told_one_by_one,
    verdict_counts,
)
from ndtstats.register.store import Register
from ndtstats.register.upgrade import Upgraded, upgrade

__all__ = [
    "MOST_JOINTS_NAMED",
    "Asked",
    "Batch",
    "Counts",
    "Register",
    "Upgraded",
    "Verified",
    "backup",
    "blamed_on_damage",
    "decisions_in_force",
    "each_job",
    "examination_subjects",
    "first_on_joints",
    "jobs_known",
    "overturned_examinations",
    "overturned_ids",
    "record_decisions",
    "require_job",
    "second_reading",
    "told_one_by_one",
    "upgrade",
    "verdict_counts",
    "verify",
    "withdraw_decision",
]
