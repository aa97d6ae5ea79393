"""The photo of a trier check: from the sheet to the log, the record and its own page, with and without a network."""

from pathlib import Path

import pytest
from playwright.sync_api import Locator, Route, expect

from tests.browser.axe import violations
from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server
from tests.test_pictures import photo_with_notes


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    """A phone's photo, as a file."""
    path = tmp_path / "photo.jpg"
    path.write_bytes(photo_with_notes())
    return path


@pytest.fixture
def own(house: House, screen: MakeScreen) -> Screen:
    """A phone with the live page open, whose network may be cut."""
    own = screen(house.wire, PHONE)
    own.expected += CUT_ERRORS
    own.open_live(house.machine)
    return own


@pytest.fixture
def single(house: House, screen: MakeScreen) -> Screen:
    """A phone whose browser has no worker: all that it sends, the page sends, where a test can answer in its place."""
    phone = screen(house.wire, PHONE, service_workers="block")
    phone.expected += [*CUT_ERRORS, "status of 422"]
    phone.open_live(house.machine)
    return phone


def check_with_photo(phone: Screen, picture: Path) -> None:
    """Open the trier sheet, take a photo, and keep a colour by tapping it twice."""
    sheet = open_trier(phone)
    sheet.locator("[data-photo]").set_input_files(picture)
    for _ in range(2):
        sheet.locator("[data-stage=tan]").tap()
    expect(sheet).to_be_hidden()


def open_trier(phone: Screen) -> Locator:
    """The trier sheet, opened."""
    phone.page.locator("[data-sheet=trier]").first.tap()
    return phone.sheet("trier")


def arrived(house: House, phone: Screen, count: int) -> list[str]:
    """Names of the photos of so many checks, once the server has them all."""
    phone.until(lambda: len(house.said("trier")) == count, "the checks have not arrived")
    names = [check["body"]["photo"] for check in house.said("trier")]
    for name in names:
        phone.until(lambda name=name: is_here(house, phone, name), "a photo has not arrived")
    return names


def is_here(house: House, phone: Screen, name: str) -> bool:
    """Whether the server has the photo."""
    return bool(phone.context.request.get(f"{house.server.url}/photos/{name}").status == 200)


def open_log(phone: Screen) -> Locator:
    """The lines of the log, opened."""
    expect(phone.by_id("actions-idle")).to_be_visible()
    phone.tap("Log")
    return phone.page.locator("#log > li")


def is_drawn(phone: Screen, image: Locator, height: int) -> None:
    """Wait until a picture is there, at its height."""
    image.scroll_into_view_if_needed()
    phone.until(lambda: image.evaluate("(img) => img.naturalHeight") == height, "no picture")


def test_a_photo_goes_with_its_check(house: House, own: Screen, picture: Path):
    """A photo taken offline follows its tap to the log, the record, its own page and the bag's page."""
    check_with_photo(own, picture)
    arrived(house, own, 1)
    house.wire.cut()
    check_with_photo(own, picture)
    says = open_trier(own).locator("[data-photo-says]")
    expect(says).to_have_text("1 photo is waiting for the server.")
    own.tap("Close", own.sheet("trier"))
    expect(open_log(own).first).to_contain_text("waiting here, with its photo")
    house.wire.mend()
    names = arrived(house, own, 2)
    photos = own.page.locator("#log img")
    expect(photos).to_have_count(2)
    expect(photos.first).to_have_attribute("alt", "Photo: Trier: tan")
    is_drawn(own, photos.first, 480)
    assert violations(own.page, "dialog[open]") == []
    photos.first.tap()
    large = own.page.locator(".photo-large img")
    is_drawn(own, large, 1600)
    assert violations(own.page) == []
    own.tap("Record")
    expect(own.page.locator(".photo img")).to_have_count(2)
    for name in names:
        is_drawn(own, own.page.locator(f".photo img[src*='{name}']"), 480)
    form = {"units_temp": "C", "units_mass": "kg", "bag_shows_photos": "on"}
    own.context.request.post(f"{house.server.url}/settings", form=form)
    own.page.get_by_text("More with this batch").tap()
    own.tap("Bag page")
    expect(own.page.locator(".beans img")).to_have_count(2)
    is_drawn(own, own.page.locator(".beans img").last, 640)
    assert violations(own.page) == []
    own.page.go_back()
    own.page.go_back()
    own.tap("Back to the live page")
    own.settled()


