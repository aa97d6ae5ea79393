"""The access table: the least role for each endpoint. That for a kind of entry is in the registry of kinds.

An endpoint that is missing in the table is open to ``own`` alone, and a test fails until it is added.
"""

from collections.abc import Mapping
from typing import Final

from roastlog.journal.kinds import REGISTRY
from roastlog.languages import N_, _
from roastlog.services import Role

PUBLIC: Final = None  # anyone, paired or not
LOOK, OPERATE, DECIDE, OWN = Role.LOOK, Role.OPERATE, Role.DECIDE, Role.OWN

LEAST: Final[Mapping[str, Role | None]] = {
    # Anyone: the bag page, pairing, and static files.
    "api.health": PUBLIC,
    "assets.static": PUBLIC,
    "assets.vendor_script": PUBLIC,
    "bag.bag": PUBLIC,
    "bag.photo": PUBLIC,  # only photos that the bag's page shows
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
    # Look: read everything.
    "api.batch": LOOK,
    "api.batches": LOOK,
    "api.clock": LOOK,
    "api.house": LOOK,
    "api.ledger": LOOK,
    "api.lot": LOOK,
    "api.lots": LOOK,
    "api.pack": LOOK,
    "api.packs": LOOK,
    "api.product": LOOK,
    "api.products": LOOK,
    "api.curve": LOOK,
    "api.curve_csv": LOOK,
    "api.entries_after": LOOK,
    "api.openapi": LOOK,
    "api.trace": LOOK,
    "compare.compare": LOOK,
    "compare.figure": LOOK,
    "compare.offered": LOOK,
    "devices.leave": LOOK,
    "blending.blend": LOOK,
    "labels.label": LOOK,
    "labels.pack_label": LOOK,
    "labels.test_print": LOOK,
    "labels.pack_label_file": LOOK,
    "packing.left": LOOK,
    "packing.pack": LOOK,
    "packing.packs": LOOK,
    "products.product": LOOK,
    "products.products": LOOK,
    "stock.rows": LOOK,
    "stock.stock": LOOK,
    "labels.label_file": LOOK,
    "language.choose": LOOK,
    "live.page": LOOK,
    "live.stream": LOOK,
    "live.view": LOOK,
    "lot_files.file": LOOK,
    "lot_labels.label": LOOK,
    "lot_labels.label_file": LOOK,
    "lots.closed": LOOK,
    "lots.lot": LOOK,
    "lots.lots": LOOK,
    "photos.page": LOOK,
    "photos.show": LOOK,
    "photos.small": LOOK,
    "records.batches": LOOK,
    "records.figure": LOOK,
    "records.find": LOOK,
    "records.found": LOOK,
    "records.outlook": LOOK,
    "records.record": LOOK,
    "records.small_curve": LOOK,
    "scan.page": LOOK,
    "scan.read": LOOK,
    "settings.more": LOOK,
    "settings.settings": LOOK,
    "machines.machine": LOOK,
    "machines.machines": LOOK,
    "this_device.page": LOOK,
    "recalls.recalls": LOOK,
    "recalls.recall": LOOK,
    "recalls.notice": LOOK,
    "recalls.contacts": LOOK,
    "trace.find": LOOK,
    "trace.trace": LOOK,
    "today.machine_now": LOOK,
    "today.machines_now": LOOK,
    "today.today": LOOK,
    # Operate: work at the machine and at the bench. Entries need the role of their kind besides.
    "api.add_entries": OPERATE,
    "api.push_readings": OPERATE,
    "blending.keep": OPERATE,
    "blending.new": OPERATE,
    "blending.undo": OPERATE,
    "packing.keep": OPERATE,
    "packing.new": OPERATE,
    "packing.says": OPERATE,
    "packing.undo": OPERATE,
    "stock.count": OPERATE,
    "stock.say": OPERATE,
    "weigh.keep_weight": OPERATE,
    "weigh.choose_batch": OPERATE,
    "weigh.taste": OPERATE,
    "weigh.weigh": OPERATE,
    "hand_readings.keep": OPERATE,
    "lot_files.keep": OPERATE,
    "lot_forms.check": OPERATE,
    "lot_forms.count": OPERATE,
    "lot_forms.keep_check": OPERATE,
    "lot_forms.keep_count": OPERATE,
    "lot_forms.keep_take": OPERATE,
    "lot_forms.take": OPERATE,
    "lot_forms.undo": OPERATE,
    "photos.keep": OPERATE,
    "hand_readings.keypad": OPERATE,
    "recalls.reach": OPERATE,
    "recalls.take_back": OPERATE,
    "records.merge": OPERATE,
    "records.add": OPERATE,
    "records.move": OPERATE,
    "records.note": OPERATE,
    "records.shift": OPERATE,
    "records.split": OPERATE,
    "records.undo": OPERATE,
    "start.amend_names": OPERATE,
    "start.choose_machine": OPERATE,
    "start.names": OPERATE,
    "start.open_batch": OPERATE,
    "start.short_lot": OPERATE,
    "start.start": OPERATE,
    # Decide: releases, bag codes and green lots.
    "labels.allow": DECIDE,
    "recalls.ask": DECIDE,
    "recalls.drill": DECIDE,
    "recalls.finish": DECIDE,
    "recalls.start": DECIDE,
    "packing.allow": DECIDE,
    "products.add": DECIDE,
    "products.change": DECIDE,
    "products.close": DECIDE,
    "products.edit": DECIDE,
    "products.new": DECIDE,
    "records.decide": DECIDE,
    "records.ask_to_withdraw": DECIDE,
    "records.withdraw": DECIDE,
    "lot_forms.change": DECIDE,
    "lot_forms.close": DECIDE,
    "lot_forms.decide": DECIDE,
    "lot_forms.keep_change": DECIDE,
    "lot_forms.new": DECIDE,
    "lot_forms.receive": DECIDE,
    # Own: machines, settings, people and devices.
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
    DECIDE: N_("also releases and holds, manages green lots, withdraws bag codes"),
    OWN: N_("everything: machines, settings, people, devices"),
}


def least(endpoint: str | None) -> Role | None:
    """The least role for an endpoint; for an unknown address it is ``look``, so that others get no 404."""
    return LOOK if endpoint is None else LEAST.get(endpoint, OWN)


def says(kind: str) -> Role:
    """The least role that may make a kind of entry.

    An undo, a shift or a correction also needs the role for the entry that it is about.
    """
    return Role.of(REGISTRY[kind].least)


def refused_to(role: Role) -> dict[str, str]:
    """Kinds of entries that a role may not make, each with the reason as a sentence."""
    return {kind: lacking(says(kind), role) for kind in REGISTRY if role < says(kind)}


def lacking(asked: Role, role: Role) -> str:
    """The sentence that a role is not enough."""
    return _("This needs the role “{asked}”; this device has the role “{has}”.", asked=asked.called, has=role.called)
