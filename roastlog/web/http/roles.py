"""Who may do what: the one table. Each endpoint with the least role that may use it; a kind of entry has it in its row.

An endpoint that is not in the table is refused to everyone but ``own``, and a test fails until it has its line.
"""

from collections.abc import Mapping
from typing import Final

from roastlog.journal.kinds import REGISTRY
from roastlog.languages import N_, _
from roastlog.services import Role

PUBLIC: Final = None  # anyone, let in or not
LOOK, OPERATE, DECIDE, OWN = Role.LOOK, Role.OPERATE, Role.DECIDE, Role.OWN

LEAST: Final[Mapping[str, Role | None]] = {
    # Anyone: the bag page, the way in, and what a page is made of.
    "api.health": PUBLIC,
    "assets.static": PUBLIC,
    "assets.vendor_script": PUBLIC,
    "bag.bag": PUBLIC,
    "bag.photo": PUBLIC,  # those alone that the bag's page shows
    "install.manifest": PUBLIC,
    "install.offline": PUBLIC,
    "install.worker": PUBLIC,
    "pairing.ask": PUBLIC,
    "pairing.link": PUBLIC,
    "pairing.pair": PUBLIC,
    "this_device.reached": PUBLIC,
    "trust.authority": PUBLIC,
    "trust.page": PUBLIC,
    "trust.profile": PUBLIC,
    # Look: read what there is.
    "api.batch": LOOK,
    "api.batches": LOOK,
    "api.clock": LOOK,
    "api.house": LOOK,
    "api.lot": LOOK,
    "api.lots": LOOK,
    "api.curve": LOOK,
    "api.curve_csv": LOOK,
    "api.entries_after": LOOK,
    "api.openapi": LOOK,
    "compare.compare": LOOK,
    "compare.figure": LOOK,
    "compare.offered": LOOK,
    "devices.leave": LOOK,
    "labels.label": LOOK,
    "labels.label_file": LOOK,
    "language.choose": LOOK,
    "live.page": LOOK,
    "live.stream": LOOK,
    "live.view": LOOK,
    "photos.page": LOOK,
    "photos.show": LOOK,
    "photos.small": LOOK,
    "records.batches": LOOK,
    "records.figure": LOOK,
    "records.find": LOOK,
    "records.found": LOOK,
    "records.outlook": LOOK,
    "records.record": LOOK,
    "scan.page": LOOK,
    "scan.read": LOOK,
    "settings.lots": LOOK,
    "settings.more": LOOK,
    "settings.settings": LOOK,
    "machines.machine": LOOK,
    "machines.machines": LOOK,
    "this_device.page": LOOK,
    "today.machine_now": LOOK,
    "today.today": LOOK,
    # Operate: what is done at the machine and on the bench. What an entry may say follows below.
    "api.add_entries": OPERATE,
    "api.push_readings": OPERATE,
    "weigh.keep_weight": OPERATE,
    "weigh.choose_batch": OPERATE,
    "weigh.taste": OPERATE,
    "weigh.weigh": OPERATE,
    "hand_readings.keep": OPERATE,
    "photos.keep": OPERATE,
    "hand_readings.keypad": OPERATE,
    "records.note": OPERATE,
    "records.shift": OPERATE,
    "records.undo": OPERATE,
    "start.amend_names": OPERATE,
    "start.choose_machine": OPERATE,
    "start.names": OPERATE,
    "start.open_batch": OPERATE,
    "start.short_lot": OPERATE,
    "start.start": OPERATE,
    # Decide: what may leave the house, and what it is made of.
    "records.decide": DECIDE,
    "records.ask_to_withdraw": DECIDE,
    "records.withdraw": DECIDE,
    "settings.add_lot": DECIDE,
    # Own: machines, settings, people, and who is let in.
    "api.machine": OWN,
    "probe_check.check": OWN,
    "probe_check.compare": OWN,
    "devices.change": OWN,
    "devices.cut_off": OWN,
    "devices.devices": OWN,
    "devices.invite": OWN,
    "devices.new_token": OWN,
    "devices.revoke_token": OWN,
    "devices.waiting": OWN,
    "machine_parts.add": OWN,
    "machine_parts.change": OWN,
    "machine_parts.keep_changed": OWN,
    "machine_parts.keep_new": OWN,
    "machine_parts.remove": OWN,
    "settings.add_person": OWN,
    "settings.save": OWN,
    "machines.begin": OWN,
    "machines.import_sheet": OWN,
    "machines.practise": OWN,
    "machines.rename": OWN,
    "machines.sheet": OWN,
}

MEANS: Final[Mapping[Role, str]] = {
    LOOK: N_("sees everything, changes nothing"),
    OPERATE: N_("roasts: taps, starts, weighs, notes, labels"),
    DECIDE: N_("also releases and holds, keeps green lots, withdraws bag codes"),
    OWN: N_("everything: machines, settings, people, devices"),
}


def least(endpoint: str | None) -> Role | None:
    """The least role that an endpoint asks for; an address that leads nowhere is told so to those who are let in."""
    return LOOK if endpoint is None else LEAST.get(endpoint, OWN)


def says(kind: str) -> Role:
    """The least role that may say a kind of entry.

    An undo, a shift or a correction asks besides for that of the entry that it is about.
    """
    return Role.of(REGISTRY[kind].least)


def refused_to(role: Role) -> dict[str, str]:
    """Kinds of entries that a role may not say, each with the sentence that answers it."""
    return {kind: lacking(says(kind), role) for kind in REGISTRY if role < says(kind)}


def lacking(asked: Role, role: Role) -> str:
    """That a role is not enough, in a sentence."""
    return _(
        "This needs the role “{asked}”, and this device has the role “{has}”.", asked=asked.called, has=role.called
    )
