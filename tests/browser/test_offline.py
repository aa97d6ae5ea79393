"""Pages without a network: those that open, the taps made there, and their arrival."""

import re
import time

import pytest
from playwright.sync_api import Browser, expect

from tests import chromium
from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House, kept_live, kept_paths
from tests.browser.screen import PHONE, Screen

# The worker has the device's clock, which no test can set there: it is not to send what a page said a day ahead of it.
TOMORROW = """const now = Date.now; Date.now = () => now.call(Date) + 24 * 3600e3;
  if (globalThis.ServiceWorker) ServiceWorker.prototype.postMessage = () => {};"""
DEAF_DATABASE = "if (sessionStorage.deaf) IDBFactory.prototype.open = () => ({});"  # neither an answer nor an error
ROAST = ("Charge", "Yellow", "First crack", "Drop")


def test_two_roasts_from_cold_without_a_network(house: House, screen: MakeScreen):
    """The live page opens offline; two roasts tapped there arrive as two batches in order."""
    phone = away(house, screen)
    for _ in range(2):
        for moment in ROAST:
            phone.pad(moment)
        phone.after_drop()
        phone.tap("Charge now")
    expect(phone.by_id("waiting")).to_have_text("10 waiting")
    expect(phone.by_id("echo-state")).to_contain_text("saved here")
    back(phone, house)
    moments = house.said("moment")
    assert [entry["body"]["moment"] for entry in moments] == [word.lower().replace(" ", "_") for word in ROAST] * 2
    assert [entry["at_ms"] for entry in moments] == sorted(entry["at_ms"] for entry in moments)
    batches = house.server.get("/api/batches?practice=1")["batches"]
    assert {batch["state"] for batch in batches} == {"cooling"}
    assert [entry["batch"] for entry in moments] == [
        code for batch in reversed(batches) for code in [batch["code"]] * 4
    ]


@pytest.mark.drawn
def test_a_roast_goes_on_over_a_reload_without_a_network(house: House, screen: MakeScreen):
    """A page reloaded offline knows all that was tapped since it was kept, sent or not."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()
    cut(phone, house)
    phone.pad("Yellow")
    phone.page.reload()
    expect(phone.by_id("pad-next")).to_have_text("First crack")
    expect(phone.by_id("echo")).to_contain_text("Yellow")
    phone.pad("First crack")
    phone.tap("Undo")
    phone.tap("Log")
    taken_back = phone.page.locator("#log > li").filter(has_text="First crack")
    expect(taken_back).to_contain_text("not on the server yet")
    phone.tap("Close", phone.sheet("log"))
    back(phone, house)
    batch = house.server.get(f"/machines/{house.machine}/view")["batch"]
    assert [moment["moment"] for moment in batch["moments"]] == ["charge", "yellow"]


def test_a_tap_that_no_view_contains_yet_is_known_after_a_reload(house: House, screen: MakeScreen):
    """The server acknowledged it, and the network went before its view came: the page does not ask for it again."""
    phone = screen(house.wire, PHONE)
    phone.expected = [*CUT_ERRORS, "net::ERR_FAILED"]
    for unheard in ("**/live?*", "**/view"):
        phone.page.route(unheard, lambda route: route.abort())
    phone.open(f"/machines/{house.machine}")
    phone.until(lambda: f"/machines/{house.machine}" in kept_paths(phone), "the live page is not kept")
    phone.pad("Charge")
    phone.sent()
    cut(phone, house)
    phone.page.reload()
    expect(phone.by_id("pad-next")).to_have_text("Yellow")
    for unheard in ("**/live?*", "**/view"):
        phone.page.unroute(unheard)
    phone.pad("Yellow")
    expect(phone.by_id("waiting")).to_have_text("1 waiting")
    back(phone, house)
    assert [entry["body"]["moment"] for entry in house.said("moment")] == ["charge", "yellow"]


def test_a_page_of_yesterday_begins_a_new_batch(house: House, screen: MakeScreen):
    """A cached page shows its age; a tap on one whose batch is a day old opens a new batch."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()
    cut(phone, house)
    phone.context.add_init_script(TOMORROW)
    phone.page.reload()
    expect(phone.by_id("age")).to_have_text("Readings 24 h old")
    expect(phone.by_id("trouble-said")).to_contain_text("24 h old. A tap starts a new batch.")
    phone.pad("Charge")
    phone.pad("Yellow")
    back(phone, house)
    entries = house.said("moment")[1:]
    assert [entry["body"]["moment"] for entry in entries] == ["charge", "yellow"]
    assert len(house.said("joined")) == 1  # by the server's clock no day has passed, so it is the same batch
    assert abs(entries[1]["at_ms"] - time.time() * 1000) < 60_000  # by the server's clock, not by the phone's


