"""Where the few weld exposures go, what their results mean, and how sure that is.

The package follows the job, one folder a stage; :data:`STAGES` lists them in order. A stage
imports only the shared ground and the stages before it (``tests/test_layers.py`` checks that).
"""

__version__ = "0.1.0"

#: Modules every stage may import.
GROUND = (
    "errors", "findings", "columns", "words", "units", "bands", "clock", "progress", "places",
    "numbers", "unpacking", "register",
)  # fmt: skip

#: The stages in the order of the job.
STAGES = (
    "rules",  # what must be examined: rules files and the arithmetic of extents
    "qualification",  # who may weld what, and for how long
    "intake",  # files in: readers, mappings, checks, templates
    "statistics",  # pure mathematics: intervals, weighted estimates, unions of lengths
    "visual",  # seen by eye: beads, and the list to walk with
    "planning",  # frame, required spots, risk, the draw
    "request",  # the blind list for the contractor, and what came back against it
    "extent",  # required against achieved
    "rates",  # how often, and how sure
    "escalation",  # what a reject sets in motion, and what is owed
    "simulation",  # what a plan would do to yards whose truth is known
    "release",  # warnings and their answers, tests of zones, what stands in the way
    "report",  # pages to read
    "demo",  # an invented yard that runs the whole job
    "cli",  # translation only
)
