"""The bare app: hello, a relay of posted data, a clock of chart rows, and a page with a chart or a button."""

import gzip
import json
import os
import queue
import sqlite3
import threading
import time
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from pathlib import Path

from flask import Flask, Response, render_template_string, request, send_from_directory

from tests.bench import roast

HERE = Path(__file__).parent
app = Flask(__name__, static_folder=None)
_watchers: list[queue.SimpleQueue[bytes]] = []
_lock = threading.Lock()

INSERT = "INSERT INTO readings VALUES (?, ?, ?)"
_database = sqlite3.connect(Path(os.environ["BENCH_FOLDER"]) / "bare.sqlite3", check_same_thread=False)
_database.execute("PRAGMA journal_mode = WAL")
_database.execute("PRAGMA synchronous = FULL")
_database.execute("CREATE TABLE readings (at_ms INTEGER, channel TEXT, value REAL) STRICT")
_committed = [0.0]

PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>bare</title>
<meta name="viewport" content="width=device-width, initial-scale=1"></head><body>
{% if figure %}<h1 style="margin: 0">A chart, and nothing else</h1>
<script type="application/json" id="figure">{{ figure | safe }}</script>
<figure id="curves" style="margin: 0 auto; width: {{ width }}px" data-height="{{ height }}"></figure>
<script src="/bokeh.min.js"></script><script type="module" src="/chart.js"></script>
{% else %}<p id="echo"></p><button id="pad">tap</button><script type="module" src="/tap.js"></script>{% endif %}
</body></html>"""


@app.get("/healthz")
def healthz() -> dict[str, str]:
    """Report that it runs."""
    return {"status": "ok"}


@app.post("/tap")
def tap() -> dict[str, int]:
    """Relay the posted data to all watchers."""
    event = b"event: entry\ndata: " + request.get_data() + b"\n\n"
    with _lock:
        for watcher in _watchers:
            watcher.put(event)
        return {"watchers": len(_watchers)}


@app.post("/readings")
def readings() -> tuple[dict[str, int], int]:
    """Store pushed readings in a table, one commit a second, and answer with their number."""
    pushed = request.get_json()["readings"]
    with _lock:
        _database.executemany(INSERT, ((r["at_ms"], r["channel"], r["value"]) for r in pushed))
        if time.monotonic() > _committed[0] + 1:
            _database.commit()
            _committed[0] = time.monotonic()
    return {"accepted": len(pushed)}, 202


@app.get("/watch")
def watch() -> Response:
    """Stream posted data."""
    mine: queue.SimpleQueue[bytes] = queue.SimpleQueue()

    def events() -> Iterator[bytes]:
        with _lock:
            _watchers.append(mine)
        try:
            yield b": hello\n\n"
            while True:
                try:
                    yield mine.get(timeout=5)
                except queue.Empty:
                    yield b": still here\n\n"
        finally:
            with _lock:
                _watchers.remove(mine)

    return Response(events(), mimetype="text/event-stream")


@app.get("/rows")
def rows() -> Response:
    """One chart row a second, from minute 15 on."""
    columns = roast.columns(roast.MINUTE_15_S + 120)

    def events() -> Iterator[str]:
        for place in range(roast.MINUTE_15_S + 1, roast.MINUTE_15_S + 120):
            row = {name: values[place : place + 1] for name, values in columns.items()}
            yield f"event: rows\ndata: {json.dumps(row)}\n\n"
            time.sleep(1)

    return Response(events(), mimetype="text/event-stream")


@app.get("/chart")
def chart() -> str:
    """A page with Drumside's own figure at minute 15, in the requested size, which only streams."""
    from roastlog.machine.views import ChannelView, ControlView
    from roastlog.plot.figures import live_figure
    from tests.plot.filled import filled

    channels = [ChannelView(**channel) for channel in roast.CHANNELS]
    controls = [ControlView(**control, unit="", step=0.5, decimals=1) for control in roast.CONTROLS]
    figure = json.dumps(filled(live_figure(channels, controls, roast.columns(roast.MINUTE_15_S))))
    size = {name: request.args.get(name, default, type=int) for name, default in (("width", 370), ("height", 330))}
    return render_template_string(PAGE, figure=figure, **size)


@app.get("/button")
def button() -> str:
    """A page with a button that shows that it was tapped."""
    return render_template_string(PAGE)


@app.get("/bokeh.min.js")
def bokeh() -> Response:
    """BokehJS from the installed package, compressed."""
    return Response(_bokeh(), mimetype="text/javascript", headers={"Content-Encoding": "gzip"})


@cache
def _bokeh() -> bytes:
    return gzip.compress((files("bokeh") / "server" / "static" / "js" / "bokeh.min.js").read_bytes())


@app.get("/<any('chart.js', 'tap.js'):name>")
def script(name: str) -> Response:
    """The bare pages' scripts."""
    return send_from_directory(HERE, name)
