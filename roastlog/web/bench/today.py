"""The page Today, for one thumb: machines with their present numbers, batches to weigh, the last batches roasted."""

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Blueprint, render_template

from roastlog.services import BatchSummary, Lot, MachineNow, Page, RecallRow, Short, StorageStatus
from roastlog.web import services
from roastlog.web.http.forms import AddMachine

bp = Blueprint("today", __name__)


@dataclass(frozen=True)
class TodayPage:
    """Context of `bench/today/page.html`."""

    now_ms: int
    machines: Sequence[MachineNow]
    unweighed: Page
    recent: Sequence[BatchSummary]
    lots_low: Sequence[Lot]
    short: Sequence[Short]
    recalls: Sequence[RecallRow]
    drill_is_due: bool
    add: AddMachine
    storage: StorageStatus


@bp.get("/")
def today() -> str:
    """The page Today; without a machine, the form to add one."""
    now, empty, storage = services().today.overview(), AddMachine(), services().backups.status()
    now_ms = services().clock.now_ms()
    page = TodayPage(now_ms, **vars(now), add=empty, storage=storage)
    return render_template("bench/today/page.html", page=page)


@bp.get("/now")
def machines_now() -> str:
    """The numbers of all machines, polled by the rail of the desk."""
    return render_template("bench/today/_rail.html", page=services().today.machines())


@bp.get("/machines/<machine_id>/now")
def machine_now(machine_id: str) -> str:
    """The numbers of one machine, polled every two seconds."""
    return render_template("bench/today/_now.html", machine=services().live.now(machine_id))
