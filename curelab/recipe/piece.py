"""The meat on the table: shape, size, weight, tissue, fat. Plain data; no time and no solver in here."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from .. import units
from ..fields import Choice, Flag, Part, Problem, Record, Words, quantity, refuse, ruled, unchecked
from ..matter.tissue import Tissue, tissue
from ..sources import Numbers, default_numbers
from .measured import weight_problem
from .stations import DEEP, FEWEST, LEAN, MOST, Faces, Solid, Station, StationList, order_problems

SHAPES = ("slab", "cylinder", "sphere", "block", "cut")
# What a shape needs and what it may have, beside the weight; a cylinder of a given length has open ends, one without is endless.
NEEDS = {"block": ("thickness", "width", "length"), "cut": ("stations",)}
MAY = {"cylinder": ("length", "faces"), "block": ("fat_cap", "faces"), "cut": ("fat_cap", "edges", "faces"), "slab": ("fat_cap",)}  # fmt: skip
LEAST_LEAN = 0.002  # m between fat and fat
_END = Station(at=0.0, thickness=0.1, width=0.1)  # one end of a block or a cylinder, once it has its own measures


class Piece(Record):
    """One piece of whole-muscle meat.

    shape: "slab" (both broad faces open, the edges left out), "cylinder" (the round side open; its ends too where a `length` is given),
    "sphere", "block" (thickness, width, length) or "cut" (`stations` along its length, linear between them).
    thickness [m]: through the thickest point, fat cap included; the diameter of a cylinder or a sphere. That of a cut follows from its
    stations. width, length [m]. weight [kg]: green weight, before anything is added, fat included.
    tissue: name of the lean, a key of `curelab.matter.tissue.TISSUES`, or a `Tissue` of your own.
    fat_cap [m] on `capped` ("one face": the first; or "both faces") of a slab, a block or a cut. edges of a cut: "rounded" or "square".
    faces: what lies at each face of a block, a cut or a cylinder with a length; see `Faces`. frozen_before: frozen and thawed meat takes
    salt faster. ph: of the lean, if it was measured; it moves the loss of nitrite. price_per_kg: raw, in any money; of the slice follows.
    Raises InputError with every problem at once.

    >>> point = Piece(name="point", thickness="8 cm", weight="2.2 kg", tissue="lean beef")
    >>> point.thickness, point.lean_thickness
    (0.08, 0.08)
    >>> ends = [dict(at="0 cm", thickness="3 cm", width="16 cm"), dict(at="30 cm", thickness="8 cm", width="17 cm")]
    >>> Piece(shape="cut", stations=ends, weight="2.7 kg").thickness
    0.08
    """

    name: str = ruled(Words(60), "piece")
    shape: str = ruled(Choice(SHAPES), "slab")
    thickness: float = quantity(
        "length",
        "2 mm",
        "40 cm",
        "measure the thickest point with a ruler or a skewer, in the direction that is thinnest there",
        default=None,
    )
    width: float | None = quantity("length", "5 mm", "1 m", "measure across the piece", default=None)
    length: float | None = quantity("length", "5 mm", "2 m", "measure along the piece", default=None)
    stations: tuple[Station, ...] = ruled(StationList((Station,), least=FEWEST, most=MOST), ())
    weight: float = quantity("mass", "10 g", "100 kg", "weigh the raw piece, before salt or water")
    tissue: str | Tissue = ruled(LEAN, "lean beef")
    fat_cap: float = quantity("length", "0 mm", "10 cm", "measure the fat at its thickest", default=0.0)
    capped: str = ruled(Choice(("one face", "both faces")), "one face")
    edges: str = ruled(Choice(("rounded", "square")), "rounded")
    faces: Faces = ruled(Part(Faces), Faces())
    frozen_before: bool = ruled(Flag(), False)
    ph: float | None = quantity("plain", "4.8", "7.5", "raw meat lies near 5.6", default=None)
    price_per_kg: float | None = quantity("plain", "0", "100000", "give what a kilogram costs raw", default=None)

    @classmethod
    def lacking(cls, given):
        shape = given.get("shape", "slab")
        needs = NEEDS.get(shape, ("thickness",)) if shape in SHAPES else ()
        return [name for name in needs if given.get(name, ()) == ()]

    def but(self, **changes):
        """The same piece with some fields changed, checked again; a cut of another `thickness` is so much thicker everywhere."""
        if self.shape == "cut" and changes.get("thickness") is not None and not {"shape", "stations"} & set(changes):
            try:
                factor = units.read(changes["thickness"], "length") / self.thickness
            except ValueError as error:
                raise refuse("thickness", str(error)) from None
            thicker = tuple(each.but(**each.times(factor, DEEP)) for each in self.stations)
            changes = {"fat_cap": self.fat_cap * factor} | changes | {"thickness": None, "stations": thicker}
        return super().but(**changes)

    def follows(self):
        return (
            {"thickness": max(each.thickness for each in self.stations)}
            if self.shape == "cut" and self.stations
            else {}
        )

    def conflicts(self):
        known = (*NEEDS.get(self.shape, ("thickness",)), *MAY.get(self.shape, ()))
        given = {"width": self.width, "length": self.length, "stations": self.stations, "faces": self.faces.closed}
        for name, value in given.items():
            if value and name not in known:
                yield Problem(
                    name, f"a {self.shape} has {' and '.join(known)} only; leave it out, or take another shape"
                )
        if self.fat_cap and "fat_cap" not in known:
            yield Problem(
                "fat_cap", f"a {self.shape} can carry no fat cap; leave it out, trim it, or take another shape"
            )
        sides = [name for name in self.faces.closed if name not in ("head", "tail")]
        if self.shape == "cylinder" and sides:
            yield Problem(
                "faces",
                f"a cylinder has a head, a tail and its round side, which is open; leave out {' and '.join(sides)}",
            )
        problems = [*order_problems(self.stations), *self._species_problems(), *self._fat_problems()]
        yield from problems
        solid = self.solid() if not problems and all(map(given.get, NEEDS.get(self.shape, ())[1:])) else None
        if solid is not None and (problem := weight_problem(self.weight, solid)):
            yield problem

    def _species_problems(self):
        for number, station in enumerate(self.stations, 1):
            for name in ("tissue", "below"):
                part = getattr(station, name)
                if part is not None and tissue(part).species != self.species:
                    yield Problem(
                        f"stations[{number}].{name}",
                        f"{tissue(part)} is {tissue(part).species}, and the piece is {self.species}; one piece is of one animal",
                    )

    def _fat_problems(self):
        if self.shape != "cut" and self.lean_thickness < LEAST_LEAN:
            yield Problem("fat_cap", "leaves less than 2 mm of lean; the thickness is measured with the cap included")
        for number, station in enumerate(self.stations, 1):
            where, (cap, other) = f"stations[{number}]", self._caps(station)
            if station.thickness - cap - other < LEAST_LEAN:
                yield Problem(
                    f"{where}.fat_cap",
                    f"{1e3 * (cap + other):.3g} mm of fat leave less than 2 mm of lean in {1e3 * station.thickness:.3g} mm; the thickness "
                    "is measured with the cap included",
                )
            elif station.seam is not None and station.seam_thickness is not None:
                deepest = station.thickness - other - station.seam_thickness - LEAST_LEAN
                if not cap + LEAST_LEAN <= station.seam <= deepest + 1e-9:
                    room = f"give a depth of {1e3 * (cap + LEAST_LEAN):.3g} to {1e3 * deepest:.3g} mm"
                    yield Problem(
                        f"{where}.seam",
                        f"a seam at {1e3 * station.seam:.3g} to {1e3 * (station.seam + station.seam_thickness):.3g} mm crosses a face or its "
                        f"fat: 2 mm of lean must lie on both sides; {room if deepest >= cap + LEAST_LEAN else 'leave it out'}",
                    )

    def _caps(self, station: Station | None = None) -> tuple[float, float]:
        """Fat [m] on the first and on the second face, at a station."""
        cap = self.fat_cap if station is None or station.fat_cap is None else station.fat_cap
        return cap, cap if self.capped == "both faces" else 0.0

    @property
    def lean_thickness(self) -> float:
        """Thickness [m] without the fat, where that is thickest."""
        if self.shape != "cut":
            return self.thickness - sum(self._caps())
        return max(each.thickness - sum(self._caps(each)) - (each.seam_thickness or 0.0) for each in self.stations)

    @property
    def fatty(self) -> bool:
        """Whether it carries fat that is told apart from the lean."""
        return self.has_cap or any(each.seam for each in self.stations)

    @property
    def has_cap(self) -> bool:
        """Whether fat covers a face of it."""
        return bool(self.fat_cap) or any(each.fat_cap for each in self.stations)

    def ruler(self) -> tuple[float, float, float]:
        """What an error of a metre in its thickness, in its width, and in the place of the ruler along it would do to its size, 1/m: the
        relative change of every length that moves its slowest pace as much. Paces along three directions add up, each with the square of
        its length (Crank 1975, product of plane sheets; from memory). Where the piece grows thicker along its length, a ruler that was
        laid on beside the place shows another thickness.
        """
        solid = self.solid()
        if solid is None or self.shape == "cylinder":
            return 1.0 / self.thickness, 0.0, 0.0
        at = max(range(len(solid.at)), key=lambda number: solid.thickness[number])
        one_sided = self.faces.first != "open" or self.faces.second != "open" or not self.symmetric
        through, across = self.thickness * (2 if one_sided else 1), solid.width[at]
        share = across**2 / (across**2 + through**2)
        beside = [n for n in (at - 1, at + 1) if 0 <= n < len(solid.at)]
        slopes = [abs((solid.thickness[n] - self.thickness) / (solid.at[n] - solid.at[at])) for n in beside]
        return share / self.thickness, (1 - share) / across, share / self.thickness * sum(slopes) / len(slopes)

    @property
    def lies_flat(self) -> bool:
        """Whether it lies on a face; a round piece touches the vessel along a line at most."""
        return self.shape not in ("cylinder", "sphere")

    def solid(self, numbers: Numbers | None = None) -> Solid | None:
        """What it is in three dimensions; None for a slab, a sphere and an endless cylinder, which are computed across alone."""
        whole = self.whole(numbers)
        return whole if whole is None else whole.told_apart()

    def whole(self, numbers: Numbers | None = None) -> Solid | None:
        """The same with all five layers, those that are nowhere too: cap, lean, seam, lean under the seam, cap."""
        if self.shape not in ("block", "cut") and not (self.shape == "cylinder" and self.length):
            return None
        wide = self.thickness if self.width is None else self.width
        ends = (unchecked(_END, at=at, thickness=self.thickness, width=wide) for at in (0.0, self.length or 0.0))
        stations = self.stations or tuple(ends)
        fat = tissue(f"{self.species} fat", numbers)
        upper = [tissue(each.tissue or self.tissue, numbers) for each in stations]
        lower = [upper[n] if each.below is None else tissue(each.below, numbers) for n, each in enumerate(stations)]
        return Solid(
            tuple(each.at for each in stations),
            tuple(each.thickness for each in stations),
            tuple(each.width for each in stations),
            tuple(self._borders(each, stations) for each in stations),
            tuple((fat, above, fat, below, fat) for above, below in zip(upper, lower, strict=True)),
            self.shape == "cylinder" or (self.shape == "cut" and self.edges == "rounded"),
            self.faces.closed,
        )

    def _borders(self, station: Station, stations: tuple[Station, ...]) -> tuple[float, ...]:
        """Depths [m] of the first face, the cap's end, both sides of the seam, the other cap and the second face. Where a seam ends it is
        0 thick, at the same share of the thickness as at the nearest station that has one.
        """
        (cap, other), thick = self._caps(station), station.thickness
        if station.seam is not None and station.seam_thickness is not None:
            return 0.0, cap, station.seam, station.seam + station.seam_thickness, thick - other, thick
        seamed = [each for each in stations if each.seam is not None]
        depth = thick - other
        if seamed:
            near = min(seamed, key=lambda each: abs(each.at - station.at))
            middle = ((near.seam or 0.0) + 0.5 * (near.seam_thickness or 0.0)) / near.thickness
            depth = min(max(cap, middle * thick), thick - other)
        return 0.0, cap, depth, depth, thick - other, thick

    def layers(self, numbers: Numbers | None = None) -> tuple[tuple[Tissue, float], ...]:
        """(tissue, width [m]) from face to face, at the thickest place; round shapes have one layer, from the middle outwards."""
        solid = self.solid(numbers)
        if solid is not None and self.shape != "cylinder":
            at = max(range(len(solid.at)), key=lambda number: solid.thickness[number])
            depths = solid.borders[at]
            widths = [below - above for above, below in pairwise(depths)]
            return tuple((part, width) for part, width in zip(solid.tissues[at], widths, strict=True) if width > 0)
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
        lengths = {
            name: size * each for name in ("thickness", "width", "length", "fat_cap") if (each := getattr(self, name))
        }
        stations = tuple(unchecked(each, **each.times(size)) for each in self.stations)
        return unchecked(self, **lengths, stations=stations, weight=self.weight * weight)

    @property
    def symmetric(self) -> bool:
        """Whether the two halves, first and second, are alike."""
        if any(each.seam is not None for each in self.stations) or self.faces.first != self.faces.second:
            return False
        return self.capped == "both faces" or not (self.fat_cap or any(each.fat_cap for each in self.stations))

    def acidity(self, numbers: Numbers | None = None) -> float:
        """pH: as measured, else the usual one of the species."""
        known = self.known_ph
        return known if known is not None else (numbers or default_numbers()).si(f"ph.{self.species}")

    def parts(self, numbers: Numbers | None = None) -> dict[Tissue, float]:
        """Each tissue and how much of the volume it takes, by the measures; in any unit."""
        solid = self.solid(numbers)
        if solid is not None:
            return solid.volumes()
        found: dict[Tissue, float] = {}
        for part, width in self.layers(numbers):
            found[part] = found.get(part, 0.0) + width
        return found

    def volume(self, numbers: Numbers | None = None) -> float:
        """m3, from weight and density."""
        parts = self.parts(numbers)
        return self.weight * sum(parts.values()) / sum(part.density * share for part, share in parts.items())

    def lean_weight(self, numbers: Numbers | None = None) -> float:
        """kg of raw lean."""
        heavy = [(part.kind != "fat", part.density * width) for part, width in self.layers(numbers)]
        return self.weight * sum(weight for lean, weight in heavy if lean) / sum(weight for _, weight in heavy)

    def water(self, numbers: Numbers | None = None) -> float:
        """kg of water in the raw piece."""
        parts = self.parts(numbers)
        held = sum(part.density * part.water * share for part, share in parts.items())
        return self.weight * held / sum(part.density * share for part, share in parts.items())


def alike_pieces(pieces: Sequence[Piece]) -> list[list[int]]:
    """Numbers of pieces that take salt at the same pace: all the same but for name, and for weight where that gives no measure."""
    groups: dict[Piece, list[int]] = {}
    for number, piece in enumerate(pieces):
        weight = 1.0 if piece.solid() is None else piece.weight
        groups.setdefault(unchecked(piece, name="piece", weight=weight), []).append(number)
    return list(groups.values())
