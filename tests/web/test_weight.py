"""Size of the live page's download: bytes as they are sent, not a timing."""

import gzip
import re

from roastlog.web.http.assets import FOREVER, asset, modules, vendor
from tests.conftest import Bench

MOST_BYTES = 120_000
_LOADED = re.compile(r"""<(?:script|link)\b[^>]*?(?:src|href)="(/(?:static|vendor)/[^"]+\.(?:js|css))\"""")


def test_the_live_page_is_light_beside_the_chart_library(bench: Bench):
    """Page, style sheets and all imported modules, compressed: at most 120 KB; BokehJS is counted separately."""
    bench.roast(600)
    page = bench.client.get("/machines/drum-4", headers={"Accept-Encoding": "gzip"})
    with bench.app.test_request_context():
        bokeh, root = vendor("bokeh"), asset("")
    named = set(_LOADED.findall(gzip.decompress(page.data).decode()))
    assert bokeh in named
    imported = {root + name for path in named if "/js/" in path for name in modules(path.removeprefix(root))}
    sizes = {"page": len(page.data)}
    for path in (named | imported) - {bokeh}:
        answer = bench.client.get(path, headers={"Accept-Encoding": "gzip"})
        assert answer.status_code == 200
        assert answer.headers["Content-Encoding"] == "gzip"
        sizes[path] = len(answer.data)
    assert len(sizes) > 40
    assert sum(sizes.values()) <= MOST_BYTES, sorted(sizes.items(), key=lambda item: -item[1])[:8]


def test_the_live_page_asks_for_its_modules_at_once(bench: Bench):
    """The head names each module that the page imports, directly or not, the page's own first, and none twice."""
    page = bench.client.get("/machines/drum-4").text
    with bench.app.test_request_context():
        expected = [asset(name) for name in modules("js/machine/live.js")]
    assert re.findall(r'<link rel="modulepreload" fetchpriority="low" href="([^"]+)">', page) == expected
    assert len(expected) == len(set(expected)) > 40


def test_the_chart_library_is_compressed_and_kept_for_good(bench: Bench):
    """BokehJS is fetched once per version."""
    with bench.app.test_request_context():
        path = vendor("bokeh")
    answer = bench.client.get(path, headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip"
    assert answer.headers["Cache-Control"] == FOREVER
    assert len(answer.data) < len(bench.client.get(path).data) / 3


def test_long_answers_are_compressed_on_request(bench: Bench):
    """Pages and data are identical with and without compression; short answers and the stream are not compressed."""
    code = bench.roast(120)
    for path in ("/", "/batches", f"/api/batches/{code}/curve", f"/api/batches/{code}/curve.csv"):
        plain, small = (bench.client.get(path, headers={"Accept-Encoding": how}) for how in ("identity", "gzip"))
        assert gzip.decompress(small.data) == plain.data, path
        assert "Content-Encoding" not in plain.headers
        assert "Accept-Encoding" in plain.headers["Vary"]
    for path in ("/api/clock", "/machines/drum-4/live"):
        assert "Content-Encoding" not in bench.client.get(path, headers={"Accept-Encoding": "gzip"}).headers
