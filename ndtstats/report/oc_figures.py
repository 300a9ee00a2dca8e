"""Pictures of plans: chance of passing or being caught, rate left, number examined, by true rate.

One description of the panels, drawn twice: with plotly for a page one can point at, and by
:mod:`ndtstats.report.oc_svg` as a small still picture. Neither needs a network.
"""

import html
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import CannotGoOn, UseError

if TYPE_CHECKING:
    import plotly.graph_objects as go

#: Okabe & Ito 2008: told apart by colour-blind eyes; lines differ by their dashes as well.
COLOURS = ("#0072B2", "#D55E00", "#009E73")
DASHES = ("solid", "dash", "dot")

RATE_TITLE = "true share that is bad (%)"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a panel; ``y`` in the unit of the panel's axis."""

    name: str
    y: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Panel:
    """Lines over a true rate in per cent, or what else, from 0 up to ``top`` (None: as they go)."""

    y_title: str
    x: npt.NDArray[np.float64]
    lines: tuple[Line, ...]
    top: float | None = None
    x_title: str = RATE_TITLE


#: Headings of a curve's columns in a table.
HEADINGS = {
    "rate": "bad",
    "pass_first_probability": "passes at the first sample",
    "pass_probability": "passes",
    "fail_probability": "fails",
    "undecided_probability": "left undecided",
    "outgoing_rate": "bad left after repair, average",
    "average_examined": "examined, average",
    "caught_probability": "caught",
    "caught_first_probability": "caught by the first plan",
    "caught_second_probability": "caught by the second plan",
}

#: The panels from top to bottom, each with the columns it draws.
_PANELS = (
    ("caught_probability", "caught_first_probability", "caught_second_probability"),
    ("pass_probability", "pass_first_probability", "undecided_probability"),
    ("outgoing_rate",),
    ("average_examined",),
)


def unit_of(column: str) -> str:
    """Return the unit a column is shown in: per cent, but for numbers of places."""
    return "number" if column == "average_examined" else "%"


def in_unit(curve: pd.DataFrame, column: str) -> npt.NDArray[np.float64]:
    """Return a column in the unit it is shown in."""
    return curve[column].to_numpy(float) * (100 if unit_of(column) == "%" else 1)


def panels(curve: pd.DataFrame) -> list[Panel]:
    """Return the panels that the columns of a curve fill.

    Parameters
    ----------
    curve : DataFrame
        As from :func:`ndtstats.statistics.acceptance.single_curve`, ``double_curve`` or
        ``sequential_curve``: ``rate``, and any of the columns that these have; or the columns of a
        simulated plan (``caught_probability``), or of two.

    Examples
    --------
    >>> from ndtstats.statistics.acceptance import single_curve
    >>> [panel.y_title for panel in panels(single_curve(52, 3))]
    ['chance (%)', 'bad left after repair, average (%)']
    """
    found = []
    for columns in _PANELS:
        there = [column for column in columns if column in curve]
        if not there:
            continue
        lines = tuple(Line(HEADINGS[column], in_unit(curve, column)) for column in there)
        chance = columns[0].endswith("_probability")
        name = "chance" if chance else HEADINGS[columns[0]]
        title = f"{name} ({unit_of(columns[0])})"
        found.append(Panel(title, in_unit(curve, "rate"), lines, 100.0 if chance else None))
    return found


def operating_figure(curve: pd.DataFrame) -> "go.Figure":
    """Return the plotly figure of a curve, one panel below the other.

    Parameters
    ----------
    curve : DataFrame
        As for :func:`panels`.
    """
    return panels_figure(panels(curve))


def panels_figure(drawn: Sequence[Panel]) -> "go.Figure":
    """Return the plotly figure of panels over one axis, one below the other."""
    import plotly.graph_objects as go  # noqa: PLC0415  (only where a page is written)
    from plotly.subplots import make_subplots  # noqa: PLC0415

    figure = make_subplots(rows=len(drawn), cols=1, shared_xaxes=True, vertical_spacing=0.08)
    for row, panel in enumerate(drawn, start=1):
        for line, colour, dash in zip(panel.lines, COLOURS, DASHES, strict=False):
            figure.add_trace(
                go.Scatter(
                    x=panel.x,
                    y=line.y,
                    name=line.name,
                    showlegend=len(panel.lines) > 1,
                    line={"color": colour, "dash": dash},
                    hovertemplate=f"{panel.x_title}: %{{x:.3g}}<br>%{{y:.3g}}",
                ),
                row=row,
                col=1,
            )
        top = panel.top or 1.05 * max(line.y.max() for line in panel.lines)
        figure.update_yaxes(title_text=panel.y_title, range=[0, top or 1], row=row, col=1)
    figure.update_xaxes(title_text=drawn[-1].x_title, rangemode="tozero", row=len(drawn), col=1)
    figure.update_layout(
        template="simple_white",
        height=60 + 320 * len(drawn),
        legend={"orientation": "h", "y": 1.02, "yanchor": "bottom"},
    )
    return figure


