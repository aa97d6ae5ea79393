"""The folds of lots, the house, people and machines."""

from uuid import UUID, uuid4

from hypothesis import given
from hypothesis import strategies as st

from roastlog.journal.entries import Entry
from roastlog.journal.fold import fold_house, fold_lot, fold_machine, fold_person
from roastlog.journal.kinds.machine import plain_sheet
from roastlog.machine.model import Machine, practice_machine

T0 = 1_790_000_000_000
IDS = [UUID(int=number) for number in range(1, 6)]


def entry(about: str, kind: str, at_s: float = 0.0, ident: UUID | None = None, **body: object) -> Entry:
    """An entry made ``at_s`` after the start."""
    at_ms = T0 + round(at_s * 1000)
    return Entry(id=ident or uuid4(), about=about, kind=kind, at_ms=at_ms, received_ms=at_ms, body=body)


def test_a_lot_is_its_arrival_with_the_corrections_that_stand():
    """Two corrections both stay visible; undoing the second restores the first."""
    arrived = entry("lot HU-7", "arrived", coffee="Alder", green_g=20_000.0, price="9.10")
    first = entry("lot HU-7", "amend", 1, entry=str(arrived.id), body={"green_g": 19_500.0})
    second = entry("lot HU-7", "amend", 2, entry=str(arrived.id), body={"green_g": 18_000.0, "price": None})
    lot = fold_lot([arrived, first, second], "HU-7")
    assert lot.facts is not None
    assert (lot.facts.green_g, lot.facts.price, len(lot.lines)) == (18_000.0, None, 3)
    back = fold_lot([arrived, first, second, entry("lot HU-7", "undo", 3, entry=str(second.id))], "HU-7")
    assert back.facts is not None
    assert (back.facts.green_g, back.facts.price) == (19_500.0, "9.10")


def test_a_second_arrival_is_kept_and_flagged():
    """Two devices that enter one lot enter it once; when the first is undone the second counts."""
    first = entry("lot HU-7", "arrived", coffee="Alder", green_g=1.0)
    second = entry("lot HU-7", "arrived", 1, coffee="Birch", green_g=2.0)
    lot = fold_lot([second, first], "HU-7")
    assert lot.arrived is not None
    assert (lot.arrived.id, [line.flags for line in lot.lines]) == (first.id, [(), ("doubled",)])
    undone = fold_lot([second, first, entry("lot HU-7", "undo", 2, entry=str(first.id))], "HU-7")
    assert undone.facts is not None
    assert undone.facts.coffee == "Birch"


def test_settings_are_the_newest_and_an_undo_restores_the_previous():
    """Each setting has its newest value, and an undo restores the one before."""
    first, second = entry("house", "set", business="Quill", units_temp="F"), entry("house", "set", 5, business="Ferry")
    assert fold_house([second, first]).settings == {"business": "Ferry", "units_temp": "F"}
    undo = entry("house", "undo", 6, entry=str(second.id))
    assert fold_house([undo, second, first]).settings == {"business": "Quill", "units_temp": "F"}


def test_a_person_is_called_as_they_were_named_last():
    """Without the erasable fields, stored beside the journal, a person is shown without a name."""
    first, second = (
        entry("person 3f", "named", name="Inés", shown="I."),
        entry("person 3f", "named", 1, name="Ines", shown="In"),
    )
    assert fold_person([second, first], "3f").name == "Ines"
    erased = [each.model_copy(update={"body": {}}) for each in (first, second)]
    person = fold_person([*erased, entry("person 3f", "erased", 2)], "3f")
    assert (person.name, person.erased, len(person.lines)) == (None, True, 3)


def machine() -> Machine:
    """A simulated machine."""
    return practice_machine()


