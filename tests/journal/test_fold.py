"""The fold of a set of journal entries."""

from uuid import UUID, uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.journal.entries import By, Entry
from roastlog.journal.fold import Batch, BatchFold, fold
from roastlog.journal.vocabulary import MOMENTS, STAGES

T0 = 1_790_000_000_000


def entry(kind: str, at_s: float = 0.0, *, received_s: float | None = None, ident: UUID | None = None, **body: object):
    """An entry of batch B made ``at_s`` after the start."""
    return Entry(
        id=ident or uuid4(),
        machine="drum-4",
        batch=None if kind == "opened" else "B",
        kind=kind,
        at_ms=T0 + round(at_s * 1000),
        received_ms=T0 + round((at_s if received_s is None else received_s) * 1000),
        by=By(person="Ines"),
        body=body,
    )


def roast() -> list[Entry]:
    """A plain batch from opening to drop."""
    return [
        entry("opened", -60, coffee="Alder washed", green_g=4000.0),
        entry("move", -30, control="radiant", setting=8.0),
        entry("moment", 0, moment="charge"),
        entry("moment", 288, moment="yellow"),
        entry("move", 300, control="radiant", setting=6.0),
        entry("trier", 372, stage="light_brown"),
        entry("moment", 522, moment="first_crack"),
        entry("moment", 600, moment="drop"),
    ]


def test_a_plain_batch_has_its_moments_in_seconds_from_charge():
    """Moments are counted from the charge, whenever the batch was opened."""
    batch = fold(roast(), "B")
    assert batch.moments_s == {"charge": 0, "yellow": 288, "first_crack": 522, "drop": 600}
    assert (batch.state, batch.facts.coffee, batch.settings, batch.stage) == (
        "cooling",
        "Alder washed",
        {"radiant": 6.0},
        "light_brown",
    )
    assert batch.expected is None


def test_the_pad_waits_for_the_next_moment_in_order():
    """Skipping a moment advances the pad: after first crack it expects the drop, yellow or not."""
    batch = fold([entry("moment", 0, moment="charge"), entry("moment", 500, moment="first_crack")], "B")
    assert batch.expected == "drop"
    assert fold([], "B").expected == "charge"


def test_a_shift_of_charge_moves_every_time():
    """A charge 10 s earlier makes every time 10 s later on the curve."""
    entries = roast()
    charge = entries[2]
    batch = fold([*entries, entry("shift", 20, entry=str(charge.id), by_s=-10)], "B")
    assert batch.moments_s == {"charge": 0, "yellow": 298, "first_crack": 532, "drop": 610}
    assert batch.time_s(batch.of("trier")[0].at_ms) == 382


def test_an_undone_moment_is_expected_again():
    """An undone moment is expected again by the pad."""
    entries = roast()[:-1]
    undo = entry("undo", 530, entry=str(entries[-1].id))
    batch = fold([*entries, undo], "B")
    assert "first_crack" not in batch.moments
    assert batch.expected == "first_crack"
    assert [line.undone for line in batch.lines if line.kind == "moment"][-1]


def test_undo_of_an_undo_brings_the_entry_back():
    """An undo is an entry, so it can be undone too."""
    entries = roast()
    undo = entry("undo", 610, entry=str(entries[-1].id))
    again = entry("undo", 611, entry=str(undo.id))
    assert fold([*entries, undo], "B").state == "roasting"
    assert fold([*entries, undo, again], "B").state == "cooling"


def test_undos_of_each_other_mean_nothing():
    """Undos in a ring are undecidable, so they have no effect and do not hang."""
    one, two = uuid4(), uuid4()
    note = entry("note", 1, text="x")
    ring = [entry("undo", 2, ident=one, entry=str(two)), entry("undo", 3, ident=two, entry=str(one))]
    outside = entry("undo", 4, entry=str(note.id))
    batch = fold([note, *ring], "B")
    assert batch.of("note")
    assert not fold([note, *ring, outside], "B").of("note")


