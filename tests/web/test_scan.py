"""Scanning inside the app: a picture or a text leads to the batch's record, and never anywhere else."""

import io

import pytest
from PIL import Image

from roastlog.label.qr import QUIET, qr_symbol
from roastlog.services import Role
from tests.conftest import Bench
from tests.label.test_reading import jpeg
from tests.test_pictures import bomb
from tests.web.walk import browser


def symbol(text: str) -> bytes:
    """A photo of a QR with a text, drawn by our own code."""
    modules = qr_symbol(text).modules
    picture = Image.new("L", (len(modules) + 2 * QUIET,) * 2, 255)
    for row, cells in enumerate(modules):
        for column, dark in enumerate(cells):
            picture.putpixel((column + QUIET, row + QUIET), 0 if dark else 255)
    return jpeg(picture.resize((picture.width * 6,) * 2, Image.Resampling.NEAREST).convert("RGB"))


def scanned(bench: Bench, picture: bytes) -> dict[str, str]:
    """The server's answer to a picture sent by a phone."""
    answer = browser(bench, Role.LOOK).post("/scan", data={"picture": (io.BytesIO(picture), "frame.jpg")})
    assert answer.status_code == 200, answer.text
    said: dict[str, str] = answer.get_json()
    return said


def test_a_label_leads_to_its_batch(bench: Bench):
    """By the address on its label, even with another server address at printing time; by its code too."""
    code = bench.roast(30)
    url = bench.services.labels.address(code).url
    token = url.rpartition("/")[2]
    for text in (url, f"https://old.example:8443/r/{token}", code, code.lower().replace("-", "")):
        assert scanned(bench, symbol(text)) == {"to": f"/batches/{code}"}
        said = browser(bench, Role.LOOK).post("/scan", data={"text": text})
        assert said.get_json() == {"to": f"/batches/{code}"}


@pytest.mark.parametrize(
    "text",
    [
        "https://elsewhere.example/",
        "https://elsewhere.example/r/x/../../batches",
        "javascript:alert(1)",
        "//elsewhere.example/r/x",
        "WIFI:S:guests;T:WPA;P:hello;;",
        "<b>x</b>",
        "26330-04X",
    ],
)
def test_another_qr_opens_nothing(bench: Bench, text: str):
    """The message contains neither the QR's text nor an address."""
    said = scanned(bench, symbol(text))
    assert said.keys() == {"says"}
    assert said["says"].endswith("not from a bag label of this roastery.")
    assert text not in said["says"]


def test_a_label_of_another_house_or_a_withdrawn_one_is_reported(bench: Bench):
    """An unknown token and a withdrawn one each have their own message."""
    code = bench.roast(30)
    url = bench.services.labels.address(code).url
    assert "from no batch here" in scanned(bench, symbol("https://other.example/r/abcdefghijklmnop"))["says"]
    bench.services.bags.withdraw_code(code)
    assert "was withdrawn" in scanned(bench, symbol(url))["says"]


@pytest.mark.parametrize("picture", [b"", b"no picture", bomb(5_000, 5_000)])
def test_invalid_picture_is_reported(bench: Bench, picture: bytes):
    """Empty data, text, and a bomb get a message."""
    assert "Picture must" in scanned(bench, picture)["says"]


def test_a_picture_without_a_qr_says_nothing(bench: Bench):
    """A camera frame of the bench continues the scan."""
    assert scanned(bench, jpeg(Image.new("RGB", (640, 480), "#777066"))) == {}
    assert browser(bench, Role.LOOK).post("/scan").get_json() == {}


def test_a_picture_of_many_bytes_is_refused_unread(bench: Bench):
    """Pages send small frames; a form may have at most a megabyte."""
    body = b'--x\r\nContent-Disposition: form-data; name="picture"; filename="big.jpg"\r\n\r\n' + b"x" * 1_100_000
    kind = "multipart/form-data; boundary=x"
    answer = browser(bench, Role.LOOK).post("/scan", data=body + b"\r\n--x--\r\n", content_type=kind)
    assert answer.status_code == 413


def test_a_stranger_scans_nothing(bench: Bench):
    """Only paired devices scan; a customer's camera opens the bag page."""
    url = bench.services.labels.address(bench.roast(30)).url
    assert browser(bench).post("/scan", data={"text": url}).status_code == 401
