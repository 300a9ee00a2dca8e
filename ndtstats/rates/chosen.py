"""Which first examinations a comparison or a trend may rest on.

What was aimed at somebody because he was thought bad, and what a reject of his led to, would be
held against him twice. So only places that the rules name or that chance drew count, wherever there
are any; a register that knows of none can but describe what was examined, and says so.
"""

from typing import NamedTuple

import numpy as np
import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.rates.charge import Charges

#: Places that rules or chance chose; everything that was examined.
BASES = ("chosen", "described")


class Chosen(NamedTuple):
    """First examinations as charged, and what can be inferred from them.

    Parameters
    ----------
    charges : Charges
        Those that count.
    basis : {"chosen", "described"}
        What they are.
    remark : str
        The same in a sentence, with how many count and how many do not; "" if there are none.
    """

    charges: Charges
    basis: str
    remark: str


def chosen(charges: Charges, basis: str | None = None) -> Chosen:
    """Return the examinations that count.

    Parameters
    ----------
    charges : Charges
        As :func:`ndtstats.rates.sample.first_charged` gives them.
    basis : {"chosen", "described"}, optional
        Which to take; None: the chosen ones if there are any, else all.

    Raises
    ------
    UseError
        If the basis is unknown, or the chosen ones are asked for and there are none.
    """
    if basis is not None and basis not in BASES:
        close = nearest(basis, BASES)
        hint = f'did you mean "{close}"?' if close else f"use {' or '.join(BASES)}"
        raise UseError(f'"{basis}" is not a basis; {hint}')
    by_choice = charges.seen["weight"].notna()
    if basis == "chosen" and not by_choice.any():
        raise UseError(
            "no first examination answers a plan, so none is known to be chosen by rule or by "
            "chance; ask for the basis described"
        )
    everything = charges.seen["row"].nunique()
    if basis == "described" or not by_choice.any():
        return Chosen(charges, "described", _all_told(everything, known=bool(by_choice.any())))
    kept = charges.only(by_choice.to_numpy())
    number = kept.seen["row"].nunique()
    return Chosen(kept, "chosen", _chosen_told(number, everything - number))


def _chosen_told(number: int, others: int) -> str:
    remark = f"Rests on {_examinations(number)} of places that rules or chance chose"
    if not others:
        return remark + "."
    left = "1 other, aimed, owed or unplanned, is" if others == 1 else (
        f"{others:,} others, aimed, owed or unplanned, are"
    )  # fmt: skip
    return f"{remark}; {left} left out."


def _all_told(number: int, *, known: bool) -> str:
    if not number:
        return ""
    why = "Aimed and owed places count too" if known else "Selection unknown"
    return (
        f"{why}: rests on all {_examinations(number)}, and describes what was examined, not what "
        "was welded."
    )


def _examinations(number: int) -> str:
    return f"{number:,} first examination{'' if number == 1 else 's'}"


def charged_once(seen: pd.DataFrame, by: str) -> pd.DataFrame:
    """Return each examination once for each that it is charged to, whatever else is told apart.

    Parameters
    ----------
    seen : DataFrame
        Of :class:`Charges`, told apart by ``by`` and by more, such as process: a welder who used
        two processes within a spot has it twice.
    by : str
        Whom it is charged to.

    Returns
    -------
    DataFrame
        ``seen`` with the rest as the first deposit states it, and with ``rejected`` and ``shared``
        (the reject is charged to others too) as they are of that one.
    """
    codes, names = pd.factorize(seen[by], use_na_sentinel=False)
    row = seen["row"].to_numpy()
    number, distinct = pd.factorize(row * max(len(names), 1) + codes)
    rejected = np.bincount(number, seen["rejected"], len(distinct)) > 0
    # Numbers are given by first occurrence: each new one is higher than all before.
    first = np.flatnonzero(np.diff(np.maximum.accumulate(number), prepend=-1))
    row = row[first]
    charged = np.bincount(row, rejected)
    each = seen.take(first).assign(rejected=rejected, shared=rejected & (charged[row] > 1))
    return each.reset_index(drop=True)
