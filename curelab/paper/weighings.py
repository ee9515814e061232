"""What goes into each cure, as it is read from a scale: large, and in other words beside it."""

from __future__ import annotations

from dataclasses import dataclass

from .. import units
from ..matter.brine import to_strength
from ..weighing import by_label, on_scale
from .schedule import Schedule

OUNCE = 0.028349523125  # kg


@dataclass(frozen=True)
class Amount:
    """One thing to weigh: what, how much in large, and the same in other words in small."""

    what: str
    large: str
    small: str = ""


@dataclass(frozen=True)
class Weighing:
    """What goes into one cure."""

    title: str
    amounts: tuple[Amount, ...]


def ounces(kilograms: float) -> str:
    """Pounds and ounces, to within 2 % of the mass.

    >>> ounces(1.0), ounces(0.018), ounces(5.0)
    ('2 lb 3.3 oz', '0.63 oz', '11 lb 0.5 oz')
    """
    total = kilograms / OUNCE
    step = next((s for s in (0.5, 0.1, 0.05) if s <= 0.02 * total and s <= max(0.1, 0.005 * total)), 0.01)
    step = step if total >= 0.5 else 0.001
    pounds, rest = divmod(round(round(total / step) * step, 3), 16)
    odd = f"{rest:.3f}".rstrip("0").rstrip(".")
    return f"{pounds:.0f} lb {odd} oz" if pounds else f"{odd} oz"


def grams(kilograms: float) -> str:
    """A mass as it is weighed out, without the scale that it takes."""
    return on_scale(kilograms).split(" (")[0]


def weighings(found: Schedule) -> tuple[Weighing, ...]:
    """What goes into each cure, by the weigh-out or by the stage's own amounts."""
    batch, planned = found.batch, found.planned
    result = []
    for index, stage in enumerate(planned.history.stages):
        source = stage.put_in
        if source is None:
            continue
        own = batch.stages[index].weighed
        things: list[tuple[str, float]] = []
        if planned.weighed is not None and not own:
            made = planned.weighed
            name = made.weigh_out.cure
            mix = f"{name.name} ({units.text(name.nitrite, 'fraction')} nitrite)" if name else "cure mix"
            things = [
                ("water", made.water),
                ("plain salt", made.plain_salt),
                (mix, made.cure_mix),
                ("sugar", made.sugar),
            ]
            cure = mix
        else:
            cure = ""
            things = [
                ("water", getattr(source, "water", 0.0)),
                ("salt, that of the cure mix counted in", getattr(source, "salt", 0.0) or 0.0),
            ]
            nitrite = getattr(source, "nitrite", 0.0)
            things += [
                ("sodium nitrate", getattr(source, "nitrate", 0.0)),
                ("sugar", getattr(source, "sugar", 0.0)),
            ]
        amounts = tuple(_amount(what, mass, batch.units, what == cure) for what, mass in things if mass > 0)
        if own and nitrite:
            amounts += (Amount(f"{by_label(nitrite)}. Never use pure nitrite", "cure mix, by its label"),)
        title = f"Weigh out for the {stage.tag}"
        if stage.wet:
            degrees = float(to_strength(source.strength, "salometer"))
            title += f": {100 * source.strength:.1f} % salt, {degrees:.0f}° salometer"
        result.append(Weighing(title, amounts))
    return tuple(result)


def _amount(what: str, mass: float, system: str, fine: bool) -> Amount:
    large, _, scale = on_scale(mass).partition(" (")
    scale = scale.rstrip(")")
    if system == "metric" or fine:
        also = ounces(mass) if system == "us" else ""
        return Amount(what, large, "; ".join(part for part in (also, scale) if part))
    also = units.show(mass, "water", "us") if what == "water" else f"{1e3 * mass:.0f} g" if mass >= 1 else large
    return Amount(what, ounces(mass), "; ".join(part for part in (also, scale) if part))
