"""The store: schema, entries, batches and readings in a real file, and the single writer thread."""

import sqlite3
import threading
from datetime import datetime
from functools import partial
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roastlog.errors import StoreError
from roastlog.journal.entries import By, Entry
from roastlog.journal.fold import fold
from roastlog.machine.model import practice_machine
from roastlog.store import batches as lists
from roastlog.store import books, devices, journal, machines, notes, projections, readings
from roastlog.store.backups import FILE_NAME
from roastlog.store.books import LotRow, Person
from roastlog.store.database import migrate
from roastlog.store.devices import TokenRow
from roastlog.store.store import Database, Store
from roastlog.trace.codes import batch_code, parse_code
from tests.subject_entries import keep_lot, keep_machine, keep_person

NOON_MS = int(datetime(2026, 11, 26, 12).astimezone().timestamp() * 1000)  # codes count local days
DAY_MS = 86_400_000


@pytest.fixture
def store(tmp_path: Path):
    """A store in a new folder."""
    store = Store(tmp_path / "a" / "folder")
    yield store
    store.close()


def entry(kind: str, at_ms: int = NOON_MS, batch: str | None = None, **body: object) -> Entry:
    """An entry of one machine."""
    return Entry(
        id=uuid4(), machine="drum-4", batch=batch, kind=kind, at_ms=at_ms, received_ms=at_ms, by=By(), body=body
    )


def opened(store: Store, at_ms: int = NOON_MS, **facts: object) -> str:
    """Open a batch; returns its code."""
    return store.write(lambda db: projections.add_many(db, [(entry("opened", at_ms, **facts), [])])[0])


def say(store: Store, code: str, kind: str, at_ms: int = NOON_MS, **body: object) -> Entry:
    """Store one entry of a batch."""
    made = entry(kind, at_ms, code, **body)

    def change(db: Database) -> None:
        journal.add_entry(db, made)
        projections.refresh_batch(db, code)

    store.write(change)
    return made


def schema(path: Path) -> list[tuple[str, str]]:
    """All tables and indexes of a file."""
    with sqlite3.connect(path) as connection:
        found = connection.execute("SELECT name, sql FROM sqlite_master ORDER BY name").fetchall()
    connection.close()
    return found


def test_the_schema_is_made_once(tmp_path: Path):
    """On an empty folder it is created completely; a second start changes and loses nothing."""
    store = Store(tmp_path)
    code = opened(store, coffee="Night Ferry")
    store.close()
    before = schema(tmp_path / FILE_NAME)
    assert {"entries", "batches", "readings", "machines", "lots", "people", "settings", "tokens"} <= dict(before).keys()
    migrate(tmp_path / FILE_NAME)
    again = Store(tmp_path)
    assert schema(tmp_path / FILE_NAME) == before
    assert [batch.code for batch in lists.page_of(again.read).items] == [code]
    again.close()


def test_every_commit_is_on_the_disk(store: Store):
    """Write-ahead log, and synchronous FULL (2) on the writing connection: a power cut loses no acknowledged change."""
    told = store.write(
        lambda db: [db.conn.execute(f"PRAGMA {what}").fetchone()[0] for what in ("journal_mode", "synchronous")]
    )
    assert told == ["wal", 2]


def test_a_reader_cannot_write(store: Store):
    """Only the writer's connection can change data."""
    with pytest.raises(StoreError, match="readonly"):
        store.read.execute("DELETE FROM entries")


def test_entries_come_back_as_they_were_kept_in_their_order(store: Store):
    """They are ordered by arrival, whatever their time, and unchanged."""
    code = opened(store)
    said = [say(store, code, "note", NOON_MS - back * 1000, text=f"é “{back}”") for back in range(5)]
    kept = journal.entries_of(store.read, code)
    assert kept[1:] == said
    assert [found for _, found in journal.entries_after(store.read, "drum-4", 0)][1:] == said
    numbers = [number for number, _ in journal.entries_after(store.read, "drum-4", 2)]
    assert numbers == sorted(numbers) == [3, 4, 5, 6]
    assert journal.entries_after(store.read, "other", 0) == []
    assert journal.last_seq(store.read) == 6


