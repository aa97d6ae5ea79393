"""Power cuts, replayed on copies of the files at points of the writes. `make soak` tries every point of more writes."""

import random
from dataclasses import replace
from pathlib import Path

from tests.soak.killing import seed
from tests.soak.power import cuts, written, wrong_after

STEPS, SAMPLED = 30, 36


def test_a_power_cut_loses_nothing_acknowledged_and_leaves_no_half_of_a_write(tmp_path: Path):
    """At each point every acknowledged entry is whole, a write is there or not, and the lists match the journal."""
    number = seed()
    rng = random.Random(number)
    states = written(tmp_path, STEPS, rng)
    possible = list(cuts(states, rng))
    assert {cut.committed for cut in possible} == {True, False}, "the database's own file was written too"
    begun_anew = [step for step, state in enumerate(states[1:]) if state.log[16:24] != states[step].log[16:24]]
    assert begun_anew, "the log has begun anew"
    found = {f"{cut.step}: {cut.where}": wrong_after(cut, states) for cut in rng.sample(possible, SAMPLED)}
    assert {where: wrong for where, wrong in found.items() if wrong} == {}, f"seed {number}"


def test_a_log_shorter_than_what_was_acknowledged_is_noticed(tmp_path: Path):
    """The replay finds the loss that a disk without its last synced write would cause."""
    rng = random.Random(1)
    states = written(tmp_path, 6, rng)
    last = list(cuts(states, rng))[-1]
    assert wrong_after(replace(last, log=states[1].log, database=states[1].database), states) is not None
