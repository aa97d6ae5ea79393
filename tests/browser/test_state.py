"""The page's fold of a batch, with entries that wait on the device, against the server's fold of the whole journal."""

import json
import random
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any
from uuid import UUID

from roastlog.journal.entries import Entry
from roastlog.journal.fold import fold
from roastlog.journal.vocabulary import MOMENTS, STAGES
from roastlog.machine.sheet import parse_sheet
from roastlog.recording.live_view import batch_view
from roastlog.web.machine.live import WORDS
from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE
from tests.browser.server import Server
from tests.conftest import SHEET

JOURNALS = 1500
SEED = 11
T0 = 1_790_000_000_000
NOW_MS = T0 + 1_000_000
CODE = "26330-04X"
SECOND = """[[controls]]
id = "hot_air"
name = "Hot air"
unit = "step"
low = 0
high = 10
step = 1
"""
MACHINE = parse_sheet(SHEET + SECOND)
CONTROLS = [control.id for control in MACHINE.controls]
MARKED = [name for name in MOMENTS if name != "turning_point"]
ACTIVE = {"open", "roasting", "cooling"}
# What is said most stands most often; what is about another entry is said often, for that is where folds go wrong.
KINDS = ["moment"] * 6 + ["move"] * 4 + ["trier"] * 2 + ["undo"] * 5 + ["shift"] * 4 + ["amend"] * 2
KINDS += ["note", "weighed", "released"]

FOLD = r"""async (given) => {
  const [cases, words, now] = JSON.parse(given);
  const root = document.querySelector('script[type=module][src*="/js/"]').src.replace(/\/js\/.*/, "/js");
  const { State } = await import(`${root}/machine/state/state.js`);
  const clock = { now: () => now };
  return JSON.stringify(cases.map(({ view, pending, ids, controls }) => {
    const state = new State(view, words, { clock, connected: true, heardMs: now });
    if (pending.length) state.restore(pending);
    return {
      phase: state.phase,
      moments: Object.fromEntries([...state.moments].map(([name, { entry, atMs }]) => [name, [entry, atMs]])),
      settings: Object.fromEntries(controls.map((control) => [control, state.setting(control)])),
      stage: state.stage,
      expected: state.expected,
      undone: ids.filter((id) => state.isUndone(id)).toSorted(),
    };
  }));
}"""


class Journal:
    """A random journal of one batch, of which the server has a part and a device the rest."""

    def __init__(self, dice: random.Random) -> None:
        self._dice = dice
        self.entries = [self._entry("opened", {}, 0)]
        for _ in range(dice.randrange(1, 16)):
            kind = dice.choice(KINDS)
            self.entries.append(self._entry(kind, self._body(kind), dice.randrange(1, 120)))
        if dice.random() < 0.05:
            self._undo_each_other()

    def _entry(self, kind: str, body: dict[str, Any], at_s: int) -> Entry:
        at_ms = T0 + 5000 * at_s  # so coarse that some meet
        batch = None if kind == "opened" else CODE
        ident = UUID(int=self._dice.getrandbits(128), version=4)
        return Entry(id=ident, machine=MACHINE.id, batch=batch, kind=kind, at_ms=at_ms, received_ms=at_ms, body=body)

    def _body(self, kind: str) -> dict[str, Any]:
        dice = self._dice
        about = dice.choice([one for one in self.entries if one.kind != "amend"])  # no page undoes an amendment
        made: dict[str, dict[str, Any]] = {
            "moment": {"moment": dice.choice(MARKED)},
            "move": {"control": dice.choice(CONTROLS), "setting": float(dice.randrange(11))},
            "trier": {"stage": dice.choice(list(STAGES))},
            "undo": {"entry": str(about.id)},
            "shift": {"entry": str(about.id), "by_s": float(dice.choice([-15, -10, -5, -2.5, 5]))},
            "note": {"text": "a note"},
            "weighed": {"roasted_g": 3400.0},
            "released": {"decision": dice.choice(["release", "hold", "reject"])},
        }
        if kind != "amend":
            return made[kind]
        change = {"moment": dice.choice(MARKED)} if about.kind == "moment" else made["move"]
        return {"entry": str(about.id), "body": change}

    def _undo_each_other(self) -> None:
        """Undos in a ring, which no page makes and a journal may hold."""
        ring = [self._entry("undo", {}, self._dice.randrange(120)) for _ in range(self._dice.randrange(1, 4))]
        self.entries += [
            one.model_copy(update={"body": {"entry": str(other.id)}})
            for one, other in zip(ring, [*ring[1:], ring[0]], strict=True)
        ]

    def parts(self) -> tuple[list[Entry], list[Entry]]:
        """What the server has, and what waits: all of it where the batch began on the device, or what came last."""
        dice = self._dice
        if dice.random() < 0.2:
            return [], [entry for entry in self.entries if entry.kind != "amend"]  # a page makes no amendment
        amended = {entry.body["entry"] for entry in self.entries if entry.kind == "amend"}  # so the server has them
        stays = [entry.kind in {"opened", "amend"} or str(entry.id) in amended for entry in self.entries]
        here = [not is_stored and dice.random() < 0.4 for is_stored in stays]
        stored = [entry for entry, is_here in zip(self.entries, here, strict=True) if not is_here]
        waiting = [entry for entry, is_here in zip(self.entries, here, strict=True) if is_here]
        told_late = [entry for entry in stored if entry.kind not in {"opened", "amend"} and dice.random() < 0.1]
        dice.shuffle(stored)
        return stored, waiting + told_late  # of those the device has not heard yet that the server has them


