"""What every bench is: controls, pictures and sentences on one state, redrawn together, truthful when something fails."""

from __future__ import annotations

import asyncio
from abc import abstractmethod
from collections.abc import Callable, Sequence
from typing import Any

from ..batch import Batch
from ..bodies.kept import NotKept, known_only
from ..compose import shaped
from ..fields import InputError, sentences
from ..show.answer import FOLLOWS
from ..show.caption import caption
from ..show.in_hand import in_hand
from ..show.section import Section
from ..spread import Spread
from .bars import BarPicture
from .beside import Aside, in_a_loop
from .boxes import column, row
from .controls import Switch
from .depthmap import DepthMap
from .dials import units_pick
from .fold import Fold, parts
from .nav import Nav
from .new_shape import NEW_SHAPE, SCALED, out_of_hand, scaled_like
from .picture import Picture
from .say import Say
from .section import SectionPicture
from .settling import Settling
from .showing import show_lines, show_map, show_matters, show_section
from .state import State

CAUTION = (
    "It is still raw. Nitrite poisons when it is over-measured: weigh it, never spoon it. Keep the meat below 4 °C (40 °F) throughout. These are estimates; "
    "your local food code and licensed practice go first."
)
CHANGED = "The batch was changed meanwhile; press again."
AGAIN = 1.0  # s between two looks of a page that is seen at what is in hand
# Notes that hold only while the answer does.
FIGURES = ("verdicts", "checks", "hours", "tried", "cure", "notes", "rests")


