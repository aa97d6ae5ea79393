"""Subjects other than batches as the API gives them: folded, with all that was ever said of them."""

from collections.abc import Collection
from typing import Any

from roastlog.errors import NoSuchLot, NoSuchMachine
from roastlog.journal.fold import Line, Lines, fold_house, fold_lot, fold_machine, fold_person
from roastlog.journal.kinds import REGISTRY
from roastlog.journal.subject import HOUSE, LOT, MACHINE, PERSON, Subject
from roastlog.journal.wording import tell
from roastlog.languages import _
from roastlog.services.lots import LotService
from roastlog.services.settings import SettingsService
from roastlog.store import journal as stored
from roastlog.store.store import Store


class SubjectService:
    """Folds lots, machines and the house for programs."""

    def __init__(self, store: Store, lots: LotService, settings: SettingsService) -> None:
        self._store, self._lots, self._settings = store, lots, settings

    def lots(self, *, confidential: bool) -> list[dict[str, Any]]:
        """All lots with what is left of each, without their entries."""
        hidden = _hidden(LOT, confidential=confidential)
        return [_shown(vars(lot), hidden) for lot in self._lots.all()]

    def lot(self, code: str, *, confidential: bool) -> dict[str, Any]:
        """One lot with its entries; raises NoSuchLot where nothing was ever said of it."""
        lot = fold_lot(stored.entries_about(self._store.read, Subject(LOT, code)), code)
        if not lot.lines:
            raise NoSuchLot(_("There is no lot {code} in the books.", code=code))
        hidden, known = _hidden(LOT, confidential=confidential), self._lots.find(code)
        return {
            "code": code,
            "state": "removed" if known is None else "in the books",
            "facts": None if known is None else _shown(vars(known), hidden),
            "entries": _entries(lot, hidden),
        }

    def machine(self, machine_id: str) -> dict[str, Any]:
        """One machine as it is described now, and every description and probe check before; raises NoSuchMachine."""
        machine = fold_machine(stored.entries_about(self._store.read, Subject(MACHINE, machine_id)), machine_id)
        if machine.machine is None:
            raise NoSuchMachine(_("There is no machine “{machine_id}” in this folder.", machine_id=machine_id))
        return {"id": machine_id, "sheet": machine.sheet, "entries": _entries(machine, ())}

    def house(self) -> dict[str, Any]:
        """The settings and the people, each with all that was said of them."""
        read = self._store.read
        house = fold_house(stored.entries_about(read, Subject(HOUSE)))
        people = [fold_person(entries, subject.name) for subject, entries in stored.all_entries(read, PERSON)]
        return {
            "settings": vars(self._settings.current()),
            "entries": _entries(house, ()),
            "people": [
                {
                    "id": person.id,
                    "name": person.name,
                    "shown": person.shown,
                    "erased": person.erased,
                    "entries": _entries(person, ()),
                }
                for person in people
            ],
        }


def _hidden(subject: str, *, confidential: bool) -> Collection[str]:
    """Fields of a kind of subject that whoever asks may not read."""
    if confidential:
        return frozenset()
    return frozenset(name for row in REGISTRY.values() if subject in row.about for name in row.confidential)


def _shown(values: dict[str, Any], hidden: Collection[str]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if name not in hidden}


def _entries(subject: Lines, hidden: Collection[str]) -> list[dict[str, Any]]:
    return [_entry(line, subject, hidden) for line in subject.lines]


def _entry(line: Line, subject: Lines, hidden: Collection[str]) -> dict[str, Any]:
    body = _shown(dict(line.body), hidden)
    if isinstance(body.get("body"), dict):  # a correction
        body["body"] = _shown(body["body"], hidden)
    told = {
        "id": str(line.id),
        "kind": line.kind,
        "at_ms": line.at_ms,
        "received_ms": line.received_ms,
        "by": line.by.model_dump(),
        "body": body,
        "undone": line.undone,
        "amended": line.amended,
        "flags": list(line.flags),
    }
    hides = line.kind in REGISTRY and REGISTRY[line.kind].corrects and bool(hidden)
    return told if hides else {**told, "text": tell(line, subject, {})}
