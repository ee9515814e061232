"""What matters most: shares against known answers, how rough they are, what is said of them, and the bars that show them."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
import scipy
from hypothesis import given
from hypothesis import strategies as st

from curelab import Bath, Brine, Piece
from curelab.show.ranking import MOST, Bar, Bars, what_matters
from curelab.spread import sensitivity, spread
from curelab.spread.sensitivity import Importance, Share
from curelab.spread.uncertain import uncertain_inputs

PIECE = Piece(name="point", thickness="6 cm", weight="2 kg")
CURE = Brine(bath=Bath(water="2 kg", salt="90 g"), temperature="3 degC", lasts="6 d", lying=False)
ROWS = {row.key: row for row in uncertain_inputs()}
EVEN = tuple(
    replace(ROWS[key], distribution="uniform", low=0.0, mode=None, high=1.0)
    for key in ("temperature", "water uptake", "meat weight", "salt weight")
)


def draws(count: int = 64, seed: int = 0, inputs=EVEN):
    return spread(PIECE, CURE, count=count, seed=seed, inputs=inputs, cells=6)


def weighted(*weights: float):
    """A sum of even inputs: the share of each is its squared weight over the sum of them, alone and in all."""
    return lambda many: sum(w * many.draws.columns[row.key] for w, row in zip(weights, many.inputs, strict=True))


def found(weights, method="sobol", seed=0, count=128) -> Importance:
    return sensitivity.what_matters(draws(count, seed), weighted(*weights), "the days point needs", method=method)


# ---- the numbers -----------------------------------------------------------------------------------------------------


def test_shares_of_ishigami_s_function():
    """Its indices are known exactly (Ishigami and Homma 1990): an input that acts only together with another has first share 0."""
    a, b, pi = 7.0, 0.1, math.pi
    variance = a**2 / 8 + b * pi**4 / 5 + b**2 * pi**8 / 18 + 0.5
    both = b**2 * pi**8 * (1 / 18 - 1 / 50)
    one, two = 0.5 * (1 + b * pi**4 / 5) ** 2, a**2 / 8
    expected = {"temperature": (one, one + both), "water uptake": (two, two), "meat weight": (0.0, both)}

    def ask(many):
        x, y, z = (pi * (2 * many.draws.columns[row.key] - 1) for row in many.inputs)
        return np.sin(x) + a * np.sin(y) ** 2 + b * z**4 * np.sin(x)

    got = sensitivity.what_matters(draws(inputs=EVEN[:3]), ask, "the test", draws=4096)
    for row in got.rows:
        first, total = (part / variance for part in expected[row.input.key])
        assert row.first == pytest.approx(first, abs=0.02) and row.total == pytest.approx(total, abs=0.02)
    assert [row.input.key for row in got.rows] == ["water uptake", "temperature", "meat weight"]  # 44, 31 and 0 % alone


def test_totals_are_those_of_scipy():
    """And so is the first share of an input that does nothing, where both estimators weigh alike."""
    values = np.random.default_rng(1).normal(size=(5, 64))
    values[4] = values[0]  # the third input changes nothing
    base, other, mixed = values[0], values[1], values[2:]
    first, total = sensitivity._indices(base, other, mixed)
    theirs = scipy.stats.sobol_indices(
        func={"f_A": base[None], "f_B": other[None], "f_AB": mixed[:, None, :]}, n=64
    )  # fmt: skip
    assert total == pytest.approx(theirs.total_order, rel=1e-12)
    assert first[2] == pytest.approx(0, abs=1e-15) and theirs.first_order[2] == pytest.approx(0, abs=1e-15)


def test_one_input_alone_makes_everything():
    got = sensitivity.what_matters(draws(inputs=EVEN[:1]), weighted(1.0), "the test", draws=16)
    assert got.rows[0].first == pytest.approx(1, rel=1e-9) and got.evaluations == 48


@pytest.mark.parametrize("method", ["sobol", "rank"])
def test_the_same_seed_gives_the_same_shares(method):
    assert found((3, 2, 1, 0.5), method, seed=5) == found((3, 2, 1, 0.5), method, seed=5)
    assert found((3, 2, 1, 0.5), method, seed=5) != found((3, 2, 1, 0.5), method, seed=6)


def test_what_cannot_be_ranked_is_refused():
    many = draws()
    with pytest.raises(ValueError, match="power of two from 16 up, not 100"):
        sensitivity.what_matters(many, weighted(1, 1, 1, 1), "x", draws=100)
    with pytest.raises(ValueError, match="not a number in 64 of 64 draws"):
        sensitivity.what_matters(many, lambda each: np.full(each.count, np.nan), "x")


def test_inputs_that_run_together_in_few_draws_do_not_share_what_one_makes():
    """Among 64 Sobol points of 16 inputs some pairs are far from independent; a plain correlation takes one for the other."""
    inputs = tuple(replace(EVEN[0], key=f"like {row.key}", remedy=row.remedy) for row in list(ROWS.values())[:16])
    many = draws(64, inputs=inputs)
    columns = np.array([many.draws.columns[row.key] for row in inputs])
    plain = scipy.stats.spearmanr(columns, axis=1).statistic ** 2 - np.eye(16)
    which, beside = np.unravel_index(np.argmax(plain), plain.shape)
    assert plain[which, beside] > 0.1
    got = sensitivity.what_matters(many, lambda each: np.exp(3 * columns[which]), "the test", method="rank")
    assert got.rows[0].input.key == inputs[which].key and got.rows[0].first == pytest.approx(1, rel=1e-9)
    assert max(abs(row.first) for row in got.rows[1:]) < 1e-9 and got.seen == pytest.approx(1, rel=1e-9)


def test_what_ranks_cannot_see_is_said():
    """A parabola neither rises nor falls on the whole: ranks see nothing of it, Sobol indices all."""
    many = draws(256)

    def ask(each):
        return (each.draws.columns["temperature"] - 0.5) ** 2

    ranked = sensitivity.what_matters(many, ask, "the test", method="rank")
    assert ranked.seen < 0.05 and max(abs(row.first) for row in ranked.rows) < 0.05
    assert re.fullmatch(r"No clear answer: this method sees only \d % of the spread of the test, .*", ranked.advice)
    assert re.search(r"\(rank regression that sees \d % of the spread, 256 evaluations, 4 inputs: ", ranked.sentence)
    assert sensitivity.what_matters(many, ask, "the test").rows[0].first == pytest.approx(1, abs=0.02)


def test_shares_of_mere_chance_are_nothing_on_the_average():
    """Without the correction four inputs would get 4/63 of the spread of noise between them."""
    noise = np.random.default_rng(7).normal(size=(200, 64))
    columns = np.array([draws().draws.columns[row.key] for row in EVEN])
    shares = np.array([sensitivity._rank_regression(columns, values)[0] for values in noise])
    sure = shares.mean(axis=1).std() / np.sqrt(len(noise))
    assert abs(shares.mean()) < 4 * sure < 1 / 63


def test_too_few_draws_for_a_regression_are_made_up():
    assert found((3, 2, 1, 0.5), "rank", count=8).evaluations == math.ceil(sensitivity.PER_INPUT * 5)
    assert found((3, 2, 1, 0.5), "rank", count=32).evaluations == 32


# ---- how rough they are ----------------------------------------------------------------------------------------------


def test_a_jackknife_of_a_mean_is_its_standard_error():
    folds = np.random.default_rng(3).normal(size=sensitivity.FOLDS)
    without = (folds.sum() - folds) / (len(folds) - 1)
    assert sensitivity._jackknife(without) == pytest.approx(scipy.stats.sem(folds), rel=1e-12)
    assert scipy.stats.t.ppf(0.95, sensitivity.FOLDS - 1) == pytest.approx(sensitivity.STUDENT_95, abs=5e-4)


@pytest.mark.parametrize("method", ["sobol", "rank"])
def test_the_roughness_that_is_told_covers_the_truth(method):
    """Of y = 3 a + 2 b + c + d/2; shares by ranks are a few points off the exact ones, so they are held against their own mean."""
    weights = np.array([3, 2, 1, 0.5])
    many = [found(weights, method, seed) for seed in range(40)]
    firsts = np.array([got.rows[0].first for got in many])
    truth = float(weights[0] ** 2 / (weights**2).sum()) if method == "sobol" else float(firsts.mean())
    covered = [abs(got.rows[0].first - truth) <= got.rows[0].rough for got in many]
    assert np.mean(covered) >= 0.9
    assert 1 <= np.mean([got.rows[0].error for got in many]) / firsts.std() <= 20  # careful, not useless


@pytest.mark.parametrize("method", ["sobol", "rank"])
def test_two_that_weigh_alike_cannot_be_told_apart_and_two_that_do_not_can(method):
    alike = [found((1, 1, 0.2, 0.1), method, seed) for seed in range(20)]
    assert sum(len(got.tied) >= 2 for got in alike) >= 18
    assert {row.input.key for got in alike for row in got.tied} == {"temperature", "water uptake"}
    assert all(len(found((3, 1, 0.2, 0.1), method, seed).tied) == 1 for seed in range(20))


# ---- what is said ----------------------------------------------------------------------------------------------------


def made(*rows, method="sobol", flat=False, answer="the days point needs") -> Importance:
    """An importance of (key, first[, tied[, total]]), invented."""
    shares = tuple(
        Share(
            ROWS[key],
            first,
            None if method == "rank" else (more[1] if len(more) > 1 else first),
            0.02,
            bool(more and more[0]),
        )
        for key, first, *more in rows
    )
    return Importance(answer, method, shares, 2304, flat)


def test_sentences():
    clear = made(("temperature", 0.62), ("film.still", 0.2))
    assert clear.sentence == (
        "Put a thermometer that logs into the vessel before anything else. The temperature makes 62 % of the spread of the days "
        "point needs (Sobol indices, 2304 evaluations, 2 inputs: the temperature, the layer at a face in still brine)."
    )
    two = made(("temperature", 0.38), ("film.still", 0.31, True), ("meat weight", 0.1))
    assert two.advice == (
        "Put a thermometer that logs into the vessel before anything else. The temperature makes 38 % of the spread of the days "
        "point needs; the layer at a face in still brine 31 %; these two cannot be told apart."
    )
    three = made(("temperature", 0.38), ("film.still", 0.31, True), ("meat weight", 0.3, True))
    assert "31 %, the meat weight 30 %; these three cannot be told apart." in three.advice
    small = made(("temperature", 0.07), ("film.still", 0.01))
    assert small.advice == (
        "Nothing stands out: the temperature makes the most of the spread of the days point needs, and that is 7 %."
    )
    crowd = made(*((key, 0.2, True) for key in ("temperature", "film.still", "meat weight", "water uptake")))
    assert crowd.advice.endswith("and that is 20 %; 3 more cannot be told apart from it.")
    assert made(("temperature", 0.0), flat=True, answer="the salt on the whole").advice == (
        "The salt on the whole hardly changes with anything that was varied."
    )


def test_an_input_that_nothing_in_a_kitchen_tells_is_not_made_a_job():
    assert ROWS["ratio.nitrate"].remedy == "nothing in a kitchen tells"
    alone = made(("ratio.nitrate", 0.9), ("temperature", 0.01))
    assert alone.advice == (
        "The pace of nitrate makes 90 % of the spread of the days point needs, and nothing in a kitchen helps."
    )
    after = made(("ratio.nitrate", 0.6), ("temperature", 0.3))
    assert after.advice.endswith(
        "nothing in a kitchen helps. Next: put a thermometer that logs into the vessel; the temperature makes 30 %."
    )
    beside = made(("ratio.nitrate", 0.35), ("temperature", 0.33, True))
    assert beside.advice.startswith("Put a thermometer that logs into the vessel before anything else. The pace of")


# ---- the bars --------------------------------------------------------------------------------------------------------


KEYS = [key for key in ROWS if key != "thickness"][:9]


def test_bars_hold_the_shares_largest_first():
    picture = what_matters(made(("temperature", 0.62, False, 0.7), ("film.still", 0.2, False, 0.1)))
    assert picture.bars == (
        Bar("the temperature", 62.0, 70.0, "put a thermometer that logs into the vessel"),
        Bar(
            "the layer at a face in still brine", 20.0, 20.0, "stir the bath once or twice a day"
        ),  # a total is no less
    )
    assert [bar.reading for bar in picture.bars] == ["62 % (70)", "20 %"]
    assert picture.x_label == "share of the spread of the days point needs, %"
    assert picture.summary == (
        "Bars, share of the spread of the days point needs, %: the temperature 62 %, with others 70 %; the layer at a face in "
        "still brine 20 %."
    )


def test_the_rest_is_summed_only_where_shares_add_up():
    shares = [0.4, 0.2, 0.12, 0.1, 0.06, 0.05, 0.03, 0.02, -0.01]
    sobol = what_matters(made(*zip(KEYS, shares, strict=True)))
    assert len(sobol.bars) == MOST and sobol.bars[-1].label == "all 4 others" and sobol.bars[-1].total is None
    assert sobol.bars[-1].share == pytest.approx(9, rel=1e-9)
    assert sum(bar.share for bar in sobol.bars) == pytest.approx(100 * sum(shares), rel=1e-9)
    assert "The last bar is the sum of the others." in sobol.note
    ranked = what_matters(made(*zip(KEYS, shares, strict=True), method="rank"))
    assert len(ranked.bars) == MOST and ranked.bars[-1].share == pytest.approx(5, rel=1e-9)
    assert "Left out: 3 more, none of them larger." in ranked.note and "Outlined" not in ranked.note
    six = what_matters(made(*zip(KEYS[:6], shares[:6], strict=True)))
    assert six.bars[-1].label == made((KEYS[5], 0.0)).rows[0].label


def test_what_is_too_small_is_shown_as_nothing_and_that_is_said():
    words = "are shown as 0"
    picture = what_matters(made(("temperature", 0.9), ("film.still", 0.0049), ("meat weight", -0.03, False, -0.01)))
    assert [bar.share for bar in picture.bars] == [90.0, 0.0, 0.0] and picture.bars[2].total == 0
    assert words in picture.note
    assert words not in what_matters(made(("temperature", 0.9), ("film.still", 0.1))).note


def test_the_note_names_method_evaluations_inputs_and_what_to_do():
    importance = made(("temperature", 0.62), ("ratio.nitrate", 0.3), ("film.still", 0.1))
    note = what_matters(importance).note
    assert f"The draws tell the first share, 62 %, to about {sensitivity.STUDENT_95 * 2:.0f} points either way" in note
    assert "The temperature: put a thermometer that logs into the vessel." in note
    assert "The pace of nitrate: nothing in a kitchen helps." in note and "stir the bath" not in note
    assert "Sobol indices, 2304 evaluations, 3 inputs: " in note
    assert all(row.label in note.splitlines()[-1] for row in importance.rows)


def test_a_flat_answer_has_a_sentence_and_no_bars():
    many = draws()
    for method in ("sobol", "rank"):
        got = sensitivity.what_matters(many, lambda each: np.full(each.count, 3.0), "the salt", method=method)
        picture = what_matters(got)
        assert picture.bars == () and picture.sentence == "The salt hardly changes with anything that was varied."
        assert "64 evaluations, 4 inputs: the temperature, the water uptake" in picture.note
        assert picture.summary == picture.sentence


SHARES = st.lists(
    st.tuples(st.floats(-0.2, 1.2), st.one_of(st.none(), st.floats(-0.2, 1.3))), min_size=1, max_size=len(KEYS)
)


@given(SHARES, st.sampled_from(["sobol", "rank"]))
def test_bars_always_fit_their_axis(shares, method):
    rows = sorted(shares, key=lambda pair: -pair[0])
    given_rows = [
        (key, first, False, first if total is None else total) for key, (first, total) in zip(KEYS, rows, strict=False)
    ]
    picture = what_matters(made(*given_rows, method=method))
    assert isinstance(picture, Bars) and 1 <= len(picture.bars) <= MOST
    for bar in picture.bars:
        assert 0 <= bar.share <= (bar.share if bar.total is None else bar.total) <= 100
    named = [bar.share for bar in picture.bars if not bar.label.startswith("all ")]
    assert named == sorted(named, reverse=True)
