"""Pictures: each from a data frame to a plotly figure, here and in a notebook alike.

Intervals are always drawn; the numbers behind a mark show when it is pointed at. A frame without
rows gives None, and the page a sentence instead of an empty box. More of them, of comparisons and
charts, are in :mod:`ndtstats.report.chart_figures`.
"""

from typing import TYPE_CHECKING, Any

import pandas as pd

from ndtstats.report.plotting import (
    BLUE,
    GREEN,
    GREY,
    INK,
    MIDDLE,
    ORANGE,
    RED,
    USUAL,
    escaped,
    layout,
    shortened,
    wrapped,
)

if TYPE_CHECKING:
    import plotly.graph_objects as go


def _interval(rows: pd.DataFrame) -> dict[str, Any]:
    return {
        "type": "data", "symmetric": False, "thickness": 1.5, "width": 4,
        "array": (100 * (rows["upper"] - rows["rate"])).tolist(),
        "arrayminus": (100 * (rows["rate"] - rows["lower"])).tolist(),
    }  # fmt: skip


def _pointed_at(rows: pd.DataFrame) -> list[str]:
    numbers = rows[["rejected", "examined", "rate", "lower", "upper"]].to_numpy(float)
    return [
        f"{rejected:,.0f} of {examined:,.0f} rejected<br>"
        f"{100 * rate:.1f} % ({100 * lower:.1f} to {100 * upper:.1f} %)"
        for rejected, examined, rate, lower, upper in numbers
    ]


def rates_figure(table: pd.DataFrame, usual: float, group: str = "welder") -> "go.Figure | None":
    """Return reject rates with their intervals, one line a group, and the rate of all together.

    Parameters
    ----------
    table : DataFrame
        Rates of one basis: ``group`` column, ``rejected``, ``examined``, ``rate``, ``lower``,
        ``upper``; with ``shrunk``, ``shrunk_lower``, ``shrunk_upper`` these stand below each.
    usual : float
        Rate of all together on the same basis.
    group : str
        Column that names the lines.

    Returns
    -------
    Figure or None
        None where nothing was examined.
    """
    import plotly.graph_objects as go  # noqa: PLC0415  (heavy)

    rows = table[table["examined"] > 0].sort_values(group, ascending=False)
    if rows.empty:
        return None
    names = [
        f"{escaped(shortened(str(name), 24))}, {n:,.0f} {'spot' if n == 1 else 'spots'}"
        for name, n in zip(rows[group], rows["examined"], strict=True)
    ]
    drawn = [_rates(rows, names)]
    if "shrunk" in rows:
        drawn.append(_shrunk_rates(rows, names))
    figure = go.Figure(drawn)
    figure.add_vline(x=100 * usual, line={"color": USUAL, "dash": "dash", "width": 1.5})
    figure.add_annotation(
        x=100 * usual, y=1.0, yref="paper", yanchor="bottom", showarrow=False, xanchor="left",
        text=f"all: {100 * usual:.1f} %", font={"color": USUAL, "size": 12},
    )  # fmt: skip
    top = min(100.0, 100 * float(rows["upper"].max()) * 1.05)
    # At the very top, above the word at the dashed line.
    legend = {"orientation": "h", "yref": "container", "y": 1.0, "yanchor": "top", "x": 0}
    figure.update_layout(
        layout(
            (134 + 36 * len(rows)) if "shrunk" in rows else (110 + 26 * len(rows)),
            xaxis={"title": {"text": "rejected [%]"}, "range": [0, top]},
            yaxis={"title": {"text": ""}, "type": "category"},
            scattermode="group", scattergap=0.5, legend=legend,
        )
    )  # fmt: skip
    figure.update_layout(margin={"t": 52 if "shrunk" in rows else 28})
    return figure


def _rates(rows: pd.DataFrame, names: list[str]) -> dict[str, Any]:
    return {
        "type": "scatter", "name": "found", "x": (100 * rows["rate"]).tolist(), "y": names,
        "error_x": {**_interval(rows), "color": GREY}, "mode": "markers", "cliponaxis": False,
        "orientation": "h", "marker": {"color": BLUE, "size": 9}, "hovertext": _pointed_at(rows),
        "hovertemplate": "%{y}<br>%{hovertext}<extra></extra>", "showlegend": "shrunk" in rows,
    }  # fmt: skip


def _shrunk_rates(rows: pd.DataFrame, names: list[str]) -> dict[str, Any]:
    drawn = rows.assign(
        rate=rows["shrunk"], lower=rows["shrunk_lower"], upper=rows["shrunk_upper"]
    )  # fmt: skip
    told = [
        f"{100 * rate:.1f} % ({100 * low:.1f} to {100 * high:.1f} %)"
        for rate, low, high in drawn[["rate", "lower", "upper"]].to_numpy(float)
    ]
    return {
        "type": "scatter", "name": "shrunk", "x": (100 * drawn["rate"]).tolist(), "y": names,
        "error_x": {**_interval(drawn), "color": MIDDLE}, "mode": "markers", "cliponaxis": False,
        "orientation": "h", "marker": {"color": "white", "size": 8, "symbol": "diamond",
        "line": {"color": BLUE, "width": 1.5}}, "hovertext": told,
        "hovertemplate": "%{y}<br>shrunk %{hovertext}<extra></extra>", "showlegend": True,
    }  # fmt: skip


