"""Installation as an app: manifest, worker and offline page, against the requirements of browsers."""

import json
import re
import struct
from typing import Any
from urllib.parse import urlsplit

import pytest

from roastlog.web.public.install import kept_files
from tests.conftest import Bench

PNG = b"\x89PNG\r\n\x1a\n"  # W3C PNG, 5.2; width and height are the first fields of IHDR, 11.2.1


@pytest.fixture
def manifest(bench: Bench) -> dict[str, Any]:
    """The manifest as a browser reads it."""
    answer = bench.client.get("/manifest.webmanifest")
    assert answer.mimetype == "application/manifest+json"  # W3C Application Manifest, media type registration
    said: dict[str, Any] = json.loads(answer.data)
    return said


def test_manifest_meets_the_requirements_of_installation(manifest: dict[str, Any]):
    """Name, id, start and scope, own window, colours; icons of 192 and 512 px, plain and maskable ones separate."""
    # Chromium's requirements for installation, from memory: name, icons of 192 and 512, start_url, display.
    assert manifest["name"] == "Drumside"
    assert manifest["id"] == manifest["start_url"] == manifest["scope"] == "/"
    assert manifest["display"] == "standalone"
    assert all(re.fullmatch(r"#[0-9a-f]{6}", manifest[name]) for name in ("theme_color", "background_color"))
    icons = {(icon["purpose"], icon["sizes"]) for icon in manifest["icons"]}
    assert icons == {(purpose, size) for purpose in ("any", "maskable") for size in ("192x192", "512x512")}
    assert {shot["form_factor"] for shot in manifest["screenshots"]} == {"narrow", "wide"}


def test_pictures_are_as_large_as_the_manifest_says(bench: Bench, manifest: dict[str, Any]):
    """Each icon and screenshot is a PNG of its size, and may be cached for ever."""
    shortcuts = [icon for shortcut in manifest["shortcuts"] for icon in shortcut["icons"]]
    for picture in [*manifest["icons"], *manifest["screenshots"], *shortcuts]:
        answer = bench.client.get(picture["src"])
        assert answer.mimetype == picture["type"] == "image/png"
        assert answer.data.startswith(PNG)
        width, height = struct.unpack(">II", answer.data[16:24])
        assert f"{width}x{height}" == picture["sizes"]
        assert "immutable" in answer.headers["Cache-Control"]


def test_shortcuts_lead_to_pages(bench: Bench, manifest: dict[str, Any]):
    """Start, scan, weigh and taste are each a page within the scope."""
    assert [shortcut["url"] for shortcut in manifest["shortcuts"]] == ["/start", "/scan", "/weigh", "/taste"]
    for shortcut in manifest["shortcuts"]:
        assert bench.client.get(shortcut["url"], follow_redirects=True).status_code == 200


def test_weigh_shortcut_leads_to_the_batch_on_the_scale(bench: Bench):
    """One dropped batch opens its weigh-out; none or several open a list."""
    assert "All batches are weighed" in bench.client.get("/weigh").text
    codes = []
    for start_s in (0.0, 2000.0):
        codes.append(bench.open(start_s))
        bench.say(bench.entry("moment", start_s, batch=codes[-1], moment="charge"))
        bench.say(bench.entry("moment", start_s + 600, batch=codes[-1], moment="drop"))
        if start_s == 0.0:
            answer = bench.client.get("/weigh")
            assert (answer.status_code, urlsplit(answer.location).path) == (303, f"/batches/{codes[0]}/weigh")
    page = bench.client.get("/weigh").text
    assert all(f'href="/batches/{code}/weigh"' in page for code in codes)


def test_every_batch_without_a_weight_is_offered(bench: Bench):
    """Today shows the newest twenty and their number, and links to pages with all of them."""
    codes = []
    for place in range(23):
        codes.append(bench.open(1000 * place))
        bench.say(bench.entry("moment", 1000 * place, batch=codes[-1], moment="charge"))
        bench.say(bench.entry("moment", 1000 * place + 600, batch=codes[-1], moment="drop"))
    today = bench.client.get("/").text
    assert today.count("/weigh") == 20 + 1
    assert "All 23 to weigh" in today
    first, second = (bench.client.get(f"/weigh?page={page}").text for page in (1, 2))
    assert 'href="/weigh?page=2"' in first
    assert all(f'href="/batches/{code}/weigh"' in first + second for code in codes)
    assert f'href="/batches/{codes[0]}/weigh"' in second


def test_taste_shortcut_leads_to_the_note_of_a_batch(bench: Bench):
    """A dropped batch is offered, and the link leads to its note field; one in the drum is not."""
    assert "No batch to taste" in bench.client.get("/taste").text
    dropped, roasting = bench.roast(30), bench.open(3000.0)
    page = bench.client.get("/taste").text
    assert f'href="/batches/{dropped}#text"' in page
    assert roasting not in page
    assert '<textarea id="text" name="text"' in bench.client.get(f"/batches/{dropped}").text


def test_worker_is_asked_for_each_time(bench: Bench):
    """The worker is served at the root, without caching, and names the version of its files."""
    answer = bench.client.get("/sw.js")
    assert answer.mimetype == "text/javascript"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert "/js/offline/service-worker.js" in answer.text


def test_every_file_that_is_kept_is_there(bench: Bench):
    """All modules, style sheets and libraries of the cached pages are in the list, and exist."""
    files = kept_files()
    for page in ("/machines/drum-4", "/machines/drum-4/start", "/", "/scan", "/offline"):
        text = bench.client.get(page).text
        used = set(re.findall(r'(?:src|href)="(/(?:static|vendor)/[^"]+\.(?:js|css))"', text))
        assert used
        assert used <= set(files)
    for file in files:
        answer = bench.client.get(file)
        assert answer.status_code == 200
        assert "immutable" in answer.headers["Cache-Control"]


def test_public_app_files_contain_no_data(bench: Bench):
    """Manifest, worker and offline page are public and contain no data of the roastery."""
    stranger = {"REMOTE_ADDR": "192.0.2.7"}
    bench.open()
    for path in ("/manifest.webmanifest", "/sw.js", "/offline"):
        answer = bench.client.get(path, environ_overrides=stranger)
        assert answer.status_code == 200
        assert "drum-4" not in answer.text
