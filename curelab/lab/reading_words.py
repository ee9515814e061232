"""What the page calls each sort of reading, what one looks like, and which belong to a piece."""

from __future__ import annotations

from ..batch import TASTE_WORDS

OF_A_PIECE = ("weight", "core salt", "average salt", "taste", "core temperature", "acidity")
# What a sort of reading is called on the page, where its word in the log says too little.
CALLED = {
    "brine strength": "brine strength, % salt",
    "salometer": "salometer, degrees",
    "core salt": "core salt (in the middle)",
    "average salt": "average salt (of a whole slice)",
    "taste": "taste of a fried slice",
    "temperature": "temperature of fridge or brine",
    "core temperature": "core temperature (probe in the meat)",
    "acidity": "acidity (pH of the raw meat)",
}
# The unit of a number that stands alone, metric and US: on a phone there are digits under the thumb.
ALONE = {
    "weight": ("kg", "lb"), "brine strength": ("%",) * 2, "core salt": ("%",) * 2, "average salt": ("%",) * 2,
    "temperature": ("°C", "°F"), "core temperature": ("°C", "°F"),
}  # fmt: skip
LIKE = {
    "weight": ("2.05 kg", "4 lb 8 oz"), "brine strength": ("3.1 %",) * 2, "salometer": ("22",) * 2, "core salt": ("1.6 %",) * 2,
    "average salt": ("2.1 %",) * 2, "taste": (", ".join(TASTE_WORDS),) * 2, "temperature": ("3.5 °C", "38 °F"),
    "core temperature": ("62 °C", "144 °F"), "acidity": ("5.6",) * 2,
}  # fmt: skip