def test_an_entry_cannot_be_kept_twice_and_the_first_stays(store: Store):
    """The id is unique in the file; the second entry is refused and changes nothing."""
    code = opened(store)
    first = say(store, code, "note", text="first")
    second = first.model_copy(update={"body": {"text": "second"}})
    with pytest.raises(StoreError, match="UNIQUE"):
        store.write(lambda db: journal.add_entry(db, second))
    assert journal.entries_of(store.read, code)[1].body == {"text": "first"}


def test_codes_count_the_batches_of_a_day(store: Store):
    """Numbers restart at 1 on each local day; every code is valid and contains its day."""
    today = [parse_code(opened(store, NOON_MS + n)) for n in range(3)]
    tomorrow = [parse_code(opened(store, NOON_MS + DAY_MS)), parse_code(opened(store, NOON_MS + DAY_MS))]
    assert [code.number for code in today] == [1, 2, 4]  # 26330-03 would end in I, which reads as a 1
    assert [code.number for code in tomorrow] == [1, 3]
    assert (tomorrow[0].day - today[0].day).days == 1
    assert parse_code(opened(store, NOON_MS)).number == 5


def test_new_codes_end_in_no_letter_that_reads_as_a_digit(store: Store):
    """Numbers whose check character is I or O are left out; codes of earlier versions that have them stay valid."""
    codes = store.write(lambda db: [lists.new_code(db, NOON_MS) for _ in range(300)])
    assert not {code[-1] for code in codes} & set("IO")
    numbers = [parse_code(code).number for code in codes]
    left_out = sorted(set(range(1, max(numbers))) - set(numbers))
    day = parse_code(codes[0]).day
    assert {batch_code(day, number)[-1] for number in left_out} == {"I", "O"}


def test_a_clock_that_is_a_century_off_takes_no_code_twice(store: Store):
    """Codes have two-digit years: the same day a hundred years later continues today's numbers."""
    far_ms = int(datetime(2126, 11, 26, 12).astimezone().timestamp() * 1000)
    codes = [opened(store, NOON_MS), opened(store, far_ms), opened(store, NOON_MS)]
    assert [parse_code(code).number for code in codes] == [1, 2, 4]  # the third would end in a letter I


def test_a_day_begins_at_local_midnight(store: Store):
    """The last second of a day and the first of the next are on different days."""
    midnight = int(datetime(2026, 11, 27).astimezone().timestamp() * 1000)
    before, after = parse_code(opened(store, midnight - 1)), parse_code(opened(store, midnight))
    assert (before.day.day, after.day.day) == (26, 27)
    assert (before.number, after.number) == (1, 1)


def test_a_discarded_batch_keeps_its_code(store: Store):
    """Its number is not assigned again, since a label with it may exist."""
    code = opened(store)
    first = journal.entries_of(store.read, code)[0]
    say(store, code, "undo", entry=str(first.id))
    assert parse_code(opened(store)).number == 2


def test_the_summary_equals_the_fold(store: Store):
    """After each entry every column that repeats the fold agrees with it."""
    code = opened(store, coffee="Alder washed", green_g=4000.0, intent="filter")
    charge = say(store, code, "moment", NOON_MS, moment="charge")
    steps = [
        ("moment", NOON_MS + 522_000, {"moment": "first_crack"}),
        ("moment", NOON_MS + 600_000, {"moment": "drop"}),
        ("shift", NOON_MS + 601_000, {"entry": str(charge.id), "by_s": -10.0}),
        ("weighed", NOON_MS + 900_000, {"roasted_g": 3400.0}),
        ("released", NOON_MS + 950_000, {"decision": "release"}),
        ("undo", NOON_MS + 960_000, {"entry": str(charge.id)}),
    ]
    for kind, at_ms, body in steps:
        say(store, code, kind, at_ms, **body)
        batch = fold(journal.entries_of(store.read, code), code)
        row = lists.summary(store.read, code)
        times = batch.moments_s
        at = {name: line.at_ms for name, line in batch.moments.items()}
        assert row is not None
        assert (row.state, row.coffee, row.intent) == (batch.state, batch.facts.coffee, batch.facts.intent)
        assert (row.charged_ms, row.dropped_ms) == (at.get("charge"), at.get("drop"))
        assert (row.green_g, row.roasted_g, row.roast_loss) == (batch.green_g, batch.roasted_g, batch.roast_loss)
        grown = times["drop"] - times["first_crack"] if {"drop", "first_crack"} <= times.keys() else None
        assert row.development_s == grown


