"""What a simulation takes for granted, one sentence each, built from the pieces, the stages and the numbers in use."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction

import numpy as np

from .. import units
from ..matter import solutes, tissue
from ..recipe.measured import weight_note
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..sources import Number, Numbers, default_numbers
from .heat_assumed import heat_assumed
from .turning import assumed

Span = tuple[float, float]

_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_PARTS = {2: "half", 3: "third", 4: "quarter", 5: "fifth", 6: "sixth", 7: "seventh", 8: "eighth", 10: "tenth"}
_NEAR = (
    0.1  # relative: how far a number may lie from the words that stand for it (judgement; the numbers are known worse)
)
CHILLED = "The meat is taken to be as cold as its fridge from the start. Chill it through before it goes in."
ALWAYS = (
    "The brine is mixed and equally strong everywhere.",
    "Salt moves alike along and across the fibre, and at every strength.",
    "Swelling does not change the thickness.",
)  # of every batch; for who asks for the whole
_WAVES = (np.arange(100) + 0.5) * np.pi  # of a plane sheet between held faces


def assumptions(
    pieces: Sequence[Piece], stages: Sequence[Stage], numbers: Numbers, loss: str, spans: Sequence[Span | None]
) -> tuple[str, ...]:
    """What was taken for granted, each sentence once.

    `loss` is a key of `solutes.LOSS_MODELS`; `spans` holds (begin, end) in s of each stage, None for one that was not run.

    >>> from curelab import Brine, Bath
    >>> cure = Brine(bath=Bath(water="4 kg", salt="180 g"), temperature="3 degC", lasts="10 d")
    >>> assumptions([Piece(weight="2 kg", thickness="8 cm")], [cure], default_numbers(), "nordin", [None])[2]
    'Raw meat begins with salt of its own, near 0.15 % of lean. The water in fat has as much.'
    """
    numbers = numbers.tracked()  # looking a number up for a sentence is not resting on it
    own = all(not isinstance(piece.tissue, str) and piece.tissue.diffusivity is not None for piece in pieces)
    said = [] if own else [pace(numbers)]
    said += [water_moved(numbers), begins_with(numbers), CHILLED]
    said += [sentence for piece in pieces if (sentence := edges(piece, numbers))]
    said += [note for piece in pieces if (note := weight_note(piece))]
    said += shapes(pieces, stages)
    said += [
        sentence
        for number, (stage, span) in enumerate(zip(stages, spans, strict=True), start=1)
        if (sentence := beyond_log(number, stage, span, numbers))
    ]
    if any(stage.put_in is not None and stage.put_in.nitrate for stage in stages):
        said.append("Nitrate is carried as it is; what bacteria turn into nitrite over weeks is not counted.")
    said += nitrite_lost(pieces, stages, numbers, loss)
    said += _own_tissues(pieces)
    said += assumed(pieces, stages)
    said += heat_assumed(stages)
    return tuple(dict.fromkeys(said))


def pace(numbers: Numbers) -> str:
    """How fast salt moves in lean meat, and what that means for the days.

    >>> pace(default_numbers().with_values({"obstruction.lean": 0.5}))
    'Salt in lean meat is taken to move at half of its pace in water; most experiments lie between a fifth and three fifths; single ones lie far outside.'
    """
    row = numbers["obstruction.lean"]
    assert row.low is not None and row.high is not None
    published = f"most experiments lie between {part(row.low)} and {part(row.high)}; single ones lie far outside"
    if row.how == "given":
        return f"Salt in lean meat is taken to move at {part(row.value)} of its pace in water; {published}."
    return (
        f"Salt in lean meat moves at {part(row.value)} of its pace in water; {published}. "
        f"Days can be {part(row.value / row.high)} or {times(row.value / row.low)} as long."
    )


def water_moved(numbers: Numbers) -> str:
    """How water moves with the salt, and how well that is known."""
    band = count(100 * tissue.water_change_band(numbers))
    return (
        "Lean takes up water in weak brine and gives it off in strong, as salt comes to each place; in a soak it keeps what it has or takes up "
        f"more. This water carries its salt. Weight may be off by {band} points of the raw weight, and finished salt with it."
    )


def begins_with(numbers: Numbers) -> str:
    """How much salt raw meat has of its own."""
    lean = tissue.own_salt(numbers) * numbers.si("tissue.lean_beef.water")
    return f"Raw meat begins with salt of its own, near {100 * lean:.2f} % of lean. The water in fat has as much."


def edges(piece: Piece, numbers: Numbers) -> str | None:
    """What salt that comes in at the edges of a slab would change, which are left out.

    In a large bath what is missing of the end is the product of what is missing along each of three directions (Crank 1975, from memory;
    each a plane sheet), here to a tenth, for a square piece. In a small bath the edges drain the brine as well: an own three-dimensional
    check at 1 kg of water per kg found the average as much sooner, and the middle no sooner.
    """
    if piece.shape != "slab":
        return None
    if piece.fat_cap and piece.symmetric:
        return (
            f"Both broad faces of {piece.name} lie under fat, so salt comes in mostly at the edges, which are left out: this is not a fair "
            "picture of it; trim one face, or count on the edges and probe the middle."
        )
    through = 2 * piece.lean_thickness if piece.fat_cap and piece.symmetric is False else piece.lean_thickness
    across = (piece.volume(numbers) / piece.thickness) ** 0.5
    whole, middle = (100 * _sooner(missing, through / across) for missing in (_missing_whole, _missing_middle))
    sooner = (
        f"Its middle comes at most {middle:.0f} % sooner in much brine. In little it comes no sooner, for the edges drain it too."
        if middle >= 1
        else "Its middle comes no sooner."
    )
    return (
        f"The edges of {piece.name} are left out. If it is about as long as broad ({units.show(across, 'length', digits=2)}), with them the "
        f"whole has its salt about {whole:.0f} % sooner. {sooner}"
    )


def _missing_whole(fo: float) -> float:
    return float(np.sum(2 / _WAVES**2 * np.exp(-(_WAVES**2) * fo)))


def _missing_middle(fo: float) -> float:
    return float(np.sum(2 * (-1.0) ** np.arange(len(_WAVES)) / _WAVES * np.exp(-(_WAVES**2) * fo)))


def _sooner(missing: Callable[[float], float], slender: float) -> float:
    """By which share of its time a square piece, `slender` times as thick as broad, comes to nine tenths sooner than a plane sheet."""

    def time(left: Callable[[float], float]) -> float:
        low, high = 1e-3, 4.0  # Fo on the half thickness, in which nine tenths lie
        for _ in range(40):
            fo = 0.5 * (low + high)
            low, high = (fo, high) if left(fo) > 0.1 else (low, fo)
        return high

    return 1 - time(lambda fo: missing(fo) * missing(fo * slender**2) ** 2) / time(missing)


def shapes(pieces: Sequence[Piece], stages: Sequence[Stage]) -> Iterator[str]:
    """How pieces in three dimensions were drawn; what is left out of round pieces, of the faces that pieces lie on, and of the bag."""
    for piece in pieces:
        if piece.shape == "cut":
            edge = "half round" if piece.edges == "rounded" else "square"
            yield f"The {piece.name} is counted with its edges and ends: straight between its stations, its long edges {edge}."
        elif piece.solid() is not None:
            yield f"The {piece.name} is counted with its edges and ends."
    if any(piece.shape == "cylinder" and not piece.length for piece in pieces):
        yield "The ends of a cylinder are left out, so a short piece is cured somewhat sooner than shown."
    if any(stage.lies for stage in stages) and not all(piece.lies_flat for piece in pieces):
        yield "Round pieces touch the vessel along a line, which is left out: turning makes no difference to them here."
    if any(stretch.purge is not None for stage in stages for stretch in stage.stretches):
        yield "The purge is taken as drawn at once, so much for each gram of salt, and to bathe both faces; dry salt lies in it until it dissolves."
        if len(pieces) > 1:
            yield "All pieces are taken to share one bag; in bags of their own, share salt and cure out by weight."


def beyond_log(number: int, stage: Stage, span: Span | None, numbers: Numbers) -> str | None:
    """Says so when a fridge log does not cover its stage, whose number counts from 1."""
    *before, log = stage.logs
    if len(log) < 2 or span is None:
        return None
    left = span[1] - span[0] - sum(stage.lengths[: len(before)]) - log[-1][0]
    if left <= numbers.si("protection.log_gap"):
        return None
    return f"The fridge log of stage {number} ends {units.show(left, 'time')} before the stage does; its last reading is carried on."


def nitrite_lost(pieces: Sequence[Piece], stages: Sequence[Stage], numbers: Numbers, loss: str) -> Iterator[str]:
    """The model of the loss of nitrite, which of its numbers were replaced, and where it is used beyond what it rests on."""
    model = solutes.LOSS_MODELS[loss]
    yield f"Free nitrite: {model.summary} ({model.source}; {model.how})."
    if loss != "none":
        yield from filter(None, (replaced(numbers[key]) for key in (*model.keys, "nitrite.loss_multiplier")))
        if any(piece.fatty for piece in pieces):
            yield "Nitrite is lost in the lean; what is in fat lasts (judgement)."
    for piece in pieces:
        for stage in stages:
            for kelvin in (stage.coldest, stage.warmest):
                caution = solutes.loss_caution(kelvin, piece.acidity(numbers), loss)
                if caution:
                    yield caution


def _own_tissues(pieces: Sequence[Piece]) -> tuple[str, ...]:
    """What is taken for granted of tissues that came with a diffusivity of their own, one sentence each."""
    said = []
    for part in dict.fromkeys(piece.tissue for piece in pieces):
        if isinstance(part, str) or part.diffusivity is None:
            continue
        grows = "grows with temperature as in water"
        if part.activation_energy is not None:
            grows = (
                f"grows with temperature by {part.activation_energy:g} kJ/mol, and where the temperature changes it is taken at its mean over "
                "the log of each stretch"
            )
        warm = units.show(part.reference, "temperature")
        said.append(
            f"Salt moves in {part} at {part.diffusivity:.3g} m2/s at {warm}, as given; this {grows}. It is taken as known: no band stands for it."
        )
    return tuple(said)


def replaced(row: Number) -> str | None:
    """Says so when a number in use is not the published one, to the two digits that are shown."""
    now, before = (f"{value:.2g}" for value in (row.value, default_numbers()[row.key].value))
    if row.how != "given" or now == before:
        return None
    unit = "" if row.unit == "ratio" else f" {row.unit}"
    return f"{units.capital(row.quantity)}: {now}{unit} is used here in place of {before}{unit}."


def part(share: float) -> str:
    """A share as a simple fraction in words where one lies near, a common one first, else in two digits.

    >>> part(0.33), part(0.61), part(0.5), part(0.13), part(1.0), part(0.02)
    ('a third', 'three fifths', 'half', 'an eighth', 'the whole', '0.02')
    """
    common = [Fraction(top, bottom) for bottom in range(2, 6) for top in range(1, bottom + 1)]
    finer = [Fraction(1, bottom) for bottom in _PARTS if bottom > 5]
    for known in (common, finer):
        nearest = min(known, key=lambda each: abs(float(each) - share))
        if abs(float(nearest) - share) <= _NEAR * nearest:
            break
    else:
        return f"{share:.2g}"
    if nearest.denominator <= 2:
        return "the whole" if nearest == 1 else "half"
    if nearest.numerator == 1:
        return f"{'an' if nearest.denominator == 8 else 'a'} {_PARTS[nearest.denominator]}"
    return f"{_COUNTS[nearest.numerator]} {_PARTS[nearest.denominator]}s"


def times(factor: float) -> str:
    """A factor in words: "twice", "three times".

    >>> times(1.8), times(3.2), times(1.4)
    ('twice', 'three times', '1.4 times')
    """
    whole = round(factor)
    if not 2 <= whole < len(_COUNTS) or abs(whole - factor) > _NEAR * whole:
        return f"{factor:.2g} times"
    return "twice" if whole == 2 else f"{_COUNTS[whole]} times"


def count(number: float) -> str:
    """A small whole number as a word, any other in two digits."""
    whole = round(number)
    return _COUNTS[whole] if abs(number - whole) < 1e-9 and 0 < whole < len(_COUNTS) else f"{number:.2g}"


__all__ = ["ALWAYS", "assumptions"]
