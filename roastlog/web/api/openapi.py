"""The OpenAPI 3.1 description of the API, generated from the models that validate entries."""

from typing import TYPE_CHECKING, Any, Final

from pydantic import TypeAdapter
from pydantic.json_schema import models_json_schema

from roastlog import __version__
from roastlog.journal.entries import By, Entry
from roastlog.journal.kinds import REGISTRY
from roastlog.journal.kinds.base import Kind
from roastlog.journal.kinds.green import Arrived
from roastlog.journal.kinds.roast import Plan
from roastlog.journal.subject import BATCH, NAMED
from roastlog.journal.vocabulary import LOT_STATES
from roastlog.services.batch_detail import BatchDetail
from roastlog.services.lots import Lot
from roastlog.services.subjects import PackDetail, ProductDetail
from roastlog.services.trace import Ledger, Trace
from roastlog.web.http.roles import LEAST, LOOK, PUBLIC
from roastlog.web.http.security import COOKIE, SECURE_COOKIE

if TYPE_CHECKING:
    from pydantic import BaseModel

MOST: Final = 2**53 - 1  # the largest integer that all JSON readers keep exactly (RFC 8259, section 6)
MOST_BATCHES: Final = 500
MOST_ENTRIES: Final = 1000
_REF: Final = "#/components/schemas/{model}"


def description() -> dict[str, Any]:
    """The whole description, as a JSON object."""
    models: list[type[BaseModel]] = [*(kind.body for kind in REGISTRY.values()), By, Plan]
    _, schemas = models_json_schema([(model, "validation") for model in models], ref_template=_REF)
    for name, facts in {
        "Batch": BatchDetail,
        "Ledger": Ledger,
        "Pack": PackDetail,
        "Product": ProductDetail,
        "Trace": Trace,
    }.items():
        shape = TypeAdapter(facts).json_schema(ref_template=_REF)
        schemas["$defs"] |= shape.pop("$defs", {}) | {name: shape}
    schemas["$defs"]["Lot"] = _lot()
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Drumside",
            "version": __version__,
            "description": "Times are UTC milliseconds, curve times seconds from charge, temperatures °C, masses g. "
            "Drumside reads instruments and never sets a machine. The server's own computer needs no token; from "
            "elsewhere each call asks for a role: look, operate, decide or own, each of which may do what those "
            "before it may.",
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": "/"}],
        "security": [{"token": []}, {"device": []}, {"deviceOverTls": []}, {}],
        "paths": _paths(),
        "components": {
            "securitySchemes": {
                "token": {"type": "http", "scheme": "bearer", "description": "of a program, with a role"},
                "device": {"type": "apiKey", "in": "cookie", "name": COOKIE, "description": "of a paired device"},
                "deviceOverTls": {"type": "apiKey", "in": "cookie", "name": SECURE_COOKIE},
            },
            "schemas": {**schemas["$defs"], **_schemas()},
        },
    }


def _ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


def _object(required: list[str], **properties: Any) -> dict[str, Any]:  # noqa: ANN401 - JSON Schema
    return {"type": "object", "required": required, "properties": properties}


