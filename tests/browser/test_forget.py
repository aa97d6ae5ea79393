"""A device that is forgotten keeps nothing, and asks first where taps wait."""

from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House, kept_live
from tests.browser.screen import PHONE
from tests.browser.test_pairing import ELSEWHERE, NOT_LET_IN

KEPT = """async () => {
  const result = (request) => new Promise((resolve) => (request.onsuccess = () => resolve(request.result)));
  let kept = (await caches.keys()).length + Object.keys(localStorage).filter((key) => /said|view/.test(key)).length;
  for (const { name } of await indexedDB.databases()) {
    const database = await result(indexedDB.open(name));
    for (const store of database.objectStoreNames) {
      kept += await result(database.transaction(store).objectStore(store).count());
    }
  }
  return kept;
}"""


def test_a_forgotten_phone_keeps_nothing_and_asks_while_taps_wait(house: House, screen: MakeScreen):
    """The number of waiting taps is shown first; a second press deletes all of them."""
    phone = screen(house.wire, PHONE, extra_http_headers=ELSEWHERE)
    phone.expected = [*CUT_ERRORS, *NOT_LET_IN]
    phone.pair(house.server.code("operate"), "Bench phone")
    kept_live(phone, house)
    phone.page.route("**/api/entries", lambda route: route.abort())
    phone.pad("Charge")
    expect(phone.by_id("waiting")).to_have_text("2 waiting")
    phone.open("/this-device")
    assert phone.page.evaluate(KEPT) > 2
    phone.tap("Forget this device")
    expect(phone.by_id("forget-waiting")).to_contain_text("2 taps")
    phone.tap("Forget this device")
    phone.page.wait_for_url("**/pair")
    assert phone.page.evaluate(KEPT) == 0
    assert house.said("moment") == []
