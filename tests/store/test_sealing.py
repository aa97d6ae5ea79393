"""Sealing: old readings are packed, without any difference when they are read."""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roastlog.errors import StoreError
from roastlog.store import readings, sealing
from roastlog.store.backups import check
from roastlog.store.readings import SLOT_MS
from roastlog.store.sealing import QUIET_MS, Slot, due, seal
from roastlog.store.store import Store

START_MS = 1_795_600_800_000  # start of a half hour
LATER_MS = START_MS + 10 * SLOT_MS
EVER = -(1 << 60), 1 << 60
Step = tuple[int, dict[str, float]] | None


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A fresh store."""
    store = Store(tmp_path)
    yield store
    store.close()


def add(store: Store, *rows: readings.ReadingRow, machine: str = "drum-4") -> None:
    """Add rows."""
    store.write(lambda db: readings.add_rows(db, machine, rows))


def there(store: Store, machine: str = "drum-4") -> list[readings.ReadingRow]:
    """All readings of a machine."""
    return readings.rows_between(store.read, machine, *EVER)


def seal_all(store: Store, now_ms: int = LATER_MS) -> list[Slot]:
    """Seal all due half hours."""
    slots = list(due(store.read, now_ms))
    assert all(seal(store, slot) for slot in slots)
    return slots


def rows_left(store: Store) -> int:
    """Number of unpacked rows."""
    return store.read.execute("SELECT count(*) FROM readings").fetchone()[0]


def blobs(store: Store) -> int:
    """Number of blobs."""
    return store.read.execute("SELECT count(*) FROM sealed").fetchone()[0]


def test_packed_readings_read_like_rows(store: Store):
    """Values, missing channels, and spans that start and end inside a half hour are unchanged."""
    rows = [
        (START_MS + 250 * n + n % 7, {"probe": round(20 + n / 10, 4)} | ({"surface": n / 8} if n % 3 else {}))
        for n in range(20_000)
    ]
    add(store, *rows)
    before = there(store)
    span = START_MS + SLOT_MS - 60_000, START_MS + SLOT_MS + 61_000
    part = readings.rows_between(store.read, "drum-4", *span)
    assert before == rows
    assert len(part) > 400
    assert [slot.start_ms for slot in seal_all(store)] == [START_MS, START_MS + SLOT_MS, START_MS + 2 * SLOT_MS]
    assert (rows_left(store), blobs(store)) == (0, 3)
    assert there(store) == before
    assert readings.rows_between(store.read, "drum-4", *span) == part
    assert readings.rows_between(store.read, "other", *span) == []


def test_instants_without_a_value_are_packed_as_such(store: Store):
    """A row without a channel is odd, and causes no error."""
    add(store, (START_MS, {}), (START_MS + 1, {}))
    seal_all(store)
    assert there(store) == [(START_MS, {}), (START_MS + 1, {})]


def test_only_old_half_hours_are_due(store: Store):
    """A half hour is due a quarter of an hour after its end, for each machine separately, the oldest first."""
    for machine in ("a", "b"):
        add(store, *((START_MS + n * SLOT_MS, {"probe": 1.0}) for n in range(3)), machine=machine)
    end_ms = START_MS + SLOT_MS - 1
    assert list(due(store.read, end_ms + QUIET_MS)) == []
    assert list(due(store.read, end_ms + QUIET_MS + 1)) == [Slot("a", START_MS), Slot("b", START_MS)]
    told = list(due(store.read, LATER_MS))
    assert told == [Slot(machine, START_MS + n * SLOT_MS) for machine in "ab" for n in range(3)]


def test_the_ends_of_a_half_hour_belong_to_one_each(store: Store):
    """Its first and last millisecond are packed with it, the adjacent ones are not."""
    last_ms = START_MS + SLOT_MS - 1
    add(store, *((at_ms, {"probe": 1.0}) for at_ms in (START_MS - 1, START_MS, last_ms, last_ms + 1)))
    assert seal(store, Slot("drum-4", START_MS))
    left = [at_ms for at_ms, _ in readings.fresh_rows(store.read, "drum-4", *EVER)]
    assert left == [START_MS - 1, last_ms + 1]
    assert len(readings.rows_between(store.read, "drum-4", START_MS, last_ms)) == 2


def test_late_readings_override_packed_ones(store: Store):
    """Late readings of an offline logger override the packed ones, even after they are packed as well."""
    add(store, (START_MS, {"probe": 1.0, "surface": 2.0}), (START_MS + 2, {"probe": 3.0}))
    seal_all(store)
    add(store, (START_MS, {"probe": 9.0}), (START_MS + 1, {"exhaust": 5.0}))
    expected = [
        (START_MS, {"probe": 9.0, "surface": 2.0}),
        (START_MS + 1, {"exhaust": 5.0}),
        (START_MS + 2, {"probe": 3.0}),
    ]
    assert there(store) == expected
    assert seal_all(store) == [Slot("drum-4", START_MS)]
    assert (rows_left(store), blobs(store)) == (0, 1)
    assert there(store) == expected
    assert seal_all(store) == []


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    steps=st.lists(
        st.one_of(
            st.just(None),
            st.tuples(
                st.integers(-2, 3 * SLOT_MS // 600_000),
                st.dictionaries(st.sampled_from("abc"), st.integers(-500, 6000).map(lambda n: n / 10), min_size=1),
            ),
        ),
        max_size=20,
    )
)
def test_packing_at_any_time_changes_no_reading(store: Store, steps: list[tuple[int, dict[str, float]] | None]):
    """Readings in any order, packed at any time in between, equal those of a dictionary."""
    store.write(lambda db: [db.conn.execute(f"DELETE FROM {table}") for table in ("readings", "sealed")])  # noqa: S608
    expected: dict[int, dict[str, float]] = {}
    for step in steps:
        if step is None:
            seal_all(store)
        else:
            at_ms = START_MS + step[0] * 600_000
            expected.setdefault(at_ms, {}).update(step[1])
            add(store, (at_ms, step[1]))
        assert there(store) == sorted(expected.items())


def test_a_reading_that_comes_in_meanwhile_stops_the_exchange(store: Store, monkeypatch: pytest.MonkeyPatch):
    """A late reading between packing and transaction prevents the deletion; it is packed next time."""
    add(store, (START_MS, {"probe": 1.0}))
    pack = sealing.packed

    def slow(rows: list[readings.ReadingRow]) -> bytes:
        monkeypatch.setattr(sealing, "packed", pack)
        add(store, (START_MS, {"probe": 2.0}))
        return pack(rows)

    monkeypatch.setattr(sealing, "packed", slow)
    assert not seal(store, Slot("drum-4", START_MS))
    assert (rows_left(store), blobs(store)) == (1, 0)
    assert seal(store, Slot("drum-4", START_MS))
    assert there(store) == [(START_MS, {"probe": 2.0})]


def test_readers_never_miss_a_reading_while_it_is_packed(store: Store):
    """One thread packs and adds late readings, another always sees each of them."""
    rows = [(START_MS + n * 1000, {"probe": float(n)}) for n in range(1000)]
    add(store, *rows)
    missed: list[int] = []
    stop = threading.Event()

    def look() -> None:
        while not stop.is_set():
            missed.append(len(rows) - len(there(store)))

    thread = threading.Thread(target=look)
    thread.start()
    for n in range(40):
        seal_all(store)
        add(store, (START_MS + n * 1000, {"probe": float(n)}))
    stop.set()
    thread.join()
    assert len(missed) > 5
    assert set(missed) == {0}


def damage(store: Store) -> None:
    """Flip a byte in the middle of each blob."""
    for ident, blob in store.read.execute("SELECT id, data FROM sealed").fetchall():
        broken = bytearray(blob)
        broken[len(blob) // 2] ^= 0x55
        store.write(
            lambda db, ident=ident, data=bytes(broken): db.conn.execute(
                "UPDATE sealed SET data = ? WHERE id = ?", (data, ident)
            )
        )


def test_a_damaged_blob_is_a_gap_that_is_reported_once(store: Store, caplog: pytest.LogCaptureFixture):
    """The adjacent readings are returned, one log line names the gap, and there is no error."""
    add(store, *((START_MS + n * 1000, {"probe": float(n)}) for n in range(100)))
    seal_all(store)
    damage(store)
    add(store, (START_MS + SLOT_MS, {"probe": 7.0}))
    for _ in range(3):
        assert there(store) == [(START_MS + SLOT_MS, {"probe": 7.0})]
    assert [("drum-4" in told.message, "checksum" in told.message) for told in caplog.records] == [(True, True)]
    assert check(store.path).damaged == 1


def test_a_damaged_blob_is_never_thrown_away(store: Store):
    """Late readings of its half hour are packed beside it; its bytes stay unchanged."""
    add(store, (START_MS, {"probe": 1.0}))
    seal_all(store)
    damage(store)
    kept = store.read.execute("SELECT id, data FROM sealed").fetchone()[:]
    add(store, (START_MS + 5, {"probe": 2.0}))
    seal_all(store)
    assert there(store) == [(START_MS + 5, {"probe": 2.0})]
    assert store.read.execute("SELECT id, data FROM sealed ORDER BY id").fetchone()[:] == kept
    assert (rows_left(store), blobs(store)) == (0, 2)


def test_rows_stay_when_they_cannot_be_packed(store: Store, monkeypatch: pytest.MonkeyPatch):
    """A codec that does not restore the readings is detected before anything is deleted."""
    add(store, (START_MS, {"probe": 1.0}))
    pack = sealing.pack
    monkeypatch.setattr(sealing, "pack", lambda at_ms, _channels: pack(at_ms, {"probe": [1.5]}))
    with pytest.raises(StoreError, match="without a loss"):
        seal(store, Slot("drum-4", START_MS))
    assert rows_left(store) == 1


def test_the_file_grows_no_more_once_readings_are_packed(store: Store):
    """Pages of deleted rows are reused: three days of readings take little more than the packed ones."""

    def used_bytes() -> int:
        with closing(sqlite3.connect(store.path)) as connection:
            sizes = (connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "freelist_count"))
            return 4096 * (next(sizes) - next(sizes))

    empty_bytes = used_bytes()
    for day in range(6):
        at_ms = START_MS + day * 10 * SLOT_MS
        add(store, *((at_ms + n * 1000, {"probe": n / 10, "surface": n / 20}) for n in range(7200)))
        seal_all(store, at_ms + 10 * SLOT_MS)
    packed = store.read.execute("SELECT sum(length(data)) FROM sealed").fetchone()[0]
    assert used_bytes() - empty_bytes < packed * 2 + 20_000