def trend_figure(table: pd.DataFrame) -> "go.Figure | None":
    """Return the reject rate by month with its interval.

    Parameters
    ----------
    table : DataFrame
        Rates of one basis with a column ``month`` such as "2026-03".
    """
    import plotly.graph_objects as go  # noqa: PLC0415

    rows = table[table["examined"] > 0].sort_values("month")
    if rows.empty:
        return None
    figure = go.Figure(
        go.Scatter(
            x=rows["month"].tolist(),
            y=(100 * rows["rate"]).tolist(),
            error_y={**_interval(rows), "color": GREY},
            mode="lines+markers",
            cliponaxis=False,
            line={"color": BLUE, "width": 1.5, "dash": "dot"},
            marker={"color": BLUE, "size": 9},
            hovertext=_pointed_at(rows),
            hovertemplate="%{x}<br>%{hovertext}<extra></extra>",
            showlegend=False,
        )
    )
    top = min(100.0, 100 * float(rows["upper"].max()) * 1.05)
    figure.update_layout(
        layout(
            340,
            xaxis={"title": {"text": "month of examination"}, "type": "category"},
            yaxis={"title": {"text": "rejected [%]"}, "range": [0, top]},
        )
    )
    return figure


def extent_figure(table: pd.DataFrame) -> "go.Figure | None":
    """Return how far each extent rule is met, in per cent of what it requires.

    Parameters
    ----------
    table : DataFrame
        As :func:`ndtstats.extent.extent` gives it.
    """
    import plotly.graph_objects as go  # noqa: PLC0415

    rows = table[table["required"] > 0].iloc[::-1] if len(table) else table
    if rows.empty:
        return None
    share = 100 * rows["achieved"] / rows["required"]
    met = (rows["state"] == "met").tolist()
    names = [
        wrapped(f"{rule}, {method}")
        for rule, method in zip(rows["rule"], rows["method"], strict=True)
    ]
    told = [f"{row.achieved:,.0f} of {row.required:,.0f} {row.unit}" for row in rows.itertuples()]
    figure = go.Figure(
        go.Bar(
            x=share.clip(upper=150).tolist(),
            y=names,
            orientation="h",
            marker={
                "color": [GREEN if m else ORANGE for m in met],
                "pattern": {"shape": ["" if m else "/" for m in met]},
            },
            text=[f"{s:,.0f} %" for s in share],
            textposition="inside",
            insidetextanchor="start",
            textfont={"color": INK},
            hovertext=told,
            hovertemplate="%{y}<br>%{hovertext}<extra></extra>",
            showlegend=False,
        )
    )
    figure.add_vline(x=100, line={"color": INK, "width": 1.5})
    figure.update_layout(
        layout(
            110 + 38 * len(rows),
            xaxis={"title": {"text": "% of required"}, "range": [0, 155]},
            yaxis={"title": {"text": ""}, "type": "category"},
        )
    )
    return figure


def value_figure(curve: pd.DataFrame, planned: int) -> "go.Figure | None":
    """Return what exposures are expected to find, and how sure everybody bad is noticed.

    Parameters
    ----------
    curve : DataFrame
        Curve of :class:`ndtstats.planning.Worth`.
    planned : int
        Exposures that are planned; those to the right of the line are further ones.
    """
    import plotly.graph_objects as go  # noqa: PLC0415

    there = float(curve["hidden"].iloc[0])
    if len(curve) < 2 or there <= 0:
        return None
    figure = go.Figure()
    shown = (
        (100 * curve["found"] / there, "found, of all that is there", BLUE, "solid"),
        (100 * curve["caught"], "everybody above the limit noticed", RED, "dash"),
    )
    for values, name, colour, dash in shown:
        figure.add_scatter(
            x=curve["exposures"].tolist(), y=values.tolist(), name=name, mode="lines",
            line={"color": colour, "dash": dash, "width": 2},
            hovertemplate="%{x} exposures<br>%{y:.1f} %",
        )  # fmt: skip
    if planned:
        figure.add_vline(x=planned, line={"color": GREY, "dash": "dot", "width": 1.5})
    figure.update_layout(
        layout(
            360,
            xaxis={"title": {"text": "exposures"}, "rangemode": "tozero"},
            yaxis={"title": {"text": "share [%]"}, "range": [0, 103]},
        )
    )
    return figure


def noticed_figure(table: pd.DataFrame) -> "go.Figure | None":
    """Return how likely a welder is noticed, by his true rate.

    Parameters
    ----------
    table : DataFrame
        As :func:`ndtstats.planning.noticed` gives it.
    """
    import plotly.graph_objects as go  # noqa: PLC0415

    if table.empty:
        return None
    figure = go.Figure()
    styles = zip((RED, BLUE, GREEN), ("dash", "solid", "dot"), strict=True)
    for name, (colour, dash) in zip(table.columns.drop("rate"), styles, strict=False):
        figure.add_scatter(
            x=(100 * table["rate"]).tolist(), y=(100 * table[name]).tolist(), mode="lines",
            name=escaped(shortened(str(name), 32)), showlegend=True,
            line={"color": colour, "dash": dash, "width": 2},
            hovertemplate="%{x:.0f} % bad<br>noticed with %{y:.0f} %",
        )  # fmt: skip
    figure.update_layout(
        layout(
            340,
            xaxis={"title": {"text": "true share of bad places [%]"}, "rangemode": "tozero"},
            yaxis={"title": {"text": "noticed [%]"}, "range": [0, 103]},
        )
    )
    return figure
