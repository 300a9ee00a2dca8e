"""Pictures of how the contractor answers: from a data frame to a plotly figure."""

from typing import TYPE_CHECKING

import pandas as pd

from ndtstats.report.plotting import BLUE, GREY, LIGHT, layout

if TYPE_CHECKING:
    import plotly.graph_objects as go


def reshoots_figure(months: pd.DataFrame) -> "go.Figure | None":
    """Return the share of exposures taken again, month by month, with bounds.

    Parameters
    ----------
    months : DataFrame
        Of :func:`ndtstats.request.turnaround.image_quality` by month.

    Returns
    -------
    Figure or None
        None where nothing was taken.
    """
    import plotly.graph_objects as go  # noqa: PLC0415  (heavy)

    if months.empty:
        return None
    share = 100 * months["rate"]
    numbers = months[["reshoots", "taken", "rate", "lower", "upper"]].to_numpy(float)
    told = [
        f"{again:,.0f} of {taken:,.0f} taken again<br>{100 * rate:.1f} % "
        f"({100 * low:.1f} to {100 * high:.1f} %)"
        for again, taken, rate, low, high in numbers
    ]
    figure = go.Figure(
        go.Scatter(
            x=months["month"].tolist(), y=share.tolist(), mode="markers", cliponaxis=False,
            error_y={
                "type": "data", "symmetric": False, "thickness": 1.5, "width": 4, "color": GREY,
                "array": (100 * months["upper"] - share).tolist(),
                "arrayminus": (share - 100 * months["lower"]).tolist(),
            },
            marker={"color": BLUE, "size": 9}, showlegend=False,
            hovertext=told, hovertemplate="%{x}<br>%{hovertext}<extra></extra>",
        )
    )  # fmt: skip
    top = min(100.0, 105 * float(months["upper"].max()))
    figure.update_layout(
        layout(
            320,
            xaxis={"title": {"text": "month of examination"}, "type": "category"},
            yaxis={"title": {"text": "taken again [% of exposures]"}, "range": [0, top]},
        )
    )
    return figure


def turnaround_figure(curve: pd.DataFrame) -> "go.Figure | None":
    """Return the share of requests examined within so many days, with bounds.

    Parameters
    ----------
    curve : DataFrame
        Of :func:`ndtstats.statistics.waiting.answered_within`.

    Returns
    -------
    Figure or None
        None where no request was examined yet.
    """
    import plotly.graph_objects as go  # noqa: PLC0415

    if curve.empty:
        return None
    days = [0.0, *curve["days"].tolist()]
    share, lower, upper = (
        [0.0, *(100 * curve[name]).tolist()] for name in ("share", "lower", "upper")
    )
    numbers = curve[["answered", "waiting", "share", "lower", "upper"]].to_numpy(float)
    told = ["none yet"] + [
        f"{answered:,.0f} of {waiting:,.0f} still waiting were examined then<br>"
        f"{100 * by_then:.1f} % by then ({100 * low:.1f} to {100 * high:.1f} %)"
        for answered, waiting, by_then, low, high in numbers
    ]
    step = {"shape": "hv", "width": 0}
    figure = go.Figure()
    figure.add_scatter(x=days, y=lower, mode="lines", line=step, hoverinfo="skip", showlegend=False)
    figure.add_scatter(
        x=days, y=upper, mode="lines", line=step, fill="tonexty", fillcolor=LIGHT,
        hoverinfo="skip", name="bounds",
    )  # fmt: skip
    figure.add_scatter(
        x=days, y=share, mode="lines+markers", line={"shape": "hv", "width": 2, "color": BLUE},
        marker={"size": 5, "color": BLUE}, hovertext=told, name="examined",
        hovertemplate="day %{x:.0f}<br>%{hovertext}<extra></extra>",
    )  # fmt: skip
    figure.update_layout(
        layout(
            340,
            xaxis={"title": {"text": "days from request to examination"}, "rangemode": "tozero"},
            yaxis={"title": {"text": "examined [% of requests]"}, "range": [0, 103]},
        )
    )
    return figure
