"""Every edit of a batch gives a batch that can be run and read back, or one sentence for each problem."""

import random
import tomllib

import pytest

from curelab import Bath, Brine, InputError, Piece, Rest
from curelab.batch import Reading, dumps, from_table, load
from curelab.compose import (
    TEMPLATES,
    WAYS,
    add_piece,
    add_stage,
    add_station,
    change_piece,
    cure_by,
    duplicate_piece,
    duplicate_stage,
    merged,
    move_piece,
    move_stage,
    remove_piece,
    remove_stage,
    remove_station,
    shaped,
    split_piece,
    template,
    way_of,
)
from curelab.compose.pieces import MEASURES, unknown_to
from curelab.compose.stages import KINDS
from curelab.engine.simulate import check
from curelab.recipe.piece import SHAPES
from curelab.sources import datasets_folder

BRISKET = load(datasets_folder() / "demo_brisket.toml")
PLATE = load(datasets_folder() / "demo_plate.toml")
UNEVEN = load(datasets_folder() / "demo_uneven.toml")


def names(batch):
    return [piece.name for piece in batch.pieces]


def tags(batch):
    return [stage.tag for stage in batch.stages]


def problems(edit, *given, **more):
    with pytest.raises(InputError) as refused:
        edit(*given, **more)
    return [str(problem) for problem in refused.value.problems]


def test_pieces_come_go_and_move():
    more = add_piece(BRISKET)
    assert names(more) == ["point", "flat", "new piece"] and more.pieces[2].species == "beef"
    assert names(add_piece(more)) == ["point", "flat", "new piece", "new piece 2"]
    assert add_piece(more.but(units="us")).pieces[3].thickness == pytest.approx(2 * 0.0254)
    twice = duplicate_piece(BRISKET, 0)
    assert names(twice) == ["point", "point 2", "flat"] and twice.pieces[1].but(name="point") == twice.pieces[0]
    assert names(move_piece(twice, 0, 9)) == ["point 2", "flat", "point"]
    assert remove_piece(twice, 1) == BRISKET
    assert names(add_piece(BRISKET, Piece(name="flat", thickness="3 cm", weight="1 kg"))) == ["point", "flat", "flat 2"]


def test_stages_that_name_a_piece_follow_it():
    named = [stage.named for stage in PLATE.stages]
    assert named == [(), (), ("flat",), ("flat",), ("point",), ("point",)]
    twice = duplicate_piece(PLATE, 1)
    assert twice.stages[2].named == ("flat", "flat 2") and twice.stages[4].named == ("point",)
    assert [stage.named for stage in remove_piece(twice, 2).stages] == named
    assert change_piece(PLATE, 1, name="thin one").stages[3].named == ("thin one",)
    assert [stage.named for stage in change_piece(PLATE, 1, thickness="3 cm").stages] == named


@pytest.mark.parametrize("shape", SHAPES)
def test_another_shape_begins_with_measures_that_weigh_what_the_piece_weighs(shape):
    """By density and volume of the tissue tables, for every shape of a batch; a slab has no measures to hold against its weight."""
    for batch in (BRISKET, UNEVEN, template("belly")):
        made = change_piece(batch, 0, shape=shape).pieces[0]
        assert (made.shape, made.weight) == (shape, batch.pieces[0].weight)
        assert made.thickness == pytest.approx(batch.pieces[0].thickness, rel=1e-9)
        if shape in ("block", "cut") and batch is not UNEVEN:
            assert made.solid().weight == pytest.approx(made.weight, rel=0.02)
        left = {name for name in MEASURES if name not in unknown_to(shape)}
        assert {name for name in ("width", "length") if getattr(made, name)} <= left and (
            not made.fat_cap or "fat_cap" in left
        )


