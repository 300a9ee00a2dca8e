"""Signals: how often they come where nothing is wrong, and how often they name who is bad.

Charts and comparisons are asked one yard at a time, as their users ask them.
"""

from collections.abc import Callable

import numpy as np
import pandas as pd

from ndtstats.simulation.calibration.standing import clustered_alarms
from ndtstats.simulation.chance import blocks
from ndtstats.simulation.frame import Floats, Ints
from ndtstats.simulation.measures import NOTHING, Figure, share
from ndtstats.simulation.truth import Flags
from ndtstats.statistics import choose_cusum, compare_groups, p_chart

#: A yard of so many welders, of whom so many are bad; their reject rates.
WELDERS, BAD = 20, 2
GOOD_RATE, BAD_RATE = 0.03, 0.15
#: Spots of each welder in a comparison; by the CUSUM; months of a chart and spots of a month.
SPOTS = (20, 120)
WATCHED = 300
MONTHS, A_MONTH = 24, 40
#: Spots between two false alarms that the CUSUM is made for.
BETWEEN_ALARMS = 2000.0
#: Chances of a count as far out at which a funnel has its limits.
FUNNELS = (0.05, 0.002)
#: Spots followed at once.
_AT_ONCE = 2_000_000


def signal_rates(yards: int, rng: np.random.Generator) -> pd.DataFrame:
    """Return how often each signal comes where nothing is wrong, and where two are bad.

    Parameters
    ----------
    yards : int
        Simulated yards of each kind.
    rng : Generator
        Source of chance.

    Returns
    -------
    DataFrame
        ``signal``; ``nominal``, the false alarms it allows; ``false_alarms`` measured, with
        ``lower`` and ``upper``; ``named``, how often a bad one is named, with its own bounds
        ``named_lower`` and ``named_upper``.
    """
    false_alarms, named, nominal = cusum_alarms(yards, rng)
    rows = [_row(f"CUSUM: alarm within {WATCHED} spots of a welder", nominal, false_alarms, named)]
    rows += chart_alarms(yards, rng) + comparison_alarms(yards, rng)
    return pd.DataFrame(rows)


def _row(name: str, nominal: float, false: Figure, named: Figure = NOTHING) -> dict[str, object]:
    return {
        "signal": name,
        "nominal": nominal,
        "false_alarms": false.value,
        "lower": false.lower,
        "upper": false.upper,
        "named": named.value,
        "named_lower": named.lower,
        "named_upper": named.upper,
    }


def cusum_alarms(yards: int, rng: np.random.Generator) -> tuple[Figure, Figure, float]:
    """Return share of good and of bad welders with an alarm, and the share that theory gives.

    Notes
    -----
    Theory: the run length is nearly exponential with the chart's exact average (Brook & Evans 1972,
    Biometrika 59:539), so that 1 - exp(-spots / average) have an alarm.

    Examples
    --------
    >>> false, named, nominal = cusum_alarms(20, np.random.default_rng(1))
    >>> bool(false.value < named.value)
    True
    """
    chart = choose_cusum(GOOD_RATE, BAD_RATE, spots_between_false_alarms=BETWEEN_ALARMS)
    rates = np.where(np.arange(WELDERS) < BAD, BAD_RATE, GOOD_RATE)
    alarmed = np.zeros((yards, WELDERS), dtype=bool)
    for part in blocks(np.full(yards, WELDERS * WATCHED), most=_AT_ONCE):
        number = part.stop - part.start
        rejected = rng.random((number, WELDERS, WATCHED)) < rates[:, None]
        whose = np.repeat(np.arange(number * WELDERS), WATCHED)
        signal = chart.track(rejected.ravel(), whose)["signal"].to_numpy()
        alarmed[part] = signal.reshape(number, WELDERS, WATCHED).any(axis=2)
    good, bad = alarmed[:, BAD:], alarmed[:, :BAD]
    nominal = -np.expm1(-WATCHED / float(chart.run_length(GOOD_RATE)))
    return _share(good), _share(bad), float(nominal)


def chart_alarms(yards: int, rng: np.random.Generator) -> list[dict[str, object]]:
    """Return how often points of a p chart signal, all months alike or the last one bad.

    Two rows: with the usual rate given, and with it taken from the months themselves.
    """
    quiet = rng.binomial(A_MONTH, GOOD_RATE, (yards, MONTHS))
    risen = quiet.copy()
    risen[:, -1] = rng.binomial(A_MONTH, BAD_RATE, yards)
    rows = []
    for name, centre in (("rate given", GOOD_RATE), ("rate from the chart", None)):

        def signals(months: Ints, centre: float | None = centre) -> Flags:
            chart = p_chart(months, np.full(MONTHS, A_MONTH), centre=centre)
            return np.asarray(chart.points["signal"] != "")

        false, named = _each(signals, quiet), _each(signals, risen)[:, -1:]
        title = f"p chart, {name}: a month of {A_MONTH} spots"
        rows.append(_row(title, 2 * 0.00135, _share(false), _share(named)))
    return rows


