"""The ledger: grams are conserved after any sequence of entries, and counts set the books right."""

from collections.abc import Iterable, Mapping
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roastlog.journal.entries import Entry, parse_entry
from roastlog.journal.fold import (
    Account,
    Lines,
    Movement,
    fold,
    fold_blend,
    fold_lot,
    fold_pack,
    postings_of,
)
from roastlog.journal.fold.movements import DIFFERENCE, DRUM, GREEN, LOSS, OVERFILL, PACKED, ROASTED, SOLD, WASTE
from roastlog.journal.subject import Subject
from roastlog.trace.ledger import balances, history, movements_of
from roastlog.trace.tree import backward, edges_of, forward

NOON_MS = 1_795_690_800_000
LOTS, BATCHES, BLENDS, PACKS = ("HU-7", "QW-9"), ("26332-01C", "26332-028"), ("K1",), ("A-1", "A-2")
FOLDS = {"lot": fold_lot, "batch": fold, "blend": fold_blend, "pack": fold_pack}
G = st.integers(0, 9000)
Facts = tuple[str, str, dict[str, object]]


def entry(number: int, about: str, kind: str, at_s: float = 0, **body: object) -> Entry:
    """An entry about a subject, checked as one that came in; its id is its number."""
    raw = {
        "id": str(UUID(int=number)),
        "about": about,
        "kind": kind,
        "at_ms": NOON_MS + round(at_s * 1000),
        "body": body,
    }
    return parse_entry(raw | ({"machine": "drum-4"} if kind == "opened" else {}), received_ms=NOON_MS)


def folded(entries: Iterable[Entry]) -> list[Lines]:
    """All subjects of the entries."""
    by_subject: dict[str, list[Entry]] = {}
    for one in entries:
        by_subject.setdefault(str(one.about), []).append(one)
    subjects = {about: Subject.parse(about) for about in by_subject}
    return [FOLDS[subjects[about].kind](said, subjects[about].name) for about, said in by_subject.items()]


def ledger(*entries: Entry) -> list[Movement]:
    """The movements of entries."""
    return movements_of(map(postings_of, folded(entries)))


def held(*entries: Entry) -> dict[str, int]:
    """The balances of entries, without empty accounts."""
    return {str(account): grams for account, grams in balances(ledger(*entries)).items() if grams}


ROAST = (
    entry(1, "lot HU-7", "arrived", 0, coffee="Alder", green_g=60_000),
    entry(2, "batch 26332-01C", "opened", 10, lot="HU-7", green_g=4000),
    entry(3, "batch 26332-01C", "moment", 20, moment="charge"),
    entry(4, "batch 26332-01C", "weighed", 900, roasted_g=3400, removed_g=15),
    entry(5, "pack A-1", "packed", 1000, parts=[{"batch": "26332-01C", "grams": 3012}], bag_g=250, count=12),
    entry(6, "pack A-1", "sold", 1100, count=5, customer="c1"),
)


def test_a_day_of_one_batch_by_hand():
    """4 kg of green is 3400 g roasted and 600 g lost; 12 bags hold 3000 g and 12 g more; 5 of them are sold."""
    assert held(*ROAST) == {
        "supplier": -60_000,
        "green HU-7": 56_000,
        "loss": 600,
        "waste": 15,
        "roasted 26332-01C": 3400 - 15 - 3012,
        "overfill": 12,
        "pack A-1": 7 * 250,
        "customer c1": 5 * 250,
    }


def test_an_undo_or_a_correction_moves_the_grams_with_it():
    """An undone weight leaves the batch in the drum; a corrected one changes loss and stock; an undone opening all."""
    undone = held(*ROAST, entry(7, "batch 26332-01C", "undo", 2000, entry=str(UUID(int=4))))
    assert undone["drum 26332-01C"] == 4000
    assert undone["roasted 26332-01C"] == -3012
    corrected = held(
        *ROAST, entry(7, "batch 26332-01C", "amend", 2000, entry=str(UUID(int=4)), body={"roasted_g": 3500})
    )
    assert (corrected["loss"], corrected["roasted 26332-01C"]) == (500, 473)
    discarded = held(*ROAST, entry(7, "batch 26332-01C", "undo", 2000, entry=str(UUID(int=2))))
    assert discarded["green HU-7"] == 60_000
    assert "loss" not in discarded


def test_a_blend_of_green_takes_its_shares_to_the_gram():
    """Thirds of 4000 g are 1334, 1333 and 1333 g."""
    parts = [{"lot": lot, "share": 1 / 3} for lot in ("A", "B", "C")]
    found = held(entry(1, "batch 26332-01C", "opened", 0, parts=parts, green_g=4000))
    assert found == {"green A": -1334, "green B": -1333, "green C": -1333, "drum 26332-01C": 4000}


