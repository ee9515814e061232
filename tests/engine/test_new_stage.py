"""A kind of stage that the library does not know, made here as a contributor would: its record, its stretches, its words, and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Self

import numpy as np
import pytest

from curelab import Bath, Brine, Piece, Rest, simulate
from curelab.batch import Batch
from curelab.engine.drawn import drawn_case
from curelab.fields import quantity, ruled, unchecked
from curelab.limits import check_all
from curelab.matter.solutes import SOLUTES
from curelab.outcome import run
from curelab.paper.schedule import schedule
from curelab.paper.tasks import READ
from curelab.recipe.stages import Log, Stage, Stretch, TemperatureRule
from curelab.sources import default_numbers
from curelab.spread import spread
from curelab.spread.draws import draw
from curelab.spread.uncertain import inputs_for

DAY = 86400.0


class Plunge(Stage):
    """The piece is plunged into a brine that is kept strong and moving, then hangs wrapped for as long as it takes."""

    tag: ClassVar[str] = "plunge"
    noun: ClassVar[str] = "plunge"
    begins: ClassVar[tuple[str, str]] = ("plunge into the strong brine", "lift it out, wrap it and hang it up")
    hint: ClassVar[str] = "keep the brine moving"
    cures: ClassVar[bool] = True
    until: ClassVar[None] = None
    grams: float = quantity("mass", "1 g", "1 kg", "weigh the salt for each litre")
    nitrite: float = quantity("mass", "0 g", "1 g", "weigh the cure mix", default=0.0)
    under: float = quantity("time", "1 min", "400 d", "give hours")
    hangs: float = quantity("time", "1 min", "400 d", "give days")
    temperature: Log = ruled(TemperatureRule())

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        brings = {name: getattr(self.put_in, name) for name in SOLUTES}
        wet = Stretch(f"{self.tag}, under", self.under, self.temperature, 1.0, brings, endless=True, stirred=True)
        return wet, Stretch(f"{self.tag}, hanging", self.hangs, self.temperature)

    @property
    def lasts(self) -> float:
        return self.longest

    @property
    def put_in(self) -> Bath:
        return Bath(water="1 kg", salt=self.grams, nitrite=self.nitrite)

    def times(self, factors: Mapping[str, float], checked: bool = True) -> Self:
        # What is strong per litre: water weighed short makes it stronger.
        by = {"grams": factors.get("salt", 1.0), "nitrite": factors.get("nitrite", 1.0)}
        water = factors.get("water", 1.0)
        return unchecked(self, **{name: getattr(self, name) * factor / water for name, factor in by.items()})

    def warmed(self, by: float) -> Self:
        return unchecked(self, temperature=tuple((time, kelvin + by) for time, kelvin in self.temperature))

    def lasting(self, seconds: float) -> Self:
        return self.but(hangs=seconds - self.under)


PIECE = Piece(name="point", thickness="5 cm", weight="1.5 kg")
PLUNGE = Plunge(grams="180 g", nitrite="0.9 g", under="20 h", hangs="6 d", temperature="3 degC")
REST = Rest(temperature="4 degC", lasts="2 d")
# The same in stages that are there already.
KNOWN = (
    Brine(
        bath=Bath(water="1 kg", salt="180 g", nitrite="0.9 g"),
        temperature="3 degC",
        lasts="20 h",
        lying=False,
        stirred=True,
        running=True,
    ),
    Rest(temperature="3 degC", lasts="6 d"),
    REST,
)
QUANTITIES = ("salt", "nitrite", "free nitrite")


def test_it_is_simulated():
    ours, theirs = simulate(PIECE, (PLUNGE, REST)), simulate(PIECE, KNOWN)
    assert ours.length == theirs.length and [ran.stretch.label for ran in ours.ran][:2] == [
        "plunge, under",
        "plunge, hanging",
    ]
    times = np.linspace(0, ours.length, 40)
    for quantity_ in QUANTITIES:
        expected = theirs.profile(quantity_, times).values
        np.testing.assert_allclose(
            ours.profile(quantity_, times).values, expected, rtol=1e-11, atol=1e-14 * expected.max()
        )
    assert all(abs(row["residual"]) < 1e-10 for row in ours.budget)
    assert ours.ending(0) == "after 6.83 d, as planned"
    assert simulate(PIECE, PLUNGE.lasting(10 * DAY)).length == pytest.approx(10 * DAY, rel=1e-12)


def test_it_is_drawn():
    used = simulate(PIECE, (PLUNGE, REST), cells=8).numbers.used
    inputs = inputs_for((PIECE,), (PLUNGE, REST), "nordin", default_numbers(), used)
    keys = {row.key for row in inputs}
    assert {"salt weight", "cure weight", "water weight", "film.stirred"} <= keys and "film.contact" not in keys
    columns = draw(inputs, 8, seed=2).columns
    many = simulate(PIECE, (PLUNGE, REST), draws=columns, few=False, segments=64, cells=10)
    times = np.linspace(0, many.length[0], 20)
    for number in range(3):
        values = {key: float(column[number]) for key, column in columns.items()}
        pieces, stages, numbers = drawn_case((PIECE,), (PLUNGE, REST), default_numbers(), values)
        alone = simulate(pieces, stages, numbers=numbers, cells=10)
        for quantity_ in QUANTITIES:
            expected = alone.at("core", quantity_, times)
            found = many.at("core", quantity_, times)[number]
            np.testing.assert_allclose(found, expected, rtol=1e-8, atol=1e-10 * alone.surface(quantity_, times).max())


def test_it_is_spread():
    ours, theirs = (spread(PIECE, stages, count=32, seed=5) for stages in ((PLUNGE, REST), KNOWN))
    assert [row.key for row in ours.inputs] == [row.key for row in theirs.inputs]
    times = np.linspace(DAY / 2, 8 * DAY, 6)
    a, b = ours.at("average", "salt", times), theirs.at("average", "salt", times)
    for mine, expected in zip(a, b, strict=True):
        np.testing.assert_allclose(mine, expected, rtol=1e-9)
    assert np.all(a.low < a.high)
    assert 0 < ours.time_to("average salt >= 1 %", 0).quantile(0.5) < 20 * DAY
    assert ours.verdicts(draws=8)


def test_it_is_checked():
    """As the same in known stages; and a warm one is caught."""
    ours, theirs, warm = (
        {verdict.name: verdict.outcome for verdict in check_all(simulate(PIECE, stages), "US", "cured meat")}
        for stages in ((PLUNGE, REST), KNOWN, (PLUNGE.warmed(9.0), REST))
    )
    del theirs[
        "days in brine"
    ]  # told of a cure that goes on until it is far too salty; a plunge ends hanging, with what it has
    assert ours == theirs and ours["kept cold"] == "pass" and warm["kept cold"] == "fail"


def test_it_has_its_words_on_a_plan():
    """A batch takes stages from a file by their tag, which is a line of STAGES; one that is there already it takes as it is."""
    batch = unchecked(
        Batch(schema=1, name="test", pieces=(PIECE,), stages=(REST,), start="2026-03-02 08:00"), stages=(PLUNGE, REST)
    )
    tasks = schedule(batch, run(batch, draws=8)).tasks
    said = [(task.title, task.detail) for task in tasks if task.title != READ]
    assert said[0] == (
        "Plunge into the strong brine",
        "First dissolve salt and cure in the water, and chill it to 1 to 3 °C. At 3 °C, 20 h. Keep the brine moving.",
    )
    assert said[1][0] == "Lift it out, wrap it and hang it up"
    assert said[2][0] == "Out of the plunge, wrap and rest"


def test_a_kind_that_says_too_little_is_told_what():
    class Silent(Stage):
        tag: ClassVar[str] = "silent"
        until: ClassVar[None] = None

    with pytest.raises(TypeError, match="a Silent does not say its stretches"):
        simulate(PIECE, Silent())
    with pytest.raises(TypeError, match="a Silent does not say how it is warmed"):
        Silent().warmed(1.0)
    with pytest.raises(TypeError, match="a Silent does not say how it is made longer"):
        Silent().lasting(60.0)
