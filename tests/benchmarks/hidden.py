"""How often the bound on what is hidden covers the truth, in simulated yards; nothing is asserted.

    python tests/benchmarks/hidden.py [--replicates 200]

Each yard has zones whose rates per metre are gamma distributed; some metres of each are examined by
a method that finds a known share; the rest, and what it missed, is hidden. The bound is asked for
at 90 %: with the true prior given, with the prior kept as uncertain as the zones leave it, and with
a prior fitted and taken for known.
"""

import argparse
from typing import Any

import numpy as np

from ndtstats.statistics import hidden_imperfections, likely_priors
from ndtstats.statistics.shrinkage import fit_gamma_poisson

#: Zones, shape and metres of the gamma distribution of their rates.
YARDS = ((5, 2.0, 10.0), (12, 1.5, 3.0), (12, 0.5, 2.0), (30, 1.5, 3.0), (30, 5.0, 50.0))
DETECTION = 0.7
LEVEL = 0.9


def bound(yard: dict[str, Any], **prior: Any) -> float:
    """Return the bound on what is hidden in all zones."""
    table = hidden_imperfections(
        **yard, **prior, detection=DETECTION, level=LEVEL, group=np.zeros(len(yard["found"]))
    )
    return float(table["upper"].iloc[0])


def yard_covered(zones: int, shape: float, length_m: float, rng: Any) -> list[bool]:
    """Return whether each of the three bounds covers the truth of one simulated yard."""
    rate = rng.gamma(shape, 1 / length_m, zones)
    examined, left = rng.uniform(2, 8, zones), rng.uniform(10, 60, zones)
    found = rng.poisson(rate * DETECTION * examined)
    missed = rng.poisson(rate * (1 - DETECTION) * examined)
    truth = rng.poisson(rate * left).sum() + missed.sum()
    yard = {"found": found, "examined_m": examined, "unexamined_m": left}
    likely, fitted = likely_priors(found, examined), fit_gamma_poisson(found, examined)
    # A fit that sees no spread has one rate for all: as good as known, so a prior without width.
    plugged = (1e6, 1e6 / max(fitted.mean, 1e-9)) if fitted.alike else (fitted.a, fitted.b)
    bounds = [
        bound(yard, prior_shape=shape, prior_length_m=length_m),
        bound(
            yard, prior_shape=likely.shape[:, None], prior_length_m=likely.length_m[:, None],
            prior_weight=likely.weight, prior_of="found",
        ),
        bound(yard, prior_shape=plugged[0], prior_length_m=plugged[1], prior_of="found"),
    ]  # fmt: skip
    return [bool(truth <= upper) for upper in bounds]


def main() -> None:
    """Print how often each bound covers, with twice its standard error."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--replicates", type=int, default=200)
    replicates = parser.parse_args().replicates
    print(f"{'zones':>5} {'shape':>6} {'metres':>6}  true prior  uncertain   plugged in")  # noqa: T201
    for number, (zones, shape, length_m) in enumerate(YARDS):
        rng = np.random.default_rng([number, 7])
        covered = np.array([yard_covered(zones, shape, length_m, rng) for _ in range(replicates)])
        share = covered.mean(axis=0)
        error = 2 * np.sqrt(share * (1 - share) / replicates)
        told = "  ".join(f"{s:.2f} ± {e:.2f}" for s, e in zip(share, error, strict=True))
        print(f"{zones:>5} {shape:>6} {length_m:>6}  {told}", flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
