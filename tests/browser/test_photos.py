"""The photo of a trier check: from the sheet to the record, and through a network that was away."""

from pathlib import Path

from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House
from tests.browser.screen import PHONE, Screen
from tests.test_pictures import photo_with_notes


def check_with_photo(phone: Screen, picture: Path) -> None:
    """Open the trier sheet, take a photo, and keep a colour by tapping it twice."""
    phone.page.locator("[data-sheet=trier]").first.tap()
    sheet = phone.sheet("trier")
    sheet.locator("[data-photo]").set_input_files(picture)
    for _ in range(2):
        sheet.locator("[data-stage=tan]").tap()
    expect(sheet).to_be_hidden()


def is_here(house: House, phone: Screen, name: str) -> bool:
    """Whether the server has the photo."""
    return bool(phone.context.request.get(f"{house.server.url}/photos/{name}").status == 200)


def test_a_photo_goes_with_its_check(house: House, screen: MakeScreen, tmp_path: Path):
    """With the network on, and while it is cut: the tap is kept at once, the photo follows, the record shows it."""
    picture = tmp_path / "photo.jpg"
    picture.write_bytes(photo_with_notes())
    phone = screen(house.wire, PHONE)
    phone.expected += CUT_ERRORS
    phone.open_live(house.machine)
    check_with_photo(phone, picture)
    phone.until(lambda: len(house.said("trier")) == 1, "the check has not arrived")
    first = house.said("trier")[0]
    phone.until(lambda: is_here(house, phone, first["body"]["photo"]), "the photo has not arrived")
    house.wire.cut()
    check_with_photo(phone, picture)
    phone.page.locator("[data-sheet=trier]").first.tap()
    expect(phone.sheet("trier").locator("[data-photo-says]")).to_have_text("1 photo waits for the server.")
    phone.tap("Close", phone.sheet("trier"))
    assert len(house.said("trier")) == 1
    house.wire.mend()
    phone.until(lambda: len(house.said("trier")) == 2, "the second check has not arrived")
    second = house.said("trier")[1]["body"]["photo"]
    phone.until(lambda: is_here(house, phone, second), "the second photo has not arrived")
    phone.open(f"/batches/{first['batch']}")
    photos = phone.page.locator(".photo img")
    expect(photos).to_have_count(2)
    for index in range(2):
        photos.nth(index).scroll_into_view_if_needed()
        phone.until(lambda at=index: photos.nth(at).evaluate("(img) => img.naturalHeight") == 1600, "no picture")
