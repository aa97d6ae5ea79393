"""Entries about subjects other than batches, written directly into a store."""

from uuid import uuid4

from roastlog.journal.entries import Entry
from roastlog.journal.kinds.machine import plain_sheet
from roastlog.machine.model import Machine
from roastlog.store import machines, projections
from roastlog.store.books import LotRow, Person
from roastlog.store.store import Database

NOON_MS = 1_795_690_800_000


def say(db: Database, about: str, kind: str, at_ms: int = NOON_MS, **body: object) -> Entry:
    """Store one entry about a subject."""
    entry = Entry(id=uuid4(), about=about, kind=kind, at_ms=at_ms, received_ms=at_ms, body=body)
    projections.say(db, entry)
    return entry


def keep_lot(db: Database, row: LotRow) -> None:
    """Store the arrival of a lot."""
    facts = {name: value for name, value in vars(row).items() if name not in {"code", "bought_g"} and value is not None}
    say(db, f"lot {row.code}", "arrived", green_g=row.bought_g, **facts)


def keep_person(db: Database, person: Person) -> None:
    """Store the name of a person."""
    say(db, f"person {person.id}", "named", name=person.name, shown=person.shown)


def keep_machine(db: Database, machine: Machine, at_ms: int = NOON_MS) -> None:
    """Store the sheet of a machine."""
    machines.keep_passwords(db, machine)
    say(db, f"machine {machine.id}", "set_up", at_ms, sheet=plain_sheet(machine))
