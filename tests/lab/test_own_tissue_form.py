"""A batch with a tissue of one's own stays whole on a bench: the choice shows it, and takes it up when the batch changes."""

from curelab import Tissue
from curelab.batch import load
from curelab.lab.forms import form
from curelab.lab.state import State
from curelab.sources import datasets_folder

MINE = Tissue(name="my loin", water="72 %", protein="22 %", fat="5 %", diffusivity="2.2e-10 m2/s")


def with_tissue(batch, tissue):
    return batch.but(pieces=[batch.pieces[0].but(tissue=tissue), *batch.pieces[1:]])


def test_the_choice_of_a_cut_shows_a_tissue_of_ones_own():
    state = State(with_tissue(load(datasets_folder() / "demo_loin.toml"), MINE))
    made = form(state, lambda batch: batch.pieces[0], lambda **changes: state.edit(
        lambda batch: batch.but(pieces=[batch.pieces[0].but(**changes), *batch.pieces[1:]])))  # fmt: skip
    pick = made["tissue"]
    assert pick.value == MINE and "my loin" in pick.labels
    pick.value = "lean beef"
    assert state.batch.pieces[0].tissue == "lean beef" and not state.problems
    other = MINE.but(name="another")
    state.edit(lambda batch: with_tissue(batch, other))
    assert pick.value == other == state.batch.pieces[0].tissue and "another" in pick.labels
