"""Words and reference numbers of the open standards, with what they are called in a sentence.

The numbers are facts of the standards named; the wording is this project's own. 'From memory'
marks what was not read in a copy of the standard when this was written.
"""

from dataclasses import dataclass
from typing import Literal

#: Examination methods, ISO 9712 (from memory).
METHODS: dict[str, str] = {
    "VT": "visual examination",
    "PT": "penetrant examination",
    "MT": "magnetic particle examination",
    "RT": "radiography",
    "UT": "ultrasonic examination",
    "LT": "leak testing",
}

#: Methods that look inside the weld.
VOLUMETRIC = ("RT", "UT")

#: Arc welding processes, ISO 4063 (from memory).
PROCESSES: dict[str, str] = {
    "111": "manual metal arc",
    "114": "self-shielded tubular cored arc",
    "121": "submerged arc, solid wire",
    "131": "MIG, solid wire",
    "132": "MIG, flux cored wire",
    "135": "MAG, solid wire",
    "136": "MAG, flux cored wire",
    "138": "MAG, metal cored wire",
    "141": "TIG, solid filler",
    "142": "TIG without filler",
    "15": "plasma arc",
}

#: Welding positions, ISO 6947 (from memory).
POSITIONS: dict[str, str] = {
    "PA": "flat",
    "PB": "horizontal vertical",
    "PC": "horizontal",
    "PD": "horizontal overhead",
    "PE": "overhead",
    "PF": "vertical upwards",
    "PG": "vertical downwards",
    "PH": "pipe, fixed, upwards",
    "PJ": "pipe, fixed, downwards",
    "H-L045": "pipe, inclined 45 degrees, upwards",
    "J-L045": "pipe, inclined 45 degrees, downwards",
}

Group = Literal["planar", "volumetric", "surface", "shape"]


@dataclass(frozen=True, slots=True)
class Imperfection:
    """An imperfection of ISO 6520-1: what it is called, and its group for statistics."""

    name: str
    group: Group


#: Imperfections by reference number, ISO 6520-1 (numbers from memory; groups chosen here).
IMPERFECTIONS: dict[str, Imperfection] = {
    "100": Imperfection("crack", "planar"),
    "101": Imperfection("longitudinal crack", "planar"),
    "102": Imperfection("transverse crack", "planar"),
    "104": Imperfection("crater crack", "planar"),
    "2011": Imperfection("gas pore", "volumetric"),
    "2012": Imperfection("uniformly distributed porosity", "volumetric"),
    "2013": Imperfection("clustered porosity", "volumetric"),
    "2014": Imperfection("linear porosity", "volumetric"),
    "2015": Imperfection("elongated cavity", "volumetric"),
    "2016": Imperfection("wormhole", "volumetric"),
    "2017": Imperfection("surface pore", "surface"),
    "202": Imperfection("shrinkage cavity", "volumetric"),
    "2024": Imperfection("crater pipe", "volumetric"),
    "300": Imperfection("solid inclusion", "volumetric"),
    "301": Imperfection("slag inclusion", "volumetric"),
    "302": Imperfection("flux inclusion", "volumetric"),
    # Oxide films in aluminium lie flat and act like a crack.
    "303": Imperfection("oxide inclusion", "planar"),
    "304": Imperfection("metallic inclusion", "volumetric"),
    "3041": Imperfection("tungsten inclusion", "volumetric"),
    "3042": Imperfection("copper inclusion", "volumetric"),
    "401": Imperfection("lack of fusion", "planar"),
    "4011": Imperfection("lack of side wall fusion", "planar"),
    "4012": Imperfection("lack of inter-run fusion", "planar"),
    "4013": Imperfection("lack of root fusion", "planar"),
    "402": Imperfection("lack of penetration", "planar"),
    "4021": Imperfection("incomplete root penetration", "planar"),
    "5011": Imperfection("continuous undercut", "surface"),
    "5012": Imperfection("intermittent undercut", "surface"),
    "5013": Imperfection("shrinkage groove", "surface"),
    "502": Imperfection("excess weld metal", "shape"),
    "503": Imperfection("excessive convexity", "shape"),
    "504": Imperfection("excess penetration", "shape"),
    "506": Imperfection("overlap", "shape"),
    "507": Imperfection("linear misalignment", "shape"),
    "509": Imperfection("sagging", "shape"),
    "510": Imperfection("burn-through", "shape"),
    "511": Imperfection("incompletely filled groove", "shape"),
    "515": Imperfection("root concavity", "shape"),
    "517": Imperfection("poor restart", "shape"),
    "601": Imperfection("arc strike", "surface"),
    "602": Imperfection("spatter", "surface"),
}


def imperfection_name(number: str) -> str:
    """Return what an imperfection is called in a sentence; the number itself if unknown.

    Examples
    --------
    >>> imperfection_name("4013")
    'lack of root fusion (4013)'
    """
    known = IMPERFECTIONS.get(number)
    return f"{known.name} ({number})" if known else number
