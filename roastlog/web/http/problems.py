"""Problem pages in plain words: what happened, what still works, what to do."""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from flask import Flask, current_app, jsonify, render_template, request
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import HTTPException

from roastlog.errors import (
    DrumsideError,
    LacksRole,
    MistypedCode,
    NoSuchBatch,
    NoSuchDevice,
    NoSuchLot,
    NoSuchMachine,
    NoSuchProduct,
    NotACode,
    NotFound,
    StoreError,
    Withdrawn,
)
from roastlog.languages import N_, _
from roastlog.services import Role
from roastlog.web.http.roles import MEANS, PUBLIC, least
from roastlog.web.http.security import caller

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Problem:
    """Context of `public/errors/problem.html`."""

    status: int
    title: str
    what: str
    works: str = N_("Recording continues; nothing recorded so far is lost.")
    do: str = N_("Go back and try again.")
    find: bool = False


STATUS: Final[dict[type[DrumsideError], tuple[int, str]]] = {
    MistypedCode: (404, N_("This code is mistyped")),
    NotACode: (404, N_("This is not a batch code")),
    NoSuchBatch: (404, N_("No batch has this code")),
    NoSuchMachine: (404, N_("Machine not found")),
    NoSuchLot: (404, N_("Lot not found")),
    NoSuchProduct: (404, N_("Product not found")),
    NoSuchDevice: (404, N_("This device is no longer paired")),
    Withdrawn: (410, N_("This code is no longer valid")),
    NotFound: (404, N_("Not found")),
    LacksRole: (403, N_("Not allowed on this device")),
    StoreError: (503, N_("Not available right now")),
}
WORDS: Final[dict[int, tuple[str, str, str]]] = {
    400: (
        N_("Not understood"),
        N_("Your device sent something that this page does not understand."),
        N_("Go back, reload the page and send it again."),
    ),
    401: (
        N_("This device is not paired"),
        N_("Drumside answers only paired devices, and programs with a token."),
        N_("Pair the device: open /pair on it and type the owner's code, or scan the QR code."),
    ),
    403: (
        N_("Sent from another site"),
        N_("Drumside accepts forms only from its own pages."),
        N_("Open the page here and send it from there."),
    ),
    404: (
        N_("Page not found"),
        N_("The address is mistyped, or the page has moved."),
        N_("Start from Today, or find the batch by its code."),
    ),
    405: (
        N_("Not possible here"),
        N_("This address does not accept that kind of request."),
        N_("Go back to the page you came from."),
    ),
    413: (
        N_("Too large"),
        N_("Drumside accepts at most 1 MB at a time. Nothing was saved."),
        N_("Send it in smaller parts."),
    ),
    415: (
        N_("Content type not supported"),
        N_("Pages accept forms, and the API accepts JSON."),
        N_("Send JSON with “Content-Type: application/json”, or use the page."),
    ),
    421: (
        N_("Unknown server name"),
        N_("The address begins with a name that this server does not have."),
        N_("Use the address that Drumside printed at its start, or set this name in the settings."),
    ),
    422: (
        N_("Check your input"),
        N_("A field is missing, or its value is out of range."),
        N_("Go back, correct it, and send it again."),
    ),
    500: (
        N_("Something went wrong"),
        N_("Drumside failed while making this page. The error is in the log."),
        N_("Try again. If it happens again, report the error in the server's log."),
    ),
    503: (
        N_("Not available right now"),
        N_("Drumside cannot read or write its database right now."),
        N_("Take notes on paper. Check whether the disk is full or the data folder is missing."),
    ),
}


def install(app: Flask, stranger_page: Callable[[], str]) -> None:
    """Answer each error with its page, or JSON on the API; a 401 with the page for unpaired devices."""
    app.extensions["stranger_page"] = stranger_page
    app.register_error_handler(DrumsideError, _named)
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(Exception, _fault)


def problem(error: DrumsideError) -> Problem:
    """The page for a named error, whose message is already a sentence."""
    status, title = next((STATUS[kind] for kind in type(error).__mro__ if kind in STATUS), (422, _("Not possible")))
    do, find, works = _("Go back, correct it, and send it again."), False, Problem.works
    if isinstance(error, (MistypedCode, NotACode, NoSuchBatch)):
        do, find = _("Check the code on the label, or find the coffee by its name."), True
    elif isinstance(error, LacksRole):
        has = caller().role or Role.LOOK
        works = _(
            "This device is still paired, with the role {role}: {means}. Nothing was changed.",
            role=has.called,
            means=MEANS[has],
        )
        do = _("Ask the owner to change this device's role under More, Devices.")
    elif status == 404:
        do = _("Start from Today.")
    elif status == 503:
        works = _("Readings continue. Those that cannot be written yet stay in memory.")
        do = WORDS[503][2]
    return Problem(status, title, _words(error), works, do, find)


def _words(error: DrumsideError) -> str:
    """The message for the owner; for all others its first line, since folders and commands follow it."""
    text = str(error)
    in_full = caller().role is Role.OWN and least(request.endpoint) is not PUBLIC
    return text if in_full else text.partition("\n")[0]


def http_problem(status: int) -> Problem:
    """The page for a plain HTTP status."""
    title, what, do = WORDS.get(status, WORDS[500 if status >= 500 else 400])
    return Problem(status, title, what, do=do, find=status == 404)


def _named(error: DrumsideError) -> ResponseReturnValue:
    return _answer(problem(error))


def _http(error: HTTPException) -> ResponseReturnValue:
    if error.code is None or error.code < 400:
        return error
    return _answer(http_problem(error.code))


def _fault(error: Exception) -> ResponseReturnValue:
    log.error("Fault at %s %s", request.method, request.path, exc_info=error)
    return _answer(http_problem(500))


def _answer(page: Problem) -> ResponseReturnValue:
    if request.path.startswith("/api/") or request.path == "/healthz":
        return jsonify(error=page.what, title=page.title), page.status
    if page.status == 401:
        return current_app.extensions["stranger_page"](), 401
    if request.endpoint == "bag.bag":
        return render_template("public/bag/gone.html", page=page), page.status
    return render_template("public/errors/problem.html", page=page), page.status
