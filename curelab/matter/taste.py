"""How salty a slice is, in words, and what is in it: plain arithmetic on published bands."""

from __future__ import annotations

from typing import NamedTuple

from ..sources import Numbers, default_numbers
from .ranges import within
from .solutes import molar_mass

RESTS_ON = (
    "panels on cooked ham (1.7 % as salty as 2.3 %, 1.1 % less: Ruusunen 2001) and what is sold; nobody notices a fifth less "
    "(Cubero-Castillo 2019)"
)
# From this much salt on (row of numbers.csv), the word.
SCALE = (
    ("taste.bland", "bland"),
    ("taste.normal_low", "mild"),
    ("taste.normal_high", "as usual"),
    ("taste.salty", "salty"),
    ("taste.too_salty", "very salty"),
)
WORST = "too salty"


class Saltiness(NamedTuple):
    """A word for the salt of a slice, and whether its neighbours are as likely: a tenth more or less would be called otherwise."""

    word: str
    near: str

    @property
    def sentence(self) -> str:
        return f"{self.word}, near {self.near}" if self.near else self.word


def saltiness(salt: float, numbers: Numbers | None = None) -> Saltiness:
    """The word for `salt`, kg per kg of the slice as it is eaten, cold. Bands: rows `taste.*` (judgement); rests on `RESTS_ON`.

    >>> saltiness(0.019).sentence, saltiness(0.0225).sentence
    ('as usual', 'salty, near as usual')
    """
    numbers = numbers or default_numbers()
    value = float(within(salt, 0.0, 0.3, "salt", "give kg per kg of the slice, 1.9 % is 0.019"))
    word = _word(value, numbers)
    near = next((each for share in (0.95, 1.05) if (each := _word(share * value, numbers)) != word), "")
    return Saltiness(word, near)


def _word(salt: float, numbers: Numbers) -> str:
    return next((word for key, word in SCALE if salt < numbers.si(key)), WORST)


def sodium(salt: float, own: float | None = None, numbers: Numbers | None = None) -> float:
    """kg of sodium per kg: that of `salt` (kg NaCl per kg), and `own`, what is not counted in it: of raw meat (row `meat.own_sodium`), if not given.

    >>> round(1e5 * sodium(0.019))  # mg in 100 g
    807
    """
    numbers = numbers or default_numbers()
    value = float(within(salt, 0.0, 1.0, "salt", "give kg per kg"))
    share = molar_mass("Na", numbers) / molar_mass("NaCl", numbers)
    return value * share + (numbers.si("meat.own_sodium") if own is None else own)


def cost_per_kg(price: float, kept: float) -> float:
    """Price of a kg as it is eaten, from the price of a kg raw and what is `kept` of it (kg per kg). Raises ValueError for none kept.

    >>> cost_per_kg(12.0, 0.60)
    20.0
    """
    if not (price >= 0 and 0 < kept <= 2):
        raise ValueError("give a price of nothing or more, and what is kept as kg per kg of raw meat")
    return price / kept
