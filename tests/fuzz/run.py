"""Spoiled batch files against the door: each is a batch, or is refused in short clean sentences. Nothing else, and within seconds.

python tests/fuzz/run.py          # the 300 of every test run
python tests/fuzz/run.py 5000     # more, by hand
python tests/fuzz/run.py --show 17  # what number 17 is, and what is said to it
"""

from __future__ import annotations

import argparse
import collections
import faulthandler
import re
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path

from curelab.batch import Batch, dumps, from_table, load
from curelab.fields import InputError, to_plain
from curelab.letters import LONGEST_QUOTE, refused_letter

sys.path.insert(0, str(Path(__file__).parent))
from spoil import spoiled

COUNT = 300
SLOW = 5.0  # s for one file; a hang is ended at ten times that
LONGEST_LINE = 730  # letters
MOST_LINES = 51


def texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, each in value.items():
            yield str(key)
            yield from texts(each)
    elif isinstance(value, (list, tuple)):
        for each in value:
            yield from texts(each)


def of_batch(batch: Batch) -> str:
    """What is wrong with a batch that was taken; "" if nothing."""
    if any(refused_letter(words, lines=True) for words in texts(to_plain(batch))):
        return "a control letter was let in"
    if from_table(tomllib.loads(dumps(batch))) != batch:
        return "the batch does not survive its file"
    return ""


def of_refusal(error: InputError, content: bytes) -> str:
    """What is wrong with the sentences; "" if nothing."""
    lines = error.lines()
    if not error.problems or len(lines) > MOST_LINES:
        return f"{len(lines)} lines"
    for line in lines:
        if refused_letter(line) or len(line) > LONGEST_LINE:
            return f"a line of {len(line)} letters, or with control letters: {line[:200]!r}"
    long = re.findall(rf'"([^"\\\n]{{{LONGEST_QUOTE + 1},}})"', content.decode("utf-8", "replace"))
    for words in long:
        if any(words[: LONGEST_QUOTE + 1] in line for line in lines):
            return f"more than {LONGEST_QUOTE} letters were repeated of {words[:80]!r}"
    return ""


def complaint(path: Path, content: bytes) -> tuple[str, str]:
    """(what came of the file, what is wrong with that; "" if nothing)."""
    path.write_bytes(content)
    begun = time.perf_counter()
    try:
        came, wrong = "batch", of_batch(load(path))
    except InputError as error:
        came, wrong = "refused", of_refusal(error, content)
    except Exception as error:  # whatever else comes is what we look for
        came, wrong = "fault", f"{type(error).__name__}: {str(error)[:200]!r}"
    took = time.perf_counter() - begun
    return came, wrong or (f"took {took:.1f} s" if took > SLOW else "")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int, nargs="?", default=COUNT)
    parser.add_argument("--show", type=int)
    given = parser.parse_args()
    tally: collections.Counter[str] = collections.Counter()
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        for n in range(given.count) if given.show is None else [given.show]:
            what, content = spoiled(n)
            faulthandler.dump_traceback_later(10 * SLOW, exit=True)
            came, wrong = complaint(Path(folder) / "batch.toml", content)
            faulthandler.cancel_dump_traceback_later()
            tally[came] += 1
            if wrong:
                failed += 1
                print(f"number {n} ({what}): {wrong}")
            if given.show is not None:
                print(content[:3000].decode("utf-8", "replace"), came, sep="\n")
    print(f"{sum(tally.values())} files: {dict(tally)}, {failed} not as they should be")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
