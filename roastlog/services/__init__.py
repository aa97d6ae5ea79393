"""Services join store, recording and the pure rooms. Routes and commands call them and nothing below.

Each topic is one module with one class, which gets its dependencies as arguments; none inherits from another.
`open_services` builds them for one data folder. The types that pages show are exported here too.
"""

from dataclasses import dataclass
from pathlib import Path

from roastlog.clock import Clock
from roastlog.plot.overlays import LINES
from roastlog.plot.tree import Band, Box, tree_svg
from roastlog.recording.runtime import Runtime
from roastlog.services.address import AddressService, lan_address
from roastlog.services.analysis import Analysis, AnalysisService, ForecastReview
from roastlog.services.backups import BackupService, StorageStatus, back_up, rebuild, restore
from roastlog.services.bags import Bag, BagService
from roastlog.services.batches import BatchService, BatchSummary, LogLine, Measures, MomentRow, Page, Record
from roastlog.services.comparison import Compared, ComparisonService, LeftOut, SideBySide
from roastlog.services.devices import Device, DeviceService, Role
from roastlog.services.figures import FigureService
from roastlog.services.green import CoffeeCover, GreenHouse, GreenRecord, GreenService, LotLine
from roastlog.services.journal import JournalService, Result, Speaker
from roastlog.services.labels import Filled, LabelAddress, LabelService
from roastlog.services.live import Hub, LiveService, MachineNow, ReadFault, Reading, Trial
from roastlog.services.lots import Lot, LotRow, LotService
from roastlog.services.machines import MachineService
from roastlog.services.packing import BlendRecord, Filling, PackingService, PackPage, PackRecord, Source
from roastlog.services.pairing import Invitation, PairingService
from roastlog.services.people import PeopleService, Person
from roastlog.services.photos import PhotoService
from roastlog.services.products import ProductRecord, ProductRow, ProductService, Roastable
from roastlog.services.recall import RecallDetail, RecallRow, RecallService
from roastlog.services.settings import SettingsService
from roastlog.services.starting import StartDefaults, StartService
from roastlog.services.stock import Short, Stock, StockService
from roastlog.services.subjects import SubjectService
from roastlog.services.today import Today, TodayService
from roastlog.services.trace import Node, Step, Trace, TraceService
from roastlog.settings import Settings
from roastlog.store.roasted import PackRow
from roastlog.store.store import Store
from roastlog.upkeep.maintenance import Maintenance

__all__ = [
    "LINES",
    "Analysis",
    "Bag",
    "Band",
    "BatchSummary",
    "BlendRecord",
    "Box",
    "CoffeeCover",
    "Compared",
    "Device",
    "Filled",
    "Filling",
    "ForecastReview",
    "GreenHouse",
    "GreenRecord",
    "Hub",
    "Invitation",
    "LabelAddress",
    "LeftOut",
    "LogLine",
    "Lot",
    "LotLine",
    "LotRow",
    "MachineNow",
    "Measures",
    "MomentRow",
    "Node",
    "PackPage",
    "PackRecord",
    "PackRow",
    "Page",
    "Person",
    "ProductRecord",
    "ProductRow",
    "ReadFault",
    "Reading",
    "RecallDetail",
    "RecallRow",
    "Record",
    "Result",
    "Roastable",
    "Role",
    "Services",
    "Settings",
    "Short",
    "SideBySide",
    "Source",
    "Speaker",
    "StartDefaults",
    "Step",
    "Stock",
    "StorageStatus",
    "Today",
    "Trace",
    "Trial",
    "back_up",
    "lan_address",
    "open_services",
    "rebuild",
    "restore",
    "tree_svg",
]


@dataclass(frozen=True)
class Services:
    """The services of one data folder, one per topic, and the runtime and maintenance that they start and stop."""

    store: Store
    clock: Clock
    runtime: Runtime
    maintenance: Maintenance
    settings: SettingsService
    people: PeopleService
    machines: MachineService
    lots: LotService
    green: GreenService
    products: ProductService
    packing: PackingService
    stock: StockService
    subjects: SubjectService
    live: LiveService
    journal: JournalService
    photos: PhotoService
    batches: BatchService
    today: TodayService
    starting: StartService
    comparison: ComparisonService
    analysis: AnalysisService
    figures: FigureService
    trace: TraceService
    recalls: RecallService
    address: AddressService
    bags: BagService
    labels: LabelService
    backups: BackupService
    devices: DeviceService
    pairing: PairingService

    def start(self) -> None:
        """Start recording and maintenance."""
        self.pairing.start()
        self.runtime.start()
        self.maintenance.start()

    def cannot_go_on(self) -> bool:
        """Whether nothing can be recorded until a restart; to be asked often."""
        return self.store.cannot_go_on()

    def close(self) -> None:
        """Stop everything; all readings are on disk when this returns."""
        self.store.before_the_end()
        self.maintenance.stop()
        self.runtime.close()
        self.store.close()


def open_services(folder: Path, clock: Clock, *, host: str = "127.0.0.1", port: int = 8080) -> Services:
    """The services of one data folder, not yet started.

    Parameters
    ----------
    folder
        The data folder; its database is created if missing.
    clock
        The server's clock.
    host, port
        Address that the server listens on; labels lead there unless another address is set.
    """
    store = Store(folder)
    runtime = Runtime(store, clock)
    maintenance = Maintenance(store, clock)
    history = runtime.history
    entries = runtime.entry_service
    settings = SettingsService(store, entries)
    people = PeopleService(store, entries)
    devices = DeviceService(store, people)
    machines = MachineService(store, runtime)
    lots = LotService(store, entries)
    subjects = SubjectService(store, lots, settings)
    live = LiveService(store, clock, runtime)
    photos = PhotoService(store, clock, runtime.photo_came)
    batches = BatchService(store, clock, history, machines=machines, lots=lots, settings=settings)
    products = ProductService(store, entries, lots)
    packing = PackingService(store, entries, batches, settings)
    stock = StockService(store, entries)
    comparison = ComparisonService(store, clock, history, batches)
    analysis = AnalysisService(clock, history, batches, settings)
    address = AddressService(store, settings, host, port)
    trace = TraceService(store)
    recalls = RecallService(store, clock, entries, trace=trace, settings=settings)
    bags = BagService(store, clock, batches=batches, packing=packing, photos=photos, people=people, settings=settings)
    return Services(
        store=store,
        clock=clock,
        runtime=runtime,
        maintenance=maintenance,
        settings=settings,
        people=people,
        machines=machines,
        lots=lots,
        green=GreenService(store, clock, entries, lots=lots, settings=settings, subjects=subjects),
        subjects=subjects,
        products=products,
        packing=packing,
        stock=stock,
        live=live,
        journal=JournalService(store, clock, runtime),
        photos=photos,
        batches=batches,
        today=TodayService(machines, live, batches, lots, stock=stock, recalls=recalls),
        starting=StartService(batches, lots),
        comparison=comparison,
        analysis=analysis,
        figures=FigureService(runtime, batches=batches, analysis=analysis, comparison=comparison),
        trace=trace,
        recalls=recalls,
        address=address,
        bags=bags,
        labels=LabelService(batches=batches, packing=packing, bags=bags, settings=settings, address=address),
        backups=BackupService(store, clock, maintenance),
        devices=devices,
        pairing=PairingService(store, people, devices),
    )
