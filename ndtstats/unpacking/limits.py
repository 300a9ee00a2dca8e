"""What the process that reads a spreadsheet may use, where the system can hold it to that."""

from typing import Final

#: Memory, and seconds of computing: some ten times what a sheet of 100,000 rows needs.
MEMORY_BYTES: Final = 3 * 2**30
COMPUTING_S: Final = 120


def limit_process() -> None:
    """Bound memory and computing time of this process."""
    try:
        import resource  # noqa: PLC0415  (a system without it has no bounds to set)
    except ImportError:
        return
    for what, most in (
        (resource.RLIMIT_AS, MEMORY_BYTES),
        (resource.RLIMIT_CPU, COMPUTING_S),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(what)
        allowed = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(what, (allowed, hard))
