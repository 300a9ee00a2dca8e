"""To whom an examination is charged: to whoever welded the place, and the pass if it is known."""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ndtstats.numbers import numbered

#: What a deposit says of a weld; process, position and procedure where it differs from the joint.
OF_DEPOSIT = ("welder", "process", "position", "procedure")

#: Columns of the deposits that charging needs, and all that it may.
PLACE_OF_DEPOSIT = ("job", "joint", "date", "pass", "side", "from_mm", "to_mm")
NEEDED = (*PLACE_OF_DEPOSIT, *OF_DEPOSIT)

#: Who welded what nobody is recorded for.
UNKNOWN = "unknown"


class Charges(NamedTuple):
    """Examinations as they are charged; ``of`` is the position of a row in ``seen``.

    Parameters
    ----------
    seen : DataFrame
        Each examination once for each that it is charged to: ``row`` (its position), ``deposit``
        (position of the first deposit of that one, -1 if none is known), the columns asked for,
        ``rejected``, ``shared`` (the reject is charged to others too), ``times`` (how many
        examinations it stands for: 1), ``joints`` (how many joints they are on: 1).
    pieces : DataFrame
        The lengths examined: ``of``, ``low``, ``high``, in mm.
    found : DataFrame
        The rejectable indications: ``of``, ``indication`` (its position), ``low``, ``high`` in mm;
        where only the length is known, these are missing and ``loose_mm`` has it. An indication in
        several deposits of one welder has several places, of which one has ``counts``.
    """

    seen: pd.DataFrame
    pieces: pd.DataFrame
    found: pd.DataFrame

    def only(self, kept: Any) -> "Charges":
        """Return the part that belongs to some rows of ``seen``, given as a mask."""
        number = np.cumsum(kept) - 1
        pieces, found = (
            part[kept[part["of"]]].assign(of=lambda some: number[some["of"]])
            for part in (self.pieces, self.found)
        )
        return Charges(self.seen[kept].reset_index(drop=True), pieces, found)


def charge_each(rows: pd.DataFrame, indications: pd.DataFrame) -> Charges:
    """Return examinations charged to nobody in particular, each as a whole."""
    pairs = pd.DataFrame(
        {"row": range(len(rows)), "deposit": -1, "low": rows["from_mm"].to_numpy(),
         "high": rows["to_mm"].to_numpy()}
    )  # fmt: skip
    at = pd.Index(rows["id"]).get_indexer(indications["id"])
    found = _lengths(
        indications,
        pd.DataFrame({"of": at, "indication": range(len(at)), "low": -np.inf, "high": np.inf}),
    )
    seen = pairs[["row", "deposit"]].assign(
        rejected=rows["rejected"].to_numpy(), shared=False, times=1, joints=1
    )
    return Charges(seen, pairs[["low", "high"]].assign(of=pairs["row"]), found)


def charge(
    rows: pd.DataFrame,
    indications: pd.DataFrame,
    deposits: pd.DataFrame,
    columns: Sequence[str],
    pairs: pd.DataFrame | None = None,
) -> Charges:
    """Return examinations charged by what their deposits say: welder, process and the like.

    Parameters
    ----------
    rows : DataFrame
        First examinations: ``id``, ``job``, ``joint``, ``from_mm``, ``to_mm``, ``date``,
        ``rejected``, and those of ``columns`` that a joint has.
    indications : DataFrame
        Their rejectable indications (:func:`ndtstats.rates.base.indications`).
    deposits : DataFrame
        The table of the register.
    columns : sequence of str
        Columns of :data:`OF_DEPOSIT` to tell apart.
    pairs : DataFrame, optional
        What :func:`pairs_of` says of these rows and deposits, where that is known.

    Notes
    -----
    Everybody who welded some of the examined length has it examined, as far as his deposit goes. An
    indication is charged to those whose deposit holds its place, and its pass and side where both
    are known; with nothing known, to every one of the length.
    """
    pairs = pairs_of(rows, deposits) if pairs is None else pairs
    key = pairs["row"].to_numpy()
    for name in columns:
        codes, told = pd.factorize(_codes(name, pairs, rows, deposits)[0])
        key = key * len(told) + codes
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    pairs = pairs.assign(of=number)
    found = _lengths(indications, _blamed(pairs, rows, indications, deposits))
    seen = pairs[["row", "deposit"]].take(first).reset_index(drop=True)
    seen = seen.assign(**{name: _told(name, seen, rows, deposits) for name in columns})
    charged = np.bincount(found["of"], minlength=len(seen)) > 0
    others = np.bincount(seen["row"], charged, len(rows))[seen["row"]] > 1
    seen = seen.assign(rejected=charged, shared=charged & others, times=1, joints=1)
    return Charges(seen, pairs[["of", "low", "high"]], found)


