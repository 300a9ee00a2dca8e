"""Pictures of what exposures buy."""

from ndtstats.planning import Worth
from ndtstats.report.chart_text import curves_text


def value_text(worth: Worth) -> str:
    """Return the curve of what exposures buy as text: shares of all that is there, in per cent."""
    curve = worth.curve
    there = float(curve["hidden"].iloc[0]) or 1.0
    if len(curve) < 2:
        return ""
    lines = {
        "everybody above the limit noticed": curve["caught"],
        "found, of all that is there": curve["found"] / there,
    }
    title = f"exposures ({worth.planned:,} are planned)"
    return curves_text(curve["exposures"], lines, x_title=title, percent=True)
