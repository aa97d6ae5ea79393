"""Every change to the schema, oldest first. Never edit one that has shipped."""

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

from roastlog.store.upgrade import say_the_books

migrations = Migrations("roastlog")


@migrations(name="0001_journal")
def journal(db: Database) -> None:
    """Batches and their entries.

    ``batches`` holds the folded state of each batch, so that lists need no folding; only ``code``, ``opened_entry`` and
    ``token`` are its own.
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
    """Covering indexes for an archive of ten years: a page skips rows, and a search scans, within the index."""
    db.execute("CREATE INDEX batches_by_age ON batches (opened_ms, code, state, coffee, lot, intent)")
    db.execute("DROP INDEX batches_by_time")
    db.execute("DROP INDEX batches_by_machine")
    db.execute("CREATE INDEX batches_by_machine ON batches (machine, opened_ms, code, state)")


@migrations(name="0006_words")
def words(db: Database) -> None:
    """The journal in a third of the space: ``words`` holds each repeated text once, and ids are 16 bytes.

    ``entries`` refers to ``words`` for batch, machine, kind, person and device, and for bodies of kinds that often
    repeat; any other body stays text. The view ``journal`` resolves the references. An index gives the entries of a
    batch; the newest entries are found by ``seq``, which needs none.
    """
    db.conn.create_function("id_bytes", 1, lambda text: bytes.fromhex(text.replace("-", "")), deterministic=True)
    often = "kind IN ('moment', 'move', 'trier', 'aroma', 'crack') AND length(body) <= 64"
    db.execute("CREATE TABLE words (id INTEGER PRIMARY KEY, word TEXT NOT NULL UNIQUE) STRICT")
    for word in ("kind", "machine", "person", "device", f"iif({often}, body, NULL)", "batch"):  # few and frequent first
        db.execute(
            f"INSERT OR IGNORE INTO words (word) SELECT DISTINCT {word} FROM entries WHERE {word} IS NOT NULL"  # noqa: S608
        )
    db.execute("ALTER TABLE entries RENAME TO entries_in_full")
    db.execute("""
        CREATE TABLE entries (
            seq INTEGER PRIMARY KEY AUTOINCREMENT, id BLOB NOT NULL UNIQUE, batch INTEGER NOT NULL,
            machine INTEGER NOT NULL, kind INTEGER NOT NULL, at_ms INTEGER NOT NULL, late_ms INTEGER NOT NULL,
            person INTEGER, device INTEGER, body ANY NOT NULL
        ) STRICT""")
    number = "(SELECT id FROM words WHERE word = {})".format
    db.execute(f"""
        INSERT INTO entries (seq, id, batch, machine, kind, at_ms, late_ms, person, device, body)
        SELECT seq, id_bytes(id), {number("batch")}, {number("machine")}, {number("kind")}, at_ms, received_ms - at_ms,
            {number("person")}, {number("device")}, iif({often}, {number("body")}, body)
        FROM entries_in_full ORDER BY seq""")  # noqa: S608 - our own names
    db.execute("DROP TABLE entries_in_full")
    db.execute("CREATE INDEX entries_by_batch ON entries (batch)")
    db.execute("""
        CREATE VIEW journal AS
        SELECT said.seq, said.id, batches.word AS batch, machines.word AS machine, kinds.word AS kind, said.at_ms,
            said.at_ms + said.late_ms AS received_ms, people.word AS person, devices.word AS device,
            coalesce(bodies.word, said.body) AS body
        FROM entries AS said
        JOIN words AS batches ON batches.id = said.batch
        JOIN words AS machines ON machines.id = said.machine
        JOIN words AS kinds ON kinds.id = said.kind
        LEFT JOIN words AS people ON people.id = said.person
        LEFT JOIN words AS devices ON devices.id = said.device
        LEFT JOIN words AS bodies ON bodies.id = said.body""")


@migrations(name="0007_devices")
def devices(db: Database) -> None:
    """Access: paired devices, pairing codes, a role for each program, and withdrawn bag codes.

    Devices that joined by the former key of the house stay, with the role ``operate``; the key is deleted.
    """
    db.execute("""
        CREATE TABLE devices (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, person TEXT, role TEXT NOT NULL,
            hash TEXT NOT NULL UNIQUE, made_ms INTEGER NOT NULL, seen_ms INTEGER NOT NULL
        ) STRICT""")
    db.execute("""
        CREATE TABLE pairings (
            id INTEGER PRIMARY KEY AUTOINCREMENT, link_hash TEXT NOT NULL UNIQUE, code_hash TEXT NOT NULL,
            salt TEXT NOT NULL, role TEXT NOT NULL, name TEXT, person TEXT, ends_ms INTEGER NOT NULL
        ) STRICT""")
    joined = "name GLOB 'device " + "[0-9a-f]" * 8 + "'"
    db.execute(f"""
        INSERT INTO devices (name, role, hash, made_ms, seen_ms)
        SELECT name, 'operate', hash, made_ms, made_ms FROM tokens WHERE {joined} ORDER BY made_ms""")  # noqa: S608
    db.execute(f"DELETE FROM tokens WHERE {joined}")  # noqa: S608 - our own words
    db.execute("ALTER TABLE tokens ADD COLUMN role TEXT NOT NULL DEFAULT 'operate'")
    db.execute("ALTER TABLE tokens ADD COLUMN seen_ms INTEGER")
    db.execute("CREATE UNIQUE INDEX tokens_by_hash ON tokens (hash)")
    db.execute("DELETE FROM settings WHERE name = 'house_key'")
    db.execute("CREATE TABLE withdrawn (token TEXT PRIMARY KEY, at_ms INTEGER NOT NULL) STRICT")


@migrations(name="0008_photos")
def photos(db: Database) -> None:
    """Photos of trier checks, in the database itself so that backups hold them."""
    db.execute("CREATE TABLE photos (name TEXT PRIMARY KEY, at_ms INTEGER NOT NULL, data BLOB NOT NULL) STRICT")


@migrations(name="0009_subjects")
def subjects(db: Database) -> None:
    """Entries about any subject: lots, people, settings and machines become entries too, by the device “upgrade”.

    An entry names its subject, “batch 26332-01C” or “lot HU-7”; only entries of batches have a machine. Data that no
    entry may hold gets tables of its own: ``erasable`` fields of bodies, ``passwords`` of brokers, ``bags`` with the
    token of each batch's page, and ``notes`` of the server for itself. From now on `roastlog.store.projections` makes
    the tables for lists; ``projected`` holds its version and the last entry included.
    """
    db.execute("DROP VIEW journal")
    db.execute("ALTER TABLE entries RENAME TO entries_of_batches")
    db.execute("""
        INSERT OR IGNORE INTO words (word) SELECT 'batch ' || word FROM words
        WHERE id IN (SELECT batch FROM entries_of_batches) ORDER BY word""")
    db.execute("""
        CREATE TABLE entries (
            seq INTEGER PRIMARY KEY AUTOINCREMENT, id BLOB NOT NULL UNIQUE, about INTEGER NOT NULL, machine INTEGER,
            kind INTEGER NOT NULL, at_ms INTEGER NOT NULL, late_ms INTEGER NOT NULL, person INTEGER, device INTEGER,
            body ANY NOT NULL
        ) STRICT""")
    db.execute("""
        INSERT INTO entries (seq, id, about, machine, kind, at_ms, late_ms, person, device, body)
        SELECT said.seq, said.id, abouts.id, said.machine, said.kind, said.at_ms, said.late_ms, said.person,
            said.device, said.body
        FROM entries_of_batches AS said
        JOIN words AS codes ON codes.id = said.batch
        JOIN words AS abouts ON abouts.word = 'batch ' || codes.word
        ORDER BY said.seq""")
    db.execute("CREATE INDEX entries_by_subject ON entries (about)")
    used = " UNION ".join(f"SELECT {column} FROM entries" for column in ("machine", "kind", "person", "device"))  # noqa: S608
    db.execute(f"""
        DELETE FROM words WHERE id IN (SELECT batch FROM entries_of_batches)
            AND id NOT IN (SELECT machine FROM ({used}) WHERE machine IS NOT NULL)
            AND id NOT IN (SELECT body FROM entries WHERE typeof(body) = 'integer')""")  # noqa: S608 - our own names
    db.execute("DROP TABLE entries_of_batches")
    db.execute("""
        CREATE VIEW journal AS
        SELECT said.seq, said.id, abouts.word AS about, machines.word AS machine, kinds.word AS kind, said.at_ms,
            said.at_ms + said.late_ms AS received_ms, people.word AS person, devices.word AS device,
            coalesce(bodies.word, said.body) AS body
        FROM entries AS said
        JOIN words AS abouts ON abouts.id = said.about
        LEFT JOIN words AS machines ON machines.id = said.machine
        JOIN words AS kinds ON kinds.id = said.kind
        LEFT JOIN words AS people ON people.id = said.person
        LEFT JOIN words AS devices ON devices.id = said.device
        LEFT JOIN words AS bodies ON bodies.id = said.body""")
    db.execute("CREATE TABLE erasable (entry BLOB PRIMARY KEY, body TEXT NOT NULL) STRICT, WITHOUT ROWID")
    db.execute("""
        CREATE TABLE passwords (
            machine TEXT NOT NULL, host TEXT NOT NULL, port INTEGER NOT NULL, user TEXT NOT NULL,
            password TEXT NOT NULL, PRIMARY KEY (machine, host, port, user)
        ) STRICT""")
    db.execute("CREATE TABLE notes (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT")
    db.execute("CREATE TABLE bags (code TEXT PRIMARY KEY, token TEXT NOT NULL UNIQUE) STRICT")
    db.execute("INSERT INTO bags (code, token) SELECT code, token FROM batches ORDER BY code")
    say_the_books(db)
    for table in ("batches", "lots", "people", "settings", "machines"):
        db.execute(f"DROP TABLE {table}")
    db.execute("""
        CREATE TABLE projected (
            one INTEGER PRIMARY KEY CHECK (one = 1), version INTEGER NOT NULL, seq INTEGER NOT NULL
        ) STRICT""")
    db.execute("INSERT INTO projected (one, version, seq) VALUES (1, 0, 0)")
