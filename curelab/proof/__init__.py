"""The proof: every case holds an answer of the library against one that was found without it, and says where that one comes from.

The notebook proof.ipynb shows the cases to readers; tests/proof asserts each of them. A case is a `Case` (figures side by side, the largest
difference, what is allowed), a `Table` to read, or `Missing` where a library that only the tests need is not installed.

>>> constant_surface("sphere").holds
True
"""

from .balances import changed_waters, sealed_rest
from .brines import activity_by_phreeqc, density_by_coolprop, fitted_density, freezing_by_coolprop, handbook_density
from .case import Case, Missing, Table
from .convergence import exact_in_time, falling_picture, orders
from .cooked import cook_losses, cooking_table, measured_cooling
from .crank import constant_surface, limited_bath, surface_resistance
from .elements import finite_elements
from .federal import amounts, cover_pickle
from .layered import fat_on_lean, half_spaces
from .published import published_diffusivities, published_meat, rules_of_thumb
from .reaction import loss_against_diffusion
from .safety import keeping_times, safety_batches
from .weights import moving_water, printed_weights

__all__ = [
    "Case", "Missing", "Table", "activity_by_phreeqc", "amounts", "changed_waters", "constant_surface", "cook_losses", "cooking_table",
    "cover_pickle", "density_by_coolprop", "exact_in_time", "falling_picture", "fat_on_lean", "finite_elements", "fitted_density",
    "freezing_by_coolprop", "half_spaces", "handbook_density", "keeping_times", "limited_bath", "loss_against_diffusion", "measured_cooling",
    "moving_water", "orders", "printed_weights", "published_diffusivities", "published_meat", "rules_of_thumb", "safety_batches", "sealed_rest", "surface_resistance",
]  # fmt: skip
