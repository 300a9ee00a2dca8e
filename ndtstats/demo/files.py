"""The files of the invented yard, as a yard and its contractor have them."""

from pathlib import Path

import numpy as np
import pandas as pd

from ndtstats.demo.book import write_book
from ndtstats.demo.build import HULL
from ndtstats.demo.contractor import contractor_text, mapping_text
from ndtstats.demo.scenario import Yard
from ndtstats.demo.spoiled import spoil

BOOK = "register.xlsx"
CONTRACTOR = "contractor-spring.csv"
MAPPING = "contractor.mapping.toml"
SPOILED = "results-may.csv"
MENDED = "results-may.mended.csv"
READINGS = "second-reading.csv"

#: All of them, with what they are.
ABOUT = {
    BOOK: "the yard's register: jobs, zones, joints, welders, qualifications, confirmations, "
    "deposits, beads, tests and visual examinations, a sheet each",
    CONTRACTOR: "radiographs of the hull before 28 April as the contractor writes them: his own "
    "headings and words, semicolons, decimal commas, centimetres, dates day first, in cp1252",
    MAPPING: "what the contractor's headings and words mean",
    SPOILED: "radiographs of the hull from 28 April on, in this package's own headings, "
    "with a dozen mistakes",
    MENDED: "the rows of that file that could not be loaded, mended",
    READINGS: "radiographs of the hull from before the plan, each read by two readers by himself",
}

#: About so many of the last early rows stand in the spoiled file, all before in the contractor's.
_LAST_ROWS = 40

#: Share of the radiographs that two readers judge differently.
_DIFFERS = 0.1


def write_files(yard: Yard, directory: Path) -> list[Path]:
    """Write the files of the yard into a folder; the same yard gives the same bytes.

    Returns
    -------
    list of Path
        The files, in the order of :data:`ABOUT`.
    """
    write_book(yard, directory / BOOK)
    before = yard.early["date"] < spoiled_from(yard)
    # A western desktop writes cp1252.
    theirs = contractor_text(yard.early[before])
    (directory / CONTRACTOR).write_bytes(theirs.encode("cp1252"))
    (directory / MAPPING).write_text(mapping_text(), encoding="utf-8", newline="\n")
    spoilt, mended = spoil(yard.early[~before], _first_fillet(yard))
    for name, frame in ((SPOILED, spoilt), (MENDED, mended)):
        _write_csv(directory / name, frame)
    _write_csv(directory / READINGS, _read_twice(yard))
    return [directory / name for name in ABOUT]


def _write_csv(path: Path, frame: pd.DataFrame) -> None:
    frame.to_csv(path, index=False, encoding="utf-8", lineterminator="\n")


def _read_twice(yard: Yard) -> pd.DataFrame:
    """Return the first radiographs as they were read, and as a second reader reads them."""
    early = yard.early[yard.early["verdict"].isin(["accept", "reject"])]
    films = early.drop_duplicates(["report", "exposure"]).reset_index(drop=True)
    image = films["report"] + " no. " + films["exposure"]
    # What one reader takes for a pore within the limit, the other takes for one beyond it.
    differs = np.random.default_rng([yard.seed, 7]).random(len(films)) < _DIFFERS
    other = films["verdict"].map({"accept": "reject", "reject": "accept"})
    read = [
        pd.DataFrame({"image": image, "reader": "Technician Nils", "verdict": films["verdict"]}),
        pd.DataFrame(
            {
                "image": image,
                "reader": "Technician Pia",
                "verdict": films["verdict"].mask(differs, other),
            }
        ),
    ]
    return pd.concat(read, ignore_index=True).sort_values(
        ["image", "reader"], ignore_index=True, kind="stable"
    )


def spoiled_from(yard: Yard) -> pd.Timestamp:
    """Return the day from which the early examinations stand in the spoiled file."""
    day: pd.Timestamp = yard.early["date"].iloc[-_LAST_ROWS]
    return day


def _first_fillet(yard: Yard) -> str:
    """Return the fillet of the hull that was welded first."""
    joints, deposits = yard.tables["joints"], yard.tables["deposits"]
    fillets = joints.loc[joints["penetration"] == "fillet", "joint"]
    made = deposits[(deposits["job"] == HULL) & deposits["joint"].isin(fillets)]
    return str(made.sort_values("date", kind="stable")["joint"].iloc[0])