def pairs_of(rows: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    """Return each examination with each deposit that it shows some of.

    Returns
    -------
    DataFrame
        Columns ``row`` and ``deposit`` (their positions; -1 where no deposit is known), ``low`` and
        ``high``, the place that both have in common, in mm.
    """
    examined, welded = numbered(rows, deposits)
    looked = pd.DataFrame(
        {"joint": examined, "row": range(len(rows)),
         "from_mm": rows["from_mm"].to_numpy(), "to_mm": rows["to_mm"].to_numpy(),
         "date": rows["date"].to_numpy()}
    )  # fmt: skip
    made = pd.DataFrame(
        {"joint": welded, "deposit": range(len(deposits)),
         "low": deposits["from_mm"].fillna(0.0).to_numpy(),
         "high": deposits["to_mm"].fillna(np.inf).to_numpy(),
         "welded": deposits["date"].to_numpy()}
    )  # fmt: skip
    pairs = looked.merge(made, on="joint")
    pairs = pairs.assign(
        low=np.maximum(pairs["low"], pairs["from_mm"]),
        high=np.minimum(pairs["high"], pairs["to_mm"]),
    )
    # What was welded after the examination (a repair) was not there to be examined.
    pairs = pairs[(pairs["low"] < pairs["high"]) & (pairs["welded"] <= pairs["date"])]
    lonely = looked[np.bincount(pairs["row"], minlength=len(looked)) == 0]
    lonely = lonely.assign(deposit=-1, low=lonely["from_mm"], high=lonely["to_mm"])
    columns = ["row", "deposit", "low", "high"]
    every: pd.DataFrame = pd.concat([pairs[columns], lonely[columns]], ignore_index=True)
    return every


def charge_welders(
    rows: pd.DataFrame, indications: pd.DataFrame, deposits: pd.DataFrame
) -> pd.DataFrame:
    """Return examinations once for each welder they are charged to.

    Parameters as in :func:`charge`.

    Returns
    -------
    DataFrame
        ``rows`` with ``welder`` ("unknown" where nobody is known to have welded the place),
        ``rejected`` as it is charged to that welder, ``shared``, and ``process``, ``position`` and
        ``procedure`` of his deposit where it states them.
    """
    seen = charge(rows, indications, deposits, ("welder",)).seen
    others = {name: _told(name, seen, rows, deposits) for name in OF_DEPOSIT if name != "welder"}
    merged = rows.drop(columns="rejected").take(seen["row"].to_numpy()).reset_index(drop=True)
    return merged.assign(
        welder=seen["welder"], rejected=seen["rejected"], shared=seen["shared"], **others
    )


def _told(name: str, at: pd.DataFrame, rows: pd.DataFrame, deposits: pd.DataFrame) -> Any:
    """Return what the deposit says, else the joint, by position of deposit and row in ``at``."""
    codes, names = _codes(name, at, rows, deposits)
    return pd.Series(names[codes], at.index, dtype="str")


def _codes(name: str, at: pd.DataFrame, rows: pd.DataFrame, deposits: pd.DataFrame) -> Any:
    """Return what :func:`_told` does as numbers, and their names; the last is what is missing."""
    made = deposits[name].to_numpy(dtype=object)
    else_ = [UNKNOWN] * len(rows) if name == "welder" else rows[name].to_numpy(dtype=object)
    codes, names = pd.factorize(np.concatenate([made, np.asarray(else_, dtype=object)]))
    # Nothing that is told, and no deposit, are both -1: the last one.
    of_deposit = np.append(codes[: len(made)], -1)[at["deposit"]]
    of_row = codes[len(made) :][at["row"]]
    return np.where(of_deposit >= 0, of_deposit, of_row), np.append(names, np.nan)


def _blamed(
    pairs: pd.DataFrame, rows: pd.DataFrame, indications: pd.DataFrame, deposits: pd.DataFrame
) -> pd.DataFrame:
    """Return the indications with the deposits that hold them, as far as place and pass tell."""
    told = indications.reset_index(drop=True)
    told = told.assign(
        indication=range(len(told)), row=pd.Index(rows["id"]).get_indexer(told["id"])
    )
    both = told.merge(pairs, on="row")
    start = both["imp_from_mm"].fillna(both["start_mm"])
    known = both["imp_from_mm"].notna()
    length = both["imp_length_mm"].fillna(0.0)
    # A place without a length is a point; it lies in the deposit that begins there.
    end = np.where(known, np.maximum(start + length, np.nextafter(start, np.inf)), both["end_mm"])
    inside = (both["low"] < end) & (both["high"] > start)
    fits = inside.copy()
    for what in ("pass", "side"):
        made = deposits[what].reset_index(drop=True).reindex(both["deposit"]).to_numpy()
        seen = both[f"imp_{what}"].to_numpy()
        fits &= pd.isna(seen) | pd.isna(made) | (seen == made)
    # A pass nobody is recorded for blames whoever welded the place, and at last everybody.
    some_fit, some_inside = (
        test.groupby(both["indication"]).transform("any") for test in (fits, inside)
    )
    blamed = np.where(some_fit, fits, np.where(some_inside, inside, True)).astype(bool)
    return both.loc[blamed, ["of", "indication", "low", "high"]]


def _lengths(indications: pd.DataFrame, blamed: pd.DataFrame) -> pd.DataFrame:
    """Return where each indication lies within each deposit, once for each it is charged to."""
    shown = indications.take(blamed["indication"].to_numpy())
    size = shown["imp_length_mm"].to_numpy(float)
    loose = ~shown["located"].to_numpy(bool) & (size > 0)
    start, end = shown["start_mm"].to_numpy(float), shown["end_mm"].to_numpy(float)
    low = np.maximum(start, blamed["low"].to_numpy(float))
    high = np.minimum(end, blamed["high"].to_numpy(float))
    outside = ~(low < high)  # charged to all of the length, for it lies in no deposit known
    counts = ~blamed.duplicated(["of", "indication"]).to_numpy()
    return pd.DataFrame(
        {
            "of": blamed["of"].to_numpy(),
            "indication": blamed["indication"].to_numpy(),
            "low": np.where(loose, np.nan, np.where(outside, start, low)),
            "high": np.where(loose, np.nan, np.where(outside, end, high)),
            "loose_mm": np.where(loose & counts, size, 0.0),
            "counts": counts,
        }
    )
