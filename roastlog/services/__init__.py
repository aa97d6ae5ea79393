"""The one place that joins store, recording and pure rooms. Routes and commands call this and nothing below it.

A topic a module: each is one class that is handed what it needs, and none inherits from another. `open_services` wires
them over one data folder. The types that pages show are named here too.
"""

from dataclasses import dataclass
from pathlib import Path

from roastlog.clock import Clock
from roastlog.plot.overlays import LINES
from roastlog.recording.runtime import Runtime
from roastlog.services.address import AddressService, lan_address
from roastlog.services.analysis import Analysis, AnalysisService, ForecastReview
from roastlog.services.backups import BackupService, StorageStatus, back_up, rebuild, restore
from roastlog.services.bags import Bag, BagService
from roastlog.services.batches import BatchService, BatchSummary, LogLine, Measures, MomentRow, Page, Record
from roastlog.services.comparison import Compared, ComparisonService, LeftOut, SideBySide
from roastlog.services.devices import Device, DeviceService, Role
from roastlog.services.figures import FigureService
from roastlog.services.journal import JournalService, Result, Speaker
from roastlog.services.labels import LabelAddress, LabelService
from roastlog.services.live import Hub, LiveService, MachineNow, ReadFault, Reading, Trial
from roastlog.services.lots import Lot, LotRow, LotService
from roastlog.services.machines import MachineService
from roastlog.services.pairing import Invitation, PairingService
from roastlog.services.people import PeopleService, Person
from roastlog.services.photos import PhotoService
from roastlog.services.settings import SettingsService
from roastlog.services.subjects import SubjectService
from roastlog.services.today import Today, TodayService
from roastlog.settings import Settings
from roastlog.store.store import Store
from roastlog.upkeep.maintenance import Maintenance

__all__ = [
    "LINES",
    "Analysis",
    "Bag",
    "BatchSummary",
    "Compared",
    "Device",
    "ForecastReview",
    "Hub",
    "Invitation",
    "LabelAddress",
    "LeftOut",
    "LogLine",
    "Lot",
    "LotRow",
    "MachineNow",
    "Measures",
    "MomentRow",
    "Page",
    "Person",
    "ReadFault",
    "Reading",
    "Record",
    "Result",
    "Role",
    "Services",
    "Settings",
    "SideBySide",
    "Speaker",
    "StorageStatus",
    "Today",
    "Trial",
    "back_up",
    "lan_address",
    "open_services",
    "rebuild",
    "restore",
]


@dataclass(frozen=True)
class Services:
    """One data folder at work: a service a topic, and below them what is started and stopped."""

    store: Store
    clock: Clock
    runtime: Runtime
    maintenance: Maintenance
    settings: SettingsService
    people: PeopleService
    machines: MachineService
    lots: LotService
    subjects: SubjectService
    live: LiveService
    journal: JournalService
    photos: PhotoService
    batches: BatchService
    today: TodayService
    comparison: ComparisonService
    analysis: AnalysisService
    figures: FigureService
    address: AddressService
    bags: BagService
    labels: LabelService
    backups: BackupService
    devices: DeviceService
    pairing: PairingService

    def start(self) -> None:
        """Begin to record, to pack and to back up."""
        self.runtime.start()
        self.maintenance.start()

    def close(self) -> None:
        """Stop all of it; everything that was read is on the disk when this returns."""
        self.maintenance.stop()
        self.runtime.close()
        self.store.close()


def open_services(folder: Path, clock: Clock, *, host: str = "127.0.0.1", port: int = 8080) -> Services:
    """Services over one data folder, not yet started.

    Parameters
    ----------
    folder
        Where its database is, or shall be.
    clock
        The server's clock.
    host, port
        Where the server listens: labels without an address of their own lead there.
    """
    store = Store(folder)
    runtime = Runtime(store, clock)
    maintenance = Maintenance(store, clock)
    history = runtime.history
    entries = runtime.entry_service
    settings = SettingsService(store, entries)
    people = PeopleService(store, entries)
    machines = MachineService(store, runtime)
    lots = LotService(store, entries, machines)
    live = LiveService(store, clock, runtime)
    photos = PhotoService(store, clock, runtime.photo_came)
    batches = BatchService(store, clock, history, machines=machines, lots=lots, settings=settings)
    comparison = ComparisonService(store, clock, history, batches)
    analysis = AnalysisService(clock, history, batches, settings)
    address = AddressService(store, settings, host, port)
    bags = BagService(store, clock, batches=batches, photos=photos, people=people, settings=settings)
    return Services(
        store=store,
        clock=clock,
        runtime=runtime,
        maintenance=maintenance,
        settings=settings,
        people=people,
        machines=machines,
        lots=lots,
        subjects=SubjectService(store, lots, settings),
        live=live,
        journal=JournalService(store, runtime),
        photos=photos,
        batches=batches,
        today=TodayService(machines, live, batches, lots),
        comparison=comparison,
        analysis=analysis,
        figures=FigureService(runtime, batches=batches, analysis=analysis, comparison=comparison),
        address=address,
        bags=bags,
        labels=LabelService(batches=batches, bags=bags, settings=settings, address=address),
        backups=BackupService(store, clock, maintenance),
        devices=DeviceService(store, people),
        pairing=PairingService(store, people),
    )
