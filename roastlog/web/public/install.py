"""The installable app: its manifest, its service worker, and the page for addresses that are not cached."""

import hashlib
import json
from typing import Any, Final

from flask import Blueprint, Response, render_template

from roastlog.languages import _, catalogue, current
from roastlog.web.http.assets import asset, folder, vendor

bp = Blueprint("install", __name__)

# The browser checks for a new service worker each time, so that it is never older than the server; it is a few lines.
FRESH: Final = {"Cache-Control": "no-cache"}
PAPER, INK = "#faf6ee", "#1c1713"
KEPT: Final = ("js/**/*.js", "*.css", "icons/*.svg")
LIBRARIES: Final = ("bokeh", "htmx")


def kept_files() -> list[str]:
    """Addresses of all files that cached pages need."""
    root = folder("static")
    names = sorted(path.relative_to(root).as_posix() for pattern in KEPT for path in root.glob(pattern))
    return [asset(name) for name in names] + [vendor(name) for name in LIBRARIES]


@bp.get("/sw.js")
def worker() -> Response:
    """Script that starts `static/js/offline/service-worker.js`; at the root, so that it may cache all pages.

    It changes with any changed file.
    """
    files = kept_files()
    made = {"version": hashlib.sha256("\n".join(files).encode()).hexdigest()[:10], "files": files}
    script = f'import {{ start }} from "{asset("js/offline/service-worker.js")}";\nstart({json.dumps(made)});\n'
    return Response(script, mimetype="text/javascript", headers=FRESH)


@bp.get("/manifest.webmanifest")
def manifest() -> Response:
    """The manifest of the app (W3C Web Application Manifest)."""
    return Response(json.dumps(_manifest(), indent=2), mimetype="application/manifest+json", headers=FRESH)


@bp.get("/offline")
def offline() -> str:
    """The page shown without a network for addresses that are not cached."""
    return render_template("public/offline/page.html")


def _manifest() -> dict[str, Any]:
    return {
        "id": "/",
        "name": "Drumside",
        "short_name": "Drumside",
        "description": _("The roast record at the roaster's side."),
        "lang": current(),
        "dir": catalogue().direction,
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "theme_color": PAPER,
        "background_color": PAPER,
        "categories": ["productivity", "food"],
        "icons": [_icon(name, size) for name in ("icon", "maskable") for size in (192, 512)],
        "shortcuts": [
            {"name": _("Start a batch"), "short_name": _("Start"), "url": "/start", "icons": [_icon("icon", 192)]},
            {"name": _("Scan a label"), "short_name": _("Scan"), "url": "/scan", "icons": [_icon("icon", 192)]},
            {"name": _("Weigh out"), "short_name": _("Weigh"), "url": "/weigh", "icons": [_icon("icon", 192)]},
            {"name": _("Taste a batch"), "short_name": _("Taste"), "url": "/taste", "icons": [_icon("icon", 192)]},
        ],
        "screenshots": [
            _screenshot("narrow", 390, 844, _("The live page on a phone")),
            _screenshot("wide", 1180, 820, _("The live page on a tablet")),
        ],
    }


def _icon(name: str, size: int) -> dict[str, str]:
    purpose = "maskable" if name == "maskable" else "any"
    return {
        "src": asset(f"icons/{name}-{size}.png"),
        "sizes": f"{size}x{size}",
        "type": "image/png",
        "purpose": purpose,
    }


def _screenshot(name: str, width: int, height: int, label: str) -> dict[str, str]:
    src = asset(f"screenshots/{name}.png")
    return {"src": src, "sizes": f"{width}x{height}", "type": "image/png", "form_factor": name, "label": label}