def test_a_count_holds_whatever_is_entered_later():
    """The stock is what was counted; a batch entered later, but roasted before, only changes the difference."""
    counted = entry(7, "lot HU-7", "counted", 5000, grams=55_800)
    assert held(*ROAST, counted)["green HU-7"] == 55_800
    assert held(*ROAST, counted)["difference"] == 200
    late = entry(8, "batch 26332-028", "opened", 600, lot="HU-7", green_g=150)
    assert held(*ROAST, counted, late)["green HU-7"] == 55_800
    assert held(*ROAST, counted, late)["difference"] == 50
    after = entry(8, "batch 26332-028", "opened", 6000, lot="HU-7", green_g=150)
    assert held(*ROAST, counted, after)["green HU-7"] == 55_650


def test_a_pack_is_counted_in_bags():
    """Six bags on the shelf where the books say seven: 250 g are missing."""
    found = held(*ROAST, entry(7, "pack A-1", "counted", 2000, bags=6))
    assert (found["pack A-1"], found["difference"]) == (1500, 250)


def test_bags_whose_packing_was_undone_stay_sold():
    """Their pack falls below zero, where it is seen, instead of the customer's bags vanishing."""
    found = held(*ROAST, entry(7, "pack A-1", "undo", 2000, entry=str(UUID(int=5))))
    assert (found["customer c1"], found["pack A-1"]) == (1250, -1250)


@pytest.mark.parametrize("bag_g", [240, 260])
def test_bags_may_hold_more_or_less_than_they_say(bag_g: int):
    """The difference to the nominal weight is overfill, which may be negative."""
    part = {"batch": "26332-01C", "grams": 1000}
    found = held(entry(1, "pack A-1", "packed", 0, parts=[part], bag_g=bag_g, count=4))
    assert found == {"roasted 26332-01C": -1000, "pack A-1": 4 * bag_g, "overfill": 1000 - 4 * bag_g}


lots, batches, packs = st.sampled_from(LOTS), st.sampled_from(BATCHES), st.sampled_from(PACKS)
stocks = st.sampled_from([*(f"lot {lot}" for lot in LOTS), *(f"batch {code}" for code in BATCHES), "blend K1"])
masses, numbers = st.floats(1, 9000), st.integers(1, 40)
a_part = st.fixed_dictionaries({"batch": st.sampled_from((*BATCHES, *BLENDS)), "grams": st.integers(1, 9000)})
some_parts = st.lists(a_part, min_size=1, max_size=3)
HALVES = [{"lot": lot, "share": 0.5} for lot in LOTS]


def about(kind: str, names: st.SearchStrategy[str], **body: st.SearchStrategy[object]) -> st.SearchStrategy[Facts]:
    """A kind of entry about one of some subjects, with a body."""
    return st.tuples(names, st.just(kind), st.fixed_dictionaries(body))


FACTS = st.one_of(
    about("arrived", lots.map("lot {}".format), coffee=st.just("x"), green_g=G),
    about("opened", batches.map("batch {}".format), lot=lots, green_g=masses),
    about("opened", batches.map("batch {}".format), parts=st.just(HALVES), green_g=masses),
    about("moment", batches.map("batch {}".format), moment=st.just("charge")),
    about("weighed", batches.map("batch {}".format), roasted_g=masses, removed_g=G),
    about("blended", st.just("blend K1"), parts=some_parts),
    about("packed", packs.map("pack {}".format), parts=some_parts, bag_g=st.just(250), count=numbers),
    about("sold", packs.map("pack {}".format), count=numbers, customer=st.sampled_from(["c1", "c2"])),
    about("returned", packs.map("pack {}".format), count=numbers, customer=st.sampled_from(["c1", "c2"])),
    about("taken", stocks, grams=G, why=st.sampled_from(["sample", "waste", "gift", "returned"])),
    about("counted", stocks, grams=G),
    about("counted", packs.map("pack {}".format), bags=st.integers(0, 50)),
)
CHANGES = st.sampled_from([{"grams": 10}, {"green_g": 55.5}, {"count": 3}, {"roasted_g": 9.0}, {"bag_g": 99}])
ACTS = st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 99), FACTS, CHANGES), min_size=1, max_size=25)


