"""Pictures of what exposures buy, as text for the terminal and as files."""

from pathlib import Path

import numpy as np

from ndtstats.planning import Worth, worth_by_step
from ndtstats.report.chart_text import curves_text
from ndtstats.report.oc_figures import Line, Panel, html_table, write_panels

_FOUND, _NOTICED = "found, of all that is there", "everybody above the limit noticed"


def value_text(worth: Worth) -> str:
    """Return the curve of what exposures buy as text: shares of all that is there, in per cent."""
    curve = worth.curve
    if len(curve) < 2:
        return ""
    lines = {_NOTICED: curve["caught"], _FOUND: _found(worth)}
    title = f"exposures ({worth.planned:,} are planned)"
    return curves_text(curve["exposures"], lines, x_title=title, percent=True)


def write_value_picture(worth: Worth, path: Path, step: int = 10) -> None:
    """Write the curve of what exposures buy to a file, as its ending says.

    Parameters
    ----------
    worth : Worth
        What exposures buy.
    path : Path
        Ends in ``.html`` (a page with everything in it) or ``.svg``.
    step : int
        Exposures from one row of the table of a page to the next.

    Raises
    ------
    UseError
        If the ending is another one.
    CannotGoOn
        If the file cannot be written.
    """
    lines = (
        Line(_NOTICED, 100 * worth.curve["caught"].to_numpy(float)),
        Line(_FOUND, 100 * _found(worth)),
    )
    at = worth.curve["exposures"].to_numpy(float)
    title = f"exposures ({worth.planned:,} are planned)"
    panel = Panel("%", at, lines, top=103.0, x_title=title)
    steps = worth_by_step(worth, step)
    columns = {
        "exposures": steps["exposures"].map("{:,}".format),
        "spent on": steps["part"],
        "found": steps["found"].map("{:,.2f}".format),
        "all above the limit noticed": (100 * steps["caught"]).map("{:.1f} %".format),
        "still hidden": steps["hidden"].map("{:,.1f}".format),
    }
    table = html_table(list(columns), [column.tolist() for column in columns.values()])
    limits = f"Expected, not promised: {worth.likelihood.sentence}"
    write_panels([panel], table, worth.sentence, path, limits=limits)


def _found(worth: Worth) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    found = worth.curve["found"].to_numpy(float)
    return found / (float(worth.curve["hidden"].iloc[0]) or 1.0)