def test_a_piece_that_is_needed_stays_and_every_reason_is_told():
    logged = PLATE.but(log=[Reading(at="1 d", what="weight", value="1.7 kg", piece="flat")])
    assert problems(remove_piece, logged, 1) == [
        'log: holds one reading of "flat"; keep the piece and its name',
        'stages[3]: the bag cook is about "flat" alone; take out this stage first',
        'stages[4]: the chill is about "flat" alone; take out this stage first',
    ]
    assert "holds one reading" in problems(change_piece, logged, 1, name="other")[0]
    assert "holds one reading" in problems(split_piece, logged, 1, at="1 cm")[0]
    assert problems(remove_piece, template("loin"), 0) == ['pieces: "loin" is the only piece; add another one first']
    assert problems(remove_piece, PLATE, 7) == ["pieces[8]: there is none; the batch has 2 pieces"]
    assert len(problems(change_piece, PLATE, 0, thickness="9 m", weight="1 g")) == 2


def test_a_cut_in_two_is_cut_as_the_knife_cuts_it():
    parts = split_piece(UNEVEN, 0, at="15 cm")
    assert names(parts) == ["brisket, head", "brisket, tail"]
    assert sum(piece.weight for piece in parts.pieces) == pytest.approx(UNEVEN.pieces[0].weight, rel=1e-12)
    assert names(split_piece(UNEVEN, 0, along="seam")) == ["brisket, upper", "brisket, lower"]
    cooked = template("simmered and smoked")
    about = cooked.but(stages=[*cooked.stages[:2], *(stage.but(pieces=["brisket"]) for stage in cooked.stages[2:])])
    assert split_piece(about, 0, at="15 cm").stages[3].named == ("brisket, head", "brisket, tail")
    assert "without a length" in problems(split_piece, BRISKET, 0, at="3 cm")[0]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("system", ["metric", "us"])
def test_every_kind_of_stage_can_be_added(kind, system):
    batch = (template("sealed dry cure") if kind == "sealed cure" else BRISKET).but(units=system)
    longer = add_stage(batch, kind, 1)
    assert tags(longer) == [tags(batch)[0], kind, *tags(batch)[1:]]
    assert remove_stage(longer, 1) == batch


def test_stages_come_go_and_move():
    assert tags(add_stage(BRISKET, "rest")) == ["brine", "rest", "soak", "rest"]
    assert tags(move_stage(BRISKET, 2, 1)) == ["brine", "soak", "rest"]
    assert tags(duplicate_stage(BRISKET, 1)) == ["brine", "rest", "rest", "soak"]
    assert "is not one of brine" in problems(add_stage, BRISKET, "stew")[0]
    assert problems(remove_stage, BRISKET, 0) == [
        "stages[1]: the brine is the only stage that cures; choose another way of curing"
    ]
    assert "a sealed dry cure has no bath" in problems(add_stage, template("sealed dry cure"), "brine")[0]
    own = BRISKET.but(
        weigh_out=None,
        stages=[Brine(bath=Bath(water="5 kg", salt="200 g"), temperature="3 degC", lasts="9 d"), *BRISKET.stages[1:]],
    )
    assert problems(add_stage, own, "brine") == [
        "weigh_out: the brine would have no amounts; choose a way of curing first"
    ]
    alone = BRISKET.but(stages=BRISKET.stages[:1])
    assert "the only stage" in problems(remove_stage, alone, 0)[0]


@pytest.mark.parametrize("start", [*TEMPLATES, "demo"])
@pytest.mark.parametrize("way", WAYS)
def test_every_batch_can_be_cured_every_way(start, way):
    batch = BRISKET if start == "demo" else template(start)
    made = cure_by(batch, way)
    assert way_of(made) == way and made.pieces == batch.pieces and made.weigh_out.cure == batch.weigh_out.cure
    assert made.weigh_out.nitrite == batch.weigh_out.nitrite
    assert [stage for stage in made.stages if stage.heats] == [stage for stage in batch.stages if stage.heats]
    (cure,) = [stage for stage in made.stages if stage.cures]
    assert cure.temperature == batch.stages[0].temperature
    if way != way_of(batch):
        assert any(stage.desalts for stage in made.stages) == (way == "strong brine and soak")
    assert cure_by(made, way) == made