def journal(acts: list[tuple[int, int, Facts, Mapping[str, object]]]) -> list[Entry]:
    """Entries about lots, batches, blends and packs, a third of them undos, shifts and corrections of earlier ones."""
    said: list[Entry] = []
    for number, (at_s, choice, facts, change) in enumerate(acts, start=1):
        name, kind, body = (
            facts if not said or choice % 3 else correction(said[choice % len(said)], choice // 3, change)
        )
        said.append(entry(number, name, kind, at_s, **body))
    return said


def correction(target: Entry, choice: int, change: Mapping[str, object]) -> Facts:
    """An undo, a correction, or of a batch's entry a shift."""
    bodies: dict[str, dict[str, object]] = {"undo": {}, "amend": {"body": change}, "shift": {"by_s": 1 + choice}}
    kind = ("undo", "amend", "shift")[choice % (3 if str(target.about).startswith("batch") else 2)]
    return str(target.about), kind, {"entry": str(target.id), **bodies[kind]}


journals = ACTS.map(journal)


@settings(max_examples=150)
@given(journals, st.integers(0, 99))
def test_grams_are_conserved(entries: list[Entry], first: int):
    """All accounts add up to 0, nothing moves 0 g or less, and the order of entries does not matter."""
    movements = ledger(*entries)
    assert sum(balances(movements).values()) == 0
    assert all(one.grams > 0 and one.source != one.target for one in movements)
    assert ledger(*entries[first % len(entries) :], *reversed(entries[: first % len(entries)])) == movements


@settings(max_examples=150)
@given(journals)
def test_in_equals_out_and_loss_and_stock_for_each_batch_and_pack(entries: list[Entry]):
    """All that went into a batch is loss, waste, packed, taken, found missing, or left."""
    movements = ledger(*entries)
    left = balances(movements)
    for code in (*BATCHES, *BLENDS):
        own = {Account(DRUM, code), Account(ROASTED, code)}
        came = sum(one.grams for one in movements if one.target in own and one.source not in own)
        went = sum(one.grams for one in movements if one.source in own and one.target not in own)
        assert came - went == left.get(Account(DRUM, code), 0) + left.get(Account(ROASTED, code), 0)
    for account in (*(Account(GREEN, lot) for lot in LOTS), *(Account(PACKED, pack) for pack in PACKS)):
        rows = history(account, movements)
        assert (rows[-1][1] if rows else 0) == left.get(account, 0)


@settings(max_examples=150)
@given(journals)
def test_after_a_count_the_books_are_the_count(entries: list[Entry]):
    """At the time of each count its account holds what was counted."""
    postings = [postings_of(subject) for subject in folded(entries)]
    movements = movements_of(postings)
    for count in (count for one in postings for count in one.counts):
        until = [one for one in movements if one.at_ms <= count.at_ms]
        last = max(
            other for one in postings for other in one.counts if other[0] == count.at_ms and other[2] == count[2]
        )
        if last == count:
            assert balances(until).get(count.account, 0) == count.grams


@settings(max_examples=150)
@given(journals)
def test_the_tree_forward_and_back_are_inverse(entries: list[Entry]):
    """A node leads to another exactly if that one came from it; the edges hold the grams of the movements."""
    movements = ledger(*entries)
    edges = edges_of(movements)
    nodes = {node for edge in edges for node in edge[:2] if node.name}
    to = {node: forward(edges, [node]).nodes - {node} for node in nodes}
    came = {node: backward(edges, [node]).nodes - {node} for node in nodes}
    inner = {node for node in nodes if node.kind != SOLD}
    assert {(a, b) for a in inner for b in to[a]} >= {(a, b) for b in inner for a in came[b] if a in inner}
    assert {(a, b) for a in inner for b in to[a] if b in inner} <= {(a, b) for b in inner for a in came[b]}
    assert all(edge.grams > 0 for edge in edges)


def test_what_a_customer_returned_is_not_made_of_what_the_same_one_bought_elsewhere():
    """Two packs with one customer stay two trees."""
    other = [
        entry(11, "pack A-2", "packed", 0, parts=[{"batch": "26332-028", "grams": 500}], bag_g=250, count=2),
        entry(12, "pack A-2", "sold", 1, count=2, customer="c1"),
        entry(13, "pack A-2", "returned", 2, count=1, customer="c1"),
        entry(14, "pack A-2", "returned", 3, count=1, customer="c1"),
    ]
    edges = edges_of(ledger(*ROAST, *other))
    tree = forward(edges, [Account(GREEN, "HU-7")])
    assert Account(PACKED, "A-2") not in tree.nodes
    assert {str(node) for node in tree.nodes} == {"green HU-7", "roasted 26332-01C", "pack A-1", "customer c1"}
    back = backward(edges, [Account(PACKED, "A-1")])
    assert {str(node) for node in back.nodes} == {"green HU-7", "roasted 26332-01C", "pack A-1"}
    assert {str(edge.target) for edge in tree.edges if not edge.target.name} == {str(LOSS), str(WASTE), str(OVERFILL)}
    assert DIFFERENCE not in {edge.target for edge in tree.edges}
