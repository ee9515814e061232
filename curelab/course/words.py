"""What the words of the trade mean, in words that need no trade. A lesson lists those that it uses, and shows them first."""

from __future__ import annotations

WORDS: dict[str, str] = {
    "to cure": "to let salt go into raw meat, so that it keeps and tastes good",
    "brine": "water with salt in it",
    "middle": "the deepest place of a piece, which the salt reaches last",
    "slowest spot": "the place in the meat that holds least salt; in a plain piece it is the middle",
    "cured": "the place has nine tenths of the salt that it will end with",
    "strong brine": "a brine whose equilibrium is too salty to eat",
    "nitrite": "a salt that keeps meat pink and holds back botulism; too much of it poisons",
    "curing mix": "table salt with a small share of nitrite in it; the label says how much",
    "mg/kg": "thousandths of a gram in each kg; recipes also write ppm",
    "botulism": "a poison made by germs that grow without air; nobody can smell, taste or see it",
    "soak": "to let meat lie in fresh water, so that salt leaves it",
    "rest": "to let cured meat lie wrapped in the fridge, so that nothing leaves it",
    "bare": "without any cure at that place",
    "in order": "safe enough as this library judges; your food code may ask for more",
    "simmer": "to cook in water that is hot but does not boil",
    "percent": "parts in 100, written %; 2 % salt is 2 g of salt in 100 g",
    "equilibrium": "the end, where the brine and the water in the meat are alike and nothing moves",
    "on the whole": "on average, as if the whole piece were cut small and mixed",
}
