"""Text at twice its size, right to left, and long words: nothing is lost, and no page scrolls sideways.

Source: WCAG 2.2, success criteria 1.4.4 (Resize Text: up to 200 % without loss) and 1.4.10 (Reflow) [memory].
"""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server

PAGES = (
    "/machines/drum-4", "/", "/machines/drum-4/start",
    "/batches/{code}", "/batches/{code}/weigh", "/batches/{code}/label",
)  # fmt: skip
LARGE = "document.documentElement.style.fontSize = '200%'"
LONG = """(word) => { const named = 'main h1, main h2, main dt, main b, main button, header h1';
  for (const element of document.querySelectorAll(named))
    if (!element.children.length && /[a-z]/.test(element.textContent)) element.textContent = word; }"""
# What a finger may aim at and cannot get: beside the window, or below it where nothing scrolls there.
LOST = """() => [...document.querySelectorAll('button, a[href], input:not([type=hidden]), select, textarea, summary')]
  .filter((one) => one.checkVisibility({ visibilityProperty: true }) && !one.closest('.skip, .unseen, .table'))
  .filter((one) => {
    one.scrollIntoView({ block: 'center' });
    const box = one.getBoundingClientRect();
    return box.left < -1 || box.right > innerWidth + 1 || box.bottom < 1 || box.top > innerHeight - 1;
  }).map((one) => `${one.id} ${one.innerText || one.name}`)"""
INSIDE = """(id) => {
  const [box, pad] = [id, 'pad'].map((one) => document.getElementById(one).getBoundingClientRect());
  const wide = box.left >= pad.left && box.right <= pad.right;
  return !box.width || (wide && box.top >= pad.top && box.bottom <= pad.bottom);
}"""
LISTS = ("/", "/find", "/batches", "/more", "/devices", "/lots", "/machines", "/scan", "/this-device")
RULES_SHORT = """() => [...document.querySelectorAll('.row, .section, .block, .head, .bar')]
  .filter((one) => one.checkVisibility() && Math.round(one.getBoundingClientRect().width) < innerWidth - 1)
  .map((one) => one.textContent.trim())"""
# A word that stands on two lines though it would fit on one; a hyphen may end a line.
BROKEN = """() => [...document.querySelectorAll('.row strong, .bar a, .button')].flatMap((one) => {
  const texts = document.createTreeWalker(one, NodeFilter.SHOW_TEXT), broken = [], range = new Range();
  while (texts.nextNode()) for (const { 0: word, index } of texts.currentNode.data.matchAll(/[^\\s-]+/g)) {
    range.setStart(texts.currentNode, index);
    range.setEnd(texts.currentNode, index + word.length);
    if (new Set([...range.getClientRects()].map(({ top }) => Math.round(top))).size > 1) broken.push(word);
  }
  return broken;
})"""
SIDEWAYS = "document.documentElement.scrollWidth - innerWidth"
SIZES = [(360, 640), (390, 844), (844, 390), (1180, 820)]


def weighed(server: Server) -> str:
    """The code of a batch that is through."""
    return str(next(batch["code"] for batch in server.get("/api/batches")["batches"] if batch["roasted_g"]))


@pytest.mark.drawn
@pytest.mark.parametrize("change", [LARGE, "document.documentElement.dir = 'rtl'"], ids=["large", "rtl"])
def test_every_control_can_be_reached(change: str, demo: Server, phone: Screen, roast: str):
    """With text at 200 %, or right to left, each control can be reached, and no page scrolls sideways."""
    assert roast
    for path in PAGES:
        phone.open(path.format(code=weighed(demo)))
        phone.page.evaluate(change)
        phone.page.wait_for_timeout(300)
        assert phone.page.evaluate(SIDEWAYS) <= 1, path
        assert phone.page.evaluate(LOST) == [], path


def test_lists_at_twice_the_size(demo: Server, screen: MakeScreen):
    """At 200 % zoom, 195 px wide, rules of lists go from edge to edge, and no word of a row is broken."""
    narrow = screen(demo, PHONE | {"viewport": {"width": 195, "height": 422}, "is_mobile": False})
    for path in LISTS:
        narrow.open(path)
        assert narrow.page.evaluate(SIDEWAYS) <= 0, path
        assert narrow.page.evaluate(RULES_SHORT) == [], path
        assert narrow.page.evaluate(BROKEN) == [], path
        assert narrow.page.evaluate(LOST) == [], path


@pytest.mark.drawn
def test_long_words_do_not_break_pages(demo: Server, phone: Screen, roast: str):
    """Words of forty letters in each heading, name and button make no page scroll sideways and hide no control."""
    assert roast
    for path in PAGES:
        phone.open(path.format(code=weighed(demo)))
        phone.page.evaluate(LONG, "Röstmaschinenbedienungsanleitungsverzeic")
        assert phone.page.evaluate(SIDEWAYS) <= 1, path
        assert phone.page.evaluate(LOST) == [], path


@pytest.mark.drawn
@pytest.mark.parametrize("size", SIZES, ids=[f"{width}x{height}" for width, height in SIZES])
def test_no_word_of_the_pad_is_cut(size: tuple[int, int], demo: Server, roast: str, screen: MakeScreen):
    """On small, tall, low and wide screens the page does not scroll, and no word of pad or planned drop is cut."""
    assert roast
    live = screen(demo, PHONE | {"viewport": {"width": size[0], "height": size[1]}})
    live.open_live()
    for moment in ("Yellow", "First crack"):
        live.pad(moment)
    expect(live.by_id("pad-next")).to_have_text("Drop")
    assert live.page.evaluate(
        "document.querySelector('main').scrollHeight <= document.querySelector('main').clientHeight"
    )
    for ident in ("pad-next", "pad-sub", "pad-basis"):
        inside = live.page.evaluate(INSIDE, ident)
        assert inside, ident
