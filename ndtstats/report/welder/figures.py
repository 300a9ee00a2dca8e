"""Pictures of one welder's figures: from a data frame to a plotly figure."""

import math
from typing import TYPE_CHECKING, Any

import pandas as pd

from ndtstats.report.plotting import BLUE, GREY, LIGHT, escaped, layout, shortened

if TYPE_CHECKING:
    import plotly.graph_objects as go

_NUMBERS = ["rejected", "examined", "rate", "lower", "upper"]


def beside_figure(rows: pd.DataFrame, low: float, high: float) -> "go.Figure | None":
    """Return rates with their bounds, one line each, before the range of the shop.

    Parameters
    ----------
    rows : DataFrame
        ``name``, ``rejected``, ``examined``, ``rate``, ``lower``, ``upper``.
    low, high : float
        Range of the shop; missing: none is drawn.

    Returns
    -------
    Figure or None
        None where there is no row.
    """
    told = [
        f"{rejected:,.0f} of {examined:,.0f} rejected<br>{100 * rate:.1f} % "
        f"({100 * lower:.1f} to {100 * upper:.1f} %)"
        for rejected, examined, rate, lower, upper in rows[_NUMBERS].to_numpy(float)
    ]
    scaled = rows.assign(**{name: 100 * rows[name] for name in ("rate", "lower", "upper")})
    figure = _lines(scaled, told, "rejected [%]", 100.0)
    if figure is not None and not math.isnan(low):
        figure.add_vrect(
            x0=100 * low, x1=100 * high, fillcolor=LIGHT, line={"width": 0}, layer="below"
        )
        figure.add_annotation(
            x=50 * (low + high), y=1.0, yref="paper", yanchor="bottom", showarrow=False,
            text="the shop", font={"color": GREY, "size": 12},
        )  # fmt: skip
    return figure


def kinds_figure(rows: pd.DataFrame) -> "go.Figure | None":
    """Return rejectable indications per metre, by type of imperfection, with bounds.

    Parameters
    ----------
    rows : DataFrame
        ``name``, ``rejected`` (indications), ``examined`` (metres), ``rate``, ``lower``, ``upper``.

    Returns
    -------
    Figure or None
        None where there is no row.
    """
    told = [
        f"{found:,.0f} in {metres:,.1f} m<br>{rate:.2f} per m ({lower:.2f} to {upper:.2f})"
        for found, metres, rate, lower, upper in rows[_NUMBERS].to_numpy(float)
    ]
    return _lines(rows, told, "indications [per m]", math.inf)


def _lines(rows: pd.DataFrame, told: list[str], title: str, most: float) -> "go.Figure | None":
    """Return one mark with its bounds a line, the first row on top."""
    import plotly.graph_objects as go  # noqa: PLC0415  (heavy)

    if rows.empty:
        return None
    reversed_rows, bar = rows.iloc[::-1], {"type": "data", "symmetric": False, "color": GREY}
    rate = reversed_rows["rate"]
    spread: dict[str, Any] = {
        **bar, "thickness": 1.5, "width": 4,
        "array": (reversed_rows["upper"] - rate).tolist(),
        "arrayminus": (rate - reversed_rows["lower"]).tolist(),
    }  # fmt: skip
    figure = go.Figure(
        go.Scatter(
            x=rate.tolist(),
            y=[escaped(shortened(str(name), 34)) for name in reversed_rows["name"]],
            error_x=spread, mode="markers", cliponaxis=False, showlegend=False,
            marker={"color": BLUE, "size": 9}, hovertext=told[::-1],
            hovertemplate="%{y}<br>%{hovertext}<extra></extra>",
        )
    )  # fmt: skip
    top = min(most, 1.05 * float(rows["upper"].max()))
    figure.update_layout(
        layout(
            110 + 30 * len(rows),
            xaxis={"title": {"text": title}, "range": [0, top]},
            yaxis={"title": {"text": ""}, "type": "category"},
        )
    )
    figure.update_layout(margin={"t": 28})
    return figure
