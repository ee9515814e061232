"""Questions asked backwards: how long, how strong, how much soak, and how wide the window of a strong brine is.

Every answer carries its criterion, its band and what it rests on. The band is the same question asked with meat that takes salt as
slowly, and as fast, as published experiments allow; it is a pair of corners, not a probability. An answer that cannot be
reached says what can be, and why.
"""

from ..units import DAY
from .answer import CORNERS, LOOK_AHEAD, RESTS_ON, Answer, corners, in_corners
from .how_long import Reached, reached, time_to
from .how_much_soak import SoakPlan, least_water, soak_needed
from .how_strong import strength_needed
from .plate import Slice, simmer_water_for_the_plate, slice_of, soak_for_the_plate
from .portion import portion_that_cools
from .pull_and_rest import PullAndRest, pull_and_rest
from .ready import Ready
from .serve import Lead, lead
from .split_or_whole import BothWays, folded_or_whole, split_or_whole, trimmed_or_whole
from .sweep import sweep
from .window import Window, window

__all__ = [
    "CORNERS", "DAY", "LOOK_AHEAD", "RESTS_ON", "Answer", "BothWays", "Lead", "PullAndRest", "Reached", "Ready",
    "Slice", "SoakPlan", "Window", "corners", "folded_or_whole", "in_corners", "lead", "least_water",
    "portion_that_cools", "pull_and_rest", "reached", "simmer_water_for_the_plate", "slice_of", "soak_for_the_plate",
    "soak_needed", "split_or_whole", "strength_needed", "sweep", "time_to", "trimmed_or_whole", "window",
]  # fmt: skip
