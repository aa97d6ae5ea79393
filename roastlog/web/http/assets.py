"""Static files, and scripts of installed packages: compressed once, and cached for good by a version in the address."""

import gzip
import hashlib
import importlib.metadata
import importlib.resources
import mimetypes
import posixpath
import re
from functools import cache
from pathlib import Path
from typing import Final

from flask import Blueprint, Flask, Response, abort, request

bp = Blueprint("assets", __name__)

FOREVER: Final = "public, max-age=31536000, immutable"
_COMPRESSED: Final = {".js", ".css", ".svg", ".json", ".txt"}
_VENDOR: Final = {
    "bokeh": ("bokeh", "bokeh", "server/static/js/bokeh.min.js"),
    "htmx": ("django-js-lib-htmx", "js_lib_htmx", "static/htmx/htmx.min.js"),
}

_IMPORT: Final = re.compile(r"""\b(?:from|import)\s*["'](\.{1,2}/[\w./-]+\.js)["']""")


@cache
def folder(name: str) -> Path:
    """The folder ``templates`` or ``static``: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parents[2]
    inside = package / name
    return inside if inside.is_dir() else package.parent / name


@cache
def static_version() -> str:
    """A digest of all static files."""
    digest = hashlib.sha256()
    for path in sorted(folder("static").rglob("*")):
        if path.is_file():
            digest.update(path.relative_to(folder("static")).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()[:10]


def asset(name: str) -> str:
    """Address of a static file. The version is in the path, so that relative imports of modules keep it."""
    return f"/static/{static_version()}/{name}"


@cache
def modules(name: str) -> tuple[str, ...]:
    """A module under ``static`` and all its imports, breadth first."""
    found = {name: None}
    for module in (queue := [name]):
        text = (folder("static") / module).read_text(encoding="utf-8")
        for path in _IMPORT.findall(text):
            imported = posixpath.normpath(posixpath.join(posixpath.dirname(module), path))
            if imported not in found:
                found[imported] = None
                queue.append(imported)
    return tuple(found)


@cache
def _version(name: str) -> str:
    """Version of the installed package of a script, looked up once."""
    return importlib.metadata.version(_VENDOR[name][0])


def vendor(name: str) -> str:
    """Address of a script of an installed package."""
    return f"/vendor/{name}-{_version(name)}.min.js"


def install(app: Flask) -> None:
    """Give templates the functions for addresses."""
    app.jinja_env.globals.update(asset=asset, modules=modules, vendor=vendor)


@bp.get("/static/<version>/<path:name>")
def static(version: str, name: str) -> Response:
    """A static file; under an outdated version it is sent without caching."""
    root = folder("static")
    try:
        path = (root / name).resolve()
        there = path.is_file() and path.is_relative_to(root.resolve())
    except (OSError, ValueError):  # a name that no file can have
        there = False
    if not there:
        abort(404)
    return _send(path, FOREVER if version == static_version() else "no-cache")


@bp.get("/vendor/<name>-<version>.min.js")
def vendor_script(name: str, version: str) -> Response:
    """A script of an installed package."""
    if name not in _VENDOR or version != _version(name):
        abort(404)
    _, package, inside = _VENDOR[name]
    return _send(Path(str(importlib.resources.files(package))) / inside, FOREVER)


def _send(path: Path, cached: str) -> Response:
    content = mimetypes.guess_type(path.name)[0] or "application/octet-stream"
    response = Response(mimetype="text/javascript" if path.suffix == ".js" else content)
    response.headers["Cache-Control"] = cached
    if path.suffix not in _COMPRESSED:
        response.set_data(path.read_bytes())
        return response
    response.headers["Vary"] = "Accept-Encoding"
    if "gzip" in request.headers.get("Accept-Encoding", ""):
        response.set_data(_gzipped(path, path.stat().st_mtime_ns))
        response.headers["Content-Encoding"] = "gzip"
    else:
        response.set_data(path.read_bytes())
    return response


@cache
def _gzipped(path: Path, _changed_ns: int) -> bytes:
    return gzip.compress(path.read_bytes(), 9, mtime=0)
