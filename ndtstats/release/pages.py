"""Pages to print, from a template of this stage; text is always escaped."""

from functools import cache
from importlib import resources
from pathlib import Path

import jinja2

from ndtstats.errors import CannotGoOn, UseError


@cache
def template(name: str) -> jinja2.Template:
    """Return a template of this stage by its name."""
    environment = jinja2.Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined
    )
    text = resources.files("ndtstats.release").joinpath("templates", f"{name}.html.j2")
    return environment.from_string(text.read_text(encoding="utf-8"))


def write_page(path: Path, page: str) -> None:
    """Write a page as an ``.html`` file.

    Raises
    ------
    UseError
        If the file is there already, or has another ending.
    CannotGoOn
        If it cannot be written.
    """
    if path.suffix.lower() != ".html":
        raise UseError(f"{path.name}: write an .xlsx or an .html file")
    if path.exists():
        raise UseError(f"{path} is there already; name another file, or remove it first")
    try:
        path.write_text(page, encoding="utf-8", newline="\n")
    except OSError as error:
        raise CannotGoOn(f"{path} cannot be written: {error.strerror}") from error
