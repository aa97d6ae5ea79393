"""Every change to the schema, oldest first. Never edit one that has shipped."""

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

migrations = Migrations("roastlog")


@migrations(name="0001_journal")
def journal(db: Database) -> None:
    """Batches and what was said about them.

    ``batches`` repeats what the fold of a batch's entries gives, so that lists need no folding; only ``code``,
    ``opened_entry`` and ``token`` are its own.
    """
    db.execute("""
        CREATE TABLE entries (
            seq INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE, batch TEXT NOT NULL, machine TEXT NOT NULL,
            kind TEXT NOT NULL, at_ms INTEGER NOT NULL, received_ms INTEGER NOT NULL, person TEXT, device TEXT,
            body TEXT NOT NULL
        ) STRICT""")
    db.execute("CREATE INDEX entries_by_batch ON entries (batch)")
    db.execute("CREATE INDEX entries_by_machine ON entries (machine, seq)")
    db.execute("""
        CREATE TABLE batches (
            code TEXT PRIMARY KEY, day TEXT NOT NULL, number INTEGER NOT NULL, machine TEXT NOT NULL,
            opened_entry TEXT NOT NULL UNIQUE, token TEXT NOT NULL UNIQUE, state TEXT NOT NULL,
            lot TEXT, coffee TEXT, intent TEXT, opened_ms INTEGER NOT NULL, charged_ms INTEGER, dropped_ms INTEGER,
            green_g REAL, roasted_g REAL, development_s REAL, development_ratio REAL, roast_loss REAL,
            UNIQUE (day, number)
        ) STRICT""")
    db.execute("CREATE INDEX batches_by_time ON batches (opened_ms)")
    db.execute("CREATE INDEX batches_by_coffee ON batches (coffee, opened_ms)")
    db.execute("CREATE INDEX batches_by_lot ON batches (lot)")
    db.execute("CREATE INDEX batches_by_machine ON batches (machine, opened_ms)")
    db.execute("CREATE INDEX batches_by_drop ON batches (machine, dropped_ms)")
    db.execute("CREATE INDEX batches_by_state ON batches (state, opened_ms)")


@migrations(name="0002_readings")
def readings(db: Database) -> None:
    """Readings by wall time, one wide row an instant: ``data`` is a JSON object of channel to value."""
    db.execute("""
        CREATE TABLE readings (
            machine TEXT NOT NULL, at_ms INTEGER NOT NULL, data TEXT NOT NULL, PRIMARY KEY (machine, at_ms)
        ) STRICT, WITHOUT ROWID""")


@migrations(name="0003_books")
def books(db: Database) -> None:
    """Machines, green lots, people, settings and API tokens."""
    db.execute("CREATE TABLE machines (id TEXT PRIMARY KEY, sheet TEXT NOT NULL, added_ms INTEGER NOT NULL) STRICT")
    db.execute("""
        CREATE TABLE lots (
            code TEXT PRIMARY KEY, coffee TEXT NOT NULL, origin TEXT, process TEXT, altitude TEXT, harvest TEXT,
            bought_g REAL NOT NULL, arrived TEXT, cup TEXT, price TEXT, note TEXT
        ) STRICT""")
    db.execute("CREATE TABLE people (name TEXT PRIMARY KEY, shown TEXT NOT NULL) STRICT")
    db.execute("CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT")
    db.execute("CREATE TABLE tokens (name TEXT PRIMARY KEY, hash TEXT NOT NULL, made_ms INTEGER NOT NULL) STRICT")


@migrations(name="0004_sealed")
def sealed(db: Database) -> None:
    """Packed readings: a blob for half an hour of a machine, see `roastlog.store.packing`."""
    db.execute("""
        CREATE TABLE sealed (
            id INTEGER PRIMARY KEY, machine TEXT NOT NULL, start_ms INTEGER NOT NULL, data BLOB NOT NULL
        ) STRICT""")
    db.execute("CREATE INDEX sealed_by_time ON sealed (machine, start_ms)")


@migrations(name="0005_lists")
def lists(db: Database) -> None:
    """Lists of an archive of ten years: what a page skips and a search looks at stands in the index itself."""
    db.execute("CREATE INDEX batches_by_age ON batches (opened_ms, code, state, coffee, lot, intent)")
    db.execute("DROP INDEX batches_by_time")
    db.execute("DROP INDEX batches_by_machine")
    db.execute("CREATE INDEX batches_by_machine ON batches (machine, opened_ms, code, state)")
