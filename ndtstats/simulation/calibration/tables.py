"""The study as Markdown: a table for each question, every simulated figure with its error."""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.simulation.calibration.study import Calibration

#: So many standard errors about a figure are where it may well lie (95 %).
_Z = 1.96


def as_markdown(study: Calibration) -> str:
    """Return all tables of a study, each under a heading.

    Coverages are in per cent, ± is 1.96 standard errors of the simulation, and a coverage whose
    whole 95 % interval lies below its nominal level is in bold.
    """
    head = f"{study.yards:,} yards of each kind, seed {study.seed}."
    parts = {
        "Exact coverage of intervals": intervals(study.intervals),
        "Weighted rates of planned yards": designed(study.designed),
        "Strata and the finite structure": designs(study.designs),
        "Bias of pooled rates": bias(study.bias),
        "Completed lots": lots(study.lots),
        "Signals": signals(study.signals),
        "Ratios and ranks": others(study.standing),
        "Limits, trials and readers": others(study.trials),
        "What is hidden": beliefs(study.hidden, ["zones", "shape", "mean_rate"]),
        "Shrunken rates of welders": beliefs(study.shrunken, ["measure", "welders", "shape"]),
    }
    return "\n\n".join([head, *(f"## {title}\n\n{table}" for title, table in parts.items())])


def intervals(found: pd.DataFrame) -> str:
    """Return the exact coverages, one row for each interval."""
    known = found.assign(
        mean=found["mean"].map(_percent),
        worst=[_marked(w, w, n) for w, n in zip(found["worst"], found["level"], strict=True)],
    )
    wide = known.pivot_table(
        index=["interval", "sides"], columns="level", values=["mean", "worst", "where"],
        aggfunc="first",
    )  # fmt: skip
    rows = [
        [name, sides, *(wide.loc[(name, sides), (what, level)]
                        for level in (0.90, 0.95) for what in ("mean", "worst")),
         wide.loc[(name, sides), ("where", 0.95)]]
        for name, sides in wide.index
    ]  # fmt: skip
    heads = ["interval", "sides", "mean, 90 %", "worst, 90 %", "mean, 95 %", "worst, 95 %",
             "worst at 95 % is at"]  # fmt: skip
    return _markdown(heads, rows)


def designed(found: pd.DataFrame) -> str:
    """Return the coverages of weighted rates."""
    keys = ["plan", "of", "measure", "truth", "sides"]
    rows = [
        [*key, *(_covered(row) for row in _both(group)), f"{_both(group)[-1]['reach']:.1f}"]
        for key, group in found.groupby(keys, sort=False)
    ]
    return _markdown([*keys, "90 %", "95 %", "upper bound at 95 % over the truth, median"], rows)


def designs(found: pd.DataFrame) -> str:
    """Return what strata and the finite structure do to errors, widths and coverage."""
    rows = [
        [row["plan"], row["of"], row["design"], f"{row['error']:.3f}", f"{row['width']:.3f}",
         _percent(row["welding"]), _percent(row["structure"])]
        for row in found.to_dict("records")
    ]  # fmt: skip
    heads = ["plan", "of", "variance by", "standard error", "width of the 95 % bounds",
             "covers the welding, %", "covers this structure, %"]  # fmt: skip
    return _markdown(heads, rows)


def others(found: pd.DataFrame) -> str:
    """Return coverages of bounds by sample, and of how many samples there was none."""
    rows = [
        [*key, *(_covered(row) for row in _both(group)), _percent(1 - group["told"].iloc[0])]
        for key, group in found.groupby(["bound", "sample"], sort=False)
    ]
    return _markdown(["bound", "of", "90 %", "95 %", "no bound, %"], rows)


def bias(found: pd.DataFrame) -> str:
    """Return the bias of rates and how often their bounds cover."""
    rows = [
        [row["plan"], row["of"], row["rests_on"], row["way"],
         f"{100 * row['value']:+.1f} ± {100 * _Z * row['standard_error']:.1f}",
         _covered({"value": row["covered"], "lower": row["covered_lower"],
                   "upper": row["covered_upper"], "level": 0.95})]
        for row in found.to_dict("records")
    ]  # fmt: skip
    return _markdown(
        ["plan", "rate of", "rests on", "way", "bias, % of the truth", "95 % bound covers, %"], rows
    )


def lots(found: pd.DataFrame) -> str:
    """Return the careless rates of completed lots."""
    shown = found[["truth", "pooled", "own"]].map(lambda rate: f"{100 * rate:.2f} %")
    rows = [[name, *row] for name, row in zip(found["lots"], shown.to_numpy(), strict=True)]
    return _markdown(["ten places, two examined first", "truth and weighted rate",
                      "pooled over lots", "mean of the lots' own rates"], rows)  # fmt: skip


def signals(found: pd.DataFrame) -> str:
    """Return false alarms and how often a bad welder or month is named."""
    rows = [
        [row["signal"], f"{100 * row['nominal']:.3g}",
         _between(row["false_alarms"], row["lower"], row["upper"]),
         _between(row["named"], row["named_lower"], row["named_upper"])]
        for row in found.to_dict("records")
    ]  # fmt: skip
    return _markdown(["signal", "allowed, %", "false, %", "a bad one named, %"], rows)


def beliefs(found: pd.DataFrame, of: list[str]) -> str:
    """Return coverages under uncertain and under fitted priors, side by side."""
    rows = []
    for key, group in found.groupby(of, sort=False):
        parts = [group[group["prior"] == prior] for prior in group["prior"].unique()]
        told = [value if isinstance(value, str) else f"{value:g}" for value in key]
        rows.append([*told, *(_covered(row) for part in parts for row in _both(part))])
    heads = [f"{prior}, {level}" for prior in found["prior"].unique() for level in ("90 %", "95 %")]
    return _markdown([*(name.replace("_", " ") for name in of), *heads], rows)


def _both(group: pd.DataFrame) -> list[dict[Any, Any]]:
    return group.sort_values("level").to_dict("records")


def _covered(row: dict[Any, Any]) -> str:
    text = _marked(row["value"], row["upper"], row["level"])
    half = 100 * max(row["upper"] - row["value"], row["value"] - row["lower"])
    return f"{text} ± {half:.1f}"


def _marked(value: float, upper: float, level: float) -> str:
    """Return a coverage in per cent, in bold where even its upper bound is below the level."""
    text = _percent(value)
    return f"**{text}**" if upper < level - 1e-9 else text


def _percent(value: float) -> str:
    return f"{100 * value:.1f}"


def _between(value: float, lower: float, upper: float) -> str:
    if np.isnan(value):
        return ""
    return f"{100 * value:.2f} ({100 * lower:.2f} to {100 * upper:.2f})"


def _markdown(heads: list[str], rows: list[Any]) -> str:
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(map(str, line)) + " |" for line in lines)