def test_a_check_of_a_probe_changes_its_offset_until_it_is_taken_back():
    """Offset and day are in the sheet; a newer sheet replaces them."""
    sheet = plain_sheet(machine())
    setup = entry("machine practice", "set_up", sheet=sheet)
    check = entry(
        "machine practice",
        "probe_checked",
        1,
        channel="bean_probe",
        offset_c=-1.5,
        on="2026-11-28",
        against="ice water",
    )
    checked = fold_machine([check, setup], "practice").machine
    assert checked is not None
    assert (checked.channels[0].offset_c, str(checked.channels[0].checked and checked.channels[0].checked.on)) == (
        -1.5,
        "2026-11-28",
    )
    undo = entry("machine practice", "undo", 2, entry=str(check.id))
    assert fold_machine([undo, check, setup], "practice").machine == machine()
    later = entry("machine practice", "set_up", 3, sheet={**sheet, "name": "Other"})
    named = fold_machine([later, check, setup], "practice").machine
    assert named is not None
    assert (named.name, named.channels[0].offset_c) == ("Other", 0.0)


def test_a_description_that_only_a_newer_version_understands_is_passed_over():
    """The machine keeps the previous sheet."""
    known = entry("machine practice", "set_up", sheet=plain_sheet(machine()))
    newer = known.model_copy(update={"id": uuid4(), "at_ms": T0 + 1, "body": {"sheet": {"id": "practice", "beans": 1}}})
    assert fold_machine([known, newer], "practice").machine == machine()


def entries_of(about: str) -> st.SearchStrategy[Entry]:
    """Entries about one subject of a few kinds, some of them about each other, with few ids."""
    ids = st.sampled_from(IDS)
    sheet = plain_sheet(machine())
    said = {
        "lot HU-7": st.one_of(
            st.tuples(
                st.just("arrived"),
                st.fixed_dictionaries({"coffee": st.sampled_from("AB"), "green_g": st.integers(0, 9).map(float)}),
            ),
            st.tuples(
                st.just("amend"),
                st.fixed_dictionaries(
                    {"entry": ids.map(str), "body": st.fixed_dictionaries({"green_g": st.integers(0, 9).map(float)})}
                ),
            ),
        ),
        "house": st.tuples(
            st.just("set"),
            st.dictionaries(st.sampled_from(["business", "url_base"]), st.sampled_from(["a", "b", "c"]), min_size=1),
        ),
        "machine practice": st.one_of(
            st.tuples(st.just("set_up"), st.sampled_from("AB").map(lambda name: {"sheet": {**sheet, "name": name}})),
            st.tuples(
                st.just("probe_checked"),
                st.integers(-5, 5).map(
                    lambda by: {"channel": "bean_probe", "offset_c": float(by), "on": "2026-11-28", "against": "ice"}
                ),
            ),
        ),
        "person 3f": st.tuples(
            st.just("named"), st.fixed_dictionaries({"name": st.sampled_from("AB"), "shown": st.sampled_from("CD")})
        ),
    }[about]
    undo = st.tuples(st.just("undo"), st.fixed_dictionaries({"entry": ids.map(str)}))
    return st.builds(
        lambda ident, kind_body, at_s: entry(about, kind_body[0], at_s, ident, **kind_body[1]),
        ids,
        st.one_of(said, undo),
        st.integers(0, 4),
    )


FOLDS = {
    "lot HU-7": lambda entries: fold_lot(entries, "HU-7"),
    "house": fold_house,
    "machine practice": lambda entries: fold_machine(entries, "practice"),
    "person 3f": lambda entries: fold_person(entries, "3f"),
}


@given(st.sampled_from(list(FOLDS)), st.data(), st.randoms(use_true_random=False))
def test_any_order_and_any_repetition_fold_to_the_same_subject(about: str, data: st.DataObject, random):
    """Each fold is a function of the set of entries, even where ids collide and undos run in rings."""
    entries = data.draw(st.lists(entries_of(about), max_size=10))
    shuffled = [*entries, *random.choices(entries, k=4)] if entries else []
    random.shuffle(shuffled)
    folded = FOLDS[about](entries)
    assert folded == FOLDS[about](shuffled)
    assert {line.id for line in folded.lines} == {each.id for each in entries}
