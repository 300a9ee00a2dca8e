"""From a page to one HTML file: nothing of it comes from outside, and text is always escaped."""

import base64
import gzip
import hashlib
import json
from functools import cache, partial
from importlib import metadata, resources
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from ndtstats.errors import CannotGoOn
from ndtstats.report import formatting as show
from ndtstats.report.page import Link, Page, Partial
from ndtstats.report.terms import LIMITS, Linker
from ndtstats.request.cautions import DECISION, PRESSURE, RADIOGRAPHY

_FOLDER = resources.files("ndtstats.report")

#: What a browser may do with a page: run what stands in it or in a file beside it, ask nothing.
_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline' 'self' file:; style-src 'unsafe-inline'; "
    "img-src data: blob:"
)

#: Letters of a cell that stand on one line.
_SHORT = 16

#: Letters of a name that a file may have as they are.
_MOST_LETTERS = 60


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
    environment.filters |= {"day": show.day, "instant": show.instant}
    environment.globals |= {
        "count": show.count, "place": show.place, "json": _figure_json,
        "kind": lambda block: type(block).__name__, "is_short": _is_short,
    }  # fmt: skip
    return environment


def _is_short(cell: str | Link) -> bool:
    """Return whether a cell is so short that it is not to be broken, at a hyphen or else."""
    return len(cell.text if isinstance(cell, Link) else cell) <= _SHORT


def _plain(value: Any) -> Any:
    """Return what a template is about to show: nothing turns it, numbers stay with their units."""
    return show.unbroken(show.plain(value)) if type(value) is str else value


@cache
def _plotly() -> str:
    """Return the script of the installed plotly, compressed, as text."""
    from plotly.offline import get_plotlyjs  # noqa: PLC0415  (heavy)

    # A fixed time stamp: the same library gives the same bytes. Higher levels save little and take
    # twice as long.
    return base64.b64encode(gzip.compress(get_plotlyjs().encode(), 4, mtime=0)).decode()


def render_page(page: Page, *, shared: str | None = None) -> str:
    """Return a page as HTML; the same page gives the same bytes.

    Parameters
    ----------
    page : Page
        The page.
    shared : str, optional
        Name of the file beside it that holds the script which draws the figures; None: the page
        carries the script itself.
    """
    link = Linker()
    return (
        _environment()
        .get_template("base.html.j2")
        .render(
            page=page,
            link=link,
            shared=shared,
            partial=partial(_partial, link=link),
            packed=_plotly,
            css=Markup(_text("static/page.css")),  # noqa: S704
            script=Markup(_text("static/page.js")),  # noqa: S704
            policy=_POLICY,
            limits=LIMITS,
            cautions=(RADIOGRAPHY, PRESSURE, DECISION),
        )
    )


def _partial(block: Partial, *, link: Linker) -> Markup:
    template = _environment().get_template(block.template)
    return Markup(template.render(data=block.data, link=link))  # noqa: S704  (escaped by itself)


def write_page(page: Page, folder: str | Path, *, shared_assets: bool = False) -> Path:
    """Write a page into a folder and return its path.

    Parameters
    ----------
    page : Page
        The page.
    folder : str or Path
        Made if it is not there.
    shared_assets : bool
        The script that draws the figures goes into a file of its own beside the page, for many
        pages that are kept together.

    Raises
    ------
    CannotGoOn
        If the folder cannot be written to.
    """
    folder = Path(folder)
    path = folder / f"{file_name(page.file)}.html"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        shared = _write_script(folder) if shared_assets and page.figures else None
        _write_whole(path, render_page(page, shared=shared))
    except OSError as error:
        raise CannotGoOn(f"{path} cannot be written: {error.strerror}") from error
    return path


def _write_script(folder: Path) -> str:
    """Write the script that draws figures into a folder, if it is not there, and return its name.

    The name has the version, so that a file of that name is that script.
    """
    name = f"plotly-{metadata.version('plotly')}.min.js"
    if not (folder / name).exists():
        from plotly.offline import get_plotlyjs  # noqa: PLC0415  (heavy)

        _write_whole(folder / name, get_plotlyjs())
    return name


def _write_whole(path: Path, text: str) -> None:
    """Write a file whole or not at all, also where somebody stops it half-way."""
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def file_name(text: str) -> str:
    """Return text as the name of a file: safe on every system, and different for different texts.

    Examples
    --------
    >>> file_name("qa-WB-41")
    'qa-WB-41'
    >>> file_name("qa-A/1"), file_name("qa-A 1")
    ('qa-A-1-bbc94b', 'qa-A-1-4bdf04')
    """
    safe = "".join(char if char.isalnum() or char in "-_" else "-" for char in text)
    kept = safe[:_MOST_LETTERS].strip("-") or "page"
    if kept == text:
        return kept
    return f"{kept}-{hashlib.sha256(text.encode()).hexdigest()[:6]}"


def _figure_json(figure: Any) -> Markup:
    """Return a figure as JSON that cannot close the script element it stands in."""
    text = json.dumps(json.loads(figure.to_json()), sort_keys=True, separators=(",", ":"))
    safe = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return Markup(safe)  # noqa: S704  (escaped just above)


def _text(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")
