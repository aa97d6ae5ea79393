"""Photos of trier checks: taken in within limits, kept bare, shown in the record, and in the backups."""

import io
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from werkzeug.test import TestResponse

from roastlog.services import Role
from roastlog.services.keeping import back_up, restore
from roastlog.store.store import Store
from tests.conftest import Bench
from tests.test_pictures import bomb, encoded, photo_with_notes
from tests.web.walk import browser


def send(bench: Bench, name: str, picture: bytes, role: Role = Role.OPERATE) -> TestResponse:
    """Send a photo as a phone does."""
    head = b'--x\r\nContent-Disposition: form-data; name="picture"; filename="photo.jpg"\r\n\r\n'
    kind = "multipart/form-data; boundary=x"
    body = head + picture + b"\r\n--x--\r\n"
    return browser(bench, role).post(f"/photos/{name}", data=body, content_type=kind)


def kept(bench: Bench) -> int:
    """How many photos there are."""
    return int(bench.services.store.read.execute("SELECT count(*) FROM photos").fetchone()[0])


def test_a_photo_is_kept_bare_and_shown_in_the_record(bench: Bench):
    """First it is missing, in words; then it is there, small and large, cached for good, without its position."""
    code, name = bench.roast(60), str(uuid4())
    bench.say(bench.entry("trier", 50, batch=code, stage="tan", photo=name))
    assert "The photo has not arrived here." in bench.client.get(f"/batches/{code}").text
    assert bench.client.get(f"/photos/{name}").status_code == 404
    assert send(bench, name, photo_with_notes()).get_json() == {"kept": name}
    page = bench.client.get(f"/batches/{code}").text
    assert f'<img src="/photos/{name}"' in page
    assert "has not arrived" not in page
    answer = browser(bench, Role.LOOK).get(f"/photos/{name}")
    assert (answer.mimetype, answer.headers["Cache-Control"]) == ("image/jpeg", "private, max-age=31536000, immutable")
    assert b"SECRET" not in answer.data
    assert b"Exif" not in answer.data
    assert Image.open(io.BytesIO(answer.data)).size == (800, 1600)


def test_a_name_keeps_its_first_photo(bench: Bench):
    """Sent twice it counts once; another one cannot take its place."""
    name = str(uuid4())
    send(bench, name, encoded("PNG"))
    first = bench.client.get(f"/photos/{name}").data
    assert send(bench, name, encoded("WEBP", (30, 30))).status_code == 200
    assert bench.client.get(f"/photos/{name}").data == first
    assert kept(bench) == 1


@pytest.mark.parametrize("picture", [b"", b"no picture", encoded("GIF"), bomb(9_000), encoded("PNG", (400, 300))[:900]])
def test_what_is_no_photo_is_told_and_not_kept(bench: Bench, picture: bytes):
    """Nothing, text, another kind, a bomb, one cut short: a sentence each."""
    answer = send(bench, str(uuid4()), picture)
    assert answer.status_code == 422
    assert "picture" in answer.get_json()["says"]
    assert kept(bench) == 0


def test_more_than_a_megabyte_is_taken_here_and_more_than_eight_are_not(bench: Bench):
    """The limit is raised for this route alone (`test_scan.py` sends as much elsewhere)."""
    big = encoded("JPEG") + b"\0" * 3_000_000  # what follows the picture's end is no part of it
    assert send(bench, str(uuid4()), big).status_code == 200
    assert send(bench, str(uuid4()), big * 3).status_code == 413
    assert kept(bench) == 1


def test_who_may(bench: Bench):
    """Those who operate send, those who look see, and a name is a UUID."""
    name = str(uuid4())
    assert send(bench, name, encoded("PNG"), Role.LOOK).status_code == 403
    assert browser(bench).get(f"/photos/{name}").status_code == 401
    assert send(bench, "..%2fx", encoded("PNG")).status_code == 404
    assert browser(bench, Role.OPERATE).post(f"/photos/{name}").status_code == 422


def test_photos_are_in_the_backup(bench: Bench, tmp_path: Path):
    """A backup that is restored elsewhere has the photo."""
    name = str(uuid4())
    send(bench, name, encoded("PNG"))
    data = bench.client.get(f"/photos/{name}").data
    back_up(tmp_path / "data", tmp_path / "copy.db", bench.clock)
    restore(tmp_path / "copy.db", tmp_path / "elsewhere")
    store = Store(tmp_path / "elsewhere")
    assert store.read.execute("SELECT data FROM photos WHERE name = ?", (name,)).fetchone()[0] == data
    store.close()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.binary(max_size=400),
    st.sampled_from([b"", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n", b"RIFF\x10\0\0\0WEBPVP8 "]),
)
def test_whatever_comes_nothing_breaks_and_nothing_is_kept(bench: Bench, body: bytes, head: bytes):
    """Bytes made up behind the heads of pictures: a sentence each time."""
    answer = send(bench, str(uuid4()), head + body)
    assert answer.status_code == 422
    assert kept(bench) == 0
