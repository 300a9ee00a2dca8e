"""Pages to print, from a template of this stage; text is always escaped."""

from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from ndtstats.errors import CannotGoOn, UseError

if TYPE_CHECKING:
    import jinja2


@cache
def template(name: str) -> "jinja2.Template":
    """Return a template of this stage by its name."""
    import jinja2  # noqa: PLC0415  (only where a page is written)

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