def test_a_photo_that_fails_holds_up_no_other(house: House, single: Screen, picture: Path):
    """A photo that the server fails to take holds up no other; it arrives later."""
    stumbling: list[str] = []

    def stumble(route: Route) -> None:
        if not stumbling:
            stumbling.append(route.request.url)
        if route.request.url in stumbling:
            route.fulfill(status=500)
        else:
            route.continue_()

    posts = "**/photos/*-*"
    single.page.route(posts, stumble)
    check_with_photo(single, picture)
    single.until(lambda: stumbling, "nothing was sent")
    check_with_photo(single, picture)
    single.until(lambda: len(house.said("trier")) == 2, "the checks have not arrived")
    first, second = (check["body"]["photo"] for check in house.said("trier"))
    single.until(lambda: is_here(house, single, second), "the second photo is held up")
    assert stumbling[0].endswith(first)
    assert not is_here(house, single, first)
    single.page.unroute(posts)
    single.until(lambda: is_here(house, single, first), "the first photo has not arrived")


def test_a_refused_photo_stays_until_it_is_sent_again_or_deleted(house: House, single: Screen, picture: Path):
    """A refused photo stays with its reason, over a closed page too; sent again it arrives, deleted it is gone."""
    posts, reason = "**/photos/*-*", "This picture is damaged."
    single.page.route(posts, lambda route: route.fulfill(status=422, json={"says": reason}))
    check_with_photo(single, picture)
    notice = single.page.locator("#notices .notice")
    expect(notice).to_contain_text(f"The check is saved. {reason}")
    single.page.goto(f"{single.url}/batches")
    expect(single.page.locator("main > .notice")).to_contain_text("1 photo was not saved. The live page shows why")
    single.page.unroute(posts)
    single.open_live(house.machine)
    single.tap("Send again", notice)
    arrived(house, single, 1)
    expect(notice).to_have_count(0)
    single.page.route(posts, lambda route: route.fulfill(status=422, json={"says": reason}))
    check_with_photo(single, picture)
    single.tap("Remove", notice)
    expect(notice).to_have_count(0)
    single.open("/batches")
    expect(single.page.locator("h1")).to_be_visible()
    expect(single.page.locator("main > .notice")).to_have_count(0)


def test_a_photo_that_waits_is_sent_from_any_page(house: House, own: Screen, picture: Path):
    """A tap and a photo made offline are sent by another page, opened after the live page was closed."""
    house.wire.cut()
    check_with_photo(own, picture)
    says = open_trier(own).locator("[data-photo-says]")
    expect(says).to_have_text("1 photo is waiting for the server.")
    own.page.close()
    house.wire.mend()
    own.page = own.context.new_page()
    own.open("/batches")
    arrived(house, own, 1)


def checks(demo: Server, code: str) -> list[dict[str, object]]:
    """What was said in the trier checks of a batch."""
    return [entry["body"] for entry in demo.get(f"/api/batches/{code}")["entries"] if entry["kind"] == "trier"]


def test_a_photo_of_a_check_that_was_not_kept_is_not_sent(demo: Server, phone: Screen, roast: str, picture: Path):
    """Closing the sheet discards the photo: nothing waits, and the next check has none."""
    phone.open_live()
    sheet = open_trier(phone)
    sheet.locator("[data-photo]").set_input_files(picture)
    expect(sheet.locator("[data-photo-says]")).to_have_text("Photo added to this check.")
    phone.tap("Close", sheet)
    sheet = open_trier(phone)
    expect(sheet.locator("[data-photo-says]")).to_have_text("")
    for _ in range(2):
        sheet.locator("[data-stage=tan]").tap()
    phone.sent()
    assert checks(demo, roast) == [{"stage": "tan"}]


def test_a_photo_that_the_browser_cannot_read_is_reported(demo: Server, phone: Screen, roast: str, tmp_path: Path):
    """An unreadable photo, such as a HEIC, is reported with what to do; the check is kept without it."""
    heic = tmp_path / "photo.heic"
    heic.write_bytes(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 400)
    phone.open_live()
    sheet = open_trier(phone)
    sheet.locator("[data-photo]").set_input_files(heic)
    says = sheet.locator("[data-photo-says]")
    expect(says).to_contain_text("This browser cannot read the picture")
    expect(says).to_contain_text("The check is saved without it. Set the camera to JPEG and take it again.")
    for _ in range(2):
        sheet.locator("[data-stage=tan]").tap()
    phone.sent()
    assert checks(demo, roast) == [{"stage": "tan"}]
