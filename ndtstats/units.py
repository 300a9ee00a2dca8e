"""Lengths are kept in millimetres; other units are converted when they are read."""

#: Millimetres in one unit. The inch is exactly 25.4 mm (international yard and pound, 1959).
MM_PER_UNIT: dict[str, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}

#: Millimetres in a metre.
MM_PER_M = 1000.0

#: Lengths are taped to the millimetre: what falls short by no more than this is not short (common
#: practice, no source).
SLACK_MM = 1.0