def test_undoing_the_opening_discards_the_batch():
    """Discarding is the undo of the opening; the entries stay."""
    entries = roast()
    batch = fold([*entries, entry("undo", 700, entry=str(entries[0].id))], "B")
    assert batch.state == "discarded"
    assert len(batch.lines) == len(entries) + 1


def test_two_people_tapping_first_crack_count_once():
    """The earlier tap counts, the later is kept and flagged."""
    batch = fold([*roast(), entry("moment", 524.5, moment="first_crack")], "B")
    assert batch.moments_s["first_crack"] == 522
    assert [line.flags for line in batch.lines if line.kind == "moment" and line.flags] == [("doubled",)]


def test_a_moment_out_of_order_is_kept_and_flagged():
    """Yellow after first crack is implausible, but it is kept and flagged."""
    batch = fold([*roast()[:3], entry("moment", 500, moment="first_crack"), entry("moment", 520, moment="yellow")], "B")
    assert batch.moments_s["yellow"] == 520
    assert batch.moments["first_crack"].flags == ("out_of_order",)


@pytest.mark.parametrize(
    ("moments", "flagged"),
    [
        ({"charge": 0, "yellow": 20, "first_crack": 22, "drop": 32}, {"yellow", "first_crack", "drop"}),
        ({"charge": 0, "yellow": 60, "first_crack": 140, "drop": 180}, set()),  # hot air alone, as quick as any
        ({"charge": 0, "yellow": 288, "first_crack": 300, "drop": 600}, {"first_crack"}),
        ({"yellow": 20, "drop": 30}, set()),  # without a charge nothing is known
    ],
)
def test_moments_sooner_than_a_roast_can_be_are_kept_and_flagged(moments: dict[str, float], flagged: set[str]):
    """A finger that tapped through the pad; a real roast is never flagged."""
    batch = fold([entry("moment", at_s, moment=name) for name, at_s in moments.items()], "B")
    assert {name for name, line in batch.moments.items() if "too_soon" in line.flags} == flagged
    assert set(batch.moments) == set(moments)


def test_an_entry_for_a_closed_batch_is_kept_and_marked_late():
    """An entry received after the release is in the record, marked as late."""
    entries = [*roast(), entry("weighed", 900, roasted_g=3430.0), entry("released", 1000, decision="release")]
    late = entry("trier", 350, received_s=2000, stage="tan")
    batch = fold([*entries, late], "B")
    assert [line.flags for line in batch.of("trier")] == [("late",), ()]
    assert batch.state == "released"


def test_an_amendment_changes_only_the_fields_it_names():
    """A name can be added after the roast; null clears a field."""
    entries = roast()
    opened = str(entries[0].id)
    batch = fold(
        [
            *entries,
            entry("amend", 700, entry=opened, body={"coffee": "Night Ferry", "intent": "espresso"}),
            entry("amend", 701, entry=opened, body={"intent": None, "green_g": 3900}),
        ],
        "B",
    )
    assert (batch.facts.coffee, batch.facts.intent, batch.facts.green_g) == ("Night Ferry", None, 3900)
    assert batch.opened is not None
    assert batch.opened.amended


def test_an_amendment_that_does_not_fit_is_kept_and_has_no_effect():
    """A nonexistent colour stage does not replace a valid one."""
    entries = roast()
    batch = fold([*entries, entry("amend", 700, entry=str(entries[5].id), body={"stage": "purple"})], "B")
    assert batch.stage == "light_brown"
    assert batch.of("trier")[0].flags == ("amend_unfit",)


def test_roast_loss_is_referred_to_the_green_weight():
    """5000 g in, 4260 g out: 14.8 % [computed: the worked example of tests/golden/ for roast loss]."""
    entries = [entry("opened", 0, green_g=5000), entry("weighed", 900, roasted_g=4260, removed_g=60)]
    batch = fold(entries, "B")
    assert batch.roast_loss == pytest.approx(0.148)


