"""The API, described at /api/openapi.json."""

import math
from typing import Any

from flask import Blueprint, Response, abort, jsonify, request
from flask.typing import ResponseReturnValue

from roastlog.errors import QuestionRefused
from roastlog.journal.kinds.sales import Composed
from roastlog.journal.vocabulary import LOT_STATES
from roastlog.languages import _
from roastlog.services import Record
from roastlog.web import services
from roastlog.web.api.openapi import MOST, MOST_BATCHES, MOST_ENTRIES, description
from roastlog.web.http.security import may, speaker

bp = Blueprint("api", __name__)


@bp.get("/healthz")
def health() -> ResponseReturnValue:
    """Whether Drumside can record."""
    health = services().live.health()
    fields = {name: value for name, value in vars(health).items() if value is not None}
    return jsonify(fields), 200 if health.status == "ok" else 503


@bp.get("/api/clock")
def clock() -> Response:
    """The server's time, and the rate of its clock."""
    return jsonify(now_ms=services().clock.now_ms(), rate=services().clock.rate)


@bp.post("/api/machines/<machine_id>/readings")
def push_readings(machine_id: str) -> ResponseReturnValue:
    """Accept pushed readings."""
    pushed = services().live.accept_readings(machine_id, _json())
    return jsonify(accepted=pushed.accepted, refused=pushed.refused), 202


@bp.post("/api/entries")
def add_entries() -> Response:
    """Store journal entries."""
    payload = _json()
    entries = payload.get("entries") if isinstance(payload, dict) else None
    if not isinstance(entries, list) or len(entries) > MOST_ENTRIES:
        raise QuestionRefused(
            _('Send a JSON object {{"entries": […]}} with at most {most} entries.', most=MOST_ENTRIES)
        )
    results = services().journal.accept(entries, speaker())
    return jsonify(
        results=[
            {name: value for name, value in vars(result).items() if name == "id" or value is not None}
            for result in results
        ]
    )


@bp.get("/api/entries")
def entries_after() -> Response:
    """Entries of a machine's batches after a number, for a page or program that missed them."""
    found, seq = services().journal.entries_after(request.args.get("machine", ""), _number("after", 0, least=0))
    return jsonify(entries=found, seq=seq)


@bp.get("/api/batches")
def batches() -> Response:
    """A page of batches, newest first."""
    found = services().batches.page(
        page=_number("page", 1, least=1),
        size=_number("size", 50, least=1, most=MOST_BATCHES),
        query=request.args.get("q", ""),
        coffee=request.args.get("coffee", ""),
        machine=request.args.get("machine", ""),
        practice=request.args.get("practice") == "1",
    )
    items = [
        {name: value for name, value in vars(batch).items() if name != "token"} | {"duration_s": batch.duration_s}
        for batch in found.items
    ]
    return jsonify(batches=items, page=found.page, pages=found.pages, total=found.total)


@bp.get("/api/batches/<code>")
def batch(code: str) -> Response:
    """One batch, folded."""
    return jsonify(services().batches.detail(code))


@bp.get("/api/batches/<code>/curve")
def curve(code: str) -> Response:
    """The curve of a batch as columns; null for gaps."""
    return jsonify(columns(services().batches.record(code)))


@bp.get("/api/batches/<code>/curve.csv")
def curve_csv(code: str) -> Response:
    """The curve of a batch as CSV, with its moments; empty for gaps."""
    from pandas import DataFrame  # noqa: PLC0415 - takes half a second to load

    record = services().batches.record(code)
    name = f'attachment; filename="{record.summary.code}.csv"'
    text = DataFrame(columns(record) | {"moment": record.moment_column}).to_csv(index=False)
    return Response(text, mimetype="text/csv", headers={"Content-Disposition": name})


@bp.get("/api/lots")
def lots() -> Response:
    """Green lots with their remaining weights, a page of them if one is asked for; prices for the owner only."""
    state = request.args.get("state", "")
    if state not in {"", *LOT_STATES}:
        raise QuestionRefused(_("state must be one of {states}.", states=", ".join(LOT_STATES)))
    whole = "page" not in request.args and "size" not in request.args
    found = services().subjects.lots(
        confidential=may("own"),
        state=state,
        page=_number("page", 1, least=1),
        size=None if whole else _number("size", 50, least=1, most=MOST_BATCHES),
    )
    return jsonify(found)


