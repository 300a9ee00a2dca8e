"""Whether a welder was qualified for what he welded, on the day he welded it."""

from typing import Any

import pandas as pd


def qualified(work: pd.DataFrame, certificates: pd.DataFrame) -> Any:
    """Return for each piece of work whether some certificate of its welder covers it.

    Parameters
    ----------
    work : DataFrame
        Columns ``welder``, ``date``, ``process``, ``position``, ``joint_type``,
        ``thickness_mm``, ``material``; what is not known is missing and passes.
    certificates : DataFrame
        The table of qualifications; a blank range covers everything.

    Returns
    -------
    Series of bool
        Aligned to ``work``.

    Notes
    -----
    A certificate counts from the day of its test weld to the day it states, if any. Six-monthly
    confirmation is not looked at here. ISO 9606-1 and -2 range by process, joint type, position,
    thickness and material group (from memory).

    Examples
    --------
    >>> work = pd.DataFrame({"welder": ["K7"], "date": pd.to_datetime(["2026-03-01"]),
    ...     "process": ["131"], "position": ["PF"], "joint_type": ["butt"],
    ...     "thickness_mm": [6.0], "material": ["22.3"]})
    >>> tickets = pd.DataFrame({"welder": ["K7"], "process": ["131"], "positions": ["PA;PC"],
    ...     "joint_types": ["butt;tee"], "material": ["22"], "thickness_min_mm": [3.0],
    ...     "thickness_max_mm": [12.0], "qualified_on": pd.to_datetime(["2025-06-01"]),
    ...     "valid_until": pd.to_datetime([None])})
    >>> qualified(work, tickets).tolist()
    [False]
    """
    tickets = certificates.rename(columns={"material": "materials", "process": "for_process"})
    columns = [
        "welder", "for_process", "materials", "joint_types", "positions",
        "thickness_min_mm", "thickness_max_mm", "qualified_on", "valid_until",
    ]  # fmt: skip
    pairs = work.reset_index(names="row").merge(tickets[columns], on="welder", how="left")
    group = pairs["material"].str.replace(r"\..*", "", regex=True)
    covered = (
        (pairs["qualified_on"] <= pairs["date"])
        & ~(pairs["valid_until"] < pairs["date"])
        & ((pairs["process"] == pairs["for_process"]) | pairs["process"].isna())
        & _listed(pairs["position"], pairs["positions"])
        & _listed(pairs["joint_type"], pairs["joint_types"])
        & _listed(group, pairs["materials"], groups=True)
        & ~(pairs["thickness_mm"] < pairs["thickness_min_mm"])
        & ~(pairs["thickness_mm"] > pairs["thickness_max_mm"])
    )
    by_row = covered.groupby(pairs["row"]).any()
    return by_row.reindex(work.index, fill_value=False)


def _listed(value: Any, several: Any, *, groups: bool = False) -> Any:
    """Return where a value is among several parted by semicolons; blanks on either side pass."""
    value = value.astype("str").str.casefold()
    listed = ";" + several.astype("str").str.replace(" ", "").str.casefold() + ";"
    if groups:  # a certificate for group 22 covers 22.3
        listed = listed.str.replace(r"\.\d+", "", regex=True)
    pairs = pd.DataFrame({"value": value, "listed": listed})
    # Few pairs are distinct: a yard has a dozen positions and certificates of a dozen kinds.
    distinct = pairs.drop_duplicates().dropna()
    inside = [
        f";{one};" in many for one, many in zip(distinct["value"], distinct["listed"], strict=True)
    ]
    found = pairs.merge(distinct.assign(inside=inside), on=["value", "listed"], how="left")
    return found["inside"].astype("boolean").fillna(value=True).astype(bool).set_axis(value.index)
