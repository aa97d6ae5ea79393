"""Photos of trier checks: accepted within limits, stripped of metadata, shown in the record, and backed up."""

import io
import json
import re
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from werkzeug.test import TestResponse

from roastlog.services import Role
from roastlog.services.backups import back_up, restore
from roastlog.store.store import Store
from tests.conftest import Bench
from tests.test_pictures import bomb, encoded, photo_with_notes
from tests.web.walk import browser


def send(bench: Bench, name: str, picture: bytes, role: Role = Role.OPERATE) -> TestResponse:
    """Send a photo in the form that a phone sends."""
    head = b'--x\r\nContent-Disposition: form-data; name="picture"; filename="photo.jpg"\r\n\r\n'
    kind = "multipart/form-data; boundary=x"
    body = head + picture + b"\r\n--x--\r\n"
    return browser(bench, role).post(f"/photos/{name}", data=body, content_type=kind)


def kept(bench: Bench) -> int:
    """Number of stored photos."""
    return int(bench.services.store.read.execute("SELECT count(*) FROM photos").fetchone()[0])


def test_a_photo_is_kept_bare_and_shown_in_the_record(bench: Bench):
    """First it is shown as missing; then small and large, cached for ever, without its position."""
    code, name = bench.roast(60), str(uuid4())
    bench.say(bench.entry("trier", 50, batch=code, stage="tan", photo=name))
    assert "The photo has not arrived yet." in bench.client.get(f"/batches/{code}").text
    assert bench.client.get(f"/photos/{name}").status_code == 404
    assert send(bench, name, photo_with_notes()).get_json() == {"kept": name}
    page = bench.client.get(f"/batches/{code}").text
    assert f'<a class="photo" href="/batches/{code}/photos/{name}"><img src="/photos/{name}/small" alt="Photo: ' in page
    assert "has not arrived" not in page
    small = browser(bench, Role.LOOK).get(f"/photos/{name}/small")
    assert small.headers["Cache-Control"] == "private, max-age=31536000, immutable"
    assert Image.open(io.BytesIO(small.data)).size == (240, 480)
    answer = browser(bench, Role.LOOK).get(f"/photos/{name}")
    assert (answer.mimetype, answer.headers["Cache-Control"]) == ("image/jpeg", "private, max-age=31536000, immutable")
    assert b"SECRET" not in answer.data
    assert b"Exif" not in answer.data
    assert Image.open(io.BytesIO(answer.data)).size == (800, 1600)


def test_a_name_keeps_its_first_photo(bench: Bench):
    """The same photo sent twice counts once; another one cannot replace it."""
    name = str(uuid4())
    send(bench, name, encoded("PNG"))
    first = bench.client.get(f"/photos/{name}").data
    assert send(bench, name, encoded("WEBP", (30, 30))).status_code == 200
    assert bench.client.get(f"/photos/{name}").data == first
    assert kept(bench) == 1


def test_a_photo_has_a_page_of_its_own(bench: Bench):
    """The photo with its time in the batch, colour, aroma, temperature and links; or a message if it is missing."""
    code, name = bench.roast(60), str(uuid4())
    bench.say(bench.entry("trier", 50, batch=code, stage="tan", words=["toast", "malt"], photo=name))
    path = f"/batches/{code}/photos/{name}"
    missing = browser(bench, Role.LOOK).get(path).text
    assert "The photo has not arrived; its entry is saved." in missing
    assert "<img" not in missing
    send(bench, name, photo_with_notes())
    page = browser(bench, Role.LOOK).get(path).text
    assert f'<img src="/photos/{name}" width="800" height="1600" alt="Photo: Trier: tan, toast, malt">' in page
    for told in ("0:50", "tan", "toast, malt", "Ines", f'href="/batches/{code}"', 'href="/machines/drum-4"'):
        assert told in page
    assert re.search(r"<dt>Beans</dt><dd>[\d.]+\s°C</dd>", page)
    bench.say(bench.entry("weighed", 90, batch=code, roasted_g=3000))
    assert 'href="/machines/drum-4"' not in bench.client.get(path).text


def test_a_photo_of_another_batch_is_not_shown_under_this_one(bench: Bench):
    """A photo of another batch, an unnamed one, and one under an invalid code each give a message."""
    code, other, name = bench.open(), bench.open(coffee="Alder washed"), str(uuid4())
    bench.say(bench.entry("trier", 5, batch=other, stage="tan", photo=name))
    send(bench, name, encoded("PNG"))
    assert bench.client.get(f"/batches/{other}/photos/{name}").status_code == 200
    answer = bench.client.get(f"/batches/{code}/photos/{name}")
    assert answer.status_code == 404
    assert f"No trier check of batch {code} has that photo." in answer.text
    assert bench.client.get(f"/batches/26-1/photos/{name}").status_code == 404


def test_a_check_that_was_taken_back_keeps_its_photo(bench: Bench):
    """Its page says that it does not count, since the undo may be undone."""
    code, name = bench.open(), str(uuid4())
    check = bench.entry("trier", 5, batch=code, stage="tan", photo=name)
    bench.say(check)
    send(bench, name, encoded("PNG"))
    bench.say(bench.entry("undo", 8, batch=code, entry=check["id"]))
    assert "This check does not count; its photo stays." in bench.client.get(f"/batches/{code}/photos/{name}").text


