"""Projections: the tables for lists match the journal, and can be rebuilt from it at any time."""

import json
import random
import sqlite3
from contextlib import closing
from pathlib import Path
from uuid import UUID, uuid4

import pytest

from roastlog.commands import main
from roastlog.errors import StoreError
from roastlog.journal.entries import By, Entry
from roastlog.journal.fold import Account, fold, fold_blend, fold_lot, fold_pack, postings_of
from roastlog.journal.fold.movements import DRUM, ROASTED
from roastlog.journal.kinds.machine import plain_sheet
from roastlog.journal.subject import Subject
from roastlog.journal.vocabulary import MOMENTS
from roastlog.machine.model import practice_machine
from roastlog.store import backups, books, journal, ledger, notes, projections
from roastlog.store import batches as lists
from roastlog.store.backups import FILE_NAME
from roastlog.store.database import REMADE, rebuild
from roastlog.store.store import Database, Store
from roastlog.trace.ledger import balances, movements_of
from roastlog.trace.tree import backward, edges_of, forward
from tests.projection_rows import NUMBERED, projection_rows
from tests.subject_entries import keep_lot, keep_person, say

START_MS = 1_795_600_000_000
BATCHES = 240
TOGETHER = 20
TABLES = tuple(projections.SCHEMA)


def rows(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """All rows of all projections."""
    with closing(sqlite3.connect(path)) as connection:
        return projection_rows(connection)


def written(path: Path) -> list[tuple[object, ...]]:
    """All rows of the journal, and of the tables stored beside it."""
    with closing(sqlite3.connect(path)) as connection:
        found = [*connection.execute("SELECT * FROM journal ORDER BY seq")]
        for beside in ("erasable", "bags", "passwords"):
            found += connection.execute(f"SELECT * FROM {beside} ORDER BY 1")  # noqa: S608
        return found


class Roastery:
    """A random roastery that makes entries one at a time, stored like by the entry service."""

    def __init__(self, seed: int) -> None:
        self._rng, self._at_ms = random.Random(seed), START_MS
        self._said: dict[str, list[UUID]] = {}

    def roast(self, db: Database, number: int) -> None:
        """Make all entries of a batch, and now and then another one."""
        self._db = db
        self._batch(number)
        for _ in range(self._rng.randrange(3)):
            self._other()
        if number % 5 == 0:
            self._correct(self._rng.choice(list(self._said)))

    def _say(self, about: str, kind: str, **body: object) -> None:
        self._at_ms += self._rng.randrange(1, 200_000)
        late_ms = self._rng.choice([0, 40, 90_000])
        entry = Entry(
            id=UUID(int=self._rng.getrandbits(128), version=4),
            about=about,
            machine="drum-4" if about.startswith("batch") else None,
            kind=kind,
            at_ms=self._at_ms,
            received_ms=self._at_ms + late_ms,
            by=By(person=self._rng.choice(["Ines", "Tomas", None]), device="phone"),
            body=body,
        )
        self._said.setdefault(about, []).append(entry.id)
        projections.say(self._db, entry)

    def _batch(self, number: int) -> None:
        facts: dict[str, object] = {"green_g": self._rng.choice([4000.0, 3500.0])}
        if self._rng.random() < 0.8:
            facts["lot"] = f"L{self._rng.randrange(12)}"
        if self._rng.random() < 0.3:
            facts["coffee"] = f"Coffee {number % 7}"
        opened = Entry(id=uuid4(), machine="drum-4", kind="opened", at_ms=self._at_ms, received_ms=0, body=facts)
        code = projections.open_batch(self._db, opened)
        projections.refresh_batch(self._db, code)
        about = f"batch {code}"
        self._said[about] = [opened.id]
        for moment in MOMENTS:
            if self._rng.random() < 0.8:
                self._say(about, "moment", moment=moment)
        if self._rng.random() < 0.7:
            self._say(about, "weighed", roasted_g=3400.0, removed_g=self._rng.choice([None, 40.0]))
            self._pack(code, number)
        if self._rng.random() < 0.5:
            self._say(about, "released", decision=self._rng.choice(["release", "hold", "reject"]))

    def _pack(self, code: str, number: int) -> None:
        parts = [{"batch": code, "grams": self._rng.choice([1010, 2000])}]
        if number % 7 == 0:
            self._say(f"blend K{number}", "blended", parts=parts, product="P1")
            parts = [{"batch": f"K{number}", "grams": 900}]
        if number % 3 == 0:
            pack = f"pack {code}-1"
            self._say(pack, "packed", parts=parts, bag_g=250, count=4, best_before="2027-05-01")
            self._say(pack, "sold", count=self._rng.randrange(1, 4), customer=f"c{number % 4}")
            if self._rng.random() < 0.3:
                self._say(pack, "returned", count=1, customer=f"c{number % 4}")

    def _stock(self) -> None:
        about = self._rng.choice([name for name in self._said if name.split()[0] in {"lot", "batch", "blend", "pack"}])
        amount: dict[str, object] = {"grams": self._rng.randrange(3000)}
        if about.startswith("pack"):
            amount = {"bags": self._rng.randrange(5)}
        if self._rng.random() < 0.5:
            self._say(about, "counted", **amount)
        else:
            self._say(about, "taken", **amount, why=self._rng.choice(["sample", "waste", "gift"]))

    def _sales(self) -> None:
        part = {"lot": f"L{self._rng.randrange(12)}", "share": 1.0}
        self._say(
            f"product P{self._rng.randrange(3)}", "composed", name=f"Blend {self._rng.randrange(9)}", parts=[part]
        )
        self._say(f"customer c{self._rng.randrange(4)}", "listed", name=self._rng.choice("XYZ"), contact="phone")
        self._say(f"recall R{self._rng.randrange(3)}", "recalled", codes=["L1"], cause="mould", drill=True)
        line = {"product": "P1", "bag_g": 250, "count": self._rng.randrange(1, 9)}
        self._say(f"order O{self._rng.randrange(9)}", "ordered", customer="c1", lines=[line], due="2026-12-01")

    def _other(self) -> None:
        self._stock()
        lot = f"lot L{self._rng.randrange(12)}"
        what = self._rng.randrange(8)
        if what == 0:
            self._say(lot, "arrived", coffee=f"Lot's {self._rng.randrange(5)}", green_g=60_000.0, price="9")
        elif what == 1:
            self._say("house", "set", business=f"House {self._rng.randrange(9)}", stall_c_per_min=1.5)
        elif what == 2:
            self._say(f"person {self._rng.randrange(3)}", "named", name=self._rng.choice("ABC"), shown="x")
        elif what == 3:
            sheet = plain_sheet(practice_machine())
            self._say("machine practice", "set_up", sheet={**sheet, "name": f"Drum {self._rng.randrange(9)}"})
        elif what == 4:
            check = {"channel": "bean_probe", "offset_c": self._rng.randrange(-9, 9) / 2, "on": "2026-11-28"}
            self._say("machine practice", "probe_checked", **check, against="ice water")
        elif what == 5:
            self._sales()
        elif what == 6:
            self._say(lot, "checked", moisture_percent=self._rng.randrange(90, 130) / 10)
        else:
            self._say(lot, "note", text="dry")

    def _correct(self, about: str) -> None:
        """Undo, shift or correct an entry of any age about a subject."""
        entry = str(self._rng.choice(self._said[about]))
        self._say(about, "undo", entry=entry)
        if about.startswith("batch"):
            self._say(about, "shift", entry=str(self._rng.choice(self._said[about])), by_s=self._rng.choice([-10, 7.5]))
            self._say(about, "amend", entry=str(self._said[about][0]), body={"green_g": 3900.0, "coffee": None})
        if about.startswith("lot"):
            change = {"coffee": f"Renamed {self._rng.randrange(5)}", "green_g": 50_000.0}
            self._say(about, "amend", entry=str(self._rng.choice(self._said[about])), body=change)


@pytest.mark.parametrize("seed", [1, 2])
def test_rebuilt_from_a_big_journal_every_row_is_the_same(tmp_path: Path, seed: int):
    """After any mix of entries, undos and corrections of all subjects, a rebuild gives identical rows."""
    store = Store(tmp_path)
    roastery = Roastery(seed)
    for first in range(0, BATCHES, TOGETHER):
        numbers = range(first, first + TOGETHER)
        store.write(lambda db, numbers=numbers: [roastery.roast(db, number) for number in numbers])
    store.close()
    before, journal_before = rows(tmp_path / FILE_NAME), written(tmp_path / FILE_NAME)
    assert len(before["batches"]) == BATCHES
    assert all(before[name] for name in TABLES), "a table stayed empty: the roastery says too little"
    made = rebuild(tmp_path)
    assert rows(tmp_path / FILE_NAME) == before
    assert written(tmp_path / FILE_NAME) == journal_before
    assert made.rows == {name: len(found) for name, found in before.items() if name not in NUMBERED}


def test_the_ledgers_tables_are_the_fold_of_the_journal(tmp_path: Path):
    """Movements, balances and trees read from the tables are those that the pure ledger makes of all entries."""
    store = Store(tmp_path)
    roastery = Roastery(3)
    for number in range(60):
        store.write(lambda db, number=number: roastery.roast(db, number))
    folds = {"lot": fold_lot, "batch": fold, "blend": fold_blend, "pack": fold_pack}
    subjects = [
        folded(entries, subject.name)
        for kind, folded in folds.items()
        for subject, entries in journal.all_entries(store.read, kind)
    ]
    movements = movements_of(map(postings_of, subjects))
    assert sorted(ledger.movements(store.read)) == movements
    stored = ledger.balances(store.read)
    assert {account: grams for account, grams in stored.items() if grams} == {
        account: grams for account, grams in balances(movements).items() if grams
    }
    edges = edges_of(movements)
    for start in sorted(account for account in stored if account.name)[::5]:
        whole = (
            [start] if start.kind not in {DRUM, ROASTED} else [Account(DRUM, start.name), Account(ROASTED, start.name)]
        )
        assert set(edges_of(ledger.reached(store.read, whole))) == set(forward(edges, whole).edges), start
        assert set(edges_of(ledger.reached(store.read, whole, back=True))) == set(backward(edges, whole).edges), start
    store.close()


def test_the_command_says_how_many_rows_it_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """It prints a number for each table, and the journal is unchanged."""
    store = Store(tmp_path)
    store.write(lambda db: keep_lot(db, books.LotRow("HU-7", "Alder washed", bought_g=20_000)))
    store.close()
    before = written(tmp_path / FILE_NAME)
    main(["rebuild", "--data", str(tmp_path)])
    told = capsys.readouterr().out.strip()
    assert "1 lots, 0 batches" in told
    assert told.endswith("were made anew from the journal.")
    assert written(tmp_path / FILE_NAME) == before


def test_a_folder_without_a_database_is_reported_so(tmp_path: Path):
    """No database is created there."""
    with pytest.raises(StoreError, match="no database"):
        rebuild(tmp_path / "nowhere")
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.skipif("sys.platform == 'win32'", reason="there is no such lock there")
def test_a_folder_that_a_server_records_into_is_left_alone(tmp_path: Path):
    """The command refuses while a server holds the lock of the folder, since it would remove the server's lists."""
    import fcntl

    Store(tmp_path).close()
    with (tmp_path / "lock").open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with pytest.raises(StoreError, match="Stop it first"):
            rebuild(tmp_path)


@pytest.fixture
def furnished(tmp_path: Path) -> Path:
    """The database of a small roastery, closed."""
    store = Store(tmp_path)

    def fill(db: Database) -> None:
        keep_lot(db, books.LotRow("HU-7", "Alder washed", bought_g=20_000))
        keep_person(db, books.Person("Ines", "I.", "a1"))
        say(db, "house", "set", business="Quillwater Roasters")
        said = {"machine": "drum-4", "received_ms": 0}
        for number in range(3):
            opened = Entry(id=uuid4(), kind="opened", at_ms=START_MS + number, body={"lot": "HU-7"}, **said)
            projections.add_many(db, [(opened, [])])

    store.write(fill)
    store.close()
    return store.path


@pytest.mark.parametrize(
    "damage",
    [
        "DELETE FROM batches WHERE rowid = 2",
        "DELETE FROM lots",
        "UPDATE lots SET bought_g = 1",
        "UPDATE settings SET value = '\"x\"'",
        "UPDATE people SET shown = 'x'",
        "DROP TABLE people",
        "ALTER TABLE batches DROP COLUMN roast_loss",
        "DELETE FROM projected",
        "UPDATE projected SET seq = 1",
        "UPDATE accounts SET grams = grams + 1 WHERE kind = 'green'",
        "DROP TABLE movements",
        "UPDATE projected SET version = 0",
    ],
)
def test_damaged_lists_are_made_anew_when_the_database_is_opened(furnished: Path, damage: str):
    """Lost or changed rows are restored from the journal, and Today shows a note."""
    before = rows(furnished)
    with closing(sqlite3.connect(furnished)) as connection, connection:
        connection.execute(damage)
    store = Store(furnished.parent)
    assert rows(furnished) == before
    assert (REMADE in notes.noted(store.read)) == ("version" not in damage)  # an old table is not damaged
    store.close()
    Store(furnished.parent).close()
    assert rows(furnished) == before


def test_sound_lists_are_left_alone(furnished: Path, caplog: pytest.LogCaptureFixture):
    """A reopened database is not rebuilt."""
    store = Store(furnished.parent)
    assert REMADE not in notes.noted(store.read)
    store.close()
    assert "anew" not in caplog.text


def add_of_a_newer_version(path: Path) -> None:
    """Write entries that only a newer version knows: about a subject and of a kind unknown to this one."""
    with closing(sqlite3.connect(path)) as connection, connection:
        code = connection.execute("SELECT code FROM batches ORDER BY code LIMIT 1").fetchone()[0]
        for about, kind in (("session 3", "poured"), (f"batch {code}", "sung"), ("lot HU-7", "cupped")):
            connection.executemany("INSERT OR IGNORE INTO words (word) VALUES (?)", [(about,), (kind,)])
            number = "(SELECT id FROM words WHERE word = ?)"
            connection.execute(
                f"INSERT INTO entries (id, about, kind, at_ms, late_ms, body) VALUES (?, {number}, {number}, ?, 0, ?)",  # noqa: S608
                (uuid4().bytes, about, kind, START_MS, json.dumps({"cups": 5})),
            )


def test_entries_of_a_newer_version_are_never_dropped(furnished: Path, tmp_path: Path):
    """They survive opening, adding, rebuilding, a backup and its restoration; the other data is unchanged."""
    before = rows(furnished)
    add_of_a_newer_version(furnished)
    said = written(furnished)
    store = Store(furnished.parent)
    assert rows(furnished) == before
    assert [entry.kind for entry in journal.entries_about(store.read, Subject("session", "3"))] == ["poured"]
    code = lists.page_of(store.read).items[-1].code
    assert [entry.kind for entry in journal.entries_of(store.read, code)] == ["opened", "sung"]
    store.write(lambda db: say(db, "house", "set", business="Other"))
    store.close()
    rebuild(furnished.parent)
    assert [row for row in written(furnished) if row in said] == said
    backups.copy(furnished, tmp_path / "copy.sqlite3")
    backups.restore(tmp_path / "copy.sqlite3", tmp_path / "back")
    Store(tmp_path / "back").close()
    assert written(tmp_path / "back" / FILE_NAME) == written(furnished)


def test_a_word_that_looks_like_a_subject_makes_none(furnished: Path):
    """A device may be named “lot 7” without becoming a lot."""
    store = Store(furnished.parent)
    entry = Entry(id=uuid4(), about="house", kind="set", at_ms=1, by=By(device="lot 7"), body={"business": "x"})
    store.write(lambda db: projections.say(db, entry))
    store.close()
    assert rebuild(furnished.parent).rows["lots"] == 1


def test_erasing_a_person_leaves_every_sum_and_every_line(tmp_path: Path):
    """The names are nowhere in the file, the person's entries remain, and the erasure is visible."""
    store = Store(tmp_path)

    def fill(db: Database) -> str:
        keep_person(db, books.Person("Ines Morel", "Inez", "a1"))
        keep_person(db, books.Person("Tomas", "T.", "b2"))
        opened = Entry(
            id=uuid4(), machine="d", kind="opened", at_ms=1, by=By(person="Ines Morel"), body={"green_g": 9.0}
        )
        return projections.add_many(db, [(opened, [])])[0]

    code = store.write(fill)
    before = lists.summary(store.read, code)

    def erase(db: Database) -> None:
        say(db, "person a1", "erased")
        journal.erase(db, Subject("person", "a1"), ["Ines Morel"])
        projections.refresh(db, Subject("person", "a1"))

    store.write(erase)
    assert lists.summary(store.read, code) == before
    assert [person.name for person in books.people(store.read)] == ["Tomas"]
    assert journal.entries_of(store.read, code)[0].by.person == "erased a1"
    assert [entry.kind for entry in journal.entries_about(store.read, Subject("person", "a1"))] == ["named", "erased"]
    store.close()
    rebuild(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = (tmp_path / FILE_NAME).read_bytes()
    assert b"Ines Morel" not in content
    assert b"Inez" not in content
    assert b"Tomas" in content


def test_a_batch_takes_the_name_of_its_lot_however_late_that_comes(tmp_path: Path):
    """A lot entered or renamed after its batches renames those without their own coffee."""
    store = Store(tmp_path)
    about = {"machine": "d", "kind": "opened", "at_ms": START_MS}
    plain = Entry(id=uuid4(), body={"lot": "HU-7"}, **about)
    named = Entry(id=uuid4(), body={"lot": "HU-7", "coffee": "Night Ferry"}, **about)
    store.write(lambda db: projections.add_many(db, [(plain, []), (named, [])]))
    store.write(lambda db: keep_lot(db, books.LotRow("HU-7", "Alder washed", bought_g=1.0)))
    assert [batch.coffee for batch in lists.page_of(store.read).items] == ["Night Ferry", "Alder washed"]
    arrived = journal.entries_about(store.read, Subject("lot", "HU-7"))[0]
    store.write(lambda db: say(db, "lot HU-7", "amend", entry=str(arrived.id), body={"coffee": "Alder natural"}))
    assert [batch.coffee for batch in lists.page_of(store.read).items] == ["Night Ferry", "Alder natural"]
    store.close()
