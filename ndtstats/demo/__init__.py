"""An invented yard that runs the whole job: its tables, its files, and a tour through every verb.

Everything is invented for demonstration: jobs, welders, firms, figures. Nothing here says how good
any real welder, yard or contractor is.
"""

from ndtstats.demo.files import write_files
from ndtstats.demo.scenario import DEFAULT_SEED, Yard, make_yard
from ndtstats.demo.tour import Tour, demo

__all__ = ["DEFAULT_SEED", "Tour", "Yard", "demo", "make_yard", "write_files"]