def test_the_live_page_shows_a_photo_once_it_is_here(bench: Bench):
    """The log names the photo at once; when it arrives, all watchers are notified, and the view has it."""
    code, name = bench.open(), str(uuid4())
    bench.say(
        bench.entry("trier", 5, batch=code, stage="tan", photo=name), bench.entry("note", 6, batch=code, text="x")
    )
    log = bench.client.get("/machines/drum-4/view").get_json()["batch"]["log"]
    assert [line["photo"] for line in log] == [None, {"name": name, "here": False}, None]
    watching = bench.services.live.hub("drum-4").watch()
    next(watching)
    send(bench, name, encoded("PNG"))
    told = [json.loads(data) for event, _, data in next(watching) if event == "photo"]
    assert told == [{"name": name}]
    log = bench.client.get("/machines/drum-4/view").get_json()["batch"]["log"]
    assert log[1]["photo"] == {"name": name, "here": True}


def seen_by_a_stranger(bench: Bench, code: str, name: str) -> tuple[bool, int]:
    """Whether the bag page shows a photo, and the status of its own address."""
    bag = f"/r/{bench.services.batches.summary(code).token}"
    stranger = browser(bench)
    return name in stranger.get(bag).text, stranger.get(f"{bag}/photos/{name}").status_code


def test_a_bag_page_shows_photos_only_if_the_roastery_says_so(bench: Bench):
    """By default neither page nor address; if enabled both; if disabled again neither, even with a known address."""
    code, name = bench.roast(60), str(uuid4())
    bench.say(bench.entry("trier", 50, batch=code, stage="tan", photo=name))
    send(bench, name, photo_with_notes())
    assert seen_by_a_stranger(bench, code, name) == (False, 404)
    bench.client.post("/settings", data={"units_temp": "C", "units_mass": "kg", "bag_shows_photos": "on"})
    assert seen_by_a_stranger(bench, code, name) == (True, 200)
    assert browser(bench).get(f"/photos/{name}").status_code == 401
    path = f"/r/{bench.services.batches.summary(code).token}/photos/{name}"
    answer = browser(bench).get(path)
    assert Image.open(io.BytesIO(answer.data)).size == (320, 640)
    assert answer.headers["Cache-Control"] == "private, no-cache"
    again = {"If-None-Match": answer.headers["ETag"]}
    assert browser(bench).get(path, headers=again).status_code == 304
    bench.client.post("/settings", data={"units_temp": "C", "units_mass": "kg"})
    assert seen_by_a_stranger(bench, code, name) == (False, 404)
    assert browser(bench).get(path, headers=again).status_code == 404


def test_a_bag_shows_no_photo_but_its_own(bench: Bench):
    """Not another batch's, no undone one, and none under a withdrawn code or an unknown token."""
    bench.services.settings.change({"bag_shows_photos": True})
    code, other = bench.roast(60), bench.open(100)
    names = [str(uuid4()) for _ in range(3)]
    checks = [bench.entry("trier", 50, batch=code, stage="tan", photo=name) for name in names[:2]]
    bench.say(*checks, bench.entry("trier", 150, batch=other, stage="tan", photo=names[2]))
    bench.say(bench.entry("undo", 55, batch=code, entry=checks[1]["id"]))
    for name in names:
        send(bench, name, encoded("PNG"))
    assert [seen_by_a_stranger(bench, code, name) for name in names] == [(True, 200), (False, 404), (False, 404)]
    old = bench.services.batches.summary(code).token
    assert browser(bench).get(f"/r/none/photos/{names[0]}").status_code == 404
    bench.services.bags.withdraw_code(code)
    assert browser(bench).get(f"/r/{old}/photos/{names[0]}").status_code == 410
    assert seen_by_a_stranger(bench, code, names[0]) == (True, 200)


def test_heic_is_refused_by_name(bench: Bench):
    """HEIC is recognised by its first box (ISO/IEC 14496-12, 4.3); the message names formats and remedy."""
    heic = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 400
    answer = send(bench, str(uuid4()), heic)
    assert answer.status_code == 422
    says = answer.get_json()["says"]
    for told in ("HEIC", "JPEG, PNG or WebP", "All else is saved", "camera to JPEG"):
        assert told in says


@pytest.mark.parametrize(
    "picture", [b"", b"no picture", encoded("GIF"), bomb(9_000, 9_000), encoded("PNG", (400, 300))[:900]]
)
def test_invalid_photo_is_reported_and_not_stored(bench: Bench, picture: bytes):
    """Nothing, text, another format, a bomb, and a truncated one each get a message."""
    answer = send(bench, str(uuid4()), picture)
    assert answer.status_code == 422
    assert "picture" in answer.get_json()["says"].lower()
    assert kept(bench) == 0


def test_more_than_a_megabyte_is_taken_here_and_more_than_eight_are_not(bench: Bench):
    """The limit is raised for this route only (`test_scan.py` sends as much elsewhere)."""
    big = encoded("JPEG") + b"\0" * 3_000_000  # bytes after the picture's end are not part of it
    assert send(bench, str(uuid4()), big).status_code == 200
    assert send(bench, str(uuid4()), big * 3).status_code == 413
    assert kept(bench) == 1


def test_roles_of_photos(bench: Bench):
    """The role operate sends, the role look sees, and a name is a UUID."""
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
def test_random_bytes_are_refused_and_not_stored(bench: Bench, body: bytes, head: bytes):
    """Random bytes after valid picture headers give a message each time."""
    answer = send(bench, str(uuid4()), head + body)
    assert answer.status_code == 422
    assert kept(bench) == 0
