"""Where the exposures go: the frame, what the rules require, what risk says, and the draw."""

from ndtstats.planning.draft import Aims
from ndtstats.planning.drawing import Drawing, Yard, draw, frame_of_rules
from ndtstats.planning.frame import cut_frame
from ndtstats.planning.plan import (
    draw_plan,
    in_request_order,
    plan_head,
    plan_spots,
    store_plan,
)
from ndtstats.planning.repeat import Repeat, repeat_plan
from ndtstats.planning.tightened import tightened_in_plan
from ndtstats.planning.why import Why, why_spot
from ndtstats.planning.worth import Worth, noticed, plan_worth, worth_by_step
from ndtstats.planning.yard import yard_of

__all__ = [
    "Aims",
    "Drawing",
    "Repeat",
    "Why",
    "Worth",
    "Yard",
    "cut_frame",
    "draw",
    "draw_plan",
    "frame_of_rules",
    "in_request_order",
    "noticed",
    "plan_head",
    "plan_spots",
    "plan_worth",
    "repeat_plan",
    "store_plan",
    "tightened_in_plan",
    "why_spot",
    "worth_by_step",
    "yard_of",
]
