"""Announces the running server, and checks that its certificate still matches its addresses."""

import logging
import threading
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Final

from roastlog.lan.addresses import IP
from roastlog.lan.announce import Announcement, NotAnnounced
from roastlog.lan.secure import SecureServer
from roastlog.languages import _

LOOK_EVERY_S: Final = 30.0
CUT_SHORT_S: Final = 0.5
log = logging.getLogger(__name__)


class Presence:
    """Announces the server, tracks its addresses, and reports problems that need a restart.

    Attributes
    ----------
    told : list of str
        Messages so far, each once; they are logged too.
    """

    def __init__(
        self,
        secure: SecureServer,
        addresses: Callable[[], Sequence[IP]],
        *,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        every_s: float = LOOK_EVERY_S,
    ) -> None:
        self.told: list[str] = []
        self._secure, self._addresses, self._now, self._every_s = secure, addresses, now, every_s
        self._stopped = threading.Event()
        self._announcement: Announcement | None = None
        self._known: list[IP] = []
        self._thread = threading.Thread(target=self._run, name="lan-presence", daemon=True)

    def start(self) -> None:
        """Start a thread that waits for the network."""
        self._thread.start()

    def stop(self) -> None:
        """Withdraw the name and stop; an announcement in progress, which takes seconds, is cancelled."""
        self._stopped.set()
        self._thread.join(CUT_SHORT_S)
        if self._announcement is not None and self._thread.is_alive():
            self._announcement.withdraw()
            self._thread.join(CUT_SHORT_S)

    def _run(self) -> None:
        while not self._stopped.is_set():
            self._look()
            self._stopped.wait(self._every_s)
        if self._announcement is not None:
            self._announcement.withdraw()

    def _look(self) -> None:
        try:
            found = list(self._addresses())
            if found != self._known:
                self._known = found
                self._announce(found)
                self._compare(found)
        except OSError as error:
            self._say(
                _("The addresses of this computer cannot be found ({error}); everything else works.", error=error)
            )
        if self._now() >= self._secure.renew_from:
            self._say(
                _("The certificate expires soon. Restart Drumside when the drum is empty to renew it.")
                if self._secure.authority
                else _("The certificate expires soon. Have it renewed, then restart Drumside when the drum is empty.")
            )

    def _announce(self, found: list[IP]) -> None:
        secure = self._secure
        if secure.name is None:
            return
        if self._announcement is None:
            self._announcement = Announcement(secure.name, secure=secure.port, plain=secure.plain_port)
        try:
            self._announcement.at(found)
        except NotAnnounced as error:
            if self._stopped.is_set():
                return
            self._say(
                _(
                    "{name} is not announced on the network ({error}); everything else works, by address.",
                    name=secure.name,
                    error=error,
                )
            )

    def _compare(self, found: list[IP]) -> None:
        missing = [str(address) for address in found if not self._secure.covers(str(address))]
        if missing and self._secure.authority:
            self._say(
                _(
                    "This computer is now at {addresses}, which its certificate does not cover. Other "
                    "addresses and names still work. Restart Drumside when the drum is empty to renew the "
                    "certificate.",
                    addresses=", ".join(missing),
                )
            )

    def _say(self, sentence: str) -> None:
        if sentence not in self.told:
            self.told.append(sentence)
            log.warning("%s", sentence)