@bp.get("/api/lots/<path:code>")
def lot(code: str) -> Response:
    """One lot, folded, with its entries; prices for the owner only."""
    return jsonify(services().subjects.lot(code, confidential=may("own")))


@bp.get("/api/products")
def products() -> Response:
    """All products, or with closed=1 those that are no longer sold."""
    found = services().products.all(closed=request.args.get("closed") == "1")
    query = request.args.get("q", "").casefold()
    rows = [row for row in found if query in row.code.casefold() or query in row.name.casefold()]
    size = _number("size", 50, least=1, most=MOST_BATCHES)
    pages = max(1, -(-len(rows) // size))
    page = min(_number("page", 1, least=1), pages)
    items = [_product(row.code, row.facts) for row in rows[(page - 1) * size : page * size]]
    return jsonify(products=items, page=page, pages=pages, total=len(rows))


@bp.get("/api/products/<path:code>")
def product(code: str) -> Response:
    """One product, folded, with its entries."""
    return jsonify(services().subjects.product(code))


@bp.get("/api/packs")
def packs() -> Response:
    """A page of packs, newest first."""
    found = services().packing.page(
        _number("page", 1, least=1),
        size=_number("size", 50, least=1, most=MOST_BATCHES),
        query=request.args.get("q", ""),
        product=request.args.get("product", ""),
    )
    items = [vars(row) | {"bags_left": row.bags_left} for row in found.items]
    return jsonify(packs=items, page=found.page, pages=found.pages, total=found.total)


@bp.get("/api/packs/<code>")
def pack(code: str) -> Response:
    """One pack, folded, with its entries."""
    return jsonify(services().subjects.pack(services().packing.record(code)))


@bp.get("/api/ledger")
def ledger() -> Response:
    """Movements of an account, or of all, and the balances."""
    until_ms = _number("to", MOST, least=0)
    found = services().trace.ledger(
        request.args.get("account", ""), from_ms=_number("from", 0, least=0), to_ms=until_ms
    )
    return jsonify(found)


@bp.get("/api/trace/<path:code>")
def trace(code: str) -> Response:
    """Where the coffee of a code came from, and where it went."""
    return jsonify(services().trace.trace(services().trace.find(code)))


@bp.get("/api/machines/<machine_id>")
def machine(machine_id: str) -> Response:
    """One machine by its present description, with its entries."""
    return jsonify(services().subjects.machine(machine_id))


@bp.get("/api/house")
def house() -> Response:
    """The settings and the people, with their entries."""
    return jsonify(services().subjects.house())


@bp.get("/api/openapi.json")
def openapi() -> Response:
    """The OpenAPI description."""
    return jsonify(description())


def _product(code: str, facts: Composed) -> dict[str, object]:
    return {"code": code, **facts.model_dump(mode="json")}


def columns(record: Record) -> dict[str, list[float | None]]:
    """A record's curve and its settings as plain columns; after the drop, smoothed columns too."""
    lists: dict[str, list[float | None]] = {"t_s": [int(time_s) for time_s in record.curve.time_s]}
    measured = record.curve.channels | record.rate_columns | record.smooth_columns
    for name, values in ({name: values.round(2) for name, values in measured.items()} | record.setting_columns).items():
        lists[name] = [None if math.isnan(value) else value for value in values.tolist()]
    return lists


def _json() -> Any:  # noqa: ANN401 - whatever came
    if not request.is_json:
        abort(415)
    try:
        return request.get_json()
    except RecursionError:  # brackets nested without end
        abort(400)


def _number(name: str, otherwise: int, *, least: int, most: int = MOST) -> int:
    """A whole number from the query. Out of range, a program gets an error, where a page would be clamped."""
    text = request.args.get(name)
    if text is None:
        return otherwise
    if not (text.isascii() and text.isdigit() and len(text) <= len(str(most)) and least <= int(text) <= most):
        raise QuestionRefused(
            _("{name} must be a whole number from {least} to {most}.", name=name, least=str(least), most=str(most))
        )
    return int(text)
