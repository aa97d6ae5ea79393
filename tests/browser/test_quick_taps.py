"""The order of work after a tap: the echo in the same task, all else later."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server

# Runs in one task, without a pause: what it answers was done before anything could wait for anything.
SLAP = """() => {
  const changes = [];
  const note = ({ kind, model }) => changes.push(`${kind} ${model?.name}`);
  Bokeh.documents[0].on_change(note);
  document.getElementById('pad').dispatchEvent(new PointerEvent('pointerdown', { bubbles: true, button: 0 }));
  Bokeh.documents[0].remove_on_change(note);
  const said = (id) => document.getElementById(id).textContent;
  return { echo: said('echo'), state: said('echo-state'), next: said('pad-next'), changes };
}"""
# The order in which a tap is sent, stored and known by the server, as the page goes through it.
ORDER = """globalThis.order = [];
const real = globalThis.fetch;
globalThis.fetch = (url, ...rest) => {
  if (url === '/api/entries') order.push('sending');
  return real(url, ...rest);
};
addEventListener('DOMContentLoaded', () => {
  const state = document.getElementById('echo-state');
  new MutationObserver(() => order.push(state.dataset.state)).observe(state, { attributeFilter: ['data-state'] });
});"""
# What the echo says when the page begins to make sound, which holds it up.
SOUND = """globalThis.begun = [];
globalThis.AudioContext = class extends AudioContext {
  constructor() {
    begun.push(document.getElementById('echo').textContent);
    super();
  }
};"""
LISTEN = """() => {
  globalThis.changes = [];
  Bokeh.documents[0].on_change(({ kind, model, attr }) => changes.push(`${kind} ${model?.name} ${attr ?? ''}`));
}"""


@pytest.mark.drawn
def test_the_echo_stands_before_the_tap_is_over(phone: Screen, roast: str):
    """The tap's own task writes the echo, its state and the next moment, and leaves the chart alone."""
    phone.open_live()
    expect(phone.by_id("pad-next")).to_have_text("Yellow")
    seen = phone.page.evaluate(SLAP)
    assert seen["echo"].startswith("Yellow ")
    assert "pressed" in seen["state"]
    assert seen["next"] == "First crack"
    assert seen["changes"] == []
    phone.until(lambda: "yellow" in phone.columns("marks")["label"], "the chart never showed it")


def test_a_tap_is_sent_while_it_is_stored(demo: Server, screen: MakeScreen, roast: str):
    """A tap is sent without waiting for the phone's database when no other tap waits."""
    phone = screen(demo, PHONE)
    phone.page.add_init_script(ORDER)
    phone.open_live()
    phone.pad("Yellow")
    phone.sent()  # by then the clock is sure, and nothing waits
    phone.page.evaluate("order.length = 0")
    phone.pad("First crack")
    phone.sent()
    order = phone.page.evaluate("order")
    assert order.index("sending") < order.index("saved") < order.index("sent")


def test_sound_begins_after_the_echo(demo: Server, screen: MakeScreen, roast: str):
    """The first tap of a page starts the sound system only after its echo is shown."""
    phone = screen(demo, PHONE)
    phone.page.add_init_script(SOUND)
    phone.open_live()
    phone.pad("Yellow")
    (echo,) = phone.until(lambda: phone.page.evaluate("begun"), "no sound was begun")
    assert echo.startswith("Yellow ")


@pytest.mark.drawn
def test_an_entry_touches_only_what_it_changes(demo: Server, phone: Screen, roast: str):
    """A note from another device appears in the log; the chart stays the same object, and no mark is drawn anew."""
    phone.open_live()
    turned_s = 120  # by then the beans are past the turning point, which is a mark of its own
    phone.until(lambda: len(phone.columns("live")["t_s"]) > turned_s, "no turning point yet")
    demo.say("note", roast, text="Past the turning point")  # its event brings that mark
    expect(phone.by_id("echo")).to_contain_text("Past the turning point")
    phone.page.evaluate(LISTEN)
    rows = len(phone.columns("live")["t_s"])
    demo.say("note", roast, text="A little more air")
    expect(phone.by_id("echo")).to_contain_text("A little more air")
    phone.until(lambda: len(phone.columns("live")["t_s"]) > rows + 15, "the curve stands still")
    changes = set(phone.page.evaluate("changes"))
    assert changes
    touched = {" ".join(change.split()[1:]) for change in changes if change.startswith("ModelChanged")}
    assert not touched & {"live data", "marks data", "checks data", "guide data"}
    assert not {change for change in changes if change.startswith("Root")}
