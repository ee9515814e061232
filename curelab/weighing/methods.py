"""How much nitrite goes into the meat, counted each of the ways that rules and kitchens count it.

One bath gives several answers, because each method shares the same grams out over something else. All of
them stand on the green weight, never on the finished weight, and all are returned as kg of NaNO2 per kg
(1e-6 is one mg/kg, one "ppm").
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from ..matter import brine
from ..matter.tissue import own_salt, partition, water_change
from ..recipe.piece import Piece
from ..sources import Numbers, read_table


class Solutes(Protocol):
    """What a recipe holds, in kg; a `Bath`, a `SealedCure` and a `Weighed` all do. A recipe without `water`
    is a dry one.
    """

    @property
    def salt(self) -> float | None: ...
    @property
    def sugar(self) -> float: ...
    @property
    def nitrate(self) -> float: ...
    @property
    def nitrite(self) -> float: ...


@dataclass(frozen=True)
class Method:
    """One way to count ingoing nitrite: its formula in words, what it needs, and where it comes from."""

    name: str
    formula: str
    needs: tuple[str, ...]
    source: str
    how: str


def _handbook(name: str, row_id: str, formula: str, *needs: str) -> Method:
    row = next(row for row in read_table("federal_amounts.csv") if row["example_id"] == row_id)
    return Method(name, formula, needs, f"{row['source']}, {row['locator']}", row["how"])


METHODS: dict[str, Method] = {
    method.name: method
    for method in (
        _handbook("equilibrium", "FORM-EQUIL", "nitrite / (green weight + pickle weight)", "green", "pickle"),
        _handbook("pick-up", "FORM-PICKUP", "nitrite x share picked up / pickle weight", "pickle", "share"),
        _handbook("pumped", "FORM-PUMP", "nitrite x share pumped / pickle weight", "pickle", "share"),
        _handbook("dry", "FORM-DRY", "nitrite / green weight", "green"),
        Method(
            "water phase",
            "nitrite x meat water / (meat water + bath water) / green weight",
            ("green", "water", "meat_water"),
            "this library's own model: equal strength in all water, composition of the meat by USDA SR27",
            "derived",
        ),
    )
}

WHY_METHODS_DIFFER = (
    "The same grams of nitrite give several figures because each method shares them out over something "
    "else. The handbook's equilibrium method spreads them over the weight of meat and pickle together, as "
    "if fat and protein dissolved nitrite too. The water-phase method spreads them over the waters only: "
    "lean is some 73 % water, so at rest a kilogram of meat holds less than a kilogram of brine does, and "
    "the figure is lower. The pick-up method counts only the nitrite in the pickle that the piece soaked "
    "up by weight; what diffuses in beyond that weight gain is left out, so a long cure in a strong brine "
    "takes in more than it says. Dry-cured or pumped, everything put on or in counts, and the sum is the "
    "plain one. A rule names its method; the others stand beside it to show how far the figure can be from "
    "what the meat holds."
)


def ingoing(
    method: str,
    *,
    nitrite: float,
    green: float | None = None,
    pickle: float | None = None,
    share: float | None = None,
    water: float | None = None,
    meat_water: float | None = None,
    numbers: Numbers | None = None,
) -> float:
    """Ingoing nitrite, kg NaNO2 per kg of green weight, by one of METHODS.

    `nitrite`, `green` weight, `pickle` (everything in the bath), bath `water` and `meat_water` in the same
    unit of mass; `share`: pickle taken up or pumped, as a fraction of the green weight (10 % is 0.1).
    Sources: `federal_amounts.csv`, rows FORM-*. Raises KeyError for an unknown method and ValueError for a
    value that is missing, negative, or zero where it divides.

    2 lb of nitrite in 100 gallons of pickle at 10 lb a gallon, pumped to 10 %, is the 200 ppm of 9 CFR
    424.21(c):

    >>> round(1e6 * ingoing("pumped", nitrite=2.0, pickle=1000.0, share=0.10), 6)
    200.0
    """
    if method not in METHODS:
        raise KeyError(f"no method {method!r}; choose from {', '.join(METHODS)}")
    given = {"green": green, "pickle": pickle, "share": share, "water": water, "meat_water": meat_water}
    values = []
    for name in METHODS[method].needs:
        value = given[name]
        if value is None:
            raise ValueError(f'the method "{method}" ({METHODS[method].formula}) needs {name}; give it')
        if not 0.0 <= value < float("inf") or (value == 0.0 and name in ("green", "pickle", "meat_water")):
            raise ValueError(f"{name} = {value!r} must be a positive number")
        values.append(value)
    if not 0.0 <= nitrite < float("inf"):
        raise ValueError(f"nitrite = {nitrite!r} must be a number, zero or more")
    if method in ("pick-up", "pumped"):
        return nitrite * values[1] / values[0]
    if method == "water phase":
        held = partition(numbers) * values[2]
        return nitrite * held / (held + values[1]) / values[0]
    return nitrite / sum(values)


@dataclass(frozen=True)
class Ingoing:
    """One row of a table: `value` in kg NaNO2 per kg green weight, None where `remark` says why there is
    none.
    """

    method: str
    value: float | None
    formula: str
    source: str
    how: str
    remark: str = ""

    @property
    def mg_per_kg(self) -> float | None:
        """The value in mg/kg."""
        return None if self.value is None else 1e6 * self.value

    def __str__(self) -> str:
        told = "not known" if self.mg_per_kg is None else f"{self.mg_per_kg:.0f} mg/kg"
        return f"{self.method}: {told} = {self.formula}{'; ' + self.remark if self.remark else ''}"


def pickle_weight(made: Solutes) -> float:
    """kg of everything in the bath: water, salt, sugar, nitrate, nitrite; zero for a dry cure."""
    water = getattr(made, "water", 0.0)
    return water + (made.salt or 0.0) + made.sugar + made.nitrate + made.nitrite if water else 0.0


def moved_water(level: float, pieces: Sequence[Piece], numbers: Numbers | None = None) -> float:
    """kg of water that the lean of these pieces has taken up (+) or given off (-) at rest with a bath of so much salt per water, kg/kg."""
    strength = min(level / (1 + level), brine.STRONGEST)
    return sum(piece.lean_weight(numbers) for piece in pieces) * float(water_change(strength, numbers))


def salt_of_raw(pieces: Sequence[Piece], numbers: Numbers | None = None) -> float:
    """kg of salt, its sodium counted as salt, in these pieces while they are raw."""
    return own_salt(numbers) * sum(piece.water(numbers) for piece in pieces)


def held_at_rest(salt: float, water: float, pieces: Sequence[Piece], numbers: Numbers | None) -> float:
    """kg of water, brine side, in the meat once it has taken up so much salt [kg] from a bath of so much `water` [kg], beside which lies its own."""
    found = held = partition(numbers) * sum(piece.water(numbers) for piece in pieces)
    own = salt_of_raw(pieces, numbers) / (held + water)
    for _ in range(40):  # each step is a tenth of the one before, or less
        found = held + partition(numbers) * moved_water(salt / found + own, pieces, numbers)
    return found


def ingoing_table(
    made: Solutes,
    pieces: Piece | Sequence[Piece],
    pick_up: float | None = None,
    numbers: Numbers | None = None,
) -> tuple[Ingoing, ...]:
    """Ingoing nitrite by every method that fits the recipe, side by side.

    `made`: a Bath, a SealedCure or a Weighed; `pick_up`: weight gained in the brine as a fraction of the
    green weight, if it was weighed. Pumping is no part of this library, so its row does not appear.

    >>> from curelab import Bath
    >>> point = Piece(thickness="6 cm", weight="1 kg")
    >>> for row in ingoing_table(Bath(water="1 kg", salt="40 g", nitrite="245 mg"), point, pick_up=0.10):
    ...     print(row.method, round(row.mg_per_kg))
    equilibrium 120
    water phase 105
    pick-up 24
    """
    pieces = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    green = sum(piece.weight for piece in pieces)
    if not pickle_weight(made):
        return (_row("dry", ingoing("dry", nitrite=made.nitrite, green=green)),)
    water, pickle = made.water, pickle_weight(made)  # type: ignore[attr-defined]
    raw = sum(piece.water(numbers) for piece in pieces)
    level = ((made.salt or 0.0) + salt_of_raw(pieces, numbers)) / (partition(numbers) * raw + water)
    moved = moved_water(level, pieces, numbers) if made.salt else 0.0
    meat_water = raw + moved
    phase = ingoing(
        "water phase",
        nitrite=made.nitrite,
        green=green,
        water=water - partition(numbers) * moved,  # all water together stays
        meat_water=meat_water,
        numbers=numbers,
    )
    if pick_up is None:
        taken = _row("pick-up", None, "weigh the piece before and after to know what it picked up")
    else:
        taken = _row("pick-up", ingoing("pick-up", nitrite=made.nitrite, pickle=pickle, share=pick_up))
    return (
        _row("equilibrium", ingoing("equilibrium", nitrite=made.nitrite, green=green, pickle=pickle)),
        _row("water phase", phase, "reached only by waiting"),
        taken,
    )


def _row(name: str, value: float | None, remark: str = "") -> Ingoing:
    method = METHODS[name]
    return Ingoing(name, value, method.formula, method.source, method.how, remark)
