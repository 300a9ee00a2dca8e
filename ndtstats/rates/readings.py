"""Do readers agree: the same images, read by two or more, each by himself."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.statistics import Agreement, cohens_kappa, fleiss_kappa, readings_table

#: Images of one verdict below which agreement on it is hardly known: common practice, no source.
FEW_IMAGES = 10


@dataclass(frozen=True, slots=True)
class Readers:
    """How readers agree.

    Parameters
    ----------
    table : DataFrame
        A row for each pair, and of three readers or more one of all together, first: ``readers``,
        ``images`` read by all of them, ``agreed`` (share of readings that agree) with
        ``agreed_lower`` and ``agreed_upper``, ``by_chance``, ``kappa`` with ``lower`` and
        ``upper``.
    verdicts : DataFrame
        ``verdict``, ``readings`` that gave it, and ``kappa`` of it against all others, by images
        that all have read.
    level : float
        Of the bounds.
    remarks : tuple of str
        What has to be known to read it rightly.
    """

    table: pd.DataFrame
    verdicts: pd.DataFrame
    level: float
    remarks: tuple[str, ...]


def readers_agree(readings: pd.DataFrame, *, level: float = 0.95) -> Readers:
    """Return how far readers of the same images agree, beyond what chance would make them.

    Parameters
    ----------
    readings : DataFrame
        ``image``, ``reader``, ``verdict``: each pair of image and reader once.
    level : float
        Of the bounds.

    Raises
    ------
    UseError
        If there are fewer than two readers, or no image that two have read.

    Notes
    -----
    Cohen 1960 for each pair, Fleiss 1971 for all (:mod:`ndtstats.statistics.agreement`).

    Examples
    --------
    >>> seen = pd.DataFrame({"image": [1, 1, 2, 2, 3, 3], "reader": ["A", "B"] * 3,
    ...     "verdict": ["reject", "reject", "accept", "reject", "accept", "accept"]})
    >>> readers_agree(seen).table[["readers", "images", "agreed", "kappa"]].round(2).values.tolist()
    [['A and B', 3, 0.67, 0.4]]
    """
    wide = readings.pivot(  # noqa: PD010  (a pivot_table would fold doubles into one)
        index="image", columns="reader", values="verdict"
    )
    names = [str(name) for name in wide.columns]
    if len(names) < 2:
        raise UseError(
            f"agreement needs two readers or more of the same images; there is {len(names)}"
        )
    rows = _pairs(wide, level)
    by_all = wide.dropna()
    counts = _by_verdict(by_all)
    each = np.full(counts.shape[1], np.nan)
    if len(by_all):
        together, each = fleiss_kappa(counts, level=level)
        if len(names) > 2:
            rows.insert(0, _row(f"all {len(names)}", together))
    if not rows:
        raise UseError("no image was read by two readers; nothing can be said of agreement")
    verdicts = pd.DataFrame(
        {"verdict": counts.columns, "readings": counts.sum().to_numpy(), "kappa": each}
    )
    table = pd.DataFrame(rows)
    remarks = _remarks(verdicts, len(wide), len(by_all), table)
    return Readers(table, verdicts, level, remarks)


def _pairs(wide: pd.DataFrame, level: float) -> list[dict[str, object]]:
    rows = []
    for first, second in combinations(wide.columns, 2):
        both = readings_table(wide[first], wide[second])
        if both.to_numpy().sum():
            rows.append(_row(f"{first} and {second}", cohens_kappa(both, level=level)))
    return rows


def _row(readers: str, found: Agreement) -> dict[str, object]:
    return {
        "readers": readers, "images": found.read, "agreed": found.agreed,
        "agreed_lower": found.agreed_lower, "agreed_upper": found.agreed_upper,
        "by_chance": found.by_chance, "kappa": found.kappa, "lower": found.lower,
        "upper": found.upper,
    }  # fmt: skip


def _by_verdict(by_all: pd.DataFrame) -> pd.DataFrame:
    """Return how many readers gave each image each verdict."""
    long = by_all.reset_index().melt(id_vars="image", value_name="verdict")
    return pd.crosstab(long["image"], long["verdict"])


def _remarks(
    verdicts: pd.DataFrame, images: int, by_all: int, table: pd.DataFrame
) -> tuple[str, ...]:
    remarks = []
    if by_all < images:
        left = images - by_all
        remarks.append(
            f"{left:,} of {images:,} images {'was' if left == 1 else 'were'} not read by all, and "
            f"{'counts' if left == 1 else 'count'} only where a pair has read "
            f"{'it' if left == 1 else 'them'}."
        )
    rare = verdicts.loc[verdicts["readings"] < FEW_IMAGES, "verdict"]
    if len(rare):
        remarks.append(
            f"Few readings are {', '.join(rare)}: kappa is low then even at high agreement, and "
            "unsure; look at the plain agreement too."
        )
    if table["kappa"].isna().any():
        remarks.append("Where all verdicts are alike there is no kappa: chance agrees as well.")
    return tuple(remarks)


def readers_sentence(result: Readers) -> str:
    """Return the conclusion: plain agreement and kappa, with their bounds."""
    top = result.table.iloc[0]
    percent = f"{100 * result.level:g} % bounds"
    agreed = f"{100 * top['agreed']:.1f} % of readings agree"
    if not np.isnan(top["agreed_lower"]):
        agreed += (
            f" ({percent} {100 * top['agreed_lower']:.1f} % and {100 * top['agreed_upper']:.1f} %)"
        )
    told = f"Readers {top['readers']}, {top['images']:,} images: {agreed}"
    if np.isnan(top["kappa"]):
        return f"{told}; all verdicts are alike, so chance would do the same."
    chance = f"{100 * top['by_chance']:.1f} % by chance alone"
    bounds = f"{percent} {top['lower']:.2f} and {top['upper']:.2f}"
    beyond = "" if top["lower"] > 0 else "; agreement beyond chance is not shown"
    return f"{told}, {chance}; kappa {top['kappa']:.2f}, {bounds}{beyond}."