IDS = [UUID(int=number) for number in range(8)]


def entries_of_any_kind() -> st.SearchStrategy[Entry]:
    """Entries that refer to each other at random, some of them nonsense."""
    ids = st.sampled_from(IDS)
    bodies = st.one_of(
        st.tuples(st.just("opened"), st.fixed_dictionaries({"green_g": st.floats(1, 5000)})),
        st.tuples(st.just("moment"), st.fixed_dictionaries({"moment": st.sampled_from(MOMENTS)})),
        st.tuples(st.just("trier"), st.fixed_dictionaries({"stage": st.sampled_from(STAGES)})),
        st.tuples(st.just("released"), st.fixed_dictionaries({"decision": st.sampled_from(["release", "hold"])})),
        st.tuples(st.just("undo"), st.fixed_dictionaries({"entry": ids.map(str)})),
        st.tuples(
            st.just("shift"),
            st.fixed_dictionaries({"entry": ids.map(str), "by_s": st.integers(-20, 20).filter(bool)}),
        ),
        st.tuples(
            st.just("amend"),
            st.fixed_dictionaries({"entry": ids.map(str), "body": st.just({"moment": "drop"})}),
        ),
    )
    return st.builds(
        lambda ident, kind_body, at_s, received_s: entry(
            kind_body[0], at_s, received_s=received_s, ident=ident, **kind_body[1]
        ),
        ids,
        bodies,
        st.integers(0, 30),
        st.integers(0, 30),
    )


def same(one: Batch, two: Batch) -> bool:
    """Whether two batches agree in every displayed field."""
    return one == two and one.moments_s == two.moments_s


@given(st.lists(entries_of_any_kind(), max_size=14), st.randoms(use_true_random=False))
def test_any_order_and_any_repetition_fold_to_the_same_batch(entries: list[Entry], random):
    """The fold is a function of the set of entries, even where ids collide and undos run in rings."""
    shuffled = [*entries, *random.choices(entries, k=5)] if entries else []
    random.shuffle(shuffled)
    assert same(fold(entries, "B"), fold(shuffled, "B"))


@given(st.lists(entries_of_any_kind(), max_size=14, unique_by=lambda entry: entry.id), st.data())
def test_a_batch_kept_folded_is_the_batch_folded_at_once(entries: list[Entry], data: st.DataObject):
    """Adding entries in parts of any size, some of them again, changes nothing of the result."""
    kept, added = BatchFold("B"), 0
    while added < len(entries):
        more = data.draw(st.integers(1, 4))
        kept.add(entries[max(0, added - 1) : added + more])
        added += more
        assert same(kept.batch, fold(entries[:added], "B"))
        assert kept.batch.by_kind == fold(entries[:added], "B").by_kind


def test_a_line_that_an_added_entry_does_not_change_stays_the_same_object():
    """A view made of it can be kept."""
    kept = BatchFold("B")
    before = kept.add([entry("opened", 0, green_g=4000), entry("moment", 5, moment="yellow")]).lines
    after = kept.add([entry("note", 60, text="Chaff.")]).lines
    assert [one is other for one, other in zip(before, after, strict=False)] == [True, True]


@given(st.lists(entries_of_any_kind(), max_size=14))
def test_no_entry_is_lost(entries: list[Entry]):
    """Every input id appears as a line."""
    assert {line.id for line in fold(entries, "B").lines} == {each.id for each in entries}


@given(st.integers(-600, 600).filter(bool))
def test_a_shift_of_charge_by_any_amount_moves_all_by_its_opposite(by_s: int):
    """Shifting the charge shifts all other times by the opposite amount."""
    entries = roast()
    plain, moved = fold(entries, "B"), fold([*entries, entry("shift", 1, entry=str(entries[2].id), by_s=by_s)], "B")
    for name, time_s in plain.moments_s.items():
        assert moved.moments_s[name] == pytest.approx(0 if name == "charge" else time_s - by_s)
