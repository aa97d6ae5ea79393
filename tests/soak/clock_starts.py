"""Starts on a wall clock that was set back or forward while the server was down, after a kill amid a roast."""

import http.client
import time
from collections.abc import Sequence
from contextlib import suppress
from typing import Final

from roastlog.store.backups import BACKUPS, listed
from roastlog.upkeep.maintenance import last_night_ms
from tests.recording.test_hub import until
from tests.soak.clock_steps import Stepped, roast
from tests.soak.stepped import DAY_S, HOUR_S, YEAR_S, SteppedServer

LEADS_S: Final = (-HOUR_S, -DAY_S, -YEAR_S, DAY_S, 3 * HOUR_S, YEAR_S, 6 * HOUR_S)
"""Leads of the wall clock at a start, one after the other. [s]"""
NEAR_S: Final = 30.0
MAINTAINED_S: Final = 90.0  # maintenance begins half a minute after the start
LOOKED_AGAIN_S: Final = 15.0  # it looks every ten seconds
LOOKED_AGAIN_S: Final = 15.0  # maintenance looks every ten seconds


class Starts:
    """A folder on which servers are killed and started.

    Attributes
    ----------
    wrong
        All that failed, in words.
    first
        The batch that is in the drum when the server is killed first; the wall clock was stepped amid it.
    """

    def __init__(self, server: SteppedServer, leads_s: Sequence[int] = (0,)) -> None:
        self.wrong: list[str] = []
        self._server = server
        self._lead_s = 0
        self._codes: list[str] = []
        self._phone = self._paired("phone")
        self._change_settings()
        self.first = self._roasted(leads_s)
        self._codes.append(self.first.code)

    def start(self, lead_s: int, *, backed_up: bool = False) -> None:
        """Kill the server, start it with that lead of the wall clock, and use it.

        Parameters
        ----------
        lead_s
            Lead of the wall clock. [s]
        backed_up
            Whether to wait for the first nightly backup, and for what else comes half a minute after a start.
        """
        shown = self._server.code()
        self._server.kill_group()
        self._lead_s = lead_s
        self._server.set_wall(lead_s)
        self._server.start()
        self._expect(abs(self._server.lead_s() - lead_s) < NEAR_S, "the server's clock is another")
        for path in ("/", "/batches", "/devices", "/settings"):
            self._expect(self._server.page(path)[0] == http.client.OK, f"{path} does not open")
        if lead_s < YEAR_S:  # a phone that was not seen for a year must pair again
            self._expect(
                self._server.page("/batches", cookie=self._phone)[0] == http.client.OK, "a phone is locked out"
            )
        late = self._server.page("/pair", {"code": shown, "name": f"late {len(self._codes)}"}, cookie="")[0]
        self._expect(late == http.client.SEE_OTHER, f"the code that was shown before the start is refused: {late}")
        self._expect(bool(self._paired(f"phone {len(self._codes)}")), "a new code pairs no phone")
        self._change_settings()
        code = self._roasted((lead_s,)).code
        self._expect(code not in self._codes, f"two batches have the code {code}")
        self._codes.append(code)
        if backed_up:
            with suppress(AssertionError):
                until(self._backed_up, MAINTAINED_S)
            self._expect(self._backed_up(), "no backup was made")

    def _expect(self, holds: bool, otherwise: str) -> None:
        if not holds:
            self.wrong.append(f"at a lead of {self._lead_s} s: {otherwise}")

    def _paired(self, name: str) -> str:
        """The cookie of a phone that was paired now; empty if it was refused."""
        return self._server.page("/pair", {"code": self._server.code(), "name": name}, cookie="")[1]

    def _roasted(self, leads_s: Sequence[int]) -> Stepped:
        """A new batch, which stays in the drum."""
        done = roast(self._server, leads_s, 1.0, drop=False)
        self.wrong += [f"at a lead of {self._lead_s} s: {wrong}" for wrong in done.wrong]
        return done

    def _change_settings(self) -> None:
        business = f"Roastery {len(self._codes)}"
        form = {"business": business, "url_base": "", "units_temp": "C", "units_mass": "kg", "best_before_days": "90"}
        self._expect(self._server.page("/settings", form)[0] == http.client.SEE_OTHER, "a setting was refused")
        kept = self._server.ask("GET", "/api/house")[1]["settings"]["business"]
        self._expect(kept == business, f"a setting has no effect: {kept} and not {business}")

    def _backed_up(self) -> bool:
        now_ms = self._server.ask("GET", "/api/clock")[1]["now_ms"]
        there = listed(self._server.folder / BACKUPS)
        return any(last_night_ms(now_ms) <= backup.at_ms <= now_ms for backup in there)


def wrong_after_following(server: SteppedServer) -> list[str]:
    """Set the wall clock forward and back with the drum empty; returns all that was not as promised."""
    phone = server.page("/pair", {"code": server.code(), "name": "phone"}, cookie="")[1]
    roasted = roast(server, (), 0)
    shown, wrong = server.code(), list(roasted.wrong)
    server.set_wall(YEAR_S)
    with suppress(AssertionError):
        until(lambda: server.lead_s() > YEAR_S - NEAR_S, MAINTAINED_S)
    if abs(server.lead_s() - YEAR_S) > NEAR_S:
        wrong.append(f"the server does not follow a step of {YEAR_S} s: {server.lead_s()}")
    if server.page("/batches", cookie=phone)[0] != http.client.OK:
        wrong.append("a phone is locked out")
    if not server.page("/pair", {"code": shown, "name": "new"}, cookie="")[1]:
        wrong.append("the code on the screen has ended")
    server.set_wall(0)
    time.sleep(LOOKED_AGAIN_S)
    if abs(server.lead_s() - YEAR_S) > NEAR_S:
        wrong.append(f"the server goes back: {server.lead_s()}")
    return wrong + roast(server, (), 0).wrong
