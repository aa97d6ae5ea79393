"""A page that applies each `entry` event to its view shows the server's whole view."""

import json
import random
from typing import Any

import pytest
from playwright.sync_api import Browser

from roastlog.journal.vocabulary import MOMENTS
from roastlog.jsonable import jsonable
from tests.checkout import ROOT
from tests.conftest import Bench

MODULE = (ROOT / "static/js/machine/state/view-changes.js").read_text(encoding="utf-8")
IMPORT = """async (source) => {
  window.changes = await import(URL.createObjectURL(new Blob([source], { type: "text/javascript" })));
}"""
STEPS = 60


def settled(view: dict[str, Any]) -> dict[str, Any]:
    """A view without what a page keeps true by itself: the ends of the bars that still grow, the order of lines."""
    batch = view["batch"]
    if batch is not None:
        batch["lines"] = sorted(batch["lines"], key=lambda line: line["id"])  # a page folds them in any order
        ribbon = batch["chart"]["ribbon"]
        ribbon["right"] = [
            None if grows else right for right, grows in zip(ribbon["right"], ribbon["last"], strict=True)
        ]
    return view


class Roastery:
    """Someone who roasts at random, says it at random, and a page that follows."""

    def __init__(self, bench: Bench, seed: int) -> None:
        self.bench, self.chance = bench, random.Random(seed)
        self.at_s, self.code = 0.0, bench.open(coffee="Alder washed")
        self.said: list[dict[str, Any]] = []

    def tap(self) -> dict[str, Any]:
        """One thing that may be said."""
        chance, bench, code = self.chance, self.bench, self.code
        kind = chance.choice(["moment", "moment", "move", "move", "trier", "note", "undo", "shift", "amend"])
        target = chance.choice(self.said)["id"] if self.said else None
        if kind == "moment":
            return bench.entry("moment", self.at_s, batch=code, moment=chance.choice(MOMENTS))
        if kind == "move":
            return bench.entry("move", self.at_s, batch=code, control="radiant", setting=chance.randrange(20) / 2)
        if kind == "trier":
            return bench.entry("trier", self.at_s, batch=code, stage="tan", photo=f"photo-{chance.randrange(3)}")
        if target is None or kind == "note":
            return bench.entry("note", self.at_s, batch=code, text=f"At {self.at_s:.0f} s.")
        if kind == "undo":
            return bench.entry("undo", self.at_s, batch=code, entry=target)
        if kind == "shift":
            return bench.entry("shift", self.at_s, batch=code, entry=target, by_s=chance.choice([-15, -5, 5]))
        return bench.entry("amend", self.at_s, batch=code, entry=target, body={"text": "Otherwise."})

    def step(self) -> None:
        """Some seconds pass; some things are said at once, and now and then another batch is opened."""
        for _ in range(self.chance.randrange(1, 12)):
            self.at_s += 1
            self.bench.clock.turn_to(self.at_s)
            self.bench.push((self.at_s, "bean_probe", 90 + abs(self.at_s - 60) / 4))
        if self.chance.random() < 0.06:
            self.code, self.said = self.bench.open(self.at_s, coffee="Night Ferry"), []
            return
        taps = [self.tap() for _ in range(self.chance.choice([1, 1, 1, 3, 7]))]
        self.bench.say(*taps)
        self.said += taps


@pytest.mark.parametrize("seed", range(3))
def test_changes_give_the_view_that_the_server_has(bench: Bench, browser: Browser, seed: int):
    """Changes laid on a view equal the server's view, in any order, with whole views fetched in between."""
    page = browser.new_page()
    page.evaluate(IMPORT, MODULE)
    roastery = Roastery(bench, seed)
    running = bench.services.runtime.running("drum-4")
    running.advice_thread.stop()  # advice has an event of its own
    first, later = (bench.client.get("/machines/drum-4/view").get_json() for _ in range(2))
    watch = bench.services.live.hub("drum-4").watch()
    bench.push((0, "bean_probe", 100.0))
    next(watch)
    for _ in range(STEPS):
        roastery.step()
        for event in (event for told in [next(watch)] for event in told if event.name == "entry"):
            data = json.loads(event.data)
            first, later = page.evaluate(
                "([one, other, event]) => [one, other].map((view) => changes.changedView(view, event))",
                [first, later, data],
            )
            assert settled(first) == settled(later) == settled(jsonable(running._published_view))
        if roastery.chance.random() < 0.3:
            later = bench.client.get("/machines/drum-4/view").get_json()
    watch.close()
    page.close()


def test_changes_of_another_view_are_not_applied(browser: Browser):
    """A page that missed an event fetches the view as a whole."""
    page = browser.new_page()
    page.evaluate(IMPORT, MODULE)
    laid = "(after) => changes.changedView({ seq: 4, batch: null }, { after, seq: 6, view: { seq: 6 } })"
    assert page.evaluate(laid, 5) is None
    assert page.evaluate(laid, 4) == {"seq": 6, "batch": None}
    page.close()
