"""Lengths and places as they are said in a sentence."""

import pandas as pd


def mm(values: "pd.Series[float]") -> "pd.Series[str]":
    """Return lengths in words, to a tenth of a millimetre.

    Examples
    --------
    >>> mm(pd.Series([75.0, 1304.25])).tolist()
    ['75 mm', '1,304.2 mm']
    """
    # An empty column that is formatted stays one of numbers.
    return values.astype("float64").round(1).map("{:,.12g} mm".format).astype("str")


def place(rows: pd.DataFrame) -> "pd.Series[str]":
    """Return places in words.

    Parameters
    ----------
    rows : DataFrame
        Columns ``from_mm`` and ``to_mm``.

    Examples
    --------
    >>> place(pd.DataFrame({"from_mm": [600.0], "to_mm": [1200.0]})).tolist()
    ['600 to 1,200 mm']
    """
    return mm(rows["from_mm"]).str.removesuffix(" mm") + " to " + mm(rows["to_mm"])