def view_of(stored: Sequence[Entry]) -> dict[str, Any]:
    """What the page reads of the live view as the server makes it of its part of the journal."""
    batch, part = fold(stored, CODE), None
    if stored and batch.state != "discarded":  # a machine is not at a batch that was discarded
        columns: dict[str, list[float | None]] = {"t_s": [], **{channel.id: [] for channel in MACHINE.channels}}
        part = asdict(batch_view(MACHINE, batch, "", columns, lambda _channel, _time_s: None, NOW_MS))
        del part["facts"]
    return {"seq": 1, "now_ms": NOW_MS, "batch": part, "waiting": [], "outlook": None}


def said_here(entry: Entry, opened: UUID, names: Sequence[str]) -> dict[str, Any]:
    """An entry as a page keeps it: about a batch by its code, or by the id of the entry that opened it."""
    raw = entry.model_dump(mode="json")
    return raw | {"batch": None if entry.id == opened else names[hash(entry.id) % len(names)]}


def expected_of(entries: Sequence[Entry]) -> dict[str, Any]:
    """What the server's own fold makes of all entries."""
    batch = fold(entries, CODE)
    return {
        "discarded": batch.state == "discarded",
        "phase": batch.state if batch.state in ACTIVE else "idle",
        "moments": {name: [str(line.id), line.at_ms] for name, line in batch.moments.items()},
        "settings": {control: batch.settings.get(control) for control in CONTROLS},
        "stage": batch.stage,
        "expected": batch.expected,
        "undone": sorted(str(line.id) for line in batch.lines if line.undone),
    }


def test_a_page_folds_a_journal_as_the_server_does(empty: Server, screen: MakeScreen):
    """The page's fold equals the server's for random journals, whatever part of them waits on the device."""
    dice = random.Random(SEED)
    cases, wanted = [], []
    while len(cases) < JOURNALS:
        journal = Journal(dice)
        stored, waiting = journal.parts()
        whole = {entry.id: entry for entry in [*stored, *waiting]}
        if stored and fold(stored, CODE).state == "discarded":
            continue  # the server is at no batch then, and the page can know of none
        opened = journal.entries[0].id
        names = [str(opened), CODE] if stored else [str(opened)]
        pending = [said_here(entry, opened, names) for entry in waiting]
        ids = [str(ident) for ident in whole]
        cases.append({"view": view_of(stored), "pending": pending, "ids": ids, "controls": CONTROLS})
        wanted.append(expected_of(list(whole.values())))
    page = screen(empty, PHONE)
    page.open("/find")
    given = json.dumps([cases, WORDS, NOW_MS], default=str)  # as text: Playwright's own way is slow
    found = json.loads(page.page.evaluate(FOLD, given))
    for case, ours, theirs in zip(cases, found, wanted, strict=True):
        if theirs["discarded"]:
            assert ours["phase"] == "idle"  # the page is at no batch then
        else:
            assert ours == {name: value for name, value in theirs.items() if name != "discarded"}, case
    assert sum(theirs["phase"] != "idle" for theirs in wanted) > JOURNALS / 4
