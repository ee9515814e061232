"""curelab: see what salt and nitrite do inside whole-muscle meat while it cures, rests and soaks.

One direction: weigh-out -> pieces and stages (plain data) -> `simulate` -> `History` -> questions, verdicts, figures. Every room stands under
`curelab.` and comes in when it is asked for, so that importing this package loads nothing.

>>> import curelab
>>> piece = curelab.Piece(thickness="4 cm", weight="1 kg")
>>> cure = curelab.Brine(bath=curelab.Bath(water="1 kg", salt="45 g"), temperature="3 degC", lasts="7 d")
>>> history = curelab.simulate(piece, cure)
>>> bool(history.core("salt", "3 d") < history.core("salt") < history.average("salt") < history.surface("salt"))
True
>>> f"{curelab.matter.solutes.diffusivity('salt', 276.15, 'lean beef'):.3g}"
'2.71e-10'
"""

from typing import TYPE_CHECKING

from .lazy import lazily

if TYPE_CHECKING:
    from .engine.history import History, Profile
    from .engine.simulate import extend, simulate
    from .fields import InputError, Problem
    from .forecast.sweep import sweep
    from .learn.profile import fit_profile
    from .matter.tissue import Tissue
    from .recipe.criterion import Criterion
    from .recipe.piece import Piece
    from .recipe.stages import (
        BagCook,
        Bath,
        Brine,
        Chill,
        Hold,
        Oven,
        Reheat,
        Rest,
        SealedCure,
        Simmer,
        Smoke,
        Soak,
        Water,
    )

__version__ = "0.1.0"

__all__ = [
    "BagCook",
    "Bath",
    "Brine",
    "Chill",
    "Criterion",
    "History",
    "Hold",
    "InputError",
    "Oven",
    "Piece",
    "Problem",
    "Profile",
    "Reheat",
    "Rest",
    "SealedCure",
    "Simmer",
    "Smoke",
    "Soak",
    "Tissue",
    "Water",
    "extend",
    "fit_profile",
    "simulate",
    "sweep",
]

_STANDS_IN = {
    "engine.history": ("History", "Profile"),
    "engine.simulate": ("extend", "simulate"),
    "fields": ("InputError", "Problem"),
    "forecast.sweep": ("sweep",),
    "learn.profile": ("fit_profile",),
    "matter.tissue": ("Tissue",),
    "recipe.criterion": ("Criterion",),
    "recipe.piece": ("Piece",),
    "recipe.stages": (
        "BagCook", "Bath", "Brine", "Chill", "Hold", "Oven", "Reheat", "Rest", "SealedCure", "Simmer", "Smoke", "Soak", "Water",
    ),
}  # fmt: skip
__getattr__, __dir__ = lazily(__name__, {name: room for room, names in _STANDS_IN.items() for name in names})