def test_another_way_keeps_what_the_cook_has_said_and_scales_what_is_new():
    calm = template("equilibrium brine")
    heavy = calm.but(
        pieces=[calm.pieces[0].but(weight="6 kg")], weigh_out=calm.weigh_out.but(nitrite=0, cure=None, sugar=0)
    )
    strong = cure_by(heavy, "strong brine and soak")
    assert (strong.weigh_out.water, strong.weigh_out.sugar, strong.weigh_out.nitrite) == (2.5, 0.0, 0.0)
    model = template("strong brine and soak")
    soak = next(stage for stage in strong.stages if stage.desalts)
    told = next(stage for stage in model.stages if stage.desalts)
    assert soak.waters[0].amount == pytest.approx(told.waters[0].amount * 6 / model.pieces[0].weight)
    assert tags(cure_by(strong, "sealed dry cure")) == ["sealed cure", "rest"]
    assert "is not one of" in problems(cure_by, calm, "pumped")[0]


def test_any_row_of_edits_leaves_a_batch_that_its_file_holds():
    """Three hundred edits drawn at random, many of them impossible: each is made whole or leaves the batch alone."""
    chance, batch, made = random.Random(5), PLATE, 0
    for _ in range(300):
        piece, stage = chance.randrange(len(batch.pieces) + 1), chance.randrange(len(batch.stages) + 1)
        edit, *given = chance.choice(
            [
                (add_piece,),
                (remove_piece, piece),
                (duplicate_piece, piece),
                (move_piece, piece, 0),
                (add_stage, chance.choice(KINDS), stage),
                (remove_stage, stage),
                (move_stage, stage, chance.randrange(6)),
                (cure_by, chance.choice(list(WAYS))),
            ]
        )
        try:
            after = edit(batch, *given)
        except InputError as error:
            assert all(len(str(problem)) < 400 for problem in error.problems)
            continue
        made += 1
        check(after.pieces, after.filled(), after.loss)
        assert from_table(tomllib.loads(dumps(after))) == after
        batch = after
    assert made > 100


def test_two_changes_come_together_and_one_place_changed_twice_is_told():
    ours = BRISKET.but(name="ours", rules="EU")
    theirs = BRISKET.but(stages=[*BRISKET.stages, Rest(temperature="3 degC", lasts="1 d")], log=())
    both = merged(BRISKET, ours, theirs)
    assert (both.name, both.rules, both.stages, both.log) == ("ours", "EU", theirs.stages, ())
    assert merged(BRISKET, BRISKET, theirs) == theirs and merged(BRISKET, ours, BRISKET) == ours
    assert merged(BRISKET, ours, ours) == ours
    told = problems(merged, BRISKET, ours, BRISKET.but(name="theirs", rules="GB"))
    assert len(told) == 2 and told[0].startswith("name: was changed here and")


@pytest.mark.parametrize("behind", (0, 1, 3))
def test_a_station_more_moves_no_border_between_tissues(behind):
    """What muscle there is at each place, and how much of it, stays; between two muscles it takes two stations."""
    made, asked = add_station(UNEVEN, 0, behind), UNEVEN.pieces[0]
    before, after = asked.whole(), made.pieces[0].whole()
    assert len(after.at) - len(before.at) == (2 if behind == 1 else 1)
    for place in (0.01, 0.149, 0.151, 0.25, 0.33):  # flat and point meet at 15 cm
        assert after.tissues[after.station(place)] == before.tissues[before.station(place)], place
    volumes = asked.parts()
    assert made.pieces[0].parts() == pytest.approx(volumes, rel=1e-3)


def test_places_count_from_the_first_station_whatever_is_done_to_it():
    second, *rest = UNEVEN.pieces[0].stations[1:]
    lighter = UNEVEN.but(pieces=[UNEVEN.pieces[0].but(weight="2.4 kg")])
    left = remove_station(lighter, 0, 0).pieces[0].stations
    assert [each.at for each in left] == [0.0, *(each.at - second.at for each in rest)]
    by_hand = shaped(UNEVEN, {"piece": 0, "station": 0, "at": 0.01, "thickness": 0.031}).pieces[0].stations[0]
    assert (by_hand.at, by_hand.thickness) == (0.0, 0.031)
