"""Batches kept folded for the pages and exports that read them again and again."""

import threading

from roastlog.journal.fold import fold
from roastlog.roasts import kept_folds
from roastlog.roasts.kept_folds import KeptFolds
from roastlog.store import journal as stored
from tests.conftest import Bench


def test_a_batch_kept_folded_is_the_same_as_one_folded_at_once(bench: Bench):
    """Each new entry, undo and late arrival shows in the kept batch as in one folded from all entries."""
    folds = KeptFolds()
    code = bench.roast(coffee="Night Ferry")
    taps = [("note", {"text": "Chaff."}), ("trier", {"stage": "yellow"}), ("moment", {"moment": "second_crack"})]
    for number, (kind, body) in enumerate(taps):
        made = bench.entry(kind, 500 - number, batch=code, **body)
        for entry in (made, bench.entry("undo", 510, batch=code, entry=made["id"])):
            bench.say(entry)
            connection = bench.services.store.read
            assert folds.read(connection, code) == fold(stored.entries_of(connection, code), code)


def test_threads_read_a_kept_batch_while_it_grows(bench: Bench):
    """Each of several readers sees every entry that was acknowledged before it read, and none twice."""
    folds = KeptFolds()
    code = bench.roast(coffee="Night Ferry")
    acknowledged, wrong, ended = [0], [], threading.Event()

    def read() -> None:
        while not ended.is_set():
            least = acknowledged[0]
            lines = folds.read(bench.services.store.read, code).lines
            if len({line.id for line in lines}) != len(lines) or len(lines) < least:
                wrong.append((least, len(lines)))

    acknowledged[0] = len(folds.read(bench.services.store.read, code).lines)
    readers = [threading.Thread(target=read) for _ in range(4)]
    for reader in readers:
        reader.start()
    for number in range(60):
        bench.say(bench.entry("note", 300 + number, batch=code, text=f"Note {number}."))
        acknowledged[0] += 1
    ended.set()
    for reader in readers:
        reader.join()
    assert not wrong


def test_batches_read_long_ago_are_let_go(bench: Bench, monkeypatch):
    """No more batches than the limit stay folded, and one that was let go is read anew."""
    monkeypatch.setattr(kept_folds, "MOST_KEPT", 2)
    folds = KeptFolds()
    codes = [bench.roast(coffee="Night Ferry", start_s=number * 1000) for number in range(3)]
    connection = bench.services.store.read
    first = folds.read(connection, codes[0])
    assert folds.read(connection, codes[0]) is first
    for code in codes[1:]:
        folds.read(connection, code)
    again = folds.read(connection, codes[0])
    assert again == first
    assert again is not first
