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
    works: str = N_("Recording goes on; nothing that was said before is lost.")
    do: str = N_("Go back and try again.")
    find: bool = False


STATUS: Final[dict[type[DrumsideError], tuple[int, str]]] = {
    MistypedCode: (404, N_("That code is mistyped")),
    NotACode: (404, N_("That is not a batch code")),
    NoSuchBatch: (404, N_("No batch carries that code")),
    NoSuchMachine: (404, N_("There is no such machine here")),
    NoSuchLot: (404, N_("There is no such lot in the books")),
    NoSuchDevice: (404, N_("That one is not let in any more")),
    Withdrawn: (410, N_("This code holds no more")),
    NotFound: (404, N_("That is not here")),
    LacksRole: (403, N_("That is not for this device")),
    StoreError: (503, N_("Not just now")),
}
WORDS: Final[dict[int, tuple[str, str, str]]] = {
    400: (
        N_("That could not be read"),
        N_("What your device sent is not in a form that this page knows."),
        N_("Go back, load the page afresh and send it again."),
    ),
    401: (
        N_("This device is not let in"),
        N_("Drumside answers the roastery's own devices, and programs that carry a token."),
        N_("Pair the device: open /pair on it and type the code that the owner gives, or scan the QR."),
    ),
    403: (
        N_("That came from another site"),
        N_("Drumside takes forms only from its own pages."),
        N_("Open the page here and send it from there."),
    ),
    404: (
        N_("There is no page here"),
        N_("The address is mistyped, or what it led to has moved."),
        N_("Start from Today, or look for the batch by its code."),
    ),
    405: (
        N_("That cannot be done here"),
        N_("The address is right, but it takes nothing of this kind."),
        N_("Go back to the page that you came from."),
    ),
    413: (
        N_("That is too much at once"),
        N_("Drumside takes at most 1 MB at a time, and this was more. Nothing of it was kept."),
        N_("Send it in smaller parts."),
    ),
    415: (
        N_("That is not a kind of content this takes"),
        N_("Pages take forms, and the API takes JSON."),
        N_("Send JSON with “Content-Type: application/json”, or use the page."),
    ),
    421: (
        N_("That is not a name of this server"),
        N_("The address begins with a name that Drumside does not go by."),
        N_("Use the address that Drumside printed when it started, or set that name in the settings."),
    ),
    422: (
        N_("Something in there does not fit"),
        N_("A field is missing, or its value cannot be."),
        N_("Go back, correct it, and send it again."),
    ),
    500: (
        N_("Something broke on our side"),
        N_("Drumside met a fault of its own while it made this page. It has been written to the log."),
        N_("Try again. If it comes back, look into the log of the server and report what it says."),
    ),
    503: (
        N_("Not just now"),
        N_("Drumside cannot read or write its record at the moment."),
        N_("Keep notes on paper, and look whether the disk is full or the data folder is gone."),
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
    status, title = next(
        (STATUS[kind] for kind in type(error).__mro__ if kind in STATUS), (422, _("That cannot be done"))
    )
    do, find, works = _("Go back, correct it, and send it again."), False, Problem.works
    if isinstance(error, (MistypedCode, NotACode, NoSuchBatch)):
        do, find = _("Read the code off the label again, or look for the coffee by its name."), True
    elif isinstance(error, LacksRole):
        has = caller().role or Role.LOOK
        works = _(
            "This device stays let in with the role {role}: {means}. Nothing was changed.",
            role=has.called,
            means=MEANS[has],
        )
        do = _("Ask the owner: under More, Devices, this device can be given another role.")
    elif status == 404:
        do = _("Start from Today.")
    elif status == 503:
        works = _(
            "Instruments are read on; readings that cannot be written yet are kept in memory until the disk takes them."
        )
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
