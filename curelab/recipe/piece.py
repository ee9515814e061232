"""The meat on the table: shape, size, weight, tissue, fat cap. Plain data; no time and no solver in here."""

from __future__ import annotations

from collections.abc import Sequence

from ..fields import Choice, Flag, Problem, Record, Words, quantity, ruled, unchecked
from ..matter.tissue import TISSUES, Tissue, TissueRule, tissue
from ..sources import Numbers, default_numbers

SHAPES = ("slab", "cylinder", "sphere")


class Piece(Record):
    """One piece of whole-muscle meat.

    shape: "slab" (both broad faces open, the edges left out), "cylinder" (the round side open, the ends left out) or "sphere".
    thickness [m]: through the thickest point, fat cap included; the diameter of a cylinder or a sphere.
    weight [kg]: green weight, before anything is added, fat cap included.
    tissue: name of the lean, a key of `curelab.matter.tissue.TISSUES`, or a `Tissue` of your own.
    fat_cap [m] on `capped` ("one face" or "both faces") of a slab. frozen_before: frozen and thawed meat takes salt faster.
    ph: of the lean, if it was measured; it moves the loss of nitrite.
    Raises InputError with every problem at once.

    >>> point = Piece(name="point", thickness="8 cm", weight="2.2 kg", tissue="lean beef")
    >>> point.thickness, point.lean_thickness
    (0.08, 0.08)
    """

    name: str = ruled(Words(60), "piece")
    shape: str = ruled(Choice(SHAPES), "slab")
    thickness: float = quantity(
        "length",
        "2 mm",
        "40 cm",
        "measure the thickest point with a ruler or a skewer, in the direction that is thinnest there",
    )
    weight: float = quantity("mass", "10 g", "100 kg", "weigh the raw piece, before salt or water")
    tissue: str | Tissue = ruled(
        TissueRule(tuple(name for name, kind in TISSUES.items() if kind.kind != "fat")), "lean beef"
    )
    fat_cap: float = quantity("length", "0 mm", "10 cm", "measure the fat at its thickest", default=0.0)
    capped: str = ruled(Choice(("one face", "both faces")), "one face")
    frozen_before: bool = ruled(Flag(), False)
    ph: float | None = quantity("plain", "4.8", "7.5", "raw meat lies near 5.6", default=None)

    def conflicts(self):
        if self.fat_cap and self.shape != "slab":
            yield Problem(
                "fat_cap", f"only a slab can carry a fat cap, and this is a {self.shape}; leave it out or trim it"
            )
        elif self.lean_thickness < 0.002:
            yield Problem("fat_cap", "leaves less than 2 mm of lean; the thickness is measured with the cap included")

    @property
    def lean_thickness(self) -> float:
        """Thickness [m] without the fat."""
        return self.thickness - self.fat_cap * (2 if self.capped == "both faces" else 1)

    def layers(self, numbers: Numbers | None = None) -> tuple[tuple[Tissue, float], ...]:
        """(tissue, width [m]) from face to face; round shapes have one layer, from the middle outwards."""
        lean = tissue(self.tissue, numbers)
        if not self.fat_cap:
            return ((lean, self.thickness if self.shape == "slab" else self.thickness / 2),)
        cap = (tissue(f"{lean.species} fat", numbers), self.fat_cap)
        return (cap, (lean, self.lean_thickness), *((cap,) if self.capped == "both faces" else ()))

    @property
    def species(self) -> str:
        """The animal: "beef" or "pork"."""
        return tissue(self.tissue).species

    @property
    def known_ph(self) -> float | None:
        """The pH of this very piece, or of a tissue of your own; None: only that of the species is known."""
        return self.ph if self.ph is not None or isinstance(self.tissue, str) else self.tissue.ph

    def scaled(self, size: float, weight: float = 1.0) -> Piece:
        """With every length times `size` and the weight times `weight`, not checked again: a ruler or a scale that was off."""
        return unchecked(
            self, thickness=self.thickness * size, fat_cap=self.fat_cap * size, weight=self.weight * weight
        )

    @property
    def symmetric(self) -> bool:
        """Whether the two halves are alike."""
        return not self.fat_cap or self.capped == "both faces"

    def acidity(self, numbers: Numbers | None = None) -> float:
        """pH: as measured, else the usual one of the species."""
        known = self.known_ph
        return known if known is not None else (numbers or default_numbers()).si(f"ph.{self.species}")

    def volume(self, numbers: Numbers | None = None) -> float:
        """m3, from weight and density."""
        layers = self.layers(numbers)
        return self.weight * sum(width for _, width in layers) / sum(part.density * width for part, width in layers)

    def water(self, numbers: Numbers | None = None) -> float:
        """kg of water in the raw piece."""
        layers = self.layers(numbers)
        held = sum(part.density * part.water * width for part, width in layers)
        return self.weight * held / sum(part.density * width for part, width in layers)


def alike_pieces(pieces: Sequence[Piece]) -> list[list[int]]:
    """Numbers of pieces that take salt at the same pace: all the same but for name and weight."""
    groups: dict[Piece, list[int]] = {}
    for number, piece in enumerate(pieces):
        groups.setdefault(piece.but(name="piece", weight=1.0), []).append(number)
    return list(groups.values())