def comparison_alarms(yards: int, rng: np.random.Generator) -> list[dict[str, object]]:
    """Return how often the funnel and the corrected comparison name a welder.

    The corrected comparison names a yard's first false one in at most 5 % of yards where nothing is
    wrong; where some are bad, at most 5 % of those named are false on average.
    """
    spots = rng.integers(*SPOTS, (yards, WELDERS))
    rates = np.where(np.arange(WELDERS) < BAD, BAD_RATE, GOOD_RATE)
    quiet, some = rng.binomial(spots, GOOD_RATE), rng.binomial(spots, rates)
    p, out = _compared(quiet, spots)
    p_some, out_some = _compared(some, spots)
    named = out_some.sum(axis=1)
    false_share = out_some[:, BAD:].sum(axis=1) / np.maximum(named, 1)
    p_bad = p_some[:, :BAD]
    corrected = _share(out_some[:, :BAD])
    one = np.ones(yards)
    return [
        *(_row(f"funnel, {100 - 100 * chance:g} %: a good welder beyond it", chance,
               _share(p < chance), _share(p_bad < chance)) for chance in FUNNELS),
        _row("comparison corrected (5 %): anybody named, all alike", 0.05,
             share(out.any(axis=1).astype(float), one), corrected),
        _row("comparison corrected (5 %): share of those named who are good, two bad", 0.05,
             share(false_share, one), corrected),
    ]  # fmt: skip


def confounded_alarms(yards: int, rng: np.random.Generator) -> list[dict[str, object]]:
    """Return how often good welders are named for hard work, with and without allowing for it.

    A quarter of the welders weld overhead only, where everybody's rate is fourfold.
    """
    hard = np.arange(WELDERS) % 4 == 0
    spots = rng.integers(*SPOTS, (yards, WELDERS, 2))
    # The others weld overhead one spot in five, so that hard and easy work can be told apart.
    spots[..., 0] = np.where(hard, 0, spots[..., 0])
    spots[..., 1] = np.where(hard, spots[..., 1], spots[..., 1] // 5)
    rejected = rng.binomial(spots, np.array([GOOD_RATE, 4 * GOOD_RATE]))
    rows = []
    for name, factors in (("all work alike", []), ("work allowed for", ["position"])):
        pairs = zip(rejected, spots, strict=True)
        out = np.array([_positions(k, n, factors) for k, n in pairs])
        title = f"comparison corrected (5 %), unlike work, {name}: anybody named"
        rows.append(_row(title, 0.05, share(out.any(axis=1).astype(float), np.ones(yards))))
    return rows


def joint_alarms(yards: int, rng: np.random.Generator) -> list[dict[str, object]]:
    """Return how often good welders are named where the spots of a joint go together.

    All welders are alike; each joint has three spots of a correlation of 0.3.
    """
    rows = []
    for name, (beyond, out) in clustered_alarms(yards, rng).items():
        spots = f"spots of a joint alike, {name}"
        anybody = share(out.any(axis=1).astype(float), np.ones(yards))
        rows += [
            _row(f"funnel, 95 %, {spots}: a good welder beyond it", 0.05, _share(beyond)),
            _row(f"comparison corrected (5 %), {spots}: anybody named", 0.05, anybody),
        ]
    return rows


def _compared(rejected: Ints, spots: Ints) -> tuple[Floats, Flags]:
    """Return the exact probability of each welder's count, and who is named high or low."""
    p = np.zeros(rejected.shape)
    out = np.zeros(rejected.shape, dtype=bool)
    for number, (k, n) in enumerate(zip(rejected, spots, strict=True)):
        counts = pd.DataFrame({"welder": np.arange(WELDERS), "rejected": k, "examined": n})
        table = compare_groups(counts, "welder").table
        p[number], out[number] = table["p"].fillna(1.0), table["stands_out"] != ""
    return p, out


def _positions(rejected: Ints, spots: Ints, factors: list[str]) -> Flags:
    counts = pd.DataFrame(
        {
            "welder": np.repeat(np.arange(WELDERS), 2),
            "position": np.tile(["PA", "PE"], WELDERS),
            "rejected": rejected.ravel(),
            "examined": spots.ravel(),
        }
    )
    table = compare_groups(counts[counts["examined"] > 0], "welder", factors).table
    return np.asarray(table["stands_out"] != "")


def _each(function: Callable[[Ints], Flags], rows: Ints) -> Flags:
    return np.array([function(row) for row in rows])


def _share(flags: Flags) -> Figure:
    """Return the share of flags, each row of which belongs to one yard."""
    number: Floats = flags.sum(axis=1).astype(float)
    return share(number, np.full(len(flags), float(flags.shape[1])))
