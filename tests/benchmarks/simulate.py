"""Time the simulation of a plan of about 200 spots with escalation; print, never fail.

    python tests/benchmarks/simulate.py [--replicates 10000]

Times on a shared machine mean little; what they are made of means more.
"""

import argparse
import time

from ndtstats.rules import load_rules
from ndtstats.simulation import Assumptions, invented_setting, simulate

#: A plan with extras beside a reject, and one with extras elsewhere in the lot.
PLANS = {"aluminium-hull": (20, 15, 3000.0), "process-piping": (20, 45, 500.0)}


def main() -> None:
    """Print for each plan its size and how long the replicates took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--replicates", type=int, default=10_000)
    replicates = parser.parse_args().replicates
    for name, (welders, joints, length) in PLANS.items():
        rules = load_rules(name)
        setting = invented_setting(rules, welders=welders, joints_each=joints, joint_mm=length)
        started = time.perf_counter()
        [found] = simulate(setting.yard, [rules], Assumptions(), replicates=replicates, seed=1)
        spent = time.perf_counter() - started
        spots = found.welders["examined"].sum()
        print(  # noqa: T201
            f"{name:<16} {spots:6.0f} spots, {replicates:,} replicates: {spent:6.1f} s "
            f"({found.figures['extra_exposures'].value:.1f} extra exposures a replicate)",
            flush=True,
        )


if __name__ == "__main__":
    main()
