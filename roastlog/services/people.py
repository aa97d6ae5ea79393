"""The people of the roastery."""

from uuid import uuid4

from roastlog.errors import EntryRefused, SettingError
from roastlog.journal.subject import PERSON, Subject
from roastlog.languages import _
from roastlog.recording.entry_service import EntryService, Speaker
from roastlog.store import books
from roastlog.store.books import Person
from roastlog.store.store import Database, Store

__all__ = ["PeopleService", "Person"]


class PeopleService:
    """Reads and adds people."""

    def __init__(self, store: Store, entries: EntryService) -> None:
        self._store, self._entries = store, entries

    def all(self) -> list[Person]:
        """All people, by name."""
        return books.people(self._store.read)

    def add(self, name: str, shown: str = "", speaker: Speaker = Speaker()) -> None:  # noqa: B008 - frozen
        """Add someone who roasts; ``shown`` is the name that a bag may carry."""
        if not name.strip():
            raise SettingError(_("Name is required."))
        body = {"name": name.strip(), "shown": shown.strip() or name.split(maxsplit=1)[0]}

        def named(db: Database) -> Subject:
            known = next((person for person in books.people(db.conn) if person.name == body["name"]), None)
            return Subject(PERSON, uuid4().hex[:12] if known is None else known.id)

        try:
            self._entries.say(named, "named", body, speaker)
        except EntryRefused as error:
            raise SettingError(error.args[0]) from None

    def erase(self, ident: str, speaker: Speaker = Speaker()) -> None:  # noqa: B008 - frozen
        """Erase the names of a person everywhere; their entries stay. Raises SettingError."""
        try:
            self._entries.say(Subject(PERSON, ident), "erased", {}, speaker)
        except EntryRefused as error:
            raise SettingError(error.args[0]) from None

    def checked(self, name: str | None) -> str | None:
        """The name of a known person, or None for no name; raises SettingError for any other name."""
        if not name:
            return None
        if name not in {person.name for person in self.all()}:
            raise SettingError(_("{name} is not in People. Add them in Settings first.", name=name))
        return name
