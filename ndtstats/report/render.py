"""From a page to one HTML file: nothing of it comes from outside, and text is always escaped."""

import base64
import gzip
import json
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
import numpy as np
import pandas as pd
from markupsafe import Markup

from ndtstats.errors import CannotGoOn
from ndtstats.planning import noticed, worth_by_step
from ndtstats.report import figures
from ndtstats.report import formatting as show
from ndtstats.report.context import QaPage
from ndtstats.report.marks import marks_sentence
from ndtstats.report.strips import strip, zone_strip
from ndtstats.request.cautions import DECISION, PRESSURE, RADIOGRAPHY
from ndtstats.words import METHODS

_FOLDER = resources.files("ndtstats.report")

#: Terms that the page explains, each with its anchor, in this project's own words.
DEFINITIONS = (
    ("rejected", "rejected", "beyond the acceptance level at the first examination (round 0). "
     "Repairs, re-shoots and spots not done are counted apart."),
    ("unbiased", "unbiased", "rests on places that the rules require and on places drawn by "
     "chance, each weighted with 1 / its probability of being drawn. It speaks of all the welds "
     "under the rules. As the places weigh differently, the rate is not rejected ÷ examined."),
    ("described", "described", "rests on everything that was examined, however it was chosen, "
     "unweighted. It describes what was examined, not what was welded."),
    ("bounds", "bounds", "an interval that would hold the true rate in the stated share of "
     "repetitions: Clopper and Pearson 1934; for weighted rates on the effective number of spots, "
     "Korn and Graubard 1998."),
    ("worth", "worth", "the effective number of spots: so many spots, all drawn alike and each on "
     "a joint of its own, would tell as much as those examined."),
    ("extent", "extent achieved", "the union of examined lengths; what two exposures show counts "
     "once. A re-shoot or a spot not done counts nothing."),
    ("procedure", "owed", "what the escalation procedure of the rules asks for after a reject, "
     "until it is examined."),
    ("shared", "shared", "rejects that could not be laid at one welder's door; each is charged to "
     "every welder of that length, so the welders add up to more than all together."),
    ("round", "round", "0 is the first examination; R1, R2 … come after a repair."),
)  # fmt: skip

LIMITS = (
    "A method finds only part of what is there; no rate here is corrected for misses or false "
    "calls. No reject found is never proof that there is none: it is an upper bound.",
    "An interval covers chance in the choice of places, not mistakes in examination or records.",
    "A comparison of many welders finds some that differ by chance alone.",
)


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("ndtstats.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_plain,
    )
    environment.filters |= {
        "percent": show.percent, "metres": show.metres, "day": show.day, "level": show.level,
    }  # fmt: skip
    environment.globals |= {"amount": show.amount, "count": show.count, "place": show.place}
    return environment


def _plain(value: Any) -> Any:
    """Return what a template is about to show, without marks that turn the text beside it."""
    return show.plain(value) if type(value) is str else value


@cache
def _plotly() -> str:
    """Return the script of the installed plotly, compressed, as text."""
    from plotly.offline import get_plotlyjs  # noqa: PLC0415

    # A fixed time stamp: the same library gives the same bytes.
    return base64.b64encode(gzip.compress(get_plotlyjs().encode(), 9, mtime=0)).decode()


#: True shares of bad places in the table of who is noticed.
_RATES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5)


def render_qa(page: QaPage) -> str:
    """Return the page for the QA lead as HTML; the same page gives the same bytes."""
    drawn = {
        "extent": figures.extent_figure(page.extents) if len(page.extents) else None,
        "rates": figures.rates_figure(page.welders, page.total_rate),
        "trend": figures.trend_figure(page.trend),
    }
    steps = noticing = pd.DataFrame()
    if page.worth is not None:
        drawn["value"] = figures.value_figure(page.worth.curve, page.worth.planned)
        drawn["noticed"] = figures.noticed_figure(noticed(page.worth, np.linspace(0, 0.5, 51)))
        steps = worth_by_step(page.worth, 10)
        noticing = noticed(page.worth, _RATES)
    data = {name: _figure_json(figure) for name, figure in drawn.items() if figure is not None}
    strips = [
        (joint, strip(joint.length_mm, joint.examined, joint.found, joint.planned, joint.owed))
        for joint in page.joints
    ]
    zones = [
        (zone, marks_sentence(zone.marks), zone_strip(zone.lengths_mm, zone.marks))
        for zone in page.zones
    ]
    return (
        _environment()
        .get_template("qa.html.j2")
        .render(
            page=page,
            figures=data,
            strips=[(joint, Markup(svg)) for joint, svg in strips],  # noqa: S704
            zones=[(zone, told, Markup(svg)) for zone, told, svg in zones],  # noqa: S704
            steps=steps,
            noticing=noticing,
            css=Markup(_text("static/page.css")),  # noqa: S704
            script=Markup(_text("static/page.js")),  # noqa: S704
            plotly=_plotly() if data else "",
            definitions=DEFINITIONS,
            limits=LIMITS,
            cautions=(RADIOGRAPHY, PRESSURE, DECISION),
            method_name=METHODS.get(page.method, page.method),
        )
    )


def write_qa(page: QaPage, folder: str | Path) -> Path:
    """Write the page for the QA lead into a folder and return its path.

    Raises
    ------
    CannotGoOn
        If the folder cannot be written to.
    """
    folder = Path(folder)
    path = folder / f"qa-{_file_name(page.job)}.html"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(render_qa(page), encoding="utf-8", newline="\n")
    except OSError as error:
        raise CannotGoOn(f"{path} cannot be written: {error.strerror}") from error
    return path


def _file_name(text: str) -> str:
    """Return text that is safe as part of a file's name."""
    kept = "".join(char if char.isalnum() or char in "-_" else "-" for char in text)
    return kept[:60].strip("-") or "job"


def _figure_json(figure: Any) -> Any:
    """Return a figure as JSON that cannot close the script element it stands in."""
    text = json.dumps(json.loads(figure.to_json()), sort_keys=True, separators=(",", ":"))
    safe = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return Markup(safe)  # noqa: S704  (escaped just above)


def _text(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")
