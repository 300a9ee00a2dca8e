"""A results file with about ten mistakes of the kinds that real files have, and the same mended.

Each mistake has the finding code that loading must tell; a test holds the two together.
"""

from dataclasses import dataclass, field

import pandas as pd

from ndtstats.columns import TABLES
from ndtstats.intake import heading


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is written into one row, and the code of the finding it must give.

    A column of ``shifted_mm`` is written as so many millimetres from the end of the spot.
    """

    code: str
    cells: dict[str, str] = field(default_factory=dict)
    shifted_mm: dict[str, float] = field(default_factory=dict)


#: One mistake a row, in the order of the rows. The last ones are warnings, which do not stop it.
MISTAKES = (
    Mistake("WORD", {"verdict": "rejcet"}),
    Mistake("JOINT-UNKNOWN", {"joint": "SB-O07"}),
    Mistake("BEYOND-JOINT", {"to_mm": "9000"}),
    Mistake("BEFORE-WELDED", {"date": "2026-01-05"}),
    Mistake("DATE-AMBIGUOUS", {"date": "05/04/2026"}),
    Mistake("NUMBER", {"from_mm": "3OO"}),
    Mistake("MISSING", {"report": ""}),
    Mistake("NO-REJECT-BEFORE", {"round": "R1"}),
    Mistake("OUTSIDE-SPOT", {"imperfection": "2011", "imp_length_mm": "3"}, {"imp_from_mm": 40.0}),
    Mistake(
        "ACCEPTED-REJECTABLE",
        {"imperfection": "401", "imp_length_mm": "20", "imp_rejectable": "yes"},
        {"imp_from_mm": -150.0},
    ),
    Mistake("TWICE", {"verdict": "re-shoot"}),
    Mistake("IMPERFECTION-UNKNOWN", {"imperfection": "2201"}, {"imp_from_mm": -150.0}),
)


def spoil(results: pd.DataFrame, fillet: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return a results file with mistakes, and the rows that errors stop, as they should be.

    Parameters
    ----------
    results : DataFrame
        Examinations; the mistakes go into accepted first ones.
    fillet : str
        A fillet: a radiograph of it is added, which loading must warn of.

    Returns
    -------
    (DataFrame, DataFrame)
        Cells of text under the headings of the template.
    """
    rejected = results.loc[results["verdict"] == "reject", "joint"]
    plain = (
        (results["verdict"] == "accept") & (results["round"] == 0) & results["imperfection"].isna()
    )
    # A joint with a reject may have a repair: its rows are taken last, if there are too few others.
    late = results.loc[plain, "joint"].isin(rejected).sort_values(kind="stable")
    rows = late.index[: len(MISTAKES)].sort_values()
    good = _texts(results)
    bad = good.copy()
    for row, mistake in zip(rows, MISTAKES, strict=True):
        if mistake.code == "TWICE":
            continue
        for column, text in mistake.cells.items():
            bad.loc[row, column] = text
        for column, shift in mistake.shifted_mm.items():
            bad.loc[row, column] = f"{results.loc[row, 'to_mm'] + shift:g}"
    again = next(n for n, mistake in enumerate(MISTAKES) if mistake.code == "TWICE")
    double = good.loc[[rows[again]]].assign(**MISTAKES[again].cells)
    inside = good.loc[[rows[-1]]].assign(joint=fillet, from_mm="0", to_mm="300", exposure="99")
    bad = pd.concat([bad, double, inside], ignore_index=True)
    mended = good.loc[rows[: again + 1]]
    return _titled(bad), _titled(mended)


def _texts(results: pd.DataFrame) -> pd.DataFrame:
    """Return the cells as text, lengths as short as they can be written."""
    texts = {}
    for column in TABLES["examinations"].columns:
        values = results[column.name]
        if column.kind == "date":
            values = values.dt.strftime("%Y-%m-%d")
        elif column.kind == "flag":
            values = values.map({True: "yes", False: "no"})
        elif column.kind == "number":
            values = values.map("{:g}".format, na_action="ignore")
        texts[column.name] = values.astype("str").fillna("")
    return pd.DataFrame(texts, index=results.index)


def _titled(texts: pd.DataFrame) -> pd.DataFrame:
    titles = {column.name: heading(column) for column in TABLES["examinations"].columns}
    return texts.rename(columns=titles)