def _list(of: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": of}


def _integer(least: int, most: int = MOST) -> dict[str, Any]:
    return {"type": "integer", "minimum": least, "maximum": most}


_TEXT: Final = {"type": "string"}
_INT: Final = {"type": "integer"}
_NUMBER: Final = {"type": "number"}
_MAYBE_NUMBER: Final = {"type": ["number", "null"]}
_MAYBE_INT: Final = {"type": ["integer", "null"]}
_MAYBE_TEXT: Final = {"type": ["string", "null"]}


def _entry(kind: Kind) -> dict[str, Any]:
    """Schema of an entry of one kind, from its row in the registry."""
    fields = Entry.model_json_schema()["properties"]
    subjects = "|".join(f"{subject} .+" if subject in NAMED else subject for subject in kind.about)
    about = {"type": "string", "pattern": f"^({subjects})$", "description": "kind and name of the subject"}
    properties = {
        "id": fields["id"],
        "kind": {"const": kind.name},
        "at_ms": {**fields["at_ms"], "description": "when the finger was there, UTC"},
        "by": _ref("By"),
        "body": _ref(kind.body.__name__),
    }
    shape: dict[str, Any] = {
        "type": "object",
        "description": f"Asks for the role {kind.least}.",
        "additionalProperties": False,
        "required": ["id", "kind", "at_ms"],
        "properties": properties,
    }
    if kind.body.model_json_schema().get("required"):
        shape["required"].append("body")
    machine = {"type": "string", "description": "id of the machine that the batch is roasted on"}
    batch = {"type": "string", "description": "the batch's code, or the id of the entry that opened it"}
    if kind.name == "opened":
        shape["required"].append("machine")
        properties |= {"machine": machine, "batch": batch}
    elif BATCH in kind.about:
        shape["anyOf"] = [{"required": ["machine", "batch"]}, {"required": ["about"]}]
        properties |= {"about": about, "machine": machine, "batch": batch}
    else:
        shape["required"].append("about")
        properties["about"] = about
    return shape


def _lot() -> dict[str, Any]:
    """Schema of a lot: its facts with their descriptions, and the figures that follow from its entries."""
    schema = TypeAdapter(Lot).json_schema(ref_template=_REF)
    for name, field in Arrived.model_fields.items():
        if field.description and name in schema["properties"]:
            schema["properties"][name]["description"] = field.description
    schema["properties"]["state"] |= {"enum": [*LOT_STATES]}
    return schema


def _schemas() -> dict[str, Any]:
    entry = {"oneOf": [_entry(kind) for kind in REGISTRY.values()]}
    return {
        "Entry": entry,
        "Result": _object(
            ["id", "status"],
            id=_MAYBE_TEXT,
            status={"enum": ["stored", "known", "refused"]},
            batch=_TEXT,
            about=_TEXT,
            reason=_TEXT,
            notice=_TEXT,
        ),
        "Reading": {
            **_object(["channel", "value"], channel=_TEXT, value=_NUMBER, at_ms=_INT),
            "additionalProperties": False,
        },
        "Problem": _object(["error"], error=_TEXT, title=_TEXT),
    }


def _json(schema: dict[str, Any]) -> dict[str, Any]:
    return {"application/json": {"schema": schema}}


def _response(words: str, schema: dict[str, Any] | None = None, kind: str = "application/json") -> dict[str, Any]:
    return {"description": words} if schema is None else {"description": words, "content": {kind: {"schema": schema}}}


_PROBLEM: Final = {"description": "What is wrong and what to do, in a sentence.", "content": _json(_ref("Problem"))}


def _operation(
    ident: str,
    summary: str,
    answer: dict[str, dict[str, Any]],
    *,
    parameters: list[dict[str, Any]] | None = None,
    body: dict[str, Any] | None = None,
    problems: tuple[int, ...] = (),
) -> dict[str, Any]:
    call: dict[str, Any] = {"operationId": ident, "summary": summary}
    if parameters:
        call["parameters"] = parameters
    if body is not None:
        call["requestBody"] = {"required": True, "content": _json(body)}
    least = LEAST["api." + "".join(f"_{letter.lower()}" if letter.isupper() else letter for letter in ident)]
    if least is PUBLIC:
        call["security"] = []
    else:
        call["description"] = f"Asks for the role {least.word}."
        problems = (401, *((403,) if least > LOOK else ()), *problems)
    call["responses"] = answer | {str(status): _PROBLEM for status in sorted(problems)}
    return call


def _path(name: str, words: str) -> dict[str, Any]:
    return {"name": name, "in": "path", "required": True, "description": words, "schema": _TEXT}


def _query(name: str, words: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "description": words, "schema": schema}


def _pages() -> list[dict[str, Any]]:
    return [
        _query("page", "which page; past the last one, the last", _integer(1)),
        _query("size", "rows a page; 50 where it is left out", _integer(1, MOST_BATCHES)),
    ]


def _listed(name: str) -> dict[str, Any]:
    rows: dict[str, Any] = {name: _list({"type": "object"})}
    return _object([name, "page", "pages", "total"], **rows, page=_INT, pages=_INT, total=_INT)


def _paths() -> dict[str, Any]:
    code = [_path("code", "batch code, as on the label")]
    machine = [_path("machine_id", "id of a machine")]
    curve = {
        "type": "object",
        "required": ["t_s"],
        "additionalProperties": _list(_MAYBE_NUMBER),
        "description": "columns of one length: t_s, one a channel, a rate_… for each bean channel, as shown live; "
        "a setting_… for each control, in force at that second; after the drop also a smooth_… and a smooth_rate_…",
    }
    health = _object(
        ["status", "machines"],
        status=_TEXT,
        machines=_list(_object(["id", "state"], id=_TEXT, state=_TEXT, last_reading_at_ms=_MAYBE_INT)),
    )
    sent = (400, 413, 415, 422)
    return {
        "/healthz": {
            "get": _operation(
                "health", "Whether Drumside can record", {"200": _response("It can.", health)}, problems=(503,)
            )
        },
        "/api/clock": {
            "get": _operation(
                "clock",
                "The server's time",
                {"200": _response("Now.", _object(["now_ms", "rate"], now_ms=_INT, rate=_NUMBER))},
            )
        },
        "/api/machines/{machine_id}/readings": {
            "post": _operation(
                "pushReadings",
                "Push readings of channels whose source is http",
                {
                    "202": _response(
                        "Taken, but for those that are named.",
                        _object(
                            ["accepted", "refused"],
                            accepted=_INT,
                            refused=_list(_object(["index", "reason"], index=_INT, reason=_TEXT)),
                        ),
                    )
                },
                parameters=machine,
                body=_object(["readings"], readings={**_list(_ref("Reading")), "maxItems": 5000}),
                problems=(404, *sent),
            )
        },
        "/api/entries": {
            "post": _operation(
                "addEntries",
                "Keep journal entries; each counts once, however often it is sent",
                {"200": _response("What became of each.", _object(["results"], results=_list(_ref("Result"))))},
                body=_object(["entries"], entries={**_list(_ref("Entry")), "maxItems": MOST_ENTRIES}),
                problems=sent,
            ),
            "get": _operation(
                "entriesAfter",
                "What came in for a machine after a number",
                {
                    "200": _response(
                        "In order.", _object(["entries", "seq"], entries=_list({"type": "object"}), seq=_INT)
                    )
                },
                parameters=[
                    _query("machine", "id of a machine", _TEXT),
                    _query("after", "number of the last known", _integer(0)),
                ],
                problems=(404, 422),
            ),
        },
        "/api/batches": {
            "get": _operation(
                "batches",
                "Batches, newest first",
                {
                    "200": _response(
                        "A page of them.",
                        _object(
                            ["batches", "page", "pages", "total"],
                            batches=_list({"type": "object"}),
                            page=_INT,
                            pages=_INT,
                            total=_INT,
                        ),
                    )
                },
                parameters=[
                    _query("page", "which page; past the last one, the last", _integer(1)),
                    _query("size", "batches a page; 50 where it is left out", _integer(1, MOST_BATCHES)),
                    _query("q", "part of a code, coffee, lot or intent", _TEXT),
                    _query("coffee", "exact name of a coffee", _TEXT),
                    _query("machine", "id of a machine", _TEXT),
                    _query("practice", "1 for batches of practice machines as well", _TEXT),
                ],
                problems=(422,),
            )
        },
        "/api/batches/{code}": {
            "get": _operation(
                "batch", "One batch", {"200": _response("The batch.", _ref("Batch"))}, parameters=code, problems=(404,)
            )
        },
        "/api/lots": {
            "get": _operation(
                "lots",
                "Green lots by coffee, with what is left of each; prices for the role own alone",
                {
                    "200": _response(
                        "All that are not closed, or those that were asked for.",
                        _object(
                            ["lots", "page", "pages", "total"],
                            lots=_list(_ref("Lot")),
                            page=_INT,
                            pages=_INT,
                            total=_INT,
                        ),
                    )
                },
                parameters=[
                    _query("state", "only lots of this state", {"enum": [*LOT_STATES]}),
                    _query("page", "which page; past the last one, the last", _integer(1)),
                    _query("size", "lots a page; all, or 50 where only the page is given", _integer(1, MOST_BATCHES)),
                ],
                problems=(422,),
            )
        },
        "/api/lots/{code}": {
            "get": _operation(
                "lot",
                "One lot, with all that was said of it; prices for the role own alone",
                {
                    "200": _response(
                        "The lot.",
                        _object(
                            ["code", "state", "facts", "entries"],
                            code=_TEXT,
                            state={"enum": ["current", "removed"]},
                            facts={"anyOf": [_ref("Lot"), {"type": "null"}]},
                            entries=_list({"type": "object"}),
                        ),
                    )
                },
                parameters=[_path("code", "code of the lot")],
                problems=(404,),
            )
        },
        "/api/products": {
            "get": _operation(
                "products",
                "Products that are sold, by name",
                {"200": _response("A page of them.", _listed("products"))},
                parameters=[
                    *_pages(),
                    _query("q", "part of a code or name", _TEXT),
                    _query("closed", "1 for those that are no longer sold instead", _TEXT),
                ],
                problems=(422,),
            )
        },
        "/api/products/{code}": {
            "get": _operation(
                "product",
                "One product, with all that was said of it",
                {"200": _response("The product.", _ref("Product"))},
                parameters=[_path("code", "code of the product")],
                problems=(404,),
            )
        },
        "/api/packs": {
            "get": _operation(
                "packs",
                "Packs, newest first, with the bags in stock of each",
                {"200": _response("A page of them.", _listed("packs"))},
                parameters=[
                    *_pages(),
                    _query("q", "part of a code or product", _TEXT),
                    _query("product", "code of a product", _TEXT),
                ],
                problems=(422,),
            )
        },
        "/api/packs/{code}": {
            "get": _operation(
                "pack",
                "One pack, with all that was said of it",
                {"200": _response("The pack.", _ref("Pack"))},
                parameters=[_path("code", "code of the pack, such as 26332-01C-1")],
                problems=(404,),
            )
        },
        "/api/ledger": {
            "get": _operation(
                "ledger",
                "Movements of an account, or of all, oldest first, and the balances now",
                {"200": _response("At most 5000 movements; more tells whether there are others.", _ref("Ledger"))},
                parameters=[
                    _query("account", "such as “green HU-7”, “roasted 26332-01C” or “loss”; all if left out", _TEXT),
                    _query("from", "earliest time, UTC ms", _integer(0)),
                    _query("to", "latest time, UTC ms", _integer(0)),
                ],
                problems=(422,),
            )
        },
        "/api/trace/{code}": {
            "get": _operation(
                "trace",
                "Where the coffee of a lot, batch, blend, pack or customer came from, and where it went",
                {"200": _response("One step each way, and the whole tree.", _ref("Trace"))},
                parameters=[_path("code", "code of a lot, batch, blend or pack, or id of a customer")],
                problems=(404,),
            )
        },
        "/api/machines/{machine_id}": {
            "get": _operation(
                "machine",
                "A machine as it is described now, and every description and probe check before",
                {
                    "200": _response(
                        "The machine.",
                        _object(
                            ["id", "sheet", "entries"],
                            id=_TEXT,
                            sheet={"type": "object", "description": "as a TOML sheet has it, without passwords"},
                            entries=_list({"type": "object"}),
                        ),
                    )
                },
                parameters=machine,
                problems=(404,),
            )
        },
        "/api/house": {
            "get": _operation(
                "house",
                "Settings and people, with all that was said of them",
                {
                    "200": _response(
                        "The house.",
                        _object(
                            ["settings", "entries", "people"],
                            settings={"type": "object"},
                            entries=_list({"type": "object"}),
                            people=_list({"type": "object"}),
                        ),
                    )
                },
            )
        },
        "/api/batches/{code}/curve": {
            "get": _operation(
                "curve", "Its curve", {"200": _response("Columns.", curve)}, parameters=code, problems=(404,)
            )
        },
        "/api/batches/{code}/curve.csv": {
            "get": _operation(
                "curveCsv",
                "Its curve as CSV, with its moments",
                {
                    "200": _response(
                        "The same columns, and last moment: the moments of that second, “; ” between two.",
                        _TEXT,
                        "text/csv",
                    )
                },
                parameters=code,
                problems=(404,),
            )
        },
    }
