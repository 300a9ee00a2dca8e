"""Curves as text, for the terminal: to be read without colour, and piped into a mail."""

from collections.abc import Mapping
from typing import Any

import numpy as np

#: Marks of the first, second and third curve; of two on one place the earlier one is seen.
MARKS = ("●", "○", "+")


def curves_text(
    x: Any,
    curves: Mapping[str, Any],
    *,
    x_title: str,
    percent: bool = False,
    width: int = 72,
    height: int = 11,
) -> str:
    """Return a picture of curves over one axis, as lines of text.

    Parameters
    ----------
    x : array_like of shape (n,)
        Rising; two or more points.
    curves : mapping of str to array_like of shape (n,)
        At most three, by the name under which the legend lists them.
    x_title : str
        With its unit.
    percent : bool
        Values from 0 to 1, shown from 0 to 100 %.
    width, height : int
        Of the field in characters, the axes beside it.

    Examples
    --------
    >>> print(curves_text([0, 10], {"found": [0.0, 2.0]}, x_title="exposures", width=11, height=3))
    2 │        ●●●
    1 │   ●●●●●
    0 │●●●
      └───────────
       0        10
       exposures   ● found
    """
    at = np.asarray(x, float)
    values = [np.asarray(curve, float) for curve in curves.values()]
    top = 1.0 if percent else _round_up(max(float(np.nanmax(v)) for v in values))
    steps = np.linspace(at[0], at[-1], width)
    field = np.full((height, width), " ")
    for mark, curve in reversed(list(zip(MARKS, values, strict=False))):
        level = np.interp(steps, at, curve) / top * (height - 1)
        row = np.clip(np.round(level), 0, height - 1).astype(int)
        field[height - 1 - row, np.arange(width)] = mark
    labels = [_label(top * k / (height - 1), percent) for k in range(height - 1, -1, -1)]
    # A label on every line would be noise: top, middle, bottom.
    kept = {0, (height - 1) // 2, height - 1}
    wide = max(len(label) for label in labels)
    lines = [
        f"{(label if k in kept else '').rjust(wide)} │{''.join(line)}".rstrip()
        for k, (label, line) in enumerate(zip(labels, field, strict=True))
    ]
    ends = f"{_label(at[0], False)}", f"{_label(at[-1], False)}"
    legend = "   ".join(f"{mark} {name}" for mark, name in zip(MARKS, curves, strict=False))
    margin = " " * (wide + 2)
    return "\n".join(
        [
            *lines,
            f"{' ' * wide} └{'─' * width}",
            f"{margin}{ends[0]}{ends[1].rjust(width - len(ends[0]))}",
            f"{margin}{x_title}   {legend}",
        ]
    )


def _round_up(value: float) -> float:
    """Return a round number that is no less, for the top of an axis."""
    if not value > 0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(value))
    return float(next(m for m in (1, 2, 2.5, 5, 10) if m * power >= value * (1 - 1e-12)) * power)


def _label(value: float, percent: bool) -> str:
    return f"{100 * value:.0f} %" if percent else f"{value:,.3g}"
