"""Announcement of the name ``drumside.local`` by multicast DNS (RFC 6762) and service discovery (RFC 6763)."""

import asyncio
import logging
from collections.abc import Sequence
from concurrent.futures import CancelledError, Future
from contextlib import suppress
from pathlib import Path
from typing import Final, cast

from zeroconf import (  # type: ignore[attr-defined]  # AddressResolver is not in its __all__
    AddressResolver,
    DNSQuestionType,
    Error,
    IPVersion,
    ServiceInfo,
    Zeroconf,
)

from roastlog.lan.addresses import IP

NAME: Final = "drumside"
PROBE_MS: Final = 1000  # answers come within a fifth of a second, and a question may be lost
MOST: Final = 9
ANNOUNCED_S: Final = 15.0  # three probes and three announcements take two seconds
log = logging.getLogger(__name__)
logging.getLogger("zeroconf").setLevel(logging.CRITICAL)  # we report failures in one sentence


class NotAnnounced(Exception):
    """Raised when multicast DNS is unavailable; everything except the name works without it."""


def free_name(kept: Path, addresses: Sequence[IP], probe_ms: int = PROBE_MS) -> str:
    """The name of this server: the stored one, else the first free one, which is then stored in a file.

    An installed page depends on the name, so it must not change when another Drumside appears.

    Parameters
    ----------
    kept
        The file with the stored name.
    addresses
        This computer's own.
    probe_ms
        How long another computer has to answer before a name counts as free.

    Raises
    ------
    NotAnnounced
        If multicast DNS is unavailable.
    """
    with suppress(OSError, UnicodeDecodeError):
        had = kept.read_text(encoding="ascii").strip()
        if had in names():
            return had
    try:
        with _wire(addresses) as wire:
            name = next((name for name in names() if not _another_has(wire, name, addresses, probe_ms)), None)
    except (OSError, Error, RuntimeError) as error:
        raise NotAnnounced(str(error)) from None
    if name is None:
        raise NotAnnounced(f"{NAME}.local to {NAME}-{MOST}.local are all taken")
    kept.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    kept.write_text(name, encoding="ascii")
    return name


class Announcement:
    """Announces the name and the services until it is withdrawn."""

    def __init__(self, name: str, *, secure: int, plain: int) -> None:
        self._name, self._ports = name, {"_https._tcp.local.": secure, "_http._tcp.local.": plain}
        self._wire: Zeroconf | None = None
        self._announcing: Future[None] | None = None

    def at(self, addresses: Sequence[IP]) -> None:
        """Announce at those addresses instead of the earlier ones; raises NotAnnounced."""
        self.withdraw()
        try:
            services = [self._service(kind, port, addresses) for kind, port in self._ports.items()]
            wire = _wire(addresses)
            loop = cast("asyncio.AbstractEventLoop", wire.loop)  # in a thread that runs from the start
            announcing = self._announcing = asyncio.run_coroutine_threadsafe(_announce(wire, services), loop)
            self._wire = wire
            announcing.result(ANNOUNCED_S)
        except (OSError, Error, RuntimeError, CancelledError) as error:
            self.withdraw()
            raise NotAnnounced(str(error) or type(error).__name__) from None

    def withdraw(self) -> None:
        """Withdraw the name; other devices drop it at once. Cuts `at` short in another thread. Never raises."""
        wire, self._wire = self._wire, None
        if wire is not None:
            try:
                if self._announcing is not None:
                    self._announcing.cancel()
                wire.close()  # says goodbye for each service
            except Exception:  # at the end of a thread; the rest is still to be closed
                log.exception("The name in the network could not be withdrawn")

    def _service(self, kind: str, port: int, addresses: Sequence[IP]) -> ServiceInfo:
        return ServiceInfo(
            kind,
            f"Drumside ({self._name.removesuffix('.local')}).{kind}",
            port=port,
            server=f"{self._name}.",
            addresses=[address.packed for address in addresses],
            properties={"path": "/"},
        )


def names() -> list[str]:
    """The names that a Drumside may use, in order of preference."""
    return [f"{NAME}.local", *(f"{NAME}-{number}.local" for number in range(2, MOST + 1))]


def _wire(addresses: Sequence[IP]) -> Zeroconf:
    if not addresses:
        raise OSError("there is no network")
    version = {4: IPVersion.V4Only, 6: IPVersion.V6Only}
    kinds = {version[address.version] for address in addresses}
    return Zeroconf(
        interfaces=[str(address) for address in addresses], ip_version=kinds.pop() if len(kinds) == 1 else IPVersion.All
    )


async def _announce(wire: Zeroconf, services: Sequence[ServiceInfo]) -> None:
    """Probe for all services at once, then announce them at once: each takes seconds."""
    probed = [wire.async_register_service(service, allow_name_change=True) for service in services]
    await asyncio.gather(*await asyncio.gather(*probed))


def _another_has(wire: Zeroconf, name: str, own: Sequence[IP], probe_ms: int) -> bool:
    answer = AddressResolver(f"{name}.")
    # Ask for a multicast answer: a unicast one may reach another program of this computer that shares the port.
    if not answer.request(wire, probe_ms, DNSQuestionType.QM):
        return False
    return not set(answer.ip_addresses_by_version(IPVersion.All)) <= set(own)