def test_a_coffee_without_a_name_takes_that_of_its_lot(store: Store):
    """The list shows the lot's coffee; the batch's own name takes precedence."""
    store.write(lambda db: keep_lot(db, LotRow("HU-7", "Alder washed")))
    named, plain = opened(store, lot="HU-7", coffee="Night Ferry"), opened(store, lot="HU-7")
    assert [batch.title for batch in lists.page_of(store.read).items] == ["Alder washed", "Night Ferry"]
    assert {named, plain} == {batch.code for batch in lists.page_of(store.read, query="HU-7").items}


def test_a_discarded_batch_leaves_the_lists_and_gives_its_green_back(store: Store):
    """Undoing the opening removes it from lists and from the lot; undoing that restores it."""
    store.write(lambda db: keep_lot(db, LotRow("HU-7", "Alder washed", bought_g=20_000)))
    code = opened(store, lot="HU-7", green_g=4000.0)
    lot = books.lot(store.read, "HU-7")
    assert lot is not None
    assert (lot.row, lot.left_g) == (LotRow("HU-7", "Alder washed", bought_g=20_000), 16_000)
    first = journal.entries_of(store.read, code)[0]
    undo = say(store, code, "undo", entry=str(first.id))
    found = lists.summary(store.read, code)
    assert found is not None
    assert found.state == "discarded"
    assert lists.page_of(store.read).total == 0
    assert lists.under_way(store.read, "drum-4") == []
    assert books.lots(store.read)[0].left_g == 20_000
    assert lists.page_of(store.read, state="discarded").total == 1
    say(store, code, "undo", entry=str(undo.id))
    assert lists.page_of(store.read).total == 1
    assert books.lots(store.read)[0].left_g == 16_000


def test_wildcards_are_looked_for_as_they_are(store: Store):
    """A per cent sign, an underscore and a backslash match only themselves."""
    names = ["Ferry 50%", "Ferry 505", "a_b", "axb", r"back\slash", "backXslash"]
    for name in names:
        opened(store, coffee=name)
    for query, expected in {"50%": 1, "a_b": 1, "\\": 1, "%": 1, "_": 1, "ferry": 2, "%%": 0}.items():
        assert lists.page_of(store.read, query=query).total == expected, query


def test_a_page_beyond_the_last_is_the_last(store: Store):
    """Newest first, complete pages, and a number out of range is limited."""
    codes = [opened(store, NOON_MS + n) for n in range(5)]
    told = lists.page_of(store.read, page=99, size=2)
    assert (told.page, told.pages, told.total) == (3, 3, 5)
    assert [batch.code for batch in told.items] == codes[:1]
    assert lists.page_of(store.read, page=-3, size=2).page == 1


def test_readings_of_one_instant_are_merged(store: Store):
    """Channels share one row, and the value that arrived later wins."""
    store.write(lambda db: readings.add_rows(db, "drum-4", [(1000, {"a": 1.0, "b": 2.0})]))
    store.write(lambda db: readings.add_rows(db, "drum-4", [(1000, {"b": 3.0, "c": 4.0}), (1000, {"c": 5.0})]))
    assert readings.rows_between(store.read, "drum-4", 0, 2000) == [(1000, {"a": 1.0, "b": 3.0, "c": 5.0})]


