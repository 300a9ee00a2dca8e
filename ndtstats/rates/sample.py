"""What a question about rates is answered from: examinations as charged, in their groups."""

from collections.abc import Mapping, Sequence
from datetime import datetime

import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.rates.base import ATTRIBUTES, first_examinations, indications
from ndtstats.rates.charge import (
    OF_DEPOSIT,
    PLACE_OF_DEPOSIT,
    UNKNOWN,
    Charges,
    charge,
    charge_each,
    pairs_of,
)
from ndtstats.rates.measures import whole_joints
from ndtstats.register import Register, jobs_known
from ndtstats.words import METHODS

#: What rates can be broken down by; imperfection only per metre.
BY = (
    "welder", "process", "position", "procedure", "thickness", "category", "zone", "joint_type",
    "material", "job", "joint", "method", "month", "part", "imperfection",
)  # fmt: skip

#: What is known of each examination in a sample, whatever it is broken down by.
OF_SAMPLE = ("unit", "weight", "drawn_in", "whole", "method")

#: Of these, what is not known of an examination as a whole but of each indication.
OF_INDICATION = "imperfection"


def known_columns(by: Sequence[str]) -> list[str]:
    """Return the columns asked for, each once; UseError if one cannot be had."""
    for name in by:
        if name not in BY:
            close = nearest(name, BY)
            hint = f'did you mean "{close}"? ' if close else ""
            raise UseError(
                f'rates cannot be given by "{name}"; {hint}use one or more of {", ".join(BY)}'
            )
    return list(dict.fromkeys(by))


def known_method(method: str | None) -> str | None:
    """Return the method as the register writes it; UseError if there is none of that name."""
    if method is None or method.upper() in METHODS:
        return method and method.upper()
    raise UseError(f'"{method}" is not a method of ISO 9712; use one of {", ".join(METHODS)}')


def first_charged(
    register: Register,
    by: Sequence[str],
    *,
    method: str | None,
    job: str | None,
    as_of: datetime | None,
) -> Charges:
    """Return the first examinations as charged.

    Returns
    -------
    Charges
        ``seen`` has the columns of ``by`` too, and ``unit`` (number of the joint), ``weight``,
        ``drawn_in`` (number of the stratum of the draw, what a stratum requires apart from what
        chance drew of it), ``whole`` (:func:`ndtstats.rates.measures.whole_joints`) and ``method``;
        ``found`` has ``imperfection`` and ``no_length`` (its length is unknown) too.
    """
    rows, shown = _remembered(register, method=method, job=job, as_of=as_of)
    deposits = deposits_of(register, by, job=job, as_of=as_of)
    if deposits is None:
        return charged(rows, shown, None, by)
    # Who welded what was examined is the same whatever it is broken down by.
    pairs = register.once(
        ("who welded what was examined", method, job, as_of), lambda: pairs_of(rows, deposits)
    )
    return charged(rows, shown, deposits, by, pairs)


def _remembered(
    register: Register, *, method: str | None, job: str | None, as_of: datetime | None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    if register.remembers and jobs_known(register, as_of) == [job]:
        job = None  # Of the only job and of all is one question.
    found: tuple[pd.DataFrame, pd.DataFrame] = register.once(
        ("first examinations", method, job, as_of),
        lambda: _first_and_shown(register, method=method, job=job, as_of=as_of),
    )
    return found


def _first_and_shown(
    register: Register, *, method: str | None, job: str | None, as_of: datetime | None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return first examinations, with all that any breakdown needs, and their indications."""
    if method is None or not register.remembers:
        rows = first_examinations(register, job=job, method=method, as_of=as_of)
        return with_draws(rows), indications(register, rows, job=job, as_of=as_of)
    # Who remembers is asked of several methods: what is known of all is known of each.
    rows, shown = _remembered(register, method=None, job=job, as_of=as_of)
    rows = with_draws(rows[rows["method"] == method].reset_index(drop=True))
    return rows, shown[shown["id"].isin(rows["id"])].reset_index(drop=True)


def with_draws(rows: pd.DataFrame) -> pd.DataFrame:
    """Return first examinations with ``drawn_in`` and ``whole`` (:func:`first_charged`)."""
    certain = rows["part"] == "required"
    drawn_in = rows.groupby(["stratum", certain], sort=False, dropna=False).ngroup()
    whole = whole_joints(rows[rows["weight"].notna()])
    return rows.assign(drawn_in=drawn_in, whole=whole.reindex(rows.index, fill_value=False))


def deposits_of(
    register: Register,
    by: Sequence[str],
    *,
    job: str | None,
    as_of: datetime | None,
    only: Mapping[str, Sequence[str]] | None = None,
) -> pd.DataFrame | None:
    """Return the deposits with what ``by`` needs of them; None if it needs nothing."""
    asked = [name for name in by if name in OF_DEPOSIT]
    if not asked:
        return None
    columns = [*PLACE_OF_DEPOSIT, *asked]
    return register.table("deposits", job=job, as_of=as_of, columns=columns, only=only)


def charged(
    rows: pd.DataFrame,
    shown: pd.DataFrame,
    deposits: pd.DataFrame | None,
    by: Sequence[str],
    pairs: pd.DataFrame | None = None,
) -> Charges:
    """Return first examinations as :func:`first_charged` does.

    Parameters
    ----------
    rows : DataFrame
        As :func:`ndtstats.rates.base.first_examinations` gives them, :func:`with_draws`.
    shown : DataFrame
        Their indications (:func:`ndtstats.rates.base.indications`).
    deposits : DataFrame or None
        As :func:`deposits_of` gives them for the same ``by``.
    pairs : DataFrame, optional
        As of :func:`ndtstats.rates.charge.charge`.
    """
    of_deposit = [name for name in by if name in OF_DEPOSIT]
    charges = (
        charge_each(rows, shown)
        if deposits is None
        else charge(rows, shown, deposits, of_deposit, pairs)
    )
    told = shown[[OF_INDICATION, "imp_length_mm"]].take(charges.found["indication"].to_numpy())
    found = charges.found.assign(
        imperfection=told[OF_INDICATION].fillna(UNKNOWN).to_numpy(),
        no_length=~(told["imp_length_mm"].to_numpy(float) > 0),
    )
    others = [*OF_SAMPLE, *by]
    needed = [name for name in dict.fromkeys(others) if name not in {*of_deposit, OF_INDICATION}]
    known = rows[needed].take(charges.seen["row"].to_numpy()).reset_index(drop=True)
    return charges._replace(seen=charges.seen.join(known), found=found)


def attributes_of(by: Sequence[str]) -> list[str]:
    """Return which attributes of joints the columns of ``by`` need."""
    return [name for name in ATTRIBUTES if name in by]


def group_keys(seen: pd.DataFrame, by: Sequence[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return what each group is, indexed by its number, and ``seen`` with the number, ``group``."""
    if not by:
        return pd.DataFrame(index=[0]), seen.assign(group=0)
    labels = seen[list(by)].fillna(UNKNOWN)
    number = labels.groupby(list(by), sort=False).ngroup()
    keys = labels.assign(group=number).drop_duplicates("group").set_index("group")
    return keys, seen.assign(group=number)
