"""What was simulated, in sentences and tables."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from ndtstats.simulation.measures import Figure
from ndtstats.simulation.result import FIGURES, Simulated
from ndtstats.simulation.truth import Assumptions
from ndtstats.units import MM_PER_M

#: What is called what, in a table.
LABELS = {
    "bad_caught": "a bad welder is caught",
    "bad_caught_after_mm": "… after, m welded",
    "bad_caught_after_exposures": "… after, exposures of his work",
    "good_caught": "a good welder is caught",
    "bad_extra": "bad welders with extras",
    "good_extra": "good welders with extras",
    "bad_whole_lot": "bad welders with a lot examined whole",
    "good_whole_lot": "good welders with a lot examined whole",
    "first_exposures": "exposures, first examinations",
    "extra_exposures": "exposures, extras and whole lots",
    "again_exposures": "exposures, repairs again",
    "exposures": "exposures in all",
    "exposures_95": "… or fewer in 19 yards of 20",
    "rejected": "places rejected and repaired",
    "cost": "cost",
    "cost_95": "… or less in 19 yards of 20",
    "left": "rejectable imperfections left",
}

#: What holds for every simulation, and no figure shows.
ASSUMED = (
    "Assumed: all is welded before the first image is read; imperfections lie by chance along the "
    "weld and none that is examined is missed; extras follow the procedure of the rules; a repair "
    "is sound and looked at again. Rules for the eye and for leaks are left out; what is left is "
    "in weld that nothing else shows."
)


def sentence(found: Simulated, assumptions: Assumptions) -> str:
    """Return what a plan does, so that whoever is asked can stand by it.

    Parameters
    ----------
    found : Simulated
        What was simulated.
    assumptions : Assumptions
        What was taken to be true.
    """
    figures = found.figures
    caught = figures["bad_caught"]
    mm, shot = figures["bad_caught_after_mm"], figures["bad_caught_after_exposures"]
    when = (
        f", on average after {_number(mm.value / MM_PER_M)} m of his "
        f"{_number(found.welders['welded_mm'].mean() / MM_PER_M)} m and {_number(shot.value)} "
        "exposures"
        if mm.value > 0
        else ""
    )
    by = "a reject" if assumptions.allowed == 0 else f"{assumptions.allowed + 1} rejects"
    said = (
        f"A welder with {_given(assumptions.bad_rate)} bad places of {assumptions.place_mm:g} mm "
        f"is caught by {by} with {_share(caught.value)} probability ({_range('share', caught)})"
        f"{when}."
    )
    extra = figures["good_extra"]
    if not np.isnan(extra.value):
        said += (
            f" Of the good welders ({_given(assumptions.good_rate)} bad) {_share(extra.value)} "
            f"({_range('share', extra)}) are put into extra examination."
        )
    return f"{said} {_what_it_takes(figures)}"


def _what_it_takes(figures: Mapping[str, Figure]) -> str:
    exposures = figures["exposures"]
    said = (
        f"It takes {_number(exposures.value)} exposures on average ({_range('number', exposures)}),"
        f" {figures['exposures_95'].value:,.0f} or fewer in 19 yards of 20"
    )
    if "cost" in figures:
        said += (
            f", and costs {figures['cost'].value:,.0f} on average, "
            f"{figures['cost_95'].value:,.0f} or less in 19 of 20"
        )
    left = figures["left"]
    return (
        f"{said}. {_number(left.value)} rejectable imperfections ({_range('number', left)}) are "
        "left."
    )


def comparison(plans: Mapping[str, Simulated]) -> str:
    """Return how the second of two plans differs from the first, with the standard errors.

    The errors are those of independent simulations; both meet the same bad welders, so the
    differences are known a little better than that.
    """
    (first, one), (second, other) = plans.items()
    told = {
        name: (
            other.figures[name].value - one.figures[name].value,
            float(np.hypot(one.figures[name].standard_error, other.figures[name].standard_error)),
        )
        for name in ("bad_caught", "exposures", "left")
    }
    caught, error = told["bad_caught"]
    return (
        f"{second} instead of {first}: a bad welder is caught {100 * abs(caught):.1f} ± "
        f"{100 * error:.1f} points {'more' if caught >= 0 else 'less'} often, for "
        f"{_difference(*told['exposures'])} exposures; {_difference(*told['left'])} rejectable "
        "imperfections are left."
    )


def _difference(value: float, error: float) -> str:
    return f"{_number(abs(value))} ± {_number(error)} {'more' if value >= 0 else 'fewer'}"


def check_sentence(check: pd.DataFrame) -> str:
    """Return how the simulation stands the check (:attr:`Simulated.check`)."""
    rows = check[["value", "standard_error", "exact"]].to_numpy(float)
    told = "; ".join(
        f"{_share(value)} ± {100 * error:.2g} points, exactly {_share(exact)} ({model})"
        for model, (value, error, exact) in zip(check["model"], rows, strict=True)
    )
    first = check.iloc[0]
    return (
        f"Check: a bad welder, {first['examined']} of {first['lot']} places by simple random draws,"
        f" no escalation: caught {told}."
    )


def side_by_side(plans: Mapping[str, Simulated]) -> pd.DataFrame:
    """Return the figures of plans beside each other, as text.

    Parameters
    ----------
    plans : mapping of str to Simulated
        By name.

    Returns
    -------
    DataFrame
        Column ``figure``, and for each plan its name and its name with " interval" (95 %, of the
        simulation alone).
    """
    columns = {}
    shown = [name for name in FIGURES if any(name in one.figures for one in plans.values())]
    for plan, one in plans.items():
        figures = [one.figures[name] for name in shown]
        kinds = [FIGURES[name] for name in shown]
        columns[plan] = [_text(k, f.value) for k, f in zip(kinds, figures, strict=True)]
        columns[f"{plan} interval"] = [_range(k, f) for k, f in zip(kinds, figures, strict=True)]
    return pd.DataFrame({"figure": [LABELS[name] for name in shown], **columns})


def curves(plans: Mapping[str, Simulated], every: int = 10) -> pd.DataFrame:
    """Return the operating characteristics of plans: ``rate``, and how often each catches.

    Parameters
    ----------
    plans : mapping of str to Simulated
        By name.
    every : int
        Every how manieth rate.
    """
    first = next(iter(plans.values())).curve
    values = {name: one.curve["value"] for name, one in plans.items()}
    return pd.DataFrame({"rate": first["rate"], **values}).iloc[::every].reset_index(drop=True)


def tidy(plans: Mapping[str, Simulated]) -> pd.DataFrame:
    """Return everything at full precision, a row each.

    Parameters
    ----------
    plans : mapping of str to Simulated
        By name.

    Returns
    -------
    DataFrame
        ``plan``; ``figure`` (:data:`FIGURES`; "caught" at a ``rate``; "caught_if_bad" and
        "caught_if_good" of a ``welder``; "check" by a ``model``, with its ``exact`` value);
        ``unit`` (lengths in mm); ``value``, ``standard_error``, ``lower``, ``upper``.
    """
    rows = [part.assign(plan=name) for name, one in plans.items() for part in _parts(one)]
    columns = [
        "plan", "figure", "welder", "rate", "model", "unit", "value", "standard_error", "lower",
        "upper", "exact",
    ]  # fmt: skip
    table: pd.DataFrame = pd.concat(rows, ignore_index=True).reindex(columns=columns)
    return table


def _parts(one: Simulated) -> list[pd.DataFrame]:
    units = {"m": "mm", "whole": "number"}
    figures = pd.DataFrame(
        [
            {"figure": name, "unit": units.get(FIGURES[name], FIGURES[name]), **figure._asdict()}
            for name, figure in one.figures.items()
        ]
    )
    welders = [
        pd.DataFrame(
            {
                "figure": name,
                "unit": "share",
                "welder": one.welders["welder"],
                "value": one.welders[name],
                "standard_error": one.welders[f"{name}_error"],
            }
        )
        for name in ("caught_if_bad", "caught_if_good")
    ]
    curve = one.curve.assign(figure="caught", unit="share")
    return [figures, curve, *welders, one.check.assign(figure="check", unit="share")]


def _text(unit: str, value: float) -> str:
    if np.isnan(value):
        return "–"
    if unit == "share":
        return _share(value)
    if unit == "m":
        return _number(value / MM_PER_M)
    return f"{value:,.0f}" if unit in {"money", "whole"} else _number(value)


def _range(unit: str, figure: Figure) -> str:
    if np.isnan(figure.value):
        return ""
    return f"{_text(unit, figure.lower).removesuffix(' %')} to {_text(unit, figure.upper)}"


def _share(value: float) -> str:
    """Return a share in per cent; what is not certain never looks so."""
    if 0.9995 < value < 1:
        return "> 99.9 %"
    if 0 < value < 0.0005:
        return "< 0.1 %"
    return f"{100 * value:.1f} %"


def _number(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:,.1f}"


def _given(share: float) -> str:
    """Return a share that somebody stated as he stated it."""
    return f"{100 * share:.10g} %"
