"""Invented batches of datasets/safety_batches.toml: those made to get past the checks must fail or say that they cannot be judged, by the check
named, in the first lines; sound ones must do neither, but where fewer than 9 of 10 simulated batches are in order.
"""

from collections import Counter
from dataclasses import replace

import pytest
from handful import handful

from curelab.limits import UNPROTECTED, WARM, check_process
from curelab.limits.protection import SLOWEST
from curelab.proof.safety import tried
from curelab.show.dangers import ASKED
from curelab.show.in_short import in_short

BATCHES = {each.id: each for each in tried()}


@pytest.mark.parametrize("name", handful(BATCHES, list(BATCHES)[::3]))
def test_every_batch_gets_what_it_must(name):
    each = BATCHES[name]
    verdicts = each.verdicts()
    assert each.got(verdicts) == each.must, [str(verdict) for verdict in verdicts if verdict.outcome != "pass"]
    assert not [verdict.sentence for verdict in verdicts if "e+" in verdict.sentence]
    if each.kind == "sound":
        assert not [verdict for verdict in verdicts if verdict.outcome == "fail"]
    else:
        mine = next(verdict for verdict in verdicts if verdict.name == each.check)
        assert mine.outcome == "fail" or mine.name in ASKED


def test_enough_of_both_and_how_many_were_wrong():
    assert len(BATCHES) == len(tried())
    kinds = Counter(each.kind for each in tried())
    assert kinds["adversarial"] >= 60 and kinds["sound"] >= 30 and len(kinds) == 2
    assert all(each.batch.invented and bool(each.check) == (each.must != "in order") for each in tried())
    assert all(each.check for each in tried() if each.kind == "adversarial")
    assert sum(each.must == "in order" for each in tried()) >= 30
    assert not [each for each in tried() if each.kind == "sound" and each.must == "fail"]
    assert {each.must for each in tried()} == {"fail", "cannot be judged", "in order"}
    # Recorded of the code before; see the head of the table.
    assert Counter(each.kind for each in tried() if each.before == "wrong") == {"adversarial": 25, "sound": 11}


@pytest.mark.parametrize("name", ["raw-400d-3.2", "block-30d-2", "edge-2000", "ph-6.3"])
def test_the_report_begins_with_it(name):
    from curelab.outcome import run

    each = BATCHES[name]
    outcome = run(each.batch, draws=16)
    mine = next(verdict for verdict in outcome.verdicts if verdict.name == each.check)
    # The slowest spot is told by the answers, in words of their own.
    said = "Slowest spot: pink and protected by then" if mine.name == SLOWEST else mine.sentence
    assert any(said in line for line in in_short(outcome)[:4])


def test_a_us_batch_reads_in_its_own_units():
    for name in ("us-50F", "us-37F"):
        for verdict in BATCHES[name].verdicts():
            assert "°C" not in verdict.sentence and "degC" not in verdict.sentence, verdict
    assert any("50 °F" in verdict.sentence for verdict in BATCHES["us-50F"].verdicts())


def test_the_clocks_of_raw_meat_are_held_against_the_draws():
    """Missed in some simulated batches and met in few: one rule for all that is promised, `SURE` and `SOME` of `limits.verdict`."""
    from curelab.outcome import run

    flat, old = (run(BATCHES[name].batch, draws=64) for name in ("flat-12d-4", "hour-of-brine-30d"))
    for outcome, usual, became in ((flat, "pass", "unknown"), (old, "unknown", "fail")):
        alone, held = (
            {each.name: each for each in every}[UNPROTECTED]
            for every in (check_process(outcome.judged), outcome.verdicts)
        )
        assert alone.outcome == usual and held.outcome == became
        assert "of 10 simulated batches; in " in held.sentence
    assert {each.name: each for each in flat.verdicts}[WARM].outcome == "pass"
    assert {each.name: each for each in replace(flat, passing=True).verdicts}[
        UNPROTECTED
    ].outcome == "pass"  # a page in motion does not wait
