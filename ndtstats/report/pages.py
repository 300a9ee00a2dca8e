"""The kinds of pages there are, and all pages of a register with an index."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from ndtstats.progress import Progress, silent
from ndtstats.register import Register, jobs_known
from ndtstats.report import formatting as show
from ndtstats.report import gather
from ndtstats.report.contractor import contractor_page
from ndtstats.report.management import management_page
from ndtstats.report.page import Column, Link, Page, Section, Table, Text
from ndtstats.report.qa import qa_page
from ndtstats.report.render import file_name, write_page
from ndtstats.report.welder import welder_pages


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of all pages alike.

    Attributes
    ----------
    as_of : datetime
        The instant of which they speak.
    level : float
        Confidence level of their bounds.
    cost_per_exposure, cost_per_repair, currency
        As for :func:`ndtstats.report.management.management_page`.
    """

    as_of: datetime
    level: float = 0.95
    cost_per_exposure: float | None = None
    cost_per_repair: float | None = None
    currency: str = ""


def asked_at(register: Register, as_of: datetime | None, **more: Any) -> Asked:
    """Return what is asked of all pages; by default of when the register last changed.

    Other parameters as for :class:`Asked`.
    """
    return Asked(gather.moment_of(register, as_of), **more)


class Kind(NamedTuple):
    """A kind of page: its heading in the index, and all its pages, one after the other."""

    heading: str
    pages: Callable[[Register, Asked], Iterator[Page]]


def _management(register: Register, asked: Asked) -> Iterator[Page]:
    yield management_page(
        register, as_of=asked.as_of, level=asked.level, currency=asked.currency,
        cost_per_exposure=asked.cost_per_exposure, cost_per_repair=asked.cost_per_repair,
    )  # fmt: skip


def _qa(register: Register, asked: Asked) -> Iterator[Page]:
    for job in jobs_known(register, asked.as_of):
        yield qa_page(register, job=job, as_of=asked.as_of, level=asked.level)


def _contractor(register: Register, asked: Asked) -> Iterator[Page]:
    jobs = jobs_known(register, asked.as_of)
    yield contractor_page(register, as_of=asked.as_of, level=asked.level)
    for job in jobs if len(jobs) > 1 else []:
        yield contractor_page(register, job=job, as_of=asked.as_of, level=asked.level)


def _welder(register: Register, asked: Asked) -> Iterator[Page]:
    yield from welder_pages(register, as_of=asked.as_of, level=asked.level)


#: All kinds of pages, in the order of the index.
KINDS: dict[str, Kind] = {
    "management": Kind("For management", _management),
    "qa": Kind("For the welding QA lead", _qa),
    "contractor": Kind("For the examination contractor", _contractor),
    "welder": Kind("For each welder", _welder),
}


def every_page(
    register: Register, asked: Asked, progress: Progress = silent
) -> Iterator[tuple[str, Page]]:
    """Yield every page of a register with the name of its kind, one after the other."""
    # What one page has read and worked out, the next need not ask again.
    register = register.snapshot(asked.as_of)
    for number, (name, kind) in enumerate(KINDS.items()):
        progress(f"pages {kind.heading[0].lower()}{kind.heading[1:]}", number, len(KINDS))
        for page in kind.pages(register, asked):
            yield name, page


def index_page(register: Register, asked: Asked, entries: list[tuple[str, Page]]) -> Page:
    """Return the page that leads to all others.

    Parameters
    ----------
    entries : list of (str, Page)
        Name of the kind, and page; only file, title and headline of each are used.
    """
    sections = tuple(
        Section(name, kind.heading, (_listed(kind, [page for of, page in entries if of == name]),))
        for name, kind in KINDS.items()
        if any(of == name for of, _ in entries)
    )
    jobs = jobs_known(register, asked.as_of)
    number = f"{show.count(len(entries), 'page')} of {show.count(len(jobs), 'job')}."
    return Page(
        file="index",
        kind="Weld examination: all pages",
        title="All pages",
        as_of=asked.as_of,
        headline=(number,),
        sections=sections or (Section("none", "Pages", (Text("There are no jobs yet."),)),),
        provenance=gather.origin(register, jobs, asked.as_of),
    )


def _listed(kind: Kind, pages: list[Page]) -> Table:
    return Table(
        f"Pages {kind.heading[0].lower()}{kind.heading[1:]}",
        (
            Column("page", [Link(page.title, f"{file_name(page.file)}.html") for page in pages]),
            Column("what it says", [page.headline[0] for page in pages]),
        ),
    )


def write_every_page(
    register: Register,
    asked: Asked,
    folder: Path,
    *,
    shared_assets: bool = False,
    progress: Progress = silent,
) -> tuple[Path, int]:
    """Write every page and the index into a folder; return the index's path, and how many pages.

    Parameters
    ----------
    register : Register
        The register.
    asked : Asked
        What is asked of all pages.
    folder, shared_assets
        As for :func:`ndtstats.report.render.write_page`.
    progress : Progress
        Told as the work goes on.
    """
    entries = []
    for name, page in every_page(register, asked, progress):
        write_page(page, folder, shared_assets=shared_assets)
        # Of many pages only what the index tells is kept.
        entries.append((name, replace(page, sections=())))
    index = index_page(register, asked, entries)
    return write_page(index, folder), len(entries)
