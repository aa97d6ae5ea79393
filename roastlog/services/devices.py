"""Access: paired devices, and programs with a token, each with a role; access ends at once when it is revoked."""

import hashlib
import math
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum
from typing import Final, Self

from roastlog.clock import ticks_s, wall_ms
from roastlog.errors import NoSuchDevice, SettingError
from roastlog.languages import N_, _
from roastlog.services.people import PeopleService
from roastlog.store import devices as stored
from roastlog.store.devices import DeviceRow, TokenRow
from roastlog.store.store import Database, Store

YEAR_S: Final = 365 * 86_400
UNSEEN_MS: Final = YEAR_S * 1000  # a device not seen for this long must pair again
SEEN_EVERY_MS: Final = 600_000
LONGEST_NAME: Final = 40


class Role(IntEnum):
    """Role of a device; each includes the rights of those before it."""

    LOOK = 1
    OPERATE = 2
    DECIDE = 3
    OWN = 4

    @property
    def word(self) -> str:
        """Name of the role in the store and in the API."""
        return self.name.lower()

    @property
    def called(self) -> str:
        """Name of the role for people."""
        return _(ROLE_WORDS[self])

    @classmethod
    def of(cls, word: str) -> Self:
        """The role of a name; raises SettingError."""
        found = next((role for role in cls if role.word == word), None)
        if found is None:
            raise SettingError(
                _("Role must be one of {roles}, not “{word}”.", roles=", ".join(role.word for role in cls), word=word)
            )
        return found


ROLE_WORDS: Final = {
    Role.LOOK: N_("look"),
    Role.OPERATE: N_("operate"),
    Role.DECIDE: N_("decide"),
    Role.OWN: N_("own"),
}


@dataclass(frozen=True)
class Device:
    """A device or program with access. ``id`` is 0 for a program, which is known by its name."""

    id: int
    name: str
    role: Role
    person: str | None
    made_ms: int
    seen_ms: int | None

    @property
    def key(self) -> str:
        """A unique name, by which what it takes of the server is counted."""
        return f"device {self.id}" if self.id else f"program {self.name}"

    @classmethod
    def of(cls, row: DeviceRow) -> Self:
        """A stored device."""
        return cls(row.id, row.name, Role.of(row.role), row.person, row.made_ms, row.seen_ms)

    @classmethod
    def of_token(cls, row: TokenRow) -> Self:
        """A stored program."""
        return cls(0, row.name, Role.of(row.role), None, row.made_ms, row.seen_ms)


class DeviceService:
    """Finds devices and programs by their tokens, and revokes their access.

    Parameters
    ----------
    wall_ms
        Returns the computer's time: a demo's faster clock must not cut off devices sooner. A step of it cuts off none
        that was here since the start. [ms UTC]
    """

    def __init__(self, store: Store, people: PeopleService, wall_ms: Callable[[], int] = wall_ms) -> None:
        self._store, self._people, self.wall_ms = store, people, wall_ms
        self._noted_seen_ms: dict[tuple[int, str], int] = {}
        self._here_s: dict[int, float] = {}  # by id, on the monotonic clock

    def all(self) -> list[Device]:
        """All devices, the last seen first."""
        return [Device.of(row) for row in stored.devices(self._store.read)]

    def by_token(self, token: str) -> Device | None:
        """The device with a token; None if it is unknown, cut off, or not seen for a year."""
        row = stored.device_by_hash(self._store.read, hashed(token))
        if row is None or min(self.wall_ms() - row.seen_ms, self._unseen_ms(row.id)) > UNSEEN_MS:
            return None
        self.is_here(row.id)
        return Device.of(row)

    def is_here(self, ident: int) -> None:
        """Keep in mind that a device is here, whatever the computer's clock says."""
        self._here_s[ident] = ticks_s()

    def change(self, ident: int, *, name: str, role: str, person: str | None = None) -> None:
        """Change the name, role and person of a device; raises NoSuchDevice or SettingError."""
        name, role, person = checked_name(name), Role.of(role).word, self._people.checked(person)

        def change(db: Database) -> bool:
            if any(row.name == name and row.id != ident for row in stored.devices(db.conn)):
                raise SettingError(_("There is a device “{name}” already. Give this one another name.", name=name))
            return stored.change_device(db, ident, name=name, person=person, role=role)

        if not self._store.write(change):
            raise NoSuchDevice(_("This device is no longer paired."))

    def cut_off(self, ident: int) -> None:
        """End the access of a device; its entries stay. Raises NoSuchDevice."""
        if not self._store.write(lambda db: stored.cut_off(db, ident)):
            raise NoSuchDevice(_("This device is no longer paired."))

    def programs(self) -> list[Device]:
        """All programs that have a token."""
        return [Device.of_token(row) for row in stored.tokens(self._store.read)]

    def program_by_token(self, token: str) -> Device | None:
        """The program with a token; None if it is unknown."""
        row = stored.token_by_hash(self._store.read, hashed(token))
        return None if row is None else Device.of_token(row)

    def new_token(self, name: str, role: str = Role.OPERATE.word) -> str:
        """A new token for a program, which replaces one of the same name. Only its hash is stored."""
        token = secrets.token_urlsafe(32)
        row = TokenRow(checked_name(name), Role.of(role).word, self.wall_ms(), None)
        self._store.write(lambda db: stored.keep_token(db, row, hashed(token)))
        return token

    def revoke_token(self, name: str) -> None:
        """End the access of a program; raises NoSuchDevice."""
        if not self._store.write(lambda db: stored.revoke_token(db, name)):
            raise NoSuchDevice(_("This token no longer exists."))

    def saw(self, device: Device) -> bool:
        """Note that a device or program is here; returns whether that was written, at most once in `SEEN_EVERY_MS`."""
        now_ms, key = self.wall_ms(), (device.id, device.name)
        if abs(now_ms - self._noted_seen_ms.get(key, device.seen_ms or 0)) < SEEN_EVERY_MS:
            return False
        self._noted_seen_ms[key] = now_ms
        if device.id:
            self._store.write_soon(lambda db: stored.saw_device(db, device.id, now_ms))
        else:
            self._store.write_soon(lambda db: stored.saw_token(db, device.name, now_ms))
        return True

    def _unseen_ms(self, ident: int) -> float:
        """How long ago this server has let in a device, whatever the computer's clock said; infinite if never."""
        return 1000 * (ticks_s() - self._here_s.get(ident, -math.inf))


def checked_name(name: str) -> str:
    """A name of 1 to `LONGEST_NAME` printable characters, trimmed; raises SettingError."""
    name = " ".join(name.split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise SettingError(_("Name must be 1–{longest_name} characters.", longest_name=LONGEST_NAME))
    return name


def hashed(token: str) -> str:
    """The stored hash of a token; a fast one, since tokens are long and random."""
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()
