"""What the slowest spot of a piece lacks on the day that the piece is ready: salt, nitrite, or time before raw meat is too old."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .. import units
from ..forecast.ready import Ready
from ..limits import keeping
from ..limits.protection import THREE
from ..limits.verdict import SURE
from ..sources import Numbers
from ..spread.answers import quantiles
from ..spread.changes import Change
from ..units import capital
from .how_often import in_batches


def why_bare(found: Ready, numbers: Numbers) -> str:
    """Of nitrite and salt what is short in more than 1 draw of 10 when the piece is ready; of nitrite, whether it came there at all. "" where
    neither is, and only the time is too long.
    """
    nitrite, salt = numbers.si("colour.nitrite_minimum"), numbers.si("protection.slowest_salt")
    said = []
    if float(np.mean(found.then < nitrite)) > 1 - SURE:
        never = float(np.mean(found.most < nitrite)) > 1 - SURE
        low, middle, high = (f"{1e6 * each:.0f}" for each in quantiles(found.most if never else found.then))
        how = f"comes to {middle} mg/kg at most" if never else f"is down to {middle} mg/kg by then"
        said.append(f"Free nitrite there {how} ({low} to {high}). Pink and protected means {1e6 * nitrite:.0f}.")
    if float(np.mean(found.then_salt < salt)) > 1 - SURE:
        low, middle, high = (f"{100 * each:.1f}" for each in quantiles(found.then_salt))
        said.append(f"Salt in its water is at {middle} % by then ({low} to {high}). Protected means {100 * salt:g} %.")
    return " ".join(said)


def bare_too_long(found: Ready, numbers: Numbers) -> str:
    """What the slowest spot goes through until the ready day, told as days of bare raw meat in the fridge, and how often that is too long."""
    harm = keeping.days_to_harm(numbers, THREE)
    low, middle, high = (harm * float(each) for each in quantiles(found.exposed[np.isfinite(found.exposed)]))
    often = capital(in_batches(float(np.mean(found.exposed > found.allowed))))
    return (
        f"Do not wait that long: by then its slowest spot is as old as raw meat kept {middle:.0f} days ({low:.0f} to {high:.0f}). "
        f"{often} it is past {harm * found.allowed:.0f} days, which is too old."
    )


def why_not_wait(numbers: Numbers, system: str) -> str:
    """What the days of bare raw meat are held against."""
    return f"Toxin of botulism was found from {keeping.days_to_harm(numbers, THREE):.0f} days at {units.show(THREE, 'temperature', system, digits=2)} on."


def more_salt(found: Ready, made: Sequence[Change], numbers: Numbers) -> str:
    """What to say of a cure whose salt is too little for its slowest spot, however thin the piece and long the rest; "" where it is not."""
    needed = numbers.si("protection.slowest_salt")
    most = max(float(np.median(each.most_salt)) for each in (found, *(change.ready for change in made)))
    if most >= needed:
        return ""
    return f"Take more salt: this cure gives its slowest spot at most {100 * most:.1f} % in its water, and {100 * needed:g} % is needed."
