"""The one place that joins store, live path and pure folders. Routes and commands call this and nothing below it.

A topic a module, each building on the one before: books → machines → records → bags, today, and
comparing → analysis → drawings; beside them, on books alone, devices → pairing.
"""

from pathlib import Path

from roastlog.clock import Clock
from roastlog.recording.entry_service import Result
from roastlog.services.analysis import Analysis, ForecastReview
from roastlog.services.backups import Backups, Kept, back_up, restore
from roastlog.services.bags import Address, Bag, Bags, lan_address
from roastlog.services.books import Lot
from roastlog.services.comparison import Compared, LeftOut, SideBySide
from roastlog.services.devices import Device, Role
from roastlog.services.figures import Figures
from roastlog.services.machines import MachineNow
from roastlog.services.pairing import Invitation, Pairing
from roastlog.services.records import LogLine, Measures, MomentRow, Record
from roastlog.services.today import Today, TodayPage
from roastlog.settings import Settings
from roastlog.store.batches import BatchSummary, Page
from roastlog.store.books import Person

__all__ = [
    "Address",
    "Analysis",
    "Bag",
    "BatchSummary",
    "Compared",
    "Device",
    "ForecastReview",
    "Invitation",
    "Kept",
    "LeftOut",
    "LogLine",
    "Lot",
    "MachineNow",
    "Measures",
    "MomentRow",
    "Page",
    "Person",
    "Record",
    "Result",
    "Role",
    "Services",
    "Settings",
    "SideBySide",
    "Today",
    "back_up",
    "lan_address",
    "restore",
]


class Services(Bags, Figures, TodayPage, Backups, Pairing):
    """One data folder at work.

    Parameters
    ----------
    folder
        Where its database is, or shall be.
    clock
        The server's clock.
    host, port
        Where the server listens: labels without an address of their own lead there.
    """

    def __init__(self, folder: Path, clock: Clock, *, port: int = 8080, host: str = "127.0.0.1") -> None:
        super().__init__(folder, clock)
        self.host, self.port = host, port
