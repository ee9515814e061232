"""The actions of the `curelab` command that learn from batches: learn, carry, compare."""

from __future__ import annotations

import textwrap
from pathlib import Path

from ..units import WIDTH

CAUTION = (
    "Salted is not safe to eat. It is raw: keep it below 4 °C (40 °F) all the time, and cook it. Your local code and licensed "
    "practice go before this."
)


def add_learning(actions) -> None:
    """Add the actions to the command's own."""
    learn = actions.add_parser("learn", help="say what the log of a batch tells about your meat and fridge")
    learn.add_argument("file", type=Path, metavar="BATCH")
    learn.add_argument("--save", type=Path, metavar="FILE", help="keep it in a meat-and-fridge file for other batches")
    learn.add_argument("--name", metavar="WORDS", help="name it, like the butcher; the name of the batch if left out")
    learn.set_defaults(act=_learn)
    carry = actions.add_parser("carry", help="let a batch begin with what earlier batches taught")
    carry.add_argument("known", type=Path, metavar="FILE", help="a meat-and-fridge file, from curelab learn --save")
    carry.add_argument("file", type=Path, metavar="BATCH")
    carry.add_argument("--replace", action="store_true", help="in the place of what was carried into it before")
    carry.set_defaults(act=_carry)
    compare = actions.add_parser("compare", help="set batches side by side, with the pace of salt in each")
    compare.add_argument("files", type=Path, nargs="+", metavar="BATCH")
    compare.add_argument(
        "--units", choices=("metric", "us"), help="units of the table; those of the first batch if left out"
    )
    compare.add_argument("--csv", type=Path, metavar="FILE", help="also write the table, in SI units")
    compare.set_defaults(act=_compare)


def _learn(given) -> int:
    from ..batch import load
    from ..fields import refuse
    from ..learn.update import profile_of, save_profile, update
    from ..learn.warm_log import warm_log
    from ..learn.words import by_the_plan, days_table, residual_table
    from ..show.own_units import own_units

    if given.name is not None and given.save is None:
        raise refuse("--name", "there is nothing to name; say with --save where to keep it")
    batch = load(given.file)
    found = update(batch)
    names = [piece.name for piece in batch.pieces]
    told = found.told
    _say(f"{batch.name}: what its log says", "")
    _say(told.headline, *told.details)
    _say("", "Readings beside the model, once it is fitted", *_in(residual_table(found.fit, names, batch.units)))
    _say("off: reading less prediction, in standard deviations; beyond 2 look at the reading again.")
    if told.days and found.before is not None and found.after is not None:
        _say("", "When it has its salt", *_in(days_table(found.before, found.after, found.begin)))
        _say(by_the_plan(found.after, found.begin, found.ends))
    _say("", f"{told.rests_on} The fit lets all of these vary beside what it looks for.")
    _say("", f"Caution: {own_units(CAUTION, batch.units)}")
    if told.cannot or found.remarks:
        _say("", "What the readings cannot tell, and what was left out")
        _say(*(f"- {note}" for note in (*told.cannot, *found.remarks)))
    if given.save is not None:
        save_profile(profile_of(found.fit, given.name or batch.name, batch), given.save)
        given.done = f"wrote {given.save}"
        if warm_log(batch):
            _say("", "What is kept is about your fridge and your meat. This batch itself was too warm: see above.")
        _say("", f'Wrote {given.save}. To begin another batch with it: curelab carry "{given.save}" BATCH')
    return 0


def _carry(given) -> int:
    from ..paper.carry import COUNTS_FROM_THE_PLAN, carry, changes
    from ..recipe.meat_and_fridge import load_profile

    profile = load_profile(given.known)
    before, after = carry(given.file, profile, replace=given.replace)
    given.done = "" if before == after else f"wrote {given.file}"
    if before == after:
        _say(f'"{after.name}" holds "{profile.name}" already; nothing was changed.')
        return 0
    _say(f'"{after.name}" now begins with what is known from "{profile.name}".')
    _say(*_in(changes(before, after)))
    _say("In brackets: 9 times in 10. Wider here than in the file where the next piece is another animal.")
    if any(row.key == "temperature" for row in profile.known):
        _say(COUNTS_FROM_THE_PLAN)
    return 0


def _compare(given) -> int:
    from .. import files
    from ..learn.compare import as_csv, as_table, compare, load_all

    batches = load_all(given.files)
    rows = compare(batches)
    if given.csv is not None:
        files.write(given.csv, as_csv(rows))
        given.done = f"wrote {given.csv}"
    print(as_table(batches, rows, given.units or batches[0].units), end="")
    if given.csv is not None:
        print(f"\nWrote {given.csv}.")
    return 0


def _in(lines: list[str]) -> list[str]:
    return [f"  {line}" for line in lines]


def _say(*paragraphs: str) -> None:
    """Print, folded to WIDTH; what is set in stays set in, and tables stay as they are."""
    for words in paragraphs:
        if words.startswith("  "):
            print(words)
        else:
            print("\n".join(textwrap.wrap(words, WIDTH, subsequent_indent="  " if words.startswith("- ") else "")))
