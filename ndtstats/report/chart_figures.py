"""Pictures of comparisons, control charts and what is hidden: from a data frame to a plotly figure.

A grey bar is where chance alone puts a mark; a mark outside its bar asks for a look. Whatever is
marked differs in shape or carries a word, besides its colour.
"""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ndtstats.report.plotting import (
    BLUE,
    GREY,
    LIGHT,
    MIDDLE,
    RED,
    USUAL,
    each,
    escaped,
    layout,
    shortened,
)

if TYPE_CHECKING:
    import plotly.graph_objects as go

#: A ratio axis shows at least this much, so that small differences look small.
_LEAST_TOP = 3.0


def funnel_figure(table: pd.DataFrame, by: str = "welder") -> "go.Figure | None":
    """Return observed ÷ expected by the rejects expected, with the limits of chance.

    Parameters
    ----------
    table : DataFrame
        Of :class:`ndtstats.rates.compare.Comparison`.
    by : str
        Column that names the marks.

    Notes
    -----
    The limits differ from one to the next with their work and with how its spots lie on joints, so
    each has its own bar instead of one curve for all (Spiegelhalter 2005, Stat. Med. 24:1185).
    """
    import plotly.graph_objects as go  # noqa: PLC0415  (heavy)

    rows = table[table["expected"] > 0].sort_values("expected", kind="stable")
    if rows.empty:
        return None
    figure = go.Figure()
    for name, percent, colour, width in (
        ("998", "99.8 %", LIGHT, 9), ("95", "95 %", MIDDLE, 5)
    ):  # fmt: skip
        low, high = rows[f"funnel_lower_{name}"], rows[f"funnel_upper_{name}"]
        figure.add_scatter(
            **_bars(rows["expected"], low, high, colour, width), name=f"{percent} by chance"
        )
    beyond = (rows["funnel"] != "within").to_numpy()
    names = [escaped(shortened(str(name), 24)) for name in rows[by]]
    figure.add_scatter(
        x=rows["expected"].tolist(), y=rows["ratio"].tolist(), mode="markers+text",
        text=[name if out else "" for name, out in zip(names, beyond, strict=True)],
        textposition="middle right", cliponaxis=False, showlegend=False, marker=_marked(beyond),
        hovertext=[f"{name}<br>{told}" for name, told in zip(names, _ratios(rows), strict=True)],
        hovertemplate="%{hovertext}<extra></extra>",
    )  # fmt: skip
    figure.add_hline(y=1, line={"color": USUAL, "dash": "dash", "width": 1.5})
    top = max(1.15 * float(rows["ratio"].max()), _LEAST_TOP)
    right = 1.18 * float(rows["expected"].max())
    figure.update_layout(
        layout(
            380,
            xaxis={"title": {"text": "rejects to be expected [number]"}, "range": [0, right]},
            yaxis={"title": {"text": "observed ÷ expected"}, "range": [0, top]},
        )
    )
    return figure


