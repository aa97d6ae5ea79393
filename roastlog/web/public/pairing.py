"""Pairing: the page that an unpaired device gets, and access by a link or a code."""

from dataclasses import dataclass

from flask import Blueprint, Response, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import PairingRefused, SettingError, TooManyTries
from roastlog.languages import _
from roastlog.services.devices import LONGEST_NAME
from roastlog.services.pairing import REFUSAL
from roastlog.web import services
from roastlog.web.http.forms import Form
from roastlog.web.http.security import caller, counted_address, let_in
from roastlog.web.http.user_agent import device_kind

bp = Blueprint("pairing", __name__)


@dataclass(frozen=True)
class PairPage:
    """Context of `public/pair.html`: a field for the code, or for a link only a button."""

    name: str
    secret: str = ""
    code: str = ""
    error: str = ""
    landed: bool = False
    let_in_already: bool = False
    longest: int = LONGEST_NAME


@bp.get("/pair")
def ask() -> str:
    """The page with the field for a code."""
    return _page(PairPage(_kind(), let_in_already=caller().role is not None))


@bp.get("/pair/<secret>")
def link(secret: str) -> ResponseReturnValue:
    """The page of an invitation's link. It asks first, so that a prefetch of the address does not use it up."""
    if not services().pairing.invited(secret):
        return _page(PairPage(_kind(), error=REFUSAL)), 422
    return _page(PairPage(_kind(), secret=secret, let_in_already=caller().role is not None))


@bp.post("/pair")
def pair() -> ResponseReturnValue:
    """Pair this device by a link or a code."""
    form = Form(request.form)
    secret, code, name = (form.values.get(field, "") for field in ("secret", "code", "name"))
    name = name or _kind()
    try:
        if secret:
            _, token = services().pairing.pair_by_link(secret, name)
        else:
            _, token = services().pairing.pair_by_code(code, name, address=counted_address(request.remote_addr or ""))
    except TooManyTries as error:
        page = _page(PairPage(name, code=code, error=str(error)))
        return Response(page, 429, {"Retry-After": str(error.wait_s)})
    except PairingRefused as error:
        return _page(PairPage(name, code=code, error=str(error))), 422
    except SettingError as error:
        return _page(PairPage(name, secret, code, str(error))), 422
    before = caller().device
    if before is not None and before.id:  # paired again: its old row would stay in the list
        services().devices.cut_off(before.id)
    return let_in(redirect("/", 303), token)


def stranger_page() -> str:
    """The page that an unpaired device gets at any address."""
    return _page(PairPage(_kind(), landed=True))


def _page(page: PairPage) -> str:
    return render_template("public/pair.html", page=page)


def _kind() -> str:
    """Default name of a device."""
    return device_kind(request.user_agent.string) or str(_("Device"))
