"""Scanning a label: Chromium films a label that we drew (a file in place of a camera); or a photo is chosen.

Chromium on Linux has no BarcodeDetector, so that here the server reads the frames.
"""

import re
from dataclasses import replace
from pathlib import Path
from urllib.request import urlopen

import pytest
from PIL import Image
from playwright.sync_api import Browser, expect

from tests import chromium
from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House, kept_live, kept_paths
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server
from tests.label.test_reading import LABEL, jpeg, photo


@pytest.fixture
def label(demo: Server) -> tuple[str, Image.Image]:
    """The path of a record of the demo's week, and a photo of its label, 640 × 480."""
    with urlopen(f"{demo.url}/batches", timeout=20) as page:
        path = re.findall(r'href="(/batches/\d{5}-\w+)"', page.read().decode())[-1]
    with urlopen(demo.url + path, timeout=20) as page:
        token = re.search(r"/r/([\w-]+)", page.read().decode())[1]
    frame = Image.new("RGB", (640, 480), "#777066")
    frame.paste(
        photo(label=replace(LABEL, url=f"https://roastery.example/r/{token}")).crop((60, 60, 640, 440)), (30, 50)
    )
    return path, frame


def filming(browser: Browser, film: Path) -> Browser:
    """A Chromium of its own whose camera is a file."""
    fake = ["--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={film}"]
    launch = browser.browser_type.launch
    # The headless shell has no camera.
    return launch(executable_path=chromium.executable(), args=[*chromium.FLAGS, *fake])


def film_of(frame: Image.Image, folder: Path) -> Path:
    """A film of one frame again and again, turned a little: motion JPEG is JPEGs in a row."""
    film = folder / "film.mjpeg"
    film.write_bytes(b"".join(jpeg(frame.rotate(angle, fillcolor="#777066"), 90) for angle in (0, 2, 4, 6, 4, 2) * 3))
    return film


def test_the_camera_leads_to_the_record(browser: Browser, demo: Server, label: tuple[str, Image.Image], tmp_path: Path):
    """The page starts the camera by itself, reads a label, and opens the record of its batch."""
    path, frame = label
    phone = filming(browser, film_of(frame, tmp_path))
    screen = Screen(phone.new_context(**PHONE, permissions=["camera"]), demo.url)
    screen.open("/scan")
    expect(screen.page).to_have_url(demo.url + path)
    assert screen.unexpected == []
    phone.close()


def test_the_camera_stops(browser: Browser, demo: Server, tmp_path: Path):
    """The camera stops by its button and when the page is hidden, and starts again when asked."""
    phone = filming(browser, film_of(Image.new("RGB", (640, 480), "#777066"), tmp_path))
    screen = Screen(phone.new_context(**PHONE, permissions=["camera"]), demo.url)
    screen.page.add_init_script("""const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
      window.tracks = [];
      navigator.mediaDevices.getUserMedia = async (wish) => {
        const stream = await ask(wish);
        window.tracks.push(...stream.getTracks());
        return stream;
      };""")
    screen.open("/scan")
    states = "window.tracks.map((track) => track.readyState)"
    expect(screen.by_id("scan-view")).to_be_visible()
    assert screen.page.evaluate(states) == ["live"]
    screen.tap("Stop the camera")
    assert screen.page.evaluate(states) == ["ended"]
    expect(screen.by_id("scan-view")).to_be_hidden()
    screen.tap("Start the camera")
    expect(screen.by_id("scan-view")).to_be_visible()
    screen.page.evaluate("""() => {
      Object.defineProperty(document, "hidden", { value: true });
      document.dispatchEvent(new Event("visibilitychange"));
    }""")
    assert screen.page.evaluate(states) == ["ended", "ended"]
    assert screen.unexpected == []
    phone.close()


def test_a_photo_leads_to_the_record(demo: Server, screen: MakeScreen, label: tuple[str, Image.Image], tmp_path: Path):
    """A device without a camera is told so; a photo of a label opens its record, one without a QR is reported."""
    path, frame = label
    phone = screen(demo, PHONE)
    phone.open("/scan")
    expect(phone.by_id("scan-says")).to_have_text(re.compile("Take a photo"))
    expect(phone.by_id("scan-start")).to_be_hidden()
    for name, picture in (("bench.jpg", Image.new("RGB", (800, 600), "#777066")), ("label.jpg", frame)):
        (tmp_path / name).write_bytes(jpeg(picture))
    phone.by_id("scan-photo").set_input_files(tmp_path / "bench.jpg")
    expect(phone.by_id("scan-says")).to_have_text(re.compile("No QR code found"))
    phone.by_id("scan-photo").set_input_files(tmp_path / "label.jpg")
    expect(phone.page).to_have_url(demo.url + path)


def test_without_a_network_a_typed_code_opens_what_is_kept(house: House, screen: MakeScreen):
    """Scan opens offline, says that a QR needs the server, and opens the weigh-out of a typed code that is kept."""
    phone = screen(house.wire, PHONE)
    phone.expected += CUT_ERRORS
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()
    code = house.said("opened")[0]["batch"]
    needed = {"/scan", "/", f"/batches/{code}/weigh"}
    phone.until(lambda: needed <= set(kept_paths(phone)), "the scan page is not kept")
    house.wire.cut()
    phone.open("/")
    phone.tap("Scan a label", exact=False)
    expect(phone.by_id("no-server")).to_contain_text("QR codes need the server")
    phone.by_id("code").fill(code.replace("-", "").lower())
    phone.tap("Find")
    expect(phone.page).to_have_url(re.compile(rf"/batches/{code}/weigh$"))
    phone.open("/scan")
    phone.by_id("code").fill("26330-04X")
    phone.tap("Find")
    expect(phone.page.get_by_role("heading", level=1)).to_have_text("Offline")
    expect(phone.by_id("kept-pages")).to_contain_text("Scan")
