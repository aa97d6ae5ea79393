"""Pairing: a link and a six-digit code that give one device access, valid for ten minutes."""

import hashlib
import secrets
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from roastlog.clock import ticks_s
from roastlog.errors import PairingRefused, TooManyTries
from roastlog.languages import N_
from roastlog.services.devices import Device, DeviceService, Role, checked_name, hashed
from roastlog.services.people import PeopleService
from roastlog.store import devices as stored
from roastlog.store.devices import DeviceRow, PairingRow
from roastlog.store.store import Store

LASTS_MS: Final = 600_000
MOST_OPEN: Final = 5
DIGITS: Final = 6
TRIES_AN_ADDRESS: Final = 5
TRIES_OVER_ALL: Final = 20  # beyond it, an address without a wrong try has one: guessers must not keep others out
MOST_TRIES: Final = 200
REFUSAL: Final = N_(
    "This code is no longer valid: mistyped, already used, or older than ten minutes. Ask for a new one."
)


@dataclass(frozen=True)
class Invitation:
    """An invitation for one device. ``code`` is six digits, ``secret`` the end of the link; only hashes are stored."""

    id: int
    secret: str
    code: str
    role: Role
    name: str | None
    person: str | None
    ends_ms: int


class Tries:
    """Wrong codes of the last ten minutes, limited per address and in all, and so in memory."""

    def __init__(self) -> None:
        self._wrong: deque[tuple[int, str]] = deque()
        self._lock = threading.Lock()

    def take(self, address: str, now_ms: int) -> tuple[int, str]:
        """Count a try as wrong until `give_back`; raises TooManyTries. [ms]"""
        with self._lock:
            while self._wrong and now_ms - self._wrong[0][0] >= LASTS_MS:
                self._wrong.popleft()
            own = [at_ms for at_ms, other in self._wrong if other == address]
            first_ms = own[0] if len(own) >= TRIES_AN_ADDRESS else None
            if len(self._wrong) >= (TRIES_OVER_ALL if own else MOST_TRIES):
                first_ms = max(first_ms or 0, self._wrong[0][0])
            if first_ms is not None:
                raise TooManyTries(max(1, round((first_ms + LASTS_MS - now_ms) / 1000)))
            self._wrong.append((now_ms, address))
            return self._wrong[-1]

    def give_back(self, taken: tuple[int, str]) -> None:
        """Uncount a try that was right."""
        with self._lock:
            self._wrong.remove(taken)


class PairingService:
    """Makes invitations, and pairs devices that present one.

    Parameters
    ----------
    now_ms
        Returns the computer's monotonic time, which all programs on it share and which is never set. [ms]
    """

    def __init__(
        self,
        store: Store,
        people: PeopleService,
        devices: DeviceService,
        now_ms: Callable[[], int] = lambda: round(1000 * ticks_s()),
    ) -> None:
        self._store, self._people, self._devices, self.now_ms = store, people, devices, now_ms
        self._tries = Tries()

    def start(self) -> None:
        """End invitations that would last too long: they were made before the computer was started."""
        last_ms = self.now_ms() + LASTS_MS
        self._store.write_soon(lambda db: stored.end_pairings_after(db, last_ms))

    def invite(self, role: str, *, name: str | None = None, person: str | None = None) -> Invitation:
        """Make an invitation for one device; only hashes of its link and code are stored."""
        asked, name = Role.of(role), checked_name(name) if name else None
        person, now_ms = self._people.checked(person), self.now_ms()
        taken = self._valid()
        code = _digits()
        while any(_matches(code, row) for row in taken):
            code = _digits()
        secret, salt, ends_ms = secrets.token_urlsafe(24), secrets.token_hex(16), now_ms + LASTS_MS
        row = PairingRow(hashed(secret), _slowly_hashed(code, salt), salt, asked.word, name, person, ends_ms)
        ident = self._store.write(lambda db: stored.keep_pairing(db, row, now_ms, most=MOST_OPEN))
        return Invitation(ident, secret, code, asked, name, person, self._devices.wall_ms() + LASTS_MS)

    def open_until(self, ident: int) -> int:
        """Time at which an invitation expires; 0 if it is no longer valid. [ms UTC]"""
        lasts_ms = next((row.ends_ms - self.now_ms() for row in self._valid() if row.id == ident), None)
        return 0 if lasts_ms is None else self._devices.wall_ms() + lasts_ms

    def invited(self, secret: str) -> bool:
        """Whether a link is still valid."""
        return any(row.link_hash == hashed(secret) for row in self._valid())

    def pair_by_link(self, secret: str, name: str) -> tuple[Device, str]:
        """Pair a device by a link; returns the device and its token. Raises PairingRefused for any invalid link.

        A link is too long to be guessed, so its tries are not counted.
        """
        name, link_hash = checked_name(name), hashed(secret)
        return self._pair(next((row for row in self._valid() if row.link_hash == link_hash), None), name)

    def pair_by_code(self, code: str, name: str, *, address: str) -> tuple[Device, str]:
        """Pair a device by a code; returns the device and its token.

        Raises
        ------
        PairingRefused
            For any invalid code, with the same message.
        TooManyTries
            When too many wrong codes came from this address or in all.
        """
        name = checked_name(name)  # first: a refused name must not reveal whether the code is valid
        taken = self._tries.take(address, self.now_ms())
        digits = "".join(code.split()).replace("-", "")
        is_code = len(digits) == DIGITS and digits.isascii() and digits.isdigit()
        paired = self._pair(next((row for row in self._valid() if is_code and _matches(digits, row)), None), name)
        self._tries.give_back(taken)
        return paired

    def _valid(self) -> list[PairingRow]:
        return list(stored.pairings(self._store.read, self.now_ms()))

    def _pair(self, row: PairingRow | None, name: str) -> tuple[Device, str]:
        if row is None:
            raise PairingRefused(REFUSAL)
        token, now_ms, paired_ms = secrets.token_urlsafe(32), self.now_ms(), self._devices.wall_ms()
        new = DeviceRow(0, row.name or name, row.person, row.role, paired_ms, paired_ms)
        device = self._store.write(
            lambda db: stored.add_device(db, new, hashed(token)) if stored.use_up(db, row.id, now_ms) else None
        )
        if device is None:  # another device has just used it
            raise PairingRefused(REFUSAL)
        self._devices.is_here(device.id)
        return Device.of(device), token


def _digits() -> str:
    return f"{secrets.randbelow(10**DIGITS):0{DIGITS}d}"


def _matches(code: str, row: PairingRow) -> bool:
    return secrets.compare_digest(_slowly_hashed(code, row.salt), row.code_hash)


def _slowly_hashed(code: str, salt: str) -> str:
    """A slow hash (RFC 7914), since all codes of six digits are soon tried by anyone with a copy of the database."""
    return hashlib.scrypt(code.encode(), salt=salt.encode(), n=2**14, r=8, p=1).hex()
