"""Batches that are large and legal: many pieces, stages, readings, turns. Invented; every figure is made up."""

from __future__ import annotations

from curelab.batch import Batch, from_table

DAYS = 6.05  # that a brine, a rest and a soak last together


def large(
    pieces: int = 20, stages: int = 60, readings: int = 500, turn_every: str = "2 d", alike: bool = False
) -> Batch:
    """A batch of brines (lying, turned), rests and soaks, one after the other, no two brines alike; `alike`: pieces of one size."""
    each = [
        {"name": f"piece {n + 1}", "tissue": ("lean pork", "lean beef")[n % 2 * (not alike)],
         "thickness": f"{5 if alike else 3 + 0.31 * n:.2f} cm", "weight": f"{1.0 if alike else 0.8 + 0.07 * n:.2f} kg"}
        for n in range(pieces)
    ]  # fmt: skip
    green = sum(float(piece["weight"].split()[0]) for piece in each)
    return from_table(
        {
            "schema": 1, "name": f"{pieces} pieces, {stages} stages, {readings} readings", "invented": True,
            "start": "2026-01-05 09:00", "pieces": each,
            "stages": [_stage(number, green, turn_every) for number in range(stages)],
            "log": [_reading(n, readings, stages, each) for n in range(readings)],
        }
    )  # fmt: skip


def _stage(number: int, green: float, turn_every: str) -> dict:
    round_, kind = divmod(number, 3)
    if kind == 0:
        bath = {
            "water": f"{green * (1 + 0.01 * round_):.3f} kg",
            "salt": f"{0.04 * green:.3f} kg",
            "nitrite": f"{0.15 * green:.2f} g",
        }
        return {"do": "brine", "bath": bath, "temperature": "3 degC", "lasts": "4 d", "turn_every": turn_every}
    if kind == 1:
        return {"do": "rest", "temperature": "4 degC", "lasts": "2 d"}
    water = {"amount": f"{1.5 * green:.3f} kg", "lasts": "36 min", "temperature": "5 degC"}
    return {"do": "soak", "waters": [water, water]}


def _reading(number: int, of: int, stages: int, pieces: list[dict]) -> dict:
    """Spread over the brines: strength, a weight, a temperature, in turn."""
    rounds = (stages + 2) // 3
    place = (number + 0.5) / of * rounds
    at = f"{DAYS * int(place) + 0.1 + 3.8 * (place % 1):.4f} d"
    piece = pieces[number % len(pieces)]
    if number % 3 == 0:
        return {"at": at, "what": "brine strength", "value": f"{3.2 + 0.1 * (number % 5):.2f} %"}
    if number % 3 == 1:
        return {
            "at": at,
            "what": "weight",
            "value": f"{1.02 * float(piece['weight'].split()[0]):.3f} kg",
            "piece": piece["name"],
        }
    return {"at": at, "what": "temperature", "value": f"{3 + 0.2 * (number % 4):.1f} degC"}