def test_a_span_of_readings_has_both_its_ends(store: Store):
    """Start and end are included; a millisecond outside, and another machine, are not."""
    store.write(lambda db: readings.add_rows(db, "drum-4", [(at, {"a": float(at)}) for at in (999, 1000, 2000, 2001)]))
    store.write(lambda db: readings.add_rows(db, "other", [(1500, {"a": 0.0})]))
    assert [at for at, _ in readings.rows_between(store.read, "drum-4", 1000, 2000)] == [1000, 2000]
    assert readings.rows_between(store.read, "drum-4", 3000, 4000) == []


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(
        st.tuples(
            st.integers(0, 5),
            st.dictionaries(st.sampled_from("abc"), st.floats(-50, 600), min_size=1),
        )
    )
)
def test_readings_come_back_as_a_dictionary_would_hold_them(store: Store, rows: list[tuple[int, dict[str, float]]]):
    """Any readings in any order are merged by instant, the later value first, ordered by time, to the last bit."""
    machine = str(uuid4())
    expected: dict[int, dict[str, float]] = {}
    for at_ms, values in rows:
        expected.setdefault(at_ms, {}).update(values)
        store.write(lambda db, at_ms=at_ms, values=values: readings.add_rows(db, machine, [(at_ms, values)]))
    assert readings.rows_between(store.read, machine, 0, 10) == sorted(expected.items())


def test_a_change_that_fails_is_undone_whole_and_the_writer_goes_on(store: Store):
    """The caller gets the error itself; the change is rolled back; the next change is made."""

    def half(db: Database) -> None:
        keep_person(db, Person("Ines", "I.", "a1"))
        raise LookupError("in the middle")

    with pytest.raises(LookupError, match="in the middle"):
        store.write(half)
    assert books.people(store.read) == []
    store.write(lambda db: keep_person(db, Person("Tomas", "T.", "b2")))
    assert books.people(store.read) == [Person("Tomas", "T.", "b2")]


