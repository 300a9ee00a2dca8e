"""Dates and times at the edges: what a user types, and what is shown to him.

Inside, an instant is always an aware :class:`~datetime.datetime` in UTC.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime, time

from ndtstats.errors import UseError


def parse_as_of(text: str) -> datetime:
    """Return the instant that a DATE[TIME] means, in UTC.

    A date alone means the end of that day, so that everything recorded on the day counts. A time
    without a zone is the local time of the machine.

    Raises
    ------
    UseError
        If the text is not an ISO 8601 date or date and time.

    Examples
    --------
    >>> parse_as_of("2026-03-01T12:00:00+00:00").isoformat()
    '2026-03-01T12:00:00+00:00'
    """
    try:
        instant = datetime.fromisoformat(text.strip())
        if len(text.strip()) <= len("2026-03-01"):
            instant = datetime.combine(instant.date(), time.max)
        return instant.astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise UseError(
            f'as-of "{text}" is not a date; write it as 2026-03-01 or 2026-03-01T14:30'
        ) from error


#: Where the clock of the command line stands while a story is told; None: it runs.
_STANDS: ContextVar[datetime | None] = ContextVar("stands", default=None)


def now() -> datetime:
    """Return the present instant in UTC; only the command line calls this."""
    return _STANDS.get() or datetime.now(UTC)


@contextmanager
def standing_at(instant: datetime) -> Iterator[None]:
    """Let :func:`now` tell one instant, for a story whose days are invented, such as the demo's.

    Examples
    --------
    >>> with standing_at(datetime(2026, 6, 8, 8, 0, tzinfo=UTC)):
    ...     now().isoformat()
    '2026-06-08T08:00:00+00:00'
    """
    before = _STANDS.set(instant)
    try:
        yield
    finally:
        _STANDS.reset(before)
