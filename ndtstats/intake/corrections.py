"""Correction files: the rows that could not be taken, as they stood, with what is wrong."""

from pathlib import Path

from ndtstats.intake.body import Body, Mask
from ndtstats.intake.headings import PROBLEM, folded
from ndtstats.intake.spreadsheet import write_table


def write_corrections(body: Body, left_out: Mask) -> Path:
    """Write the rows of a mask to a file of the same shape with a column ``problem`` at the end.

    The same shape: the same kind of file, sheet, delimiter, titles and headings in their rows, so
    that the file is loaded with the same mapping once it is mended.

    Parameters
    ----------
    body : Body
        The rows and what is wrong with them.
    left_out : array of bool
        The rows to write.

    Returns
    -------
    Path
        Beside the file; a correction file that is there already, and may be half mended, is left.
    """
    grid, header = body.grid, body.header
    problems: dict[int, list[str]] = {}
    for finding in body.findings:
        if finding.row is not None and finding.severity == "error":
            value = f'"{finding.value}" ' if finding.value else ""
            column = f"{finding.column}: " if finding.column else ""
            problems.setdefault(finding.row, []).append(
                f"{column}{value}{finding.reason}; {finding.remedy}"
            )
    places = body.places[left_out]
    kept = [number for number, title in enumerate(header.headings) if folded(title) != PROBLEM]
    frame = grid.coded.frame(places - 1, kept)
    frame = frame.set_axis([header.headings[number] for number in kept], axis=1)
    told = [
        " | ".join(problems.get(place, ["stands with a row that has a problem"]))
        for place in places.tolist()
    ]
    frame.insert(len(kept), PROBLEM, told, allow_duplicates=True)
    text_file = grid.delimiter is not None
    path = _free(grid.path, ".csv" if text_file else ".xlsx")
    write_table(
        path,
        frame,
        body.table,
        above=grid.coded.frame(slice(0, header.at)).to_numpy().tolist(),
        sheet=grid.sheet,
        delimiter=grid.delimiter or ",",
    )
    return path


def _free(path: Path, ending: str) -> Path:
    free = path.with_suffix(".corrections" + ending)
    number = 1
    while free.exists():
        number += 1
        free = path.with_suffix(f".corrections-{number}{ending}")
    return free