def ratios_figure(table: pd.DataFrame, by: str = "welder") -> "go.Figure | None":
    """Return observed ÷ expected with bounds, one line each, in the order of the table.

    Parameters
    ----------
    table : DataFrame
        Of :class:`ndtstats.rates.compare.Comparison`, or some rows of it; with a column ``marked``
        (bool) those are diamonds, else those that stand out.
    by : str
        Column that names the lines.
    """
    import plotly.graph_objects as go  # noqa: PLC0415

    rows = table[table["expected"] > 0].iloc[::-1]
    marked = rows["marked"] if "marked" in rows else rows["stands_out"] != ""
    if rows.empty:
        return None
    ratio = rows["ratio"]
    figure = go.Figure()
    figure.add_scatter(
        x=ratio.tolist(),
        y=[
            f"{escaped(shortened(str(name), 24))}, {k:,.0f} of {n:,.0f}"
            for name, k, n in zip(rows[by], rows["rejected"], rows["examined"], strict=True)
        ],
        error_x={
            "type": "data", "symmetric": False, "thickness": 1.5, "width": 4, "color": GREY,
            "array": (rows["ratio_upper"] - ratio).tolist(),
            "arrayminus": (ratio - rows["ratio_lower"]).tolist(),
        },
        mode="markers", showlegend=False, hovertext=_ratios(rows),
        marker=_marked(marked.to_numpy()),
        hovertemplate="%{y}<br>%{hovertext}<extra></extra>",
    )  # fmt: skip
    figure.add_vline(x=1, line={"color": USUAL, "dash": "dash", "width": 1.5})
    figure.add_annotation(
        x=1, y=1.0, yref="paper", yanchor="bottom", showarrow=False, xanchor="left",
        text="as expected", font={"color": USUAL, "size": 12},
    )  # fmt: skip
    # One with hardly any data has bounds that would leave no room for the others.
    top = max(min(float(rows["ratio_upper"].max()), 2.5 * float(ratio.max())) * 1.05, _LEAST_TOP)
    figure.update_layout(
        layout(
            110 + 28 * len(rows),
            xaxis={"title": {"text": "rejects, observed ÷ expected"}, "range": [0, top]},
            yaxis={"title": {"text": ""}, "type": "category"},
        )
    )
    figure.update_layout(margin={"t": 28})
    return figure


#: What a control chart can show: columns of value, limits, signal; axis title; times what.
_CHARTS = {
    "share": ("share", "centre", "lower", "upper", "signal", "rejected [%]", 100.0),
    "per metre": (
        "per_m", "per_m_centre", "per_m_lower", "per_m_upper", "per_m_signal",
        "rejectable indications [per m]", 1.0,
    ),
    "EWMA": (
        "ewma", None, "ewma_lower", "ewma_upper", "ewma_signal",
        "moving average [standard deviations]", 1.0,
    ),
}  # fmt: skip


def chart_figure(months: pd.DataFrame, chart: str = "share") -> "go.Figure | None":
    """Return a control chart by month: each month before the limits of chance, signals marked.

    Parameters
    ----------
    months : DataFrame
        Of :class:`ndtstats.rates.trend_charts.Trend`.
    chart : {"share", "per metre", "EWMA"}
        Which of its charts.
    """
    import plotly.graph_objects as go  # noqa: PLC0415

    value, centre, lower, upper, signal, title, times = _CHARTS[chart]
    rows = months[months["examined"] > 0] if len(months) else months
    if rows.empty:
        return None
    width = float(np.clip(260 / len(rows), 3, 14))
    low, high = times * rows[lower], times * rows[upper]
    figure = go.Figure()
    if low.notna().any():
        bars = _bars(rows["month"], low, high, LIGHT, width)
        figure.add_scatter(**bars, name="by chance")
    found = (rows[signal] != "").to_numpy()
    told = rows.assign(value=times * rows[value], low=low, high=high)
    figure.add_scatter(
        x=rows["month"].tolist(), y=(times * rows[value]).tolist(), mode="lines+markers+text",
        line={"color": BLUE, "width": 1.5, "dash": "dot"}, marker=_marked(found),
        text=rows[signal].tolist(), textposition="top center", cliponaxis=False, showlegend=False,
        hovertext=[
            f"{row.rejected:,.0f} of {row.examined:,.0f} rejected<br>{row.value:.3g}"
            f"{_limits(row.low, row.high)}"
            for row in each(told)
        ],
        hovertemplate="%{x}<br>%{hovertext}<extra></extra>",
    )  # fmt: skip
    if centre is not None:
        usual = times * float(rows[centre].max())
        figure.add_hline(y=usual, line={"color": USUAL, "dash": "dash", "width": 1.5})
    figure.update_layout(
        layout(
            340,
            xaxis={"title": {"text": "month of examination"}, "type": "category"},
            yaxis={"title": {"text": title}, **_range(told, floor=chart != "EWMA")},
        )
    )
    return figure


