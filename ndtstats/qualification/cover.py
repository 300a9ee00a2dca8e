"""Whether certificates cover what was welded: by their range, and on the day."""

from typing import Any

import pandas as pd

#: What certificates range by: ISO 9606-1 and -2 (from memory).
RANGES = ("process", "joint_type", "position", "material", "thickness_mm")

#: For each, the column that says whether a kind of work is in the range of a certificate.
FITS = {name: f"{name}_fits" for name in RANGES}

#: What makes one kind of work of one welder.
KIND = ["welder", *RANGES]


def pieces(deposits: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
    """Return deposits with what certificates range by, aligned to ``deposits``.

    What a deposit says of process and position outranks its joint.

    Parameters
    ----------
    deposits, joints : DataFrame
        Tables of the register, of one job or of all.
    """
    of_joint = ["process", "position", "joint_type", "thickness_mm", "material"]
    keys = ["job", "joint"]
    known = deposits[keys].merge(joints[[*keys, *of_joint]], on=keys, how="left")
    known = known.set_axis(deposits.index).drop(columns=keys)
    own = {name: deposits[name].fillna(known[name]) for name in ("process", "position")}
    return deposits.assign(**known.assign(**own))


def matched(kinds: pd.DataFrame, tickets: pd.DataFrame) -> pd.DataFrame:
    """Return each kind of work beside each certificate of its welder, and what of it is in range.

    Parameters
    ----------
    kinds : DataFrame
        Columns :data:`KIND`; what is not known is missing and passes. The index names the kind.
    tickets : DataFrame
        Rows of qualifications; a blank range covers everything. The index names the certificate.

    Returns
    -------
    DataFrame
        Columns ``kind``, ``ticket``, and those of :data:`FITS`.

    Notes
    -----
    Material groups are those of ISO/TR 15608, and are compared by the number before the dot: which
    subgroup covers which is for the standard's own table.
    """
    columns = ["material", "joint_types", "positions", "thickness_min_mm", "thickness_max_mm"]
    named = tickets[["welder", "process", *columns]].add_suffix("_of").reset_index(names="ticket")
    named = named.rename(columns={"welder_of": "welder"})
    pairs = kinds.reset_index(names="kind").merge(named, on="welder")
    group = pairs["material"].str.replace(r"\..*", "", regex=True)
    thin = pairs["thickness_mm"] < pairs["thickness_min_mm_of"]
    thick = pairs["thickness_mm"] > pairs["thickness_max_mm_of"]
    return pairs[["kind", "ticket"]].assign(
        process_fits=(pairs["process"] == pairs["process_of"]) | pairs["process"].isna(),
        joint_type_fits=_listed(pairs["joint_type"], pairs["joint_types_of"]),
        position_fits=_listed(pairs["position"], pairs["positions_of"]),
        material_fits=_listed(group, pairs["material_of"], groups=True),
        thickness_mm_fits=~(thin | thick),
    )


def in_range(pairs: pd.DataFrame) -> pd.DataFrame:
    """Return the pairs of :func:`matched` whose certificate covers the kind of work."""
    return pairs[pairs[list(FITS.values())].all(axis="columns")]


def kinds_of(work: pd.DataFrame) -> tuple["pd.Series[int]", pd.DataFrame]:
    """Return the number of each row's kind of work, and the kinds: few are distinct."""
    number = work.groupby(KIND, dropna=False, sort=False).ngroup()
    kinds = work[KIND].loc[~number.duplicated()].set_axis(number[~number.duplicated()])
    return number, kinds


def covered(work: pd.DataFrame, tickets: pd.DataFrame, spans: pd.DataFrame) -> "pd.Series[bool]":
    """Return for each piece of work whether a certificate of its welder covers it on its day.

    Parameters
    ----------
    work : DataFrame
        Columns :data:`KIND` and ``date``; what is not known is missing and passes, but no day.
    tickets : DataFrame
        The table of qualifications, its index counted from 0.
    spans : DataFrame
        When they are in force, as :func:`ndtstats.qualification.spans.spans` returns it.

    Returns
    -------
    Series of bool
        Aligned to ``work``.

    Examples
    --------
    >>> work = pd.DataFrame({"welder": ["K7"] * 2, "date": pd.to_datetime(["2026-03-01"] * 2),
    ...     "process": ["131"] * 2, "position": ["PF", "PA"], "joint_type": ["butt"] * 2,
    ...     "thickness_mm": [6.0] * 2, "material": ["22.3"] * 2})
    >>> tickets = pd.DataFrame({"welder": ["K7"], "process": ["131"], "positions": ["PA;PC"],
    ...     "joint_types": ["butt;tee"], "material": ["22"], "thickness_min_mm": [3.0],
    ...     "thickness_max_mm": [12.0]})
    >>> alive = pd.DataFrame({"ticket": [0], "begins": pd.to_datetime(["2025-06-01"]),
    ...     "ends": pd.to_datetime([None])})
    >>> covered(work, tickets, alive).tolist()
    [False, True]
    """
    number, kinds = kinds_of(work)
    fits = in_range(matched(kinds, tickets))[["kind", "ticket"]]
    held = fits.merge(spans[["ticket", "begins", "ends"]], on="ticket")[["kind", "begins", "ends"]]
    days = pd.DataFrame({"kind": number, "date": work["date"]}).drop_duplicates()
    pairs = days.merge(held.drop_duplicates(), on="kind")
    alive = (pairs["begins"] <= pairs["date"]) & ~(pairs["ends"] < pairs["date"])
    good = pairs.loc[alive, ["kind", "date"]].drop_duplicates().assign(good=True)
    rows = pd.DataFrame({"kind": number, "date": work["date"]}).merge(good, how="left")
    return rows["good"].notna().set_axis(work.index)


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
