"""What the words of the trade mean, in words that need no trade. A lesson lists those that it uses, and shows them first."""

from __future__ import annotations

WORDS: dict[str, str] = {
    "to cure": "to let salt, and often nitrite, soak into raw meat, so that it keeps and tastes good",
    "brine": "water with salt in it",
    "middle": "the deepest place of a piece, which the salt reaches last",
    "slowest spot": "the place in the meat that holds least salt; in a plain piece it is the middle",
    "cured": "the place has nine tenths of the salt that it will end with",
}