def write_picture(curve: pd.DataFrame, table: pd.DataFrame, conclusion: str, path: Path) -> None:
    """Write the picture of a curve to a file, as its ending says.

    Parameters
    ----------
    curve : DataFrame
        As for :func:`panels`, with enough rates for a smooth line.
    table : DataFrame
        The same curve at a few rates, for the table of a page.
    conclusion : str
        The sentence above the picture.
    path : Path
        Ends in ``.html`` (a page with everything in it) or ``.svg``; a file there is replaced.

    Raises
    ------
    UseError
        If the ending is another one.
    CannotGoOn
        If the file cannot be written.
    """
    write_panels(panels(curve), _html_table(table), conclusion, path)


def write_panels(
    drawn: Sequence[Panel],
    table: str,
    conclusion: str,
    path: Path,
    *,
    limits: str = "Holds for places chosen by chance.",
) -> None:
    """Write panels to a file, as its ending says: :func:`write_picture` for any panels.

    Parameters
    ----------
    drawn : sequence of Panel
        Over one axis.
    table : str
        The same figures as an HTML table, for a page.
    conclusion, path, and what is raised
        As for :func:`write_picture`.
    limits : str
        Sentence below a page: what it holds for.
    """
    from ndtstats.report.oc_svg import panels_svg  # noqa: PLC0415  (it imports this module)

    match path.suffix.lower():
        case ".html":
            text = _page(drawn, table, conclusion, limits)
        case ".svg":
            text = panels_svg(drawn, conclusion)
        case _:
            raise UseError(f'a picture is a .html or a .svg file; "{path.name}" is neither')
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise CannotGoOn(f"the picture cannot be written to {path}: {error.strerror}") from error


def _page(drawn: Sequence[Panel], table: str, conclusion: str, limits: str) -> str:
    """Return a page of its own: the sentence, the picture, the table; it loads nothing."""
    figure = panels_figure(drawn).to_html(
        full_html=False,
        include_plotlyjs=True,
        div_id="operating-characteristic",  # a fixed one, so that the same data is the same file
        config={"displaylogo": False, "responsive": True},
    )
    told, holds = html.escape(conclusion), html.escape(limits)
    return _PAGE.format(conclusion=told, figure=figure, table=table, limits=holds)


def _html_table(table: pd.DataFrame) -> str:
    headings = [f"{HEADINGS[str(c)]} ({unit_of(str(c))})" for c in table]
    return html_table(headings, [[f"{v:,.4g}" for v in in_unit(table, str(c))] for c in table])


def html_table(headings: Sequence[str], shown: Sequence[Sequence[str]]) -> str:
    """Return columns of text as an HTML table."""

    def row(cells: Sequence[object], tag: str) -> str:
        return "<tr>" + "".join(f"<{tag}>{html.escape(str(c))}</{tag}>" for c in cells) + "</tr>"

    head = row(headings, "th")
    body = "\n".join(row(cells, "td") for cells in zip(*shown, strict=True))
    return f"<table>\n<thead>{head}</thead>\n<tbody>\n{body}\n</tbody>\n</table>"


_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Examination plan</title>
<style>
body {{ font: 16px/1.5 sans-serif; max-width: 60rem; margin: 0 auto; padding: 1rem; }}
h1 {{ font-size: 1.25rem; font-weight: 600; }}
figure {{ margin: 1rem 0; overflow-x: auto; }}
table {{ border-collapse: collapse; }}
th, td {{ padding: 0.2rem 1rem 0.2rem 0; text-align: right; border-bottom: 1px solid #ccc; }}
</style>
</head>
<body>
<h1>{conclusion}</h1>
<figure>{figure}</figure>
<figure>{table}</figure>
<p>{limits} Contract, local code and certified personnel decide what is
examined and what is accepted.</p>
</body>
</html>
"""
