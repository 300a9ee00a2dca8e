"""What a welder's record sets off: normal, tightened, stopped, and back, in order of time.

A pure function of first examinations and of the reviews of named people; it reads no register and
no clock.
"""

from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.rules.signals import Signals
from ndtstats.statistics import BernoulliCusum, choose_cusum

#: What a welder's work is examined by.
SEVERITIES: Final = ("normal", "tightened", "stopped")

CHANGE_COLUMNS: Final = (
    "welder", "day", "before", "after", "cause", "rejected", "examined", "because",
)  # fmt: skip

_Bools = npt.NDArray[np.bool_]
_Ints = npt.NDArray[np.int64]


def severity_of(
    history: pd.DataFrame, settings: Signals, reviews: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return each change of severity of each welder, in order of time.

    Parameters
    ----------
    history : DataFrame
        First examinations in order of time, each once for each welder it is charged to:
        ``welder``, ``date``, ``rejected``, ``ref`` (its name to people).
    settings : Signals
        Which signals are watched, and their limits.
    reviews : DataFrame, optional
        What named people decided of welders: ``welder``, ``day``, ``decision``, in order of time.

    Returns
    -------
    DataFrame
        Columns :data:`CHANGE_COLUMNS`: ``before`` and ``after`` are of :data:`SEVERITIES`;
        ``cause`` says by which rule; ``rejected`` of ``examined`` since the change before; and
        ``because`` names the examinations: the rejects behind a signal, the accepts that release.
        A welder without a change is normal.

    Notes
    -----
    Each severity begins a count of its own: what led to it is not held against the welder twice.
    After each examination the count is looked at. Signals, of which ``settings.watch`` says which:

    - lower bound: the exact one-sided lower bound of the rate exceeds the limit (Clopper & Pearson
      1934, Biometrika 26:404), that is, so many rejects have at the limit a probability below
      1 - level;
    - probability: with Jeffreys' prior the rate exceeds the limit with more probability than the
      level (Brown, Cai & DasGupta 2001, Statistical Science 16:101);
    - cusum: the Bernoulli CUSUM of :mod:`ndtstats.statistics.cusum` crosses its limit.

    Looked at after each examination, either of the first two signals more often than in 1 - level
    of welders at the limit: of the bound, at a limit of 10 % and a level of 95 %, within 100
    examinations 0.4 % of welders with a rate of 3 %, 17.3 % of those at the limit and 93.2 % of
    those with 20 % (exact recursion, in the tests). Only the CUSUM is set by how seldom it cries
    wolf.

    The first signal tightens, one while tightened stops. So many accepts in a row as the settings
    say, all since it was tightened, release to normal. Nothing but a review ends a stop, and what
    is welded then is examined tightened: by analogy with ISO 2859-1, where inspection resumes on
    tightened (seen). A review while tightened releases to normal. A review of a day comes after
    that day's examinations.

    Examples
    --------
    >>> films = pd.DataFrame({"welder": "K7", "date": pd.Timestamp("2026-03-01"),
    ...     "rejected": [True, True, False, True], "ref": ["F1", "F2", "F3", "F4"]})
    >>> severity_of(films, Signals(watch=("lower-bound",), limit=0.1))[
    ...     ["after", "rejected", "examined", "because"]]
           after  rejected  examined because
    0  tightened         2         2  F1; F2
    """
    rows = history.reset_index(drop=True)
    walk = _Walk(rows, settings, _numbered_reviews(rows, reviews))
    changes = pd.concat([_typed(), *walk.rounds()], ignore_index=True)
    ordered = changes.sort_values(["day", "welder", "step"], ignore_index=True)
    told: pd.DataFrame = ordered[list(CHANGE_COLUMNS)]
    return told


def _typed() -> pd.DataFrame:
    text = ["welder", "before", "after", "cause", "because"]
    types = dict.fromkeys(text, "str") | dict.fromkeys(["rejected", "examined", "step"], "int64")
    return pd.DataFrame(columns=[*CHANGE_COLUMNS, "step"]).astype(types | {"day": "datetime64[us]"})


def _numbered_reviews(rows: pd.DataFrame, reviews: pd.DataFrame | None) -> pd.DataFrame:
    """Return the reviews with ``step``: how many examinations of the welder stand before each."""
    if reviews is None or reviews.empty:
        return pd.DataFrame({"welder": [], "day": pd.to_datetime([]), "decision": [], "step": []})
    if rows.empty:
        return reviews.assign(step=0)
    before = reviews.reset_index(names="review").merge(rows[["welder", "date"]], on="welder")
    count = (before["date"] <= before["day"]).groupby(before["review"]).sum()
    return reviews.assign(step=count.reindex(reviews.index, fill_value=0).astype("int64"))


class _Walk:
    """The records of all welders side by side.

    Each round takes every welder to his next change, so that there are as many rounds as one welder
    has changes. ``begin`` is where the count of each begins, ``end`` where his record ends.
    """

    def __init__(self, rows: pd.DataFrame, settings: Signals, reviews: pd.DataFrame) -> None:
        codes, self.names = pd.factorize(rows["welder"], sort=True)
        order = np.argsort(codes, kind="stable")
        self.settings = settings
        self.bad: _Bools = rows["rejected"].to_numpy(bool)[order]
        self.day = rows["date"].to_numpy()[order]
        self.ref = rows["ref"].to_numpy(object)[order]
        edges = np.searchsorted(codes[order], np.arange(len(self.names) + 1))
        self.begin, self.end = edges[:-1].copy(), edges[1:]
        self.first = edges[:-1].copy()
        self.severity = np.zeros(len(self.names), np.int64)
        known = reviews[reviews["welder"].isin(self.names)]
        owner = pd.Index(self.names).get_indexer(known["welder"]).astype(np.int64)
        at = self.first[owner] + known["step"].to_numpy(np.int64)
        self.reviews = pd.DataFrame(
            {"owner": owner, "at": at, "day": known["day"], "decision": known["decision"]}
        ).sort_values(["owner", "at", "day"], kind="stable", ignore_index=True)
        self.next_review = np.searchsorted(self.reviews["owner"], np.arange(len(self.names)))
        self.last_review = np.searchsorted(
            self.reviews["owner"], np.arange(len(self.names)), "right"
        )
        self.cusum = (
            choose_cusum(
                settings.borne,
                settings.limit,
                spots_between_false_alarms=settings.false_alarm_spots,
            )
            if "cusum" in settings.watch
            else None
        )

    def rounds(self) -> Any:
        """Yield the changes of each round."""
        active = np.arange(len(self.names))
        step = 0
        while len(active):
            found = self._next(active)
            if found.empty:
                return
            yield self._told(found, step)
            self._move(found)
            active = found["owner"].to_numpy()
            step += 1

    def _next(self, active: _Ints) -> pd.DataFrame:
        """Return the next change of each welder who has one: by an examination, or by a review."""
        events = self._by_examinations(active[self.severity[active] < 2])
        reviewed = self._by_reviews(active[self.severity[active] > 0])
        both = pd.concat([events, reviewed], ignore_index=True)
        # At the same point the examination comes first: a review is of the days up to its own.
        both = both.sort_values(["owner", "at", "by_review"], kind="stable")
        return both.drop_duplicates("owner", ignore_index=True)

    def _by_examinations(self, owners: _Ints) -> pd.DataFrame:
        """Return the first signal, or the run of accepts that releases, of each welder."""
        begin = self.begin[owners]
        length = self.end[owners] - begin
        run = np.repeat(np.arange(len(owners)), length)
        first = np.cumsum(length) - length
        place = np.arange(len(run)) + (begin - first)[run]
        bad = self.bad[place]
        number = place - begin[run] + 1
        rejects = _within(bad, first, length, run)
        signals = self._signals(bad, rejects, number, run)
        last_bad = np.maximum.accumulate(np.where(bad, place, -1)) if len(place) else place
        since = place - np.maximum(last_bad, begin[run] - 1)
        released = (self.severity[owners][run] == 1) & (since >= self.settings.release_after)
        over = np.flatnonzero((signals != "") | released)
        which, where = np.unique(run[over], return_index=True)
        at = over[where]
        return pd.DataFrame(
            {
                "owner": owners[which], "at": place[at] + 1, "by_review": False,
                "signal": signals[at], "rejected": rejects[at], "examined": number[at],
            }
        )  # fmt: skip

    def _signals(self, bad: _Bools, rejects: _Ints, number: _Ints, run: _Ints) -> Any:
        """Return after each examination the names of the signals it makes, "" if none."""
        from scipy.special import betainc  # noqa: PLC0415  (slow to import)

        settings = self.settings
        at = np.flatnonzero(bad)
        k, n = rejects[at].astype(float), number[at].astype(float)
        # The chance of k or more of n at the limit, and of a rate up to the limit given k of n.
        chance = betainc(k, n - k + 1, settings.limit)
        below = betainc(k + 0.5, n - k + 0.5, settings.limit)
        made = {
            "lower-bound": chance < 1 - settings.level,
            "probability": below < 1 - settings.level,
            "cusum": _crossed(self.cusum, bad, run)[at],
        }
        told = np.full(len(at), "", dtype=object)
        for name in settings.watch:
            told = told + np.where(made[name], np.where(told == "", name, ", " + name), "")
        every = np.full(len(bad), "", dtype=object)
        every[at] = told
        return every

    def _by_reviews(self, owners: _Ints) -> pd.DataFrame:
        """Return the next review of each welder who is not normal."""
        has = owners[self.next_review[owners] < self.last_review[owners]]
        review = self.next_review[has]
        found = self.reviews.iloc[review]
        at = np.maximum(found["at"].to_numpy(np.int64), self.begin[has])
        total = np.append(0, np.cumsum(self.bad))
        return pd.DataFrame(
            {
                "owner": has, "at": at, "by_review": True, "review": review, "signal": "",
                "rejected": total[at] - total[self.begin[has]],
                "examined": at - self.begin[has],
            }
        )  # fmt: skip

    def _move(self, found: pd.DataFrame) -> None:
        """Begin the new severity of each welder, and pass over the reviews that came before."""
        owner, at = found["owner"].to_numpy(), found["at"].to_numpy()
        self.severity[owner] += np.where(found["signal"] != "", 1, -1)
        self.begin[owner] = at
        reviewed = found["by_review"].to_numpy(bool)
        self.next_review[owner[reviewed]] += 1
        key = self.reviews["owner"] * (len(self.bad) + 1) + self.reviews["at"]
        others = owner[~reviewed]
        passed = np.searchsorted(key, others * (len(self.bad) + 1) + at[~reviewed])
        self.next_review[others] = np.maximum(self.next_review[others], passed)

    def _told(self, found: pd.DataFrame, step: int) -> pd.DataFrame:
        """Return the changes of a round in words."""
        owner, at = found["owner"].to_numpy(), found["at"].to_numpy()
        before = self.severity[owner]
        signal, reviewed = found["signal"].to_numpy(object), found["by_review"].to_numpy(bool)
        after = before + np.where(signal != "", 1, -1)
        day = self.day[np.maximum(at - 1, 0)].astype("datetime64[us]")
        decision = np.full(len(found), "", dtype=object)
        if reviewed.any():
            mine = self.reviews.iloc[found.loc[reviewed, "review"].astype(int)]
            day[reviewed] = mine["day"].to_numpy().astype("datetime64[us]")
            decision[reviewed] = mine["decision"].to_numpy(object)
        run = f"{self.settings.release_after} accepts in a row"
        over = f" over {100 * self.settings.limit:g} %"
        words = np.array(SEVERITIES, dtype=object)
        cause = np.where(reviewed, "review " + decision, np.where(signal != "", signal + over, run))
        return pd.DataFrame(
            {
                "welder": self.names[owner], "day": day, "before": words[before],
                "after": words[after], "cause": cause, "rejected": found["rejected"].astype(int),
                "examined": found["examined"].astype(int),
                "because": self._because(owner, at, signal != "", reviewed), "step": step,
            }
        )  # fmt: skip

    def _because(self, owner: _Ints, at: _Ints, signal: _Bools, reviewed: _Bools) -> list[str]:
        """Return the rejects behind each signal, and the accepts behind each release."""
        low = np.where(signal, self.begin[owner], at - self.settings.release_after)
        return [
            "" if by_review else "; ".join(self.ref[a:b][self.bad[a:b] == because_bad])
            for a, b, because_bad, by_review in zip(low, at, signal, reviewed, strict=True)
        ]


def _within(bad: _Bools, first: _Ints, length: _Ints, run: _Ints) -> _Ints:
    """Return how many of each run were rejected up to each examination."""
    total = np.cumsum(bad)
    before = np.where(length > 0, np.append(0, total)[np.minimum(first, len(total))], 0)
    return np.asarray(total - before[run], np.int64)


def _crossed(cusum: BernoulliCusum | None, bad: _Bools, run: _Ints) -> _Bools:
    """Return where the CUSUM of a run is over its limit; nowhere if none is watched."""
    if cusum is None:
        return np.zeros(len(bad), bool)
    return cusum.track(bad, run)["signal"].to_numpy(bool)
