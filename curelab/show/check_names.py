"""What a check is called in a kitchen: in lists of checks, where there is no room for its sentence."""

from __future__ import annotations

import re

from ..limits import UNPROTECTED, WARM
from ..limits.cooked import KEPT
from ..limits.protection import LOCAL, SLOWEST

NAMES = {
    UNPROTECTED: "days without protection",
    WARM: "hours in the warm",
    SLOWEST: "cure in the slowest spot",
    LOCAL: "nitrite in the outer layer",
    "kept cold": "fridge cold enough",
    "not too cold": "fridge above freezing",
    "nitrite in the cure": "nitrite kept apart from table salt",
    "come-up": "warmed fast enough",
    "moist while cooking": "moist enough while it cooks",
    "bag, pasteurised": "bag cooked long enough",
    "bag, kept in the cold": "bag kept cold after cooking",
    KEPT: "cooked meat kept short",
    "hot holding": "kept hot enough",
    "cooling, food code": "cooled fast enough",
    "cooling, federal stabilization": "cooled fast enough, federal rule",
    "cooling, slow for cured meat": "slow cooling of cured meat",
    "soak water": "soak water cold enough",
}
PATTERNS = (
    (r"(\w+) (nitrite|nitrate), most, as simulated", r"not too much \2 taken up (\1)"),
    (r"(\w+) (nitrite|nitrate), least, as simulated", r"enough \2 taken up (\1)"),
    (r"(\w+) (nitrite|nitrate), most that remains.*", r"not too much \2 left (\1)"),
    (r"(\w+) (nitrite|nitrate), most", r"not too much \2 (\1)"),
    (r"(\w+) (nitrite|nitrate), least", r"enough \2 (\1)"),
    (r"(\w+)( nitrite| nitrate)? ingoing", r"what goes in (\1)"),
    (r"lethality, .*", r"cooked long enough"),
)
INFORMS = ("days in brine", "days in dry cure")  # an old rule beside the answer: it is told, and checks nothing


def kitchen(name: str) -> str:
    """The name of a check as a cook says it; one that is plain already as it is."""
    for pattern, said in PATTERNS:
        if re.fullmatch(pattern, name):
            return re.sub(pattern, said, name)
    return NAMES.get(name, name)


__all__ = ["INFORMS", "NAMES", "kitchen"]