def test_a_page_that_was_never_kept_says_which_are(house: House, screen: MakeScreen):
    """An unknown page offline says that it is not kept, and lists those that are."""
    phone = away(house, screen)
    phone.open("/batches")
    expect(phone.page.get_by_role("heading", name="Offline")).to_be_visible()
    phone.page.locator("#kept-pages a").filter(has_text="Practice").first.tap()
    expect(phone.by_id("phase")).to_contain_text("offline")
    phone.open("/start")  # a redirect is not kept; the only machine's start page stands in for it
    expect(phone.page.get_by_role("heading", name="Start a batch")).to_be_visible()
    expect(phone.by_id("no-server")).to_contain_text("a batch cannot be started here")
    phone.page.get_by_label("Coffee").fill("Alder")
    phone.tap("Start")
    expect(phone.by_id("no-server")).to_contain_text("Nothing was sent")
    expect(phone.page.get_by_label("Coffee")).to_have_value("Alder")
    house.wire.mend()
    phone.context.set_offline(False)
    expect(phone.by_id("no-server")).to_contain_text("Back online")


def test_a_network_that_hangs_does_not_hold_up_the_page(house: House, screen: MakeScreen):
    """The kept page opens although requests hang, and it reports the missing stream."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    kept_live(phone, house)
    house.wire.hang()
    asked_s = time.monotonic()
    phone.page.reload()
    print(f"kept page after {time.monotonic() - asked_s:.1f} s on a network that hangs")
    assert phone.page.evaluate("Boolean(document.documentElement.dataset.keptMs)")
    phone.pad("Charge")
    expect(phone.by_id("waiting")).to_have_text("2 waiting")
    back(phone, house)


def test_a_stream_that_hangs_is_noticed(house: House, screen: MakeScreen):
    """An open live page reports an unreachable server although no connection broke."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    kept_live(phone, house)
    house.wire.hang()
    expect(phone.by_id("phase")).to_contain_text("offline")
    house.wire.mend()
    expect(phone.by_id("phase")).not_to_contain_text("offline")


def test_today_says_how_old_its_numbers_are(house: House, screen: MakeScreen):
    """Numbers on Today that are no longer updated are marked with their age."""
    phone = screen(house.wire, PHONE)
    phone.expected = [*CUT_ERRORS, "htmx:"]
    phone.open("/")
    card, state, old = (
        phone.page.locator(".now-inner"),
        phone.page.locator(".now-head .quiet").first,
        re.compile(r"\bold\b"),
    )
    expect(card).to_contain_text("°/min")
    expect(card).not_to_have_class(old)
    for away, returns in (house.wire.hang, house.wire.mend), (house.stop, house.start):
        away()
        expect(card).to_have_class(old)
        expect(state).to_have_text(re.compile(r"^▲ Readings \d+ s old$"))
        returns()
        expect(card).not_to_have_class(old)
        expect(state).not_to_contain_text("old")