def hidden_figure(table: pd.DataFrame, by: str = "zone") -> "go.Figure | None":
    """Return what is likely hidden, with the bound that it stays below, one line each.

    Parameters
    ----------
    table : DataFrame
        Of :class:`ndtstats.rates.hidden.Hidden`, or some rows of it.
    by : str
        Column that names the lines.
    """
    import plotly.graph_objects as go  # noqa: PLC0415

    rows = table[table["unexamined_m"] > 0].iloc[::-1]
    if rows.empty:
        return None
    figure = go.Figure(
        go.Bar(
            x=rows["mean"].tolist(), orientation="h", showlegend=False,
            y=[
                f"{escaped(shortened(str(name), 24))}, {metres:,.1f} m"
                for name, metres in zip(rows[by], rows["unexamined_m"], strict=True)
            ],
            marker={"color": BLUE},
            error_x={
                "type": "data", "symmetric": False, "thickness": 1.5, "width": 4, "color": GREY,
                "array": (rows["upper"] - rows["mean"]).clip(lower=0).tolist(),
                "arrayminus": [0.0] * len(rows),
            },
            hovertext=[
                f"{row.mean:,.1f} expected, at most {row.upper:,.0f} "
                f"({100 * row.level:g} %)<br>{row.found:,.0f} found in "
                f"{row.examined_m:,.1f} m<br>{row.unexamined_m:,.1f} m not examined"
                for row in each(rows)
            ],
            hovertemplate="%{y}<br>%{hovertext}<extra></extra>",
        )
    )  # fmt: skip
    title = "likely still hidden [number]"
    figure.update_layout(
        layout(
            110 + 30 * len(rows),
            xaxis={"title": {"text": title}, "rangemode": "tozero"},
            yaxis={"title": {"text": ""}, "type": "category"},
        )
    )
    return figure


def _bars(x: Any, low: Any, high: Any, colour: str, width: float) -> dict[str, Any]:
    """Return a trace of upright grey bars from low to high."""
    middle = (np.asarray(low, float) + np.asarray(high, float)) / 2
    half = (np.asarray(high, float) - np.asarray(low, float)) / 2
    return {
        "x": np.asarray(x).tolist(), "y": middle.tolist(), "mode": "markers",
        "marker": {"color": colour, "size": 1, "symbol": "line-ew"}, "hoverinfo": "skip",
        "error_y": {"type": "data", "array": half.tolist(), "color": colour, "thickness": width,
                    "width": 0},
        "showlegend": False,
    }  # fmt: skip


def _marked(out: Any) -> dict[str, Any]:
    """Return marks of which some ask for attention, by shape and size besides colour."""
    return {
        "color": [RED if mark else BLUE for mark in out],
        "symbol": ["diamond" if mark else "circle" for mark in out],
        "size": [12 if mark else 9 for mark in out],
        "opacity": 1,
    }


def _ratios(rows: pd.DataFrame) -> list[str]:
    return [
        f"{row.rejected:,.0f} of {row.examined:,.0f} rejected, {row.expected:,.1f} expected<br>"
        f"ratio {row.ratio:.2f} ({row.ratio_lower:.2f} to {row.ratio_upper:.2f})"
        for row in each(rows)
    ]


def _limits(low: float, high: float) -> str:
    return "" if np.isnan(low) else f"; by chance {low:.3g} to {high:.3g}"


def _range(rows: pd.DataFrame, *, floor: bool) -> dict[str, Any]:
    """Return the range of a chart's axis: all of it, with room for the word of a signal."""
    top = float(np.nanmax(rows[["value", "high"]].to_numpy(float)))
    bottom = 0.0 if floor else float(np.nanmin(rows[["value", "low"]].to_numpy(float)))
    room = 0.1 * ((top - bottom) or 1.0)
    return {"range": [bottom if floor else bottom - room, top + room]}
