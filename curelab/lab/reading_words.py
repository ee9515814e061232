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
LIKE = {
    "weight": ("2.05 kg", "4 lb 8 oz"), "brine strength": ("3.1 %",) * 2, "salometer": ("22",) * 2, "core salt": ("1.6 %",) * 2,
    "average salt": ("2.1 %",) * 2, "taste": (", ".join(TASTE_WORDS),) * 2, "temperature": ("3.5 degC", "38 degF"),
    "core temperature": ("62 degC", "144 degF"), "acidity": ("5.6",) * 2,
}  # fmt: skip