class Bench(Settling):
    """Controls, pictures and sentences by name, in one box. Subclasses fill them and say in `draw` what they show now.

    `page` lays it out: the answer, the picture with its dials, and the rest folded away. What is folded is drawn when it is opened.
    A fault greys every picture and says why; no old number stays. With `state.strict` the exception goes on to the caller (tests).
    """

    here = ""  # the notebook it stands in
    hurries = (
        False  # whether `draw` can do without draws, where a spread is not `banded`: then a hand need not wait for them
    )

    def __init__(self, state: State):
        self.state = state
        super().__init__()
        self._drawn: Batch | None = None  # the batch that was drawn last in its own shape
        self.nav = Nav(self.here)
        self.nav.observe(lambda change: self.state.undo(), "undone")
        self.nav.observe(lambda change: self._look(), "seen")
        self.nav.observe(lambda change: self._leave(), "left")
        self._looking: asyncio.Task | None = None
        self._warning = ""
        self._refused: tuple[Batch | None, str] = None, ""  # the batch that stood then, and why something was not done
        self.aside = Aside()
        self.folds: list[Fold] = []
        self.content, self.folded = column(), column()
        self.box = column(self.nav, self.content, self.folded)
        self._old: set[Any] = set()  # what stood on the page before it was made anew, until it can be closed
        state.shape_of, state.reshaped = self.shape, self.make
        self.make()

    def shape(self, batch: Batch) -> Any:
        """What the controls of the page hang on: where it is another, the page is made anew. Nothing, unless a bench says so."""
        return None

    def make(self) -> None:
        """Make all that stands on the page, for the batch as it is now. The folds stay, so that no press on one is lost, and what is open stays open."""
        state, before = self.state, parts(self.box)
        self._known = {fold.words: fold for fold in self.folds}
        self.folds = []
        self.controls: dict[str, Any] = {}
        self.pictures: dict[str, Picture | DepthMap | BarPicture | SectionPicture] = {}
        self.says: dict[str, Say] = {"trouble": Say("", "alert")}
        self.bands = Switch("Shade where 8 of 10 simulated batches lie", state.bands)
        self.bands.observe(lambda change: setattr(state, "bands", self.bands.value), "value")
        self.units = units_pick(state)
        self.says["caution"] = Say(CAUTION, "caution")
        self._answers: dict[str, tuple[Any, str]] = {}  # by name of the sentence: what was asked about, the answer
        self.build()
        for picture in self.pictures.values():
            picture.follow(*(control for control in self.controls.values() if hasattr(control, "dragging")))
        self.make_at_work()
        made = self.layout()
        self.content.children = made.children
        closed(made)
        if list(self.folded.children) != self.folds:
            self.folded.children = self.folds
        self._old |= before - parts(self.box)
        state.observe(lambda change: self.redraw(), "revision")
        self.redraw()

    def _look(self) -> None:
        """The page is seen: show the batch that is in hand by now, and look again while it is seen, for another page may write a moment later."""
        self._take_up()
        if self._looking is None and in_a_loop():
            self._looking = asyncio.get_running_loop().create_task(self._look_again())

    async def _look_again(self) -> None:
        while True:
            await asyncio.sleep(AGAIN)
            self._take_up()

    def _leave(self) -> None:
        """The page is left: write what was changed, so that the next one finds it."""
        if self._looking is not None:
            self._looking.cancel()
            self._looking = None
        self.state.keep()
        self._name_batch()
        self.nav.kept = self.nav.left

    def _take_up(self) -> None:
        """Show the batch that is in hand by now, where that is another one."""
        path = self.state.elsewhere()
        if path is not None:
            self.state.let_go()
            self.state.open(path)
            self.make()

    @abstractmethod
    def build(self) -> None:
        """Make controls, pictures and sentences."""

    @abstractmethod
    def draw(self) -> None:
        """Show what the state says now."""

    @abstractmethod
    def layout(self):
        """The box that holds it all, made by `page`."""

    def page(self, lead: Sequence[Any], picture: Any, dials: Sequence[Any], below: Sequence[Any] = ()) -> Any:
        """The whole page: what it says first, the picture with its dials beside it (below it on a narrow page), and what has been `fold`ed."""
        shown = column(picture, self.at_work).add_class("cl-shown")
        return column(
            self.says["trouble"], *lead, row(shown, row(*dials, at_least=300), share=(2.5, 1), at_least=250), *below,
            self.says["caution"],
        )  # fmt: skip

    def fold(self, words: str, *inside: Any, draw: Callable[[], Any] | None = None, opened: bool = False) -> Fold:
        """Fold something away under a line that says what is in it; `draw` draws it while it is open."""
        made = self._known.get(words) or Fold(words, self.redraw, opened)
        made.hold(inside, draw)
        self.folds.append(made)
        return made

    def redraw(self) -> None:
        try:
            if self.state.problems:
                self.fail(sentences(self.state.problems))
                if in_a_loop():
                    self.when_at_rest(self.put_by_at_rest())  # what was changed beside it is kept all the same
                return
            self._draw_known()
            self._drawn = self.state.batch
            self.settle_when_at_rest()
        except NotKept as missing:
            self._fail_or_scale()
            self.when_at_rest(self.make_beside(missing.key))
        except InputError as error:  # a combination that cannot be: its sentences say what is possible
            self.fail(error.said())
        except Exception as error:
            self.fail(f"This could not be computed: {error}")
            if self.state.strict:
                raise

    def _draw_known(self) -> None:
        """Where a kernel is behind the page, a shape that nobody has computed yet is made beside it: raises NotKept. One that was made there and is
        not kept, for the disk is full, is made here.
        """
        if not in_a_loop():
            return self.draw_all()
        self.state.hurried = self.hurries
        try:
            with known_only():
                self.draw_all()
        except NotKept as missing:
            if missing.key != self._tried:
                raise
            self.draw_all()
        finally:
            self.state.hurried = False

    def _fail_or_scale(self) -> None:
        """In the place of a shape that is being worked out: the one that was drawn last, scaled, and no word of what it comes to."""
        made = self._scaled()
        self.fail(NEW_SHAPE)
        self.says["trouble"].tell("", "note")  # no fault: said once, where the picture stands
        for each in self.pictures.values():
            each.fail(NEW_SHAPE, waits=True)
        if made is not None:
            picture, (drawn, day) = self.pictures["section"], made
            assert isinstance(picture, SectionPicture)
            picture.show(out_of_hand(drawn), day, self.state.batch.units, sketch=SCALED)
            picture.caption = SCALED

    def _scaled(self) -> tuple[Section, float | None] | None:
        like = None if self._drawn is None else scaled_like(self.state.batch, self._drawn)
        if like is None:
            return None
        own, self.state = self.state, State(like)
        self.state.hurried = True
        try:
            with known_only():
                return self.sketch()
        except (NotKept, InputError):  # the old shape may not fit what the new one does
            return None
        finally:
            self.state = own

    def sketch(self) -> tuple[Section, float | None] | None:
        """The section alone, and the day it opens on: of benches on which a hand changes the shape."""
        return None

    def put_by(self) -> None:
        """What can wait until the hand has long rested: widgets that stood here before, the file, the words under pictures."""
        for old in self._old:
            closed(old)
        self._old.clear()
        self.state.keep()
        self._name_batch()
        if not self.state.problems and self._drawn is self.state.batch:
            self.say_assumed()

    def draw_all(self) -> None:
        self._warning = ""
        self.state.showing()
        for picture in self.pictures.values():
            if isinstance(picture, Picture):
                picture.shaded = self.state.bands
        self._name_batch()
        self.draw()
        for fold in self.folds:
            fold.draw()
        self.refuse(self._refused[1] if self._refused[0] is self.state.batch else "")
        if any(picture.caption == SCALED for picture in self.pictures.values()):  # the shape is the true one again
            self.say_assumed()

    def say_assumed(self) -> None:
        """Under every picture, for who saves it: nobody does while a slider moves, so it waits for the rest."""
        said = caption(self.state.batch, self.state.assumed())
        for picture in self.pictures.values():
            picture.caption = said

    def about(self) -> Any:
        """What an answer to a button is true for; anything else moved makes it an old one."""
        return self.state.batch, self.state.own

    def tell(self, name: str, sentence: str) -> None:
        """Put the answer to a button into the sentence with this name."""
        self._answers[name] = self.about(), sentence
        self.says[name].text = sentence

    def ask(self, name: str, button: Any, work: Callable[..., str], *given: Any) -> None:
        """Have a question answered beside the page, in the sentence with this name."""
        self.work_out(button, lambda said: self.tell(name, said), work, *given)

    def work_out(self, button: Any, take: Callable[[Any], Any], work: Callable[..., Any], *given: Any) -> None:
        """Have `work(*given)` done beside the page for `take`. What it gives or refuses is left out, and that is said, if it is an old one by then."""
        about = self.about()

        def if_still(do: Callable[[Any], Any]) -> Callable[[Any], Any]:
            return lambda said: do(said) if about == self.about() else self.refuse(CHANGED)

        if self._refused[1]:  # of an earlier press
            self.refuse("")
        self.aside.ask(button, if_still(take), if_still(self.refuse), work, *given)

    def tell_again(self, name: str, otherwise: str = "") -> None:
        """The answer that stands there, where it still holds: more draws behind the bands change nothing of it."""
        about, sentence = self._answers.get(name, (None, ""))
        self.says[name].text = sentence if about == self.about() else otherwise

    def by_hand(self, picture: SectionPicture) -> None:
        """Let a hand change the shape on this picture: its pieces are the first ones of the batch. What cannot be is said, and nothing changes."""

        def take(wanted: dict[str, Any]) -> None:
            try:
                made = shaped(self.state.batch, wanted)
            except InputError as error:
                picture.again()
                self.refuse(error.said())
                return
            self.state.edit(lambda batch: made, step=True)

        picture.on_change(take)

    def _name_batch(self) -> None:
        """Name the batch in hand at the top of the page, and say whether it is kept."""
        self.nav.batch = in_hand(self.state)
        self.nav.can_undo = self.state.can_undo

    def follows(self, many: Spread, *names: str) -> bool:
        """Whether there are no draws yet; then the sentences with these names say that they follow."""
        for name in () if many.banded else names:
            self.says[name].text = FOLLOWS
        return not many.banded

    def warn(self, words: str) -> None:
        """Show a warning beside the answer; `draw` says it anew each time."""
        self._warning = " ".join(part for part in (self._warning, words) if part)

    def refuse(self, words: str) -> None:
        """Say why something was not done, beside the answer and until the batch is another; "": it was done."""
        self._refused = self.state.batch, words
        if words or not self.state.problems:
            self.says["trouble"].tell(" ".join(filter(None, (self._warning, words))), "alert")

    def fail(self, message: str) -> None:
        """Empty every answer, then grey every picture and say why; nothing that was settling goes on."""
        self.stop_settling()
        for name, say in self.says.items():
            if say.kind == "answer" or name in FIGURES:
                say.text = ""
        for picture in self.pictures.values():
            picture.fail(message)
        self.says["trouble"].tell(message, "alert")

    def _ipython_display_(self) -> None:
        from IPython.display import display

        display(self.box)

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.state.batch.name!r})"


def closed(widget: Any) -> None:
    """Take a widget from the page for good; its layout is a model of its own, which would stay and come along with every reload."""
    widget.layout.close()
    widget.close()


__all__ = ["Bench", "column", "row", "show_lines", "show_map", "show_matters", "show_section"]
