"""The contractor's own file: his headings, his words, semicolons, decimal commas, centimetres.

It loads through a mapping file that says what his headings and words mean.
"""

from typing import Any

import numpy as np
import pandas as pd

#: His headings, by the column of ours they stand for.
_HEADINGS = {
    "job": "Hull No",
    "joint": "Weld",
    "method": "NDT",
    "from_mm": "Pos from",
    "to_mm": "Pos to",
    "round": "Stage",
    "verdict": "Result",
    "date": "Exposed on",
    "report": "Report No",
    "exposure": "Film",
    "imperfection": "Flaw",
    "imp_from_mm": "Flaw at",
    "imp_length_mm": "Flaw length",
    "imp_pass": "Flaw in",
    "imp_rejectable": "Out",
    "technician": "Radiographer",
    "technician_level": "Level",
    "remark": "Remarks",
}

_VERDICTS = {"accept": "ACC", "reject": "REP", "re-shoot": "RS", "not done": "NP"}

#: Film letters by ISO 6520-1 number, the old letters of radiographers (from memory).
_LETTERS = {
    "2011": "Aa", "2013": "Ab", "2016": "Ac", "303": "J", "401": "C", "402": "D",
}  # fmt: skip

_STAGES = {0: "1st", 1: "R1", 2: "R2"}
_LENGTHS = ("from_mm", "to_mm", "imp_from_mm", "imp_length_mm")

_ABOUT = (
    "Radiographic results, hull WB-41 - invented for demonstration",
    "Positions in cm from the weld's datum, dates day.month.year",
)


def contractor_text(results: pd.DataFrame) -> str:
    """Return examinations as the contractor's CSV file, titles above and a total below."""
    shown = pd.DataFrame(
        {theirs: _cells(results[ours], ours) for ours, theirs in _HEADINGS.items()}
    )
    lines = shown.to_csv(sep=";", index=False, lineterminator="\r\n")
    blank = ";" * (len(_HEADINGS) - 1)
    total = f"Total films;{len(results)}" + ";" * (len(_HEADINGS) - 2)
    above = "".join(f"{text}{blank}\r\n" for text in (*_ABOUT, ""))
    return f"{above}{lines}{blank}\r\n{total}\r\n"


def _cells(values: Any, ours: str) -> Any:
    """Return a column as he writes it."""
    if ours in _LENGTHS:
        cm = (values / 10.0).map("{:.1f}".format, na_action="ignore")
        return cm.astype("str").str.replace(".", ",", regex=False)
    if ours == "date":
        return values.dt.strftime("%d.%m.%Y")
    if ours == "imp_rejectable":
        return pd.Series(np.where(values.fillna(value=False), "x", ""), values.index)
    words: dict[str, dict[Any, str]] = {
        "verdict": _VERDICTS, "imperfection": _LETTERS, "round": _STAGES
    }  # fmt: skip
    return values.map(words[ours]) if ours in words else values


def mapping_text() -> str:
    """Return the mapping file for the contractor's file."""
    table = {
        "verdict": {theirs: ours for ours, theirs in _VERDICTS.items()},
        "imperfection": {theirs: ours for ours, theirs in _LETTERS.items()},
        "round": {"1st": "0"},
    }
    words = [
        line
        for column, values in table.items()
        for line in ("", f"[values.{column}]", *_pairs(values))
    ]
    lines = [
        "# What the headings and words of the contractor's file mean.",
        "# Invented for demonstration.",
        'dates = "dmy"     # day.month.year',
        'decimal = ","',
        "",
        "[columns]",
        *_pairs({theirs: ours for ours, theirs in _HEADINGS.items()}),
        "",
        "[units]           # he measures in centimetres",
        *_pairs(dict.fromkeys(_LENGTHS, "cm")),
        *words,
    ]
    return "\n".join(lines) + "\n"


def _pairs(values: dict[str, str]) -> list[str]:
    return [f'"{key}" = "{value}"' for key, value in values.items()]