def test_weighing_without_a_network(house: House, screen: MakeScreen):
    """The weigh-out of a batch just dropped opens offline, opened before or not; the weight waits, and arrives."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    kept_live(phone, house)
    for moment in ROAST:
        phone.pad(moment)
    phone.sent()
    code = house.server.get(f"/machines/{house.machine}/view")["batch"]["code"]
    phone.until(lambda: f"/batches/{code}/weigh" in kept_paths(phone), "the weigh-out is not kept")
    cut(phone, house)
    phone.after_drop()
    phone.tap("Defects, note")
    expect(phone.by_id("no-server")).to_contain_text("the weight is saved on this device")
    phone.page.get_by_label("Roasted", exact=True).fill("840,5")
    phone.tap("Save weight")
    expect(phone.by_id("weigh-waits")).to_contain_text("840,5 g saved on this device")
    assert house.said("weighed") == []
    house.wire.mend()
    phone.context.set_offline(False)
    phone.page.wait_for_url(re.compile(rf"/batches/{code}$"))
    assert [entry["body"]["roasted_g"] for entry in house.said("weighed")] == [840.5]


def test_a_refused_tap_can_be_changed_or_deleted(house: House, screen: MakeScreen):
    """A refused tap stays with its reason, over a reload too, until it is changed and sent, or deleted."""
    phone = screen(house.wire, PHONE)
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()
    view = house.server.get(f"/machines/{house.machine}/view")
    control = view["controls"][0]
    for _ in range(2):
        phone.page.evaluate(SAY, [house.machine, view["batch"]["code"], {"control": control["id"], "setting": 9999}])
    notices = phone.page.locator("#notices .refused")
    phone.page.reload()
    expect(notices).to_have_count(2)
    expect(notices.first).to_contain_text(f"{control['name']} must be")
    notices.first.get_by_role("button", name="Remove").tap()
    expect(notices).to_have_count(1)
    notices.first.get_by_role("button", name="Change").tap()
    phone.page.get_by_label("Setting").fill("x")
    phone.tap("Send again")
    expect(phone.by_id("edit-said")).to_have_text("“x” is not a number.")
    phone.page.get_by_label("Setting").fill(str(control["high"]))
    phone.tap("Send again")
    expect(notices).to_have_count(0)
    phone.until(
        lambda: [entry for entry in house.said("move") if entry["body"]["setting"] == control["high"]], "not sent"
    )
    phone.page.reload()
    phone.settled()
    expect(phone.by_id("waiting")).to_have_text("0 waiting")
    expect(notices).to_have_count(0)


def test_nothing_of_the_api_is_kept(house: House, screen: MakeScreen):
    """The worker keeps files, libraries and the pages of roast and bench, and no answer of the API and no record."""
    phone = screen(house.wire, PHONE)
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()
    expect(phone.by_id("kept-line")).to_contain_text("also opens offline")
    phone.open("/batches")
    phone.open("/settings")
    allowed = r"/(|offline|start|weigh|scan|static/.*|vendor/.*|machines/[^/]+(/start)?|batches/[^/]+/(weigh|label))"
    assert [path for path in kept_paths(phone) if not re.fullmatch(allowed, path)] == []


def test_a_browser_that_blocks_workers_works_as_ever(house: House, screen: MakeScreen):
    """Pages work where workers are blocked, and the page of this device says what is missing."""
    phone = screen(house.wire, PHONE, service_workers="block")
    for path in ("/", f"/machines/{house.machine}", "/this-device"):
        phone.open(path)
        phone.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        phone.page.evaluate("document.dispatchEvent(new Event('serverback'))")
    row = phone.page.locator('[data-check="worker"]')
    expect(row.locator("[data-said]:visible")).to_contain_text("✗ No. The browser blocks it")
    expect(row).to_contain_text("Taps still wait while the page stays open.")


def test_plain_http_logs_all_the_same(house: House, browser: Browser):
    """Taps wait and arrive at an address that is not secure; the log sheet says that the page is not kept."""
    rules = "--host-resolver-rules=MAP roastery.local 127.0.0.1"
    plain = browser.browser_type.launch(executable_path=chromium.shell(), args=[*chromium.FLAGS, rules])
    phone = Screen(plain.new_context(**PHONE), house.wire.url.replace("127.0.0.1", "roastery.local"))
    phone.expected = [*CUT_ERRORS, "Cross-Origin-Opener-Policy header has been ignored", "status of 401"]
    phone.pair(house.server.code("operate"))  # under such a name this computer is not the owner
    phone.open_live(house.machine)
    assert phone.page.evaluate("[isSecureContext, 'serviceWorker' in navigator]") == [False, False]
    expect(phone.by_id("kept-line")).to_contain_text("that needs a secure address (https)")
    house.wire.cut()
    phone.pad("Charge")
    expect(phone.by_id("echo-state")).to_contain_text("saved here")
    expect(phone.by_id("waiting")).to_have_text("2 waiting")
    back(phone, house)
    assert [entry["body"] for entry in house.said("moment")] == [{"moment": "charge"}]
    assert phone.unexpected == []
    plain.close()


def test_a_tap_outlasts_a_page_that_ends_before_it_is_stored(house: House, screen: MakeScreen):
    """Two taps survive a page that is closed before the database of the phone has answered."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    phone.page.add_init_script(DEAF_DATABASE)
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()
    cut(phone, house)
    phone.page.evaluate("sessionStorage.deaf = 'yes'")
    phone.page.reload()
    phone.pad("Yellow")
    phone.pad("First crack")
    phone.page.evaluate("sessionStorage.removeItem('deaf')")
    phone.page.reload()
    expect(phone.by_id("waiting")).to_have_text("2 waiting")
    expect(phone.by_id("pad-next")).to_have_text("Drop")
    back(phone, house)
    assert [entry["body"]["moment"] for entry in house.said("moment")] == ["charge", "yellow", "first_crack"]
    assert phone.page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('drumside-said-'))") == []


SAY = """async ([machine, batch, body]) => {
  const root = document.querySelector("script[src*='/js/machine/live.js']").src.replace("/machine/live.js", "");
  const { Outbox, newId } = await import(`${root}/offline/outbox.js`);
  const entry = { id: newId(), machine, batch, kind: "move", at_ms: Date.now(), by: {}, body };
  await new Outbox().add([entry]);
}"""


def away(house: House, screen: MakeScreen) -> Screen:
    """A phone that saw the live page once, was put away, and opens it with no network."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    kept_live(phone, house)
    phone.until(lambda: f"/machines/{house.machine}/start" in kept_paths(phone), "the start page is not kept")
    phone.open("/offline")
    cut(phone, house)
    phone.open(f"/machines/{house.machine}")
    expect(phone.by_id("phase")).to_contain_text("offline")
    return phone


def cut(phone: Screen, house: House) -> None:
    """The network goes away."""
    house.wire.cut()
    phone.context.set_offline(True)


def back(phone: Screen, house: House) -> None:
    """The network comes back, and all that waits is sent."""
    house.wire.mend()
    phone.context.set_offline(False)
    expect(phone.by_id("waiting")).to_have_text("0 waiting")
    expect(phone.by_id("phase")).not_to_contain_text("offline")
