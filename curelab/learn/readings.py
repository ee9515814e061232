"""Measurements that a cook can take: what an instrument would show in a history, in many draws, and what a log holds of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .. import units
from ..batch import TASTE_WORDS, Batch, Reading
from ..engine.history import History
from ..engine.simulate import simulate
from ..matter import brine
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..sources import Numbers, default_numbers
from ..spread.uncertain import POINT_95, inputs_for
from . import probe
from .probe import WARMTH

KINDS = {
    "brine strength": "fraction",
    "salometer": "plain",
    "weight": "mass",
    "core salt": "fraction",
    "average salt": "fraction",
    "taste": "fraction",
    "temperature": "temperature",
    WARMTH: "temperature",
    "acidity": "plain",
}
# How far off a reading may be, 9 times of 10, when the cook does not say (judgement; weight: share of the reading; temperature [K]).
USUAL_ERROR = {
    "brine strength": 0.002, "salometer": 1.0, "weight": 0.005, "core salt": 0.003, "average salt": 0.003, "taste": 0.005,
    "temperature": 0.5, WARMTH: 2.0, "acidity": 0.1,
}  # fmt: skip
LEAST_ERROR = 0.02  # of the usual error: no instrument is sharper than that, whatever is written down (judgement)
# Of the error, as a deviation: what an instrument is off in the same way every time, so that half of the variance is its own (judgement).
SHARED = 0.7
# K, 9 times of 10: how far a fridge swings about its own mean, which one reading does not show (judgement).
FRIDGE_SWING = 1.0
NEAR = units.HOUR  # s: a temperature read so near to a salometer is that of its brine (judgement)
# What a fried slice tastes of, as salt of the meat: the rows of numbers.csv between which each word lies.
TASTES = {
    "bland": (None, "taste.normal_low"),
    "right": ("taste.normal_low", "taste.normal_high"),
    "salty": ("taste.normal_high", "taste.too_salty"),
    "too salty": ("taste.too_salty", None),
}
assert tuple(TASTES) == TASTE_WORDS
IN_THE_BATH = ("brine strength", "salometer")
LASTING = (
    "average salt",
    "taste",
    "acidity",
)  # what does not change any more in wrapped meat after the end of the plan
GRID = np.linspace(0.0, brine.STRONGEST, 2641)


def usually_off(what: str, system: str = "metric") -> str:
    """USUAL_ERROR of a reading in words.

    >>> usually_off("salometer"), usually_off("brine strength"), usually_off("temperature", "us")
    ('1 degree', '0.2 %', '0.9 °F')
    """
    off = USUAL_ERROR[what]
    if KINDS[what] == "temperature":
        return f"{1.8 * off:g} °F" if system == "us" else f"{off:g} °C"
    if what in ("salometer", "acidity"):
        return f"{off:g} degree{'' if off == 1 else 's'}" if what == "salometer" else f"{off:g}"
    return f"{100 * off:g} %{' of the weight' if what == 'weight' else ''}"


@dataclass(frozen=True)
class Measurement:
    """One reading: what (a key of KINDS), at (since the start: s, or "5 d", a timedelta, a quantity of pint; kept in s), value in SI, and its error, one standard deviation.

    A salometer floats in the brine at `temperature` [K] (None: as planned) and is made for 60 degF. core salt: strip or
    titration of the middle; average salt: of a whole slice; taste: the middle of a range, error from its width, `word` as
    the cook said it. temperature: of the fridge or bath [K]; core temperature: of the meat, in a bath of this `setting` (`Heating.setting`);
    acidity: pH of the raw lean. Raises ValueError for another kind, or
    what is no number.
    """

    what: str
    at: float
    value: float
    error: float
    piece: str = ""
    temperature: float | None = None
    word: str = ""
    setting: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "at", units.seconds(self.at))
        if self.what not in KINDS:
            raise ValueError(f'"{self.what}" is not one of {", ".join(KINDS)}')
        if not (np.isfinite([self.at, self.value, self.error]).all() and self.at >= 0 and self.error > 0):
            raise ValueError(f"{self.what}: time, value and error must be numbers, the error above zero")

    def shown(self, value: float, system: str = "metric") -> str:
        """A value of this sort of reading in words."""
        if self.what == "salometer":
            return f"{value:.1f} degrees"
        return f"pH {value:.2f}" if self.what == "acidity" else units.show(value, KINDS[self.what], system)


def tasted(word: str, at: float, piece: str = "", numbers: Numbers | None = None) -> Measurement:
    """The finished taste of a slice fried and eaten warm, as a range of salt: "bland", "right", "salty" or "too salty".

    The ranges are the working bands `taste.*` (judgement); frying drives off water, so a slice tastes saltier than the
    meat is, and the open ends are closed at 0.5 and 4.5 % (judgement). Raises KeyError for another word.
    """
    if word not in TASTES:
        raise KeyError(f'"{word}" is not one of {", ".join(TASTES)}')
    base = numbers or default_numbers()
    below, above = TASTES[word]
    low = base.si(below) if below else 0.005
    high = base.si(above) if above else 0.045
    return Measurement("taste", at, 0.5 * (low + high), 0.5 * (high - low) / POINT_95, piece, word=word)


def salometer(
    salt: np.ndarray, sugar: np.ndarray, temperature: np.ndarray, numbers: Numbers | None = None
) -> np.ndarray:
    """Degrees that a salometer made for 60 degF shows in a brine at `temperature` K (0 to 40 degC; colder counts as 0).

    `salt`, `sugar`: kg per kg of water. The instrument weighs: it shows the brine that is as dense at 60 degF. Sugar adds its own
    volume as a crystal (row sugar.crystal_density), so it reads as about half as much salt. The glass is taken not to shrink.

    >>> round(float(salometer(np.array(0.1), np.array(0.0), np.array(288.7056))), 2)  # 9.09 % of brine, at 60 degF
    34.44
    >>> bool(salometer(np.array(0.1), np.array(0.0), np.array(276.15)) > 34.44)  # cold brine is denser
    True
    """
    base = numbers or default_numbers()
    kelvin = np.clip(temperature, 273.15, 313.15)
    alone = np.asarray(brine.density(np.minimum(salt / (1 + salt), brine.STRONGEST), kelvin))
    dense = (1 + salt + sugar) / ((1 + salt) / alone + sugar / base.si("sugar.crystal_density"))
    known = np.asarray(brine.density(GRID, brine.SIXTY_FAHRENHEIT))
    found = np.interp(dense, known, GRID)
    slope = (GRID[1] - GRID[0]) / np.diff(known)[[0, -1]]
    found = np.where(dense < known[0], (dense - known[0]) * slope[0], found)
    found = np.where(dense > known[-1], GRID[-1] + (dense - known[-1]) * slope[1], found)
    return 100.0 * found / brine.SALOMETER_SCALES["60F"]


def measure(history: History, reading: Measurement) -> float:
    """What the instrument of `reading` would show in this history, in the unit of its value.

    Raises ValueError for a time after the end, or a piece that is not there.
    """
    piece: int | str = reading.piece or 0
    if reading.what == "weight":
        return history.weight(reading.at, piece)
    if reading.what == "core salt":
        return history.core("salt", reading.at, piece)
    if reading.what in ("average salt", "taste"):
        return history.average("salt", reading.at, piece)
    if reading.what == "temperature":
        return history.temperature(reading.at)
    if reading.what == WARMTH:
        return history.temperature(reading.at, "core", piece)
    if reading.what == "acidity":
        return piece_of(reading, history.pieces).acidity(history.numbers)
    salt = history.bath("salt", reading.at)
    if reading.what == "brine strength":
        return salt
    sugar = history.bath("sugar", reading.at)
    kelvin = history.temperature(reading.at) if reading.temperature is None else reading.temperature
    return float(
        salometer(np.array(salt / (1 - salt)), np.array(sugar / (1 - sugar)), np.array(kelvin), history.numbers)
    )


def piece_of(reading: Measurement | Reading, pieces: Sequence[Piece]) -> Piece:
    """The piece that was measured; the first where none is named. Raises ValueError for a name that none has."""
    return pieces[[piece.name for piece in pieces].index(reading.piece) if reading.piece else 0]


def measured(
    pieces: Sequence[Piece],
    stages: Sequence[Stage],
    columns: Mapping[str, np.ndarray],
    readings: Sequence[Measurement],
    planned: Sequence[float],
    *,
    loss: str,
    cells: int,
    numbers: Numbers,
) -> np.ndarray:
    """`measure` for every draw and reading (d, r), one pass for each kind and piece, at the times of all of that kind: many pieces are read
    at once.

    `columns`: values (d,) of the drawn inputs, in printed units; `planned`: temperature [K] of the plan at each reading.
    """
    count = len(next(iter(columns.values())))
    result = np.empty((count, len(readings)))
    names = [piece.name for piece in pieces]
    groups: dict[tuple[str, int], list[int]] = {}
    for number, reading in enumerate(readings):
        groups.setdefault((reading.what, names.index(reading.piece) if reading.piece else 0), []).append(number)
    warmer = columns.get("temperature", np.zeros(count))[:, None]
    many: History | None = None
    every = {what: np.array(sorted({each.at for each in readings if each.what == what})) for what, _ in groups}
    for (what, piece), chosen in groups.items():
        times = every[what]
        own = np.searchsorted(times, [readings[number].at for number in chosen])
        kelvin = np.array([planned[number] for number in chosen]) + warmer
        if what == "temperature":
            result[:, chosen] = kelvin
            continue
        if what == "acidity":
            result[:, chosen] = _acidity(pieces[piece], columns, numbers, count)[:, None]
            continue
        if many is None:  # a network is solved only where a reading needs one
            many = simulate(pieces, stages, draws=columns, loss=loss, cells=cells, numbers=numbers)
        if what == "weight":
            result[:, chosen] = many.weight(times, piece)[:, own]
        elif what == WARMTH:
            result[:, chosen] = many.temperature(times, "core", piece)[:, own]
        elif what in ("core salt", "average salt", "taste"):
            result[:, chosen] = many.at("core" if what == "core salt" else "average", "salt", times, piece)[:, own]
        else:
            salt = many.bath("salt", times)[:, own]
            if what == "salometer":
                sugar = many.bath("sugar", times)[:, own]
                read = [readings[number].temperature for number in chosen]
                warm = np.where([one is not None for one in read], np.array(read, dtype=float), kelvin)
                salt = salometer(salt / (1 - salt), sugar / (1 - sugar), warm, numbers)
            result[:, chosen] = salt
    return result


def _acidity(piece: Piece, columns: Mapping[str, np.ndarray], numbers: Numbers, count: int) -> np.ndarray:
    key = f"ph.{piece.species}"
    if piece.known_ph is not None or key not in columns:
        return np.full(count, piece.acidity(numbers))
    return np.asarray(columns[key], dtype=float)


# ---- a log -----------------------------------------------------------------------------------------------------------


def as_planned(batch: Batch, numbers: Numbers) -> History:
    """The plan as simulated, on so few cells as readings and criteria need."""
    return simulate(batch.pieces, batch.filled(), loss=batch.loss, cells=12, numbers=numbers)


def from_log(
    batch: Batch, numbers: Numbers | None = None, usual: History | None = None
) -> tuple[tuple[Measurement, ...], tuple[str, ...]]:
    """(measurements, remarks) of a batch's log; usual: the plan as simulated, None: not yet. An error in the log is taken as holding 9 times of 10.

    Entries without a value (turned, note) stay out, and so does what nothing can be compared with: a bath read while the pieces
    rest, a time after the end of the plan (salt of a slice, taste and pH are then read at the end), a pH that this batch does not
    depend on, a temperature in a stage that has its own fridge log, a probe in meat that nothing heats or that is hotter than its bath. A remark says so for each.
    """
    if not any(entry.what in KINDS for entry in batch.log):
        return (), ()
    base = numbers or default_numbers()
    stages = batch.filled()
    usual = usual or as_planned(batch, base)
    if any(entry.what == WARMTH for entry in batch.log):
        usual = simulate(batch.pieces, probe.lived(batch, usual), loss=batch.loss, cells=12, numbers=base)
    ranges = {
        row.key: (row.low, row.high) for row in inputs_for(batch.pieces, stages, batch.loss, base, usual.numbers.used)
    }
    found, remarks = [], []
    for entry in batch.log:
        if entry.what not in KINDS:
            continue
        at, remark, usable = _placed(entry, usual)
        setting = ""
        if usable and entry.what == WARMTH:
            ran = usual.ran_at(at)
            entry, remark = probe.placed(entry, ran, usual, batch)
            usable, setting = not remark, ran.stretch.heating.setting if ran.stretch.heating is not None else ""
        if usable and entry.what == "acidity":
            assert entry.number is not None
            about = _about_acidity(piece_of(entry, batch.pieces), entry.number, ranges)
            remark, usable = about or remark, not about
        remarks += [remark] if remark else []
        if usable:
            found.append(replace(_taken(entry, at, batch, base), setting=setting))
    sweet = any(stage.put_in is not None and stage.put_in.sugar for stage in stages)
    if sweet and any(reading.what == "brine strength" for reading in found):
        remarks.append(
            "This brine holds sugar, which a refractometer counts as salt: log salometer degrees, where that is allowed for."
        )
    return tuple(found), tuple(dict.fromkeys(remarks))


def _placed(entry: Reading, usual: History) -> tuple[float, str, bool]:
    """(time at which an entry is compared, a remark or "", whether it can be compared with the plan at all)."""
    when, at, end, remark = units.day(entry.at), entry.at, usual.length, ""
    if at > end * (1 + 1e-9):
        if entry.what not in LASTING:
            remark = f"The {entry.what} of {when} is left out: the plan ends on {units.day(end)}; if the batch went on, make its stage longer."
            return at, remark, False
        at = end
        if entry.what != "acidity":
            remark = f"The {entry.what} of {when} is read as on {units.day(end)}, where the plan ends: wrapped meat keeps its salt."
    ran = usual.ran_at(at)
    if entry.what in IN_THE_BATH and ran.stretch.sealed:
        remark = f"The {entry.what} of {when} is left out: the meat rests then, and there is no brine in the plan."
        return at, remark, False
    if entry.what == "temperature" and ran.stretch.heating is not None:
        remark = f"The temperature of {when} is left out of the fit: pot, oven and ice water say nothing of the fridge."
        return at, remark, False
    if entry.what == "temperature" and len({kelvin for _, kelvin in ran.stretch.temperature}) > 1:
        remark = f"The temperature of {when} is left out of the fit: the plan follows a fridge log there, which says more than one reading."
        return at, remark, False
    return at, remark, True


def _taken(entry: Reading, at: float, batch: Batch, numbers: Numbers) -> Measurement:
    """An entry of the log as a measurement; a salometer is read at the temperature that was logged near it, if one was."""
    if entry.what == "taste":
        return tasted(entry.word, at, entry.piece, numbers)
    value = entry.number
    assert value is not None
    usually = USUAL_ERROR[entry.what] * (value if entry.what == "weight" else 1.0)
    error = max(entry.off if entry.off is not None else usually, LEAST_ERROR * usually) / POINT_95
    beside = [
        (abs(other.at - entry.at), other.number)
        for other in batch.log
        if other.what == "temperature" and entry.what == "salometer" and abs(other.at - entry.at) <= NEAR
    ]
    kelvin = min(beside, key=lambda pair: pair[0])[1] if beside else None
    return Measurement(entry.what, at, value, error, entry.piece, kelvin)


def _about_acidity(piece: Piece, value: float, ranges: Mapping[str, tuple[float, float]]) -> str:
    """Why a pH is not fitted, or ""."""
    if piece.known_ph is not None:
        return f"The pH of {value:g} is not needed: {piece.name} already has its own, {piece.known_ph:g}."
    own = ranges.get(f"ph.{piece.species}")
    if own is None:
        return f"The pH of {value:g} is left out: it moves nothing but the loss of nitrite, and nothing here hangs on that."
    if not own[0] <= value <= own[1]:
        return (
            f"The pH of {value:g} lies outside the usual {own[0]:g} to {own[1]:g} and is left out of the fit: write it into the piece as "
            f"ph = {value:g}, where it is taken as it is."
        )
    return ""