def test_writes_of_many_threads_are_made_one_after_the_other(store: Store):
    """Each write sees the result of the previous one, and all run on one thread."""
    store.write(lambda db: notes.note(db, {"count": 0}))
    names = []

    def count(db: Database) -> None:
        names.append(threading.current_thread().name)
        notes.note(db, {"count": notes.noted(db.conn)["count"] + 1})

    threads = [threading.Thread(target=lambda: [store.write(count) for _ in range(25)]) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert notes.noted(store.read)["count"] == 200
    assert set(names) == {"writer"}


def test_a_bulk_change_lets_all_others_go_first(store: Store):
    """Of changes that wait, bulk ones are made last, each sort in its order."""
    made, begin = list[str](), threading.Event()
    threads = [threading.Thread(target=store.write, args=(lambda _: begin.wait(10),))]
    for name, bulk in (("bulk 1", True), ("tap 1", False), ("bulk 2", True), ("tap 2", False)):
        change = partial(lambda _, name: made.append(name), name=name)
        threads.append(threading.Thread(target=store.write, args=(change,), kwargs={"bulk": bulk}))
    for thread in threads:
        thread.start()
        thread.join(0.05)  # each is queued before the next one; none is made yet
    assert made == []
    begin.set()
    for thread in threads:
        thread.join()
    assert made == ["tap 1", "tap 2", "bulk 1", "bulk 2"]


def test_a_rollback_is_told_and_a_commit_is_not(store: Store):
    """Whoever keeps something of a change forgets it when the change was not made."""
    told = list[str]()
    store.on_rollback(lambda: told.append("rolled back"))
    store.write(lambda db: notes.note(db, {"a": 1}))
    assert told == []

    def fail(db: Database) -> None:
        notes.note(db, {"a": 2})
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        store.write(fail)
    assert told == ["rolled back"]


def test_readers_see_writes_at_once(store: Store):
    """Readers on their own threads and connections see each write at once."""
    code = opened(store)
    seen: list[int] = []

    def read() -> None:
        say(store, code, "note", text="x")
        seen.append(len(journal.entries_of(store.read, code)))

    for _ in range(5):
        thread = threading.Thread(target=read)
        thread.start()
        thread.join()
    assert seen == [2, 3, 4, 5, 6]


def test_after_closing_a_write_says_so(tmp_path: Path):
    """Queued changes are completed, later ones are refused with a message."""
    store = Store(tmp_path)
    futures = [store._writer.submit(lambda db, n=n: notes.note(db, {str(n): n})) for n in range(50)]
    store.close()
    for future in futures:
        future.result(0)
    with pytest.raises(StoreError, match="Send it again"):
        store.write(lambda db: notes.note(db, {"late": 1}))
    store.close()
    again = Store(tmp_path)
    assert sorted(int(name) for name in notes.noted(again.read)) == list(range(50))
    again.close()


def test_no_write_is_left_hanging_by_a_close(tmp_path: Path):
    """Threads that write during the close each get a result or a refusal."""
    store = Store(tmp_path)
    answers: list[str] = []
    going = threading.Event()

    def write_on() -> None:
        try:
            while True:
                store.write(lambda db: notes.note(db, {"x": 1}))
                going.set()
        except StoreError as error:
            answers.append(str(error))

    threads = [threading.Thread(target=write_on) for _ in range(8)]
    for thread in threads:
        thread.start()
    going.wait(10)
    store.close()
    for thread in threads:
        thread.join(25)
    assert len(answers) == 8
    assert all("shutting down" in answer for answer in answers)


def test_a_database_that_another_holds_is_reported(store: Store):
    """While a program locks the file a write fails with a message; then writing continues."""
    store.write(lambda db: db.conn.execute("PRAGMA busy_timeout = 50").fetchone())
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError, match="locked"):
        store.write(lambda db: keep_person(db, Person("Ines", "I.", "a1")))
    assert books.people(store.read) == []
    other.execute("ROLLBACK")
    other.close()
    store.write(lambda db: keep_person(db, Person("Ines", "I.", "a1")))
    assert len(books.people(store.read)) == 1


def test_a_folder_that_cannot_be_made_is_reported(tmp_path: Path):
    """A file in its place, or in its path, is reported."""
    file = tmp_path / "file"
    file.write_text("mine")
    for folder in (file, file / "below"):
        with pytest.raises(StoreError, match="data folder"):
            Store(folder)
    assert file.read_text() == "mine"


def test_a_folder_in_the_place_of_the_file_is_reported(tmp_path: Path):
    """The database cannot be opened, and the message names it."""
    (tmp_path / FILE_NAME).mkdir()
    with pytest.raises(StoreError, match=FILE_NAME):
        Store(tmp_path)


def test_a_token_is_kept_as_its_hash_alone(store: Store):
    """It is found by its hash; a new one with the same name replaces it, and a revoked one is gone."""
    for letter in "ab":
        row = TokenRow("logger", "look", NOON_MS, None)
        store.write(lambda db, row=row, letter=letter: devices.keep_token(db, row, letter * 64))
    assert devices.token_by_hash(store.read, "a" * 64) is None
    assert devices.token_by_hash(store.read, "b" * 64) == TokenRow("logger", "look", NOON_MS, None)
    assert store.write(lambda db: devices.revoke_token(db, "logger"))
    assert not store.write(lambda db: devices.revoke_token(db, "logger"))
    assert devices.tokens(store.read) == []


def test_a_sheet_of_a_known_machine_replaces_it_in_its_place(store: Store):
    """Machines stay in the order in which they were added."""
    drum = practice_machine()
    for at_ms, ident, name in ((NOON_MS, "b", "First"), (NOON_MS + 1, "a", "Second"), (NOON_MS + 2, "b", "Third")):
        named = drum.model_copy(update={"id": ident, "name": name})
        store.write(lambda db, named=named, at_ms=at_ms: keep_machine(db, named, at_ms))
    assert [machine.name for machine in machines.machines(store.read)] == ["Third", "Second"]
