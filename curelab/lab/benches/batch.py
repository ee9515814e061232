"""The whole batch on one page: pieces, weigh-out, stages, verdicts, the report, save and reopen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

from ...compose.pieces import unknown_to
from ...compose.sound import replaced
from ...fields import sentences
from ...limits import RULE_SETS, Verdict
from ...limits.verdict import SIGNS
from ...matter.solutes import SOLUTES
from ...outcome import Outcome
from ...paper.moments import now_words
from ...show import pictures, telling
from ...show.answer import ANSWER_FOLLOWS, CHECKS_FOLLOW, FOLLOWS
from ...show.composing import ASKED, FOLD, WEIGHED, piece_title, stage_title, water_title
from ...show.in_short import in_parts
from ...show.ranking import Bars, what_matters
from ...show.section import Section, section
from ...spread import Spread
from ..bars import BarPicture
from ..boxes import buttons
from ..composing import Composing, shape_of
from ..controls import Line, Pick, Press
from ..forms import form
from ..log_form import LogForm
from ..papers import PAPERS, paper
from ..picture import Picture
from ..say import Say
from ..section import SectionPicture
from ..state import WORKING_FILE
from ..taking import Taking
from ..workbench import Bench, column, row, show_lines, show_section

# Fields of a batch that have no text box of their own: parts with a form each, and what is set elsewhere.
ELSEWHERE = (
    "schema", "id", "note", "invented", "units", "rules", "product", "loss", "pieces", "vessel", "weigh_out", "stages", "plan", "log",
)  # fmt: skip


ON_LABEL = {"name": "Cure mix", "nitrite": "Nitrite on YOUR label", "nitrate": "Nitrate on YOUR label"}
MOST_DRAWN = 4  # pieces; more would be too small to see


class BatchBench(Bench):
    """What `curelab run` makes of the batch, beside its papers; below it forms for what the file says, the log, and the checks."""

    here = "batch.ipynb"
    hurries = True

    def __init__(self, state):
        self.composing = Composing(state, self.refuse)
        self.taking = Taking(state)
        super().__init__(state)

    def shape(self, batch):
        return shape_of(batch)

    def build(self):
        self._build_forms()
        self.composing.make()
        self.stations = [self.composing.stations(number) for number in range(len(self.state.batch.pieces))]
        self.controls |= self.composing.controls
        self.taking.make()
        self._build_files()
        self._build_log()
        self.pictures = {
            "section": SectionPicture(),
            "salt": Picture(),
            "nitrite": Picture(),
            "bath": Picture(),
            "matters": BarPicture(),
        }
        self.by_hand(self.pictures["section"])
        for name in ("answer", "more", "weigh"):
            self.says[name] = Say("", "answer")
        for name in ("verdicts", "rests"):
            self.says[name] = Say("", "note")
        self.says["dropped"] = self.taking.said

    def _build_forms(self) -> None:
        """Text boxes for the fields of the batch, its pieces, its weigh-out and its stages, each group under its title."""
        state = self.state
        whole = form(
            state, lambda batch: batch, lambda **changes: state.edit(lambda batch: batch.but(**changes)), ELSEWHERE
        )
        self.forms: list[tuple[str, dict]] = [("The batch", whole)]
        for number in range(len(state.batch.pieces)):
            title = piece_title(state.batch, number)
            fields = form(
                state,
                lambda batch, n=number: batch.pieces[n],
                lambda n=number, **changes: state.edit_piece(n, **changes),
                unknown_to(state.batch.pieces[number].shape),
                title,
            )
            self.forms.append((title, fields))
        if state.batch.weigh_out is not None:
            title = f"Weigh-out: {state.batch.weigh_out.tag}"
            self.forms.append((title, self._weigh_out_fields(title)))
        for number, stage in enumerate(state.batch.stages):
            # The end rule that is in use; the other one would be a second.
            other = ("until", "at_most") if stage.until is None else ("lasts",)
            weighed = () if stage.weighed else tuple(SOLUTES)  # what the weigh-out fills is set there alone
            title = stage_title(state.batch, number)
            fields = form(
                state,
                lambda batch, n=number: batch.stages[n],
                lambda n=number, **changes: state.edit_stage(n, **changes),
                (*other, *weighed),
                title,
            )
            self.forms.append((title, fields))
            for k in range(len(getattr(stage, "waters", ()))):
                self._water(number, k)
        for title, fields in self.forms:
            self.controls |= {f"{title}: {name}": control for name, control in fields.items()}
        rules = Pick("Rules to check", list(RULE_SETS), state.batch.rules)
        rules.observe(
            lambda change: state.edit(lambda batch: batch.but(rules=rules.value, product="cured meat")), "value"
        )
        self.controls["rules"] = rules

    def _water(self, number: int, k: int) -> None:
        """Fields of one water of a soak."""

        def put(**changes) -> bool:
            def change(batch):
                waters = batch.stages[number].waters
                soak = batch.stages[number].but(waters=replaced(waters, k, waters[k].but(**changes)))
                return batch.but(stages=replaced(batch.stages, number, soak))

            return self.state.edit(change)

        title = f"{stage_title(self.state.batch, number)}, {water_title(k).lower()}"
        self.forms.append((title, form(self.state, lambda batch: batch.stages[number].waters[k], put, title=title)))

    def _weigh_out_fields(self, title: str) -> dict:
        """What the label of the cure mix says, and the fields of the weigh-out."""
        state = self.state
        fields = form(
            state, lambda batch: batch.weigh_out, lambda **changes: state.edit_weigh_out(**changes), title=title
        )
        if state.batch.weigh_out.cure is None:
            return fields
        on_label = form(
            state, lambda batch: batch.weigh_out.cure,
            lambda **changes: state.edit(lambda batch: batch.but(weigh_out=batch.weigh_out.but(cure=batch.weigh_out.cure.but(**changes)))),
            title=title, labels=ON_LABEL,
        )  # fmt: skip
        return {f"label {name}": control for name, control in on_label.items()} | fields

    def _build_files(self) -> None:
        """The batch file, and the papers that are made of the batch."""
        state = self.state
        self.file = Line("Batch file", state.path or WORKING_FILE)
        save, reopen = Press("Save", main=True), Press("Open")
        save.on_press(lambda button: self._filed(lambda: state.save(self.file.value)))
        reopen.on_press(lambda button: self._filed(lambda: state.open(self.file.value)))
        self.controls |= {"file": self.file, "save": save, "open": reopen}
        for name, (words, _, _) in PAPERS.items():
            self.controls[name] = Press(words)
            self.controls[name].on_press(lambda button, name=name: self._hand_over(button, name))

    def _build_log(self) -> None:
        self.log = LogForm(self.state, "weight")
        self.reading = self.log.fields
        starts, lead = Press("It starts now"), Press("Write a reading down")
        starts.on_press(lambda button: self._start_now())
        lead.on_press(lambda button: self._to_the_log())
        self.controls |= self.log.controls | {"start now": starts, "to the log": lead}
        self.says |= {"written": self.log.written, "log": self.log.listed}

    def _to_the_log(self) -> None:
        """Open the form of the log, and bring it under the hand: it stands far below the picture of a narrow page."""
        self.log_fold.opened = True
        self.reading["what"].called += 1

    def _start_now(self) -> None:
        plan = self.state.batch.plan
        self.state.edit(lambda batch: batch.but(start=now_words(plan.zone if plan else None)), step=True)

    def _hand_over(self, button: Press, name: str) -> None:
        """Make a paper and hand it to the page; if it cannot be made, the reason is said above."""
        if self.state.faults:  # it would be made of the batch as it was
            self.refuse(f"{sentences(self.state.faults.values())} Put this right first; then the paper can be made.")
            return

        def give(made: str) -> None:
            file = PAPERS[name][1]
            kind = "text/html" if file.endswith("html") else "text/plain"
            button.hand_over(file, made, kind, new_tab=name != "page")

        self.work_out(button, give, paper, name, self.state.batch, datetime.now(UTC))

    def _filed(self, work: Callable[[], bool]) -> None:
        """Save or open. What is refused is said under the name of the file, and the page stays: nothing was changed."""
        before = self.state.revision
        said, problems = self.state.attempt(work)
        self.file.problem = said
        if not problems and self.state.revision == before:  # else it was drawn anew by itself
            self.redraw()

    def sketch(self) -> tuple[Section, None]:
        return self._section(self.state.spread()), None

    def _section(self, many: Spread) -> Section:
        names = [piece.name for piece in self.state.batch.pieces]
        return section([(many, name, name) for name in names[:MOST_DRAWN]], system=self.state.batch.units)

    def draw(self):
        state = self.state
        self.warn(telling.warmth_of(state.batch.stages, state.batch.units))
        weighed, self.waits = state.batch.weighed, state.outcome_waits
        self.says["weigh"].text = ""
        if weighed is not None:
            follows = (CHECKS_FOLLOW,) if self.waits else ()  # what is weighed out may be NOT OK
            lines = (*weighed.lines(state.batch.units), "", *weighed.cautions, *follows)
            self.says["weigh"].text = "\n".join(("**Weigh out**", *lines))
        if self.waits:
            show_section(self.pictures["section"], self._section(state.alone()), None, state.batch.units)
            for name, words in (("answer", ANSWER_FOLLOWS), ("more", ""), ("verdicts", CHECKS_FOLLOW)):
                self.says[name].text = words
            return
        outcome = state.shown_outcome()
        show_section(self.pictures["section"], self._section(outcome.spread), None, state.batch.units)
        first, more = in_parts(outcome, outcome.chances_so_far, outcome.changes_so_far)
        self.says["answer"].text = "\n".join(first)
        self.says["more"].text = "\n".join(more)
        self.says["verdicts"].text = "\n".join(
            f"{_sign(v)}: {v.sentence}{_often(outcome, v)} [{v.source}]" for v in outcome.verdicts
        )

    def settled(self, count):
        if self.waits:
            self.state.shown_outcome()
            yield
        yield from super().settled(count)

    def _draw_lines(self) -> None:
        many = self.state.alone() if self.waits else self.state.shown_outcome().spread
        name = self.state.batch.pieces[0].name
        show_lines(self.pictures["salt"], pictures.over_time(many, "salt", name))
        show_lines(self.pictures["nitrite"], pictures.over_time(many, "free nitrite", name, places=("surface", "core")))
        show_lines(self.pictures["bath"], pictures.bath(many))

    def _draw_sure(self) -> None:
        if self.waits:
            self.pictures["matters"].fail(FOLLOWS, waits=True)
            self.says["rests"].text = FOLLOWS
            return
        outcome = self.state.shown_outcome()
        self._matters(outcome)
        self.says["rests"].text = outcome.spread.meaning

    def _matters(self, outcome: Outcome) -> None:
        widget = self.pictures["matters"]
        assert isinstance(widget, BarPicture)
        if outcome.matters:
            bars = what_matters(outcome.matters[0])
            if outcome.learned is not None:
                bars = replace(bars, sentence=f"Before your readings, {outcome.matters[0].largest}.")
            widget.show(bars)
        else:
            widget.show(Bars("Nothing is cured here, so nothing can be ranked.", "", (), ""))

    def layout(self):
        controls = self.controls
        cards = self._cards()
        papers = [controls[name] for name in PAPERS]
        lines = row(*(self.pictures[name] for name in ("salt", "nitrite", "bath")), at_least=320)
        self.log_fold = self.fold("Log: what was measured, and when", self.log.box(controls["start now"]))
        self.fold(FOLD, *cards, opened=True)
        self.fold(ASKED, row(*self.taking.asked.values(), at_least=180))
        self.fold("What the rules and the checks say", row(controls["rules"], at_least=220), self.says["verdicts"])
        self.fold("Salt, nitrite and brine over the days", lines, draw=self._draw_lines)
        self.fold("How sure: what was varied, and what matters most", self.pictures["matters"], self.says["rests"], row(self.units, self.bands, at_least=250), draw=self._draw_sure)  # fmt: skip
        dials = [self.file, buttons(controls["open"], controls["save"]), *papers]
        return self.page(
            [self.says["answer"], buttons(controls["to the log"])],
            self.pictures["section"],
            dials,
            [row(self.says["more"], self.says["weigh"], at_least=320), self.taking.drop, self.says["dropped"]],
        )

    def _of_stage(self, number: int, fields: dict) -> list:
        """What stands in the card of a stage: that it is weighed out elsewhere, its fields, and those of its waters."""
        title, stage = stage_title(self.state.batch, number), self.state.batch.stages[number]
        made = [] if stage.weighed else [Say(WEIGHED, "note")]
        made += fields[title].values()
        for k in range(len(getattr(stage, "waters", ()))):
            made += [Say(f"**{water_title(k)}**", "note"), *fields[f"{title}, {water_title(k).lower()}"].values()]
        return made

    def _cards(self):
        """The cards of the batch, in the order in which a cook fills them in: pieces, way of curing, stages."""
        composing, controls, batch = self.composing, self.controls, self.state.batch
        fields = dict(self.forms)
        pieces = []
        for number in range(len(batch.pieces)):
            own = fields[piece_title(batch, number)].values()
            pieces.append(composing.card("piece", number, *own, *self.stations[number], *composing.splitting(number)))
        stages = [
            composing.card("stage", number, *composing.ending(number), *self._of_stage(number, fields))
            for number in range(len(batch.stages))
        ]
        weigh_out = [
            column(Say(f"**{title}**", "note"), *own.values())
            for title, own in self.forms
            if title.startswith("Weigh-out")
        ]
        whole = column(Say("**The batch**", "note"), *fields["The batch"].values())
        begin = column(controls["template"], controls["begin"], self.composing.begun)
        rows = [
            row(begin, controls["way"], at_least=250),
            row(*pieces, column(controls["add piece"]), at_least=250),
            row(*weigh_out, *stages, column(controls["kind"], controls["add stage"]), at_least=250),
            row(whole, at_least=250),
        ]
        for each in rows[1:]:
            for card in each.children:
                card.layout.flex, card.layout.max_width = "1 1 290px", "400px"
        return rows


def _sign(verdict: Verdict) -> str:
    """What a check came to, in bold where there is something to do."""
    sign = SIGNS[verdict.outcome]
    return sign if verdict.outcome == "pass" else f"**{sign}**"


def _often(outcome: Outcome, verdict: Verdict) -> str:
    """In how many draws a check comes out how: known once the page has settled."""
    chance = outcome.chances_so_far.get(verdict.name)
    if chance is None:
        return ""
    return f" ({chance.told or 'so in every simulated batch'}, of {chance.count} draws)"
