"""Today: the machines with their numbers now, what waits for a weight, what was roasted last. For a thumb."""

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Blueprint, render_template

from roastlog.services import BatchSummary, Lot, MachineNow, StorageStatus
from roastlog.web import services
from roastlog.web.http.forms import AddMachine

bp = Blueprint("today", __name__)


@dataclass(frozen=True)
class TodayPage:
    """What `bench/today/page.html` shows."""

    now_ms: int
    machines: Sequence[MachineNow]
    unweighed: Sequence[BatchSummary]
    recent: Sequence[BatchSummary]
    lots_low: Sequence[Lot]
    add: AddMachine
    storage: StorageStatus


@bp.get("/")
def today() -> str:
    """Today; on an empty folder, how to add a machine."""
    now, empty, storage = services().today.overview(), AddMachine(), services().backups.status()
    now_ms = services().clock.now_ms()
    page = TodayPage(now_ms, now.machines, now.unweighed, now.recent, now.lots_low, empty, storage)
    return render_template("bench/today/page.html", page=page)


@bp.get("/machines/<machine_id>/now")
def machine_now(machine_id: str) -> str:
    """The numbers of one machine, asked for every two seconds."""
    return render_template("bench/today/_now.html", machine=services().live.now(machine_id))
