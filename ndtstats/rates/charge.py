"""To which welder an examination is charged: to whoever welded the place, and the pass if known."""

from typing import Any

import numpy as np
import pandas as pd


def charge_welders(
    rows: pd.DataFrame, indications: pd.DataFrame, deposits: pd.DataFrame
) -> pd.DataFrame:
    """Return the examinations once for each welder they are charged to.

    Parameters
    ----------
    rows : DataFrame
        First examinations: ``id``, ``job``, ``joint``, ``from_mm``, ``to_mm``, ``rejected``.
    indications : DataFrame
        Their rejectable indications (:func:`ndtstats.rates.base.indications`).
    deposits : DataFrame
        The table of the register.

    Returns
    -------
    DataFrame
        ``rows`` with ``welder`` ("unknown" where nobody is known to have welded the place),
        ``rejected`` as it is charged to that welder, ``shared`` (the reject is charged to others
        too), ``process``, ``position`` and ``procedure`` of his deposit where it states them.

    Notes
    -----
    Everybody who welded some of the examined length has it examined. A reject is charged to the
    welders of its indications: those whose deposit holds the place, and the pass and side where
    both are known; with nothing known, to every welder of the length.
    """
    pairs = _pairs(rows, deposits)
    blamed = _blamed(pairs, indications)
    charged = pairs.merge(blamed, on=["id", "deposit"], how="left")
    hit = charged["blamed"].astype("boolean").fillna(value=False).astype(bool)
    by_welder = charged.assign(hit=hit).groupby(["id", "welder"], as_index=False, sort=False)
    each = by_welder.agg(
        hit=("hit", "any"),
        deposit_process=("deposit_process", "first"),
        deposit_position=("deposit_position", "first"),
        deposit_procedure=("deposit_procedure", "first"),
    )
    number = each["hit"].groupby(each["id"]).transform("sum")
    each = each.assign(shared=each["hit"] & (number > 1))
    merged = rows.drop(columns=["rejected"]).merge(each, on="id")
    merged["rejected"] = merged["hit"] & merged["id"].isin(rows.loc[rows["rejected"], "id"])
    for name in ("process", "position", "procedure"):
        merged[name] = merged[f"deposit_{name}"].fillna(merged[name])
    return merged.drop(columns=["hit", "deposit_process", "deposit_position", "deposit_procedure"])


def _pairs(rows: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    """Return each examination with each deposit that its length overlaps; "unknown" if none."""
    made = pd.DataFrame(
        {
            "deposit": deposits["id"],
            "job": deposits["job"],
            "joint": deposits["joint"],
            "welder": deposits["welder"],
            "low": deposits["from_mm"].fillna(0.0),
            "high": deposits["to_mm"].fillna(np.inf),
            "deposit_pass": deposits["pass"],
            "deposit_side": deposits["side"],
            "deposit_process": deposits["process"],
            "deposit_position": deposits["position"],
            "deposit_procedure": deposits["procedure"],
            "welded": deposits["date"],
        }
    )
    keys = rows[["id", "job", "joint", "from_mm", "to_mm", "date"]]
    pairs = keys.merge(made, on=["job", "joint"], how="inner")
    # What was welded after the examination (a repair) was not there to be examined.
    overlap = (
        (pairs["low"] < pairs["to_mm"])
        & (pairs["high"] > pairs["from_mm"])
        & (pairs["welded"] <= pairs["date"])
    )
    pairs = pairs[overlap]
    lonely = keys[~keys["id"].isin(pairs["id"])].assign(
        welder="unknown", low=0.0, high=np.inf, deposit=-1
    )
    return pd.concat([pairs, lonely], ignore_index=True)


def _blamed(pairs: pd.DataFrame, indications: pd.DataFrame) -> pd.DataFrame:
    """Return the deposits that hold an indication, by place, pass and side as far as known."""
    both = indications.merge(pairs, on="id")
    inside = (both["low"] < both["end_mm"]) & (both["high"] > both["start_mm"])
    fits = inside & _agrees(both, "pass") & _agrees(both, "side")
    both = both.assign(fits=fits, inside=inside)
    # A pass nobody is recorded for blames whoever welded the place, and at last everybody.
    keys = ["id", "imperfection", "start_mm", "end_mm", "imp_pass", "imp_side"]
    groups = both.groupby(keys, dropna=False)
    some_fit = groups["fits"].transform("any")
    some_inside = groups["inside"].transform("any")
    blamed = np.where(some_fit, both["fits"], np.where(some_inside, both["inside"], True))
    hit = both[blamed.astype(bool)]
    return hit[["id", "deposit"]].drop_duplicates().assign(blamed=True)


def _agrees(both: pd.DataFrame, what: str) -> Any:
    seen, made = both[f"imp_{what}"], both[f"deposit_{what}"]
    return seen.isna() | made.isna() | (seen.astype("str") == made.astype("str"))
