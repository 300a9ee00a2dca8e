"""The errors of the package: only for "cannot go on".

::

    NdtstatsError
    ├── UseError     the user asked for something that cannot be (exit code 2)
    └── CannotGoOn   the surroundings do not allow it: disk, lock, server (exit code 3)

Problems in a data file are not errors but values: see :mod:`ndtstats.findings`.
"""


class NdtstatsError(Exception):
    """What every error of this package is; its text is meant for the user as it stands."""

    exit_code = 3


class UseError(NdtstatsError):
    """A user's mistake, worded so that he can mend it: where, what, what would be right."""

    exit_code = 2


class CannotGoOn(NdtstatsError):  # noqa: N818  (reads as the sentence it is)
    """Nothing the user typed is wrong, but disk, lock or server do not allow the work."""

    exit_code = 3


def nearest(word: str, known: "list[str] | tuple[str, ...] | set[str]") -> str | None:
    """Return the known word most like ``word``, or None if none is near.

    Examples
    --------
    >>> nearest("rejcet", ["accept", "reject"])
    'reject'
    """
    import difflib  # noqa: PLC0415  (only needed once a mistake was made)

    by_folded = {item.casefold(): item for item in sorted(known)}
    close = difflib.get_close_matches(word.casefold(), list(by_folded), n=1, cutoff=0.6)
    return by_folded[close[0]] if close else None
