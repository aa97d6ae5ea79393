"""Every existing route, and a browser for each kind of caller."""

import re
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from flask import Flask
from flask.testing import FlaskClient

from roastlog.lan.secure import SecureOptions, SecureServer, make
from roastlog.services import Role
from roastlog.services.devices import hashed
from roastlog.store import devices as stored
from roastlog.store.devices import DeviceRow
from roastlog.web.http.security import COOKIE
from tests.conftest import Bench

ELSEWHERE = "192.0.2.7"  # a documentation address (RFC 5737): not this computer


class Address(NamedTuple):
    """A route with its parameters filled in."""

    method: str
    path: str
    endpoint: str


def addresses(bench: Bench, code: str) -> list[Address]:
    """Every route, once per method, with existing values for its parameters; an unknown parameter is 1."""
    blanks = {
        "machine_id": "drum-4",
        "code": code,
        "lot": "HU-7",
        "token": bench.services.batches.summary(code).token,
        "secret": "none",
    }
    blanks |= {"version": "v", "name": "app.css", "table": "channels", "part_id": "bean_probe"}
    blanks["photo_id"] = "00000000-0000-4000-8000-000000000000"
    return filled(bench.app, blanks)


def filled(app: Flask, blanks: Mapping[str, str]) -> list[Address]:
    """Every route of an app, once per method; a parameter without a given value is 1."""
    told = []
    for rule in app.url_map.iter_rules():
        path = re.sub(r"<(?:[^:<>]+:)?(\w+)>", lambda found: blanks.get(found[1], "1"), rule.rule)
        told += [
            Address(method, path, rule.endpoint) for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"})
        ]
    return told


def secured(folder: Path) -> SecureServer:
    """TLS with its own authority, as `--lan` creates it in a folder, without probing the name."""
    (folder / "lan").mkdir(mode=0o700)
    (folder / "lan" / "name").write_text("drumside.local", encoding="ascii")
    return make(folder, SecureOptions("127.0.0.1", 8443, 8080))


def browser(bench: Bench, role: Role | None = None, *, name: str = "", person: str | None = None) -> FlaskClient:
    """A browser on another device, paired with a role, or unpaired."""
    client = bench.app.test_client()
    client.environ_base = {**client.environ_base, "REMOTE_ADDR": ELSEWHERE}
    if role is not None:
        token, now_ms = secrets.token_urlsafe(8), bench.services.devices.wall_ms()
        row = DeviceRow(0, name or f"{role.word} phone", person, role.word, now_ms, now_ms)
        bench.services.store.write(lambda db: stored.add_device(db, row, hashed(token)))
        client.set_cookie(COOKIE, token)
    return client
