"""Where a page comes from that leaves the yard, or its office."""

from datetime import datetime

from ndtstats.register import Register
from ndtstats.report import gather


def origin_without_seeds(
    register: Register, jobs: list[str], as_of: datetime
) -> tuple[tuple[str, str], ...]:
    """Return hashes and versions, without the seeds.

    Who welds, or reads the images, need not be able to repeat a draw: places that were chosen and
    are not examined yet are told to neither.
    """
    lines = gather.origin(register, jobs, as_of)
    return tuple((name, value) for name, value in lines if not name.startswith("plans"))
