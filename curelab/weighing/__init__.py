"""How much of everything: from targets to grams and back, nitrite by each method of counting, and whether it all fits the vessel."""

from .meaning import Meaning, by_label, explain, spooned
from .methods import METHODS, WHY_METHODS_DIFFER, Ingoing, Solutes, ingoing, ingoing_table, pickle_weight
from .vessel import Fit, Vessel, fits
from .weigh import (
    OVER_MEASURED,
    WEIGH_OUTS,
    AnyWeighOut,
    CureLabel,
    EquilibriumBrine,
    SealedDryCure,
    StrongBrine,
    Weighed,
    WeighOut,
    on_scale,
    scale_step,
    weigh,
)

__all__ = [
    "METHODS", "OVER_MEASURED", "WEIGH_OUTS", "WHY_METHODS_DIFFER", "AnyWeighOut", "CureLabel", "EquilibriumBrine", "Fit", "Ingoing", "Meaning",
    "SealedDryCure", "Solutes", "StrongBrine", "Vessel", "WeighOut", "Weighed", "by_label", "explain", "fits", "ingoing", "ingoing_table", "on_scale",
    "pickle_weight", "scale_step", "spooned", "weigh",
]  # fmt: skip
