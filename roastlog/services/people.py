"""The people of the roastery."""

from roastlog.errors import SettingError
from roastlog.languages import _
from roastlog.store import books
from roastlog.store.books import Person
from roastlog.store.store import Store

__all__ = ["PeopleService", "Person"]


class PeopleService:
    """Reads and adds people."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def all(self) -> list[Person]:
        """All people, by name."""
        return books.people(self._store.read)

    def add(self, name: str, shown: str = "") -> None:
        """Add someone who roasts; ``shown`` is the name that a bag may carry."""
        if not name.strip():
            raise SettingError(_("A person needs a name."))
        person = Person(name.strip(), shown.strip() or name.split(maxsplit=1)[0])
        self._store.write(lambda db: books.keep_person(db, person))

    def checked(self, name: str | None) -> str | None:
        """The name of a known person, or None where none is given; raises SettingError for any other name."""
        if not name:
            return None
        if name not in {person.name for person in self.all()}:
            raise SettingError(_("There is no {name} among the people. Add them first, under Settings.", name=name))
        return name
