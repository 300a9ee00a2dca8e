"""Where the exposures go: the frame, what the rules require, what risk says, and the draw."""

from ndtstats.planning.drawing import Drawing, draw
from ndtstats.planning.frame import cut_frame
from ndtstats.planning.plan import (
    Repeat,
    draw_plan,
    in_request_order,
    plan_head,
    plan_spots,
    repeat_plan,
    store_plan,
)

__all__ = [
    "Drawing",
    "Repeat",
    "cut_frame",
    "draw",
    "draw_plan",
    "in_request_order",
    "plan_head",
    "plan_spots",
    "repeat_plan",
    "store_plan",
]
