"""Devices and programs with access, for the desk: their roles, new codes, and the end of their access."""

import ipaddress
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from flask import Blueprint, Response, redirect, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from roastlog.errors import SettingError
from roastlog.label.qr import qr_symbol, svg
from roastlog.languages import _
from roastlog.services import Device, Invitation, Person
from roastlog.services.devices import LONGEST_NAME
from roastlog.web import services
from roastlog.web.http.forms import Form
from roastlog.web.http.roles import MEANS
from roastlog.web.http.security import caller, forget, from_this_computer, has_own_authority

bp = Blueprint("devices", __name__)

NOT_KEPT: Final = {"Cache-Control": "no-store"}  # a secret shown once must not reappear on going back


@dataclass(frozen=True)
class DevicesPage:
    """Context of `owner/devices/page.html`; ``told`` is the name of a program with its new token."""

    devices: Sequence[Device]
    programs: Sequence[Device]
    people: Sequence[Person]
    own_id: int
    now_ms: int
    error: str = ""
    told: tuple[str, str] | None = None
    longest: int = LONGEST_NAME

    @property
    def roles(self) -> Mapping[str, str]:
        """The roles with their meanings."""
        return {role.word: means for role, means in MEANS.items()}


@dataclass(frozen=True)
class WaitingPart:
    """Context of `owner/devices/_waiting.html`: whether the code is still valid, and until when. [ms UTC]"""

    id: int
    is_open: bool
    ends_ms: int


@dataclass(frozen=True)
class InvitationPage:
    """Context of `owner/devices/invitation.html`, which is shown once."""

    invitation: Invitation
    means: str
    reach: str
    qr: Markup
    alone: bool

    @property
    def code(self) -> str:
        """The code in two halves, for reading aloud."""
        return f"{self.invitation.code[:3]} {self.invitation.code[3:]}"

    @property
    def waiting(self) -> WaitingPart:
        """Context of the part that is polled."""
        return WaitingPart(self.invitation.id, is_open=True, ends_ms=self.invitation.ends_ms)


@bp.get("/devices")
def devices() -> str:
    """All devices and programs, and the forms to add one."""
    return _page()


@bp.post("/devices/invite")
def invite() -> ResponseReturnValue:
    """Make and show an invitation for one device."""
    form = Form(request.form)
    try:
        made = services().pairing.invite(
            form.values.get("role", ""), name=form.values.get("name"), person=form.values.get("person")
        )
    except SettingError as error:
        return _page(str(error)), 422
    reach, link = _way_in(made.secret)
    symbol = qr_symbol(link)
    qr = Markup(svg(symbol, title=_("QR code for pairing a device")))  # noqa: S704 - our own drawing
    alone = services().address.listens_here_alone and from_this_computer()
    page = InvitationPage(made, MEANS[made.role], reach, qr, alone)
    return Response(render_template("owner/devices/invitation.html", page=page), headers=NOT_KEPT)


@bp.get("/devices/invitations/<int:ident>")
def waiting(ident: int) -> str:
    """Whether a code is still valid, polled by the page that shows it."""
    ends_ms = services().pairing.open_until(ident)
    return render_template("owner/devices/_waiting.html", page=WaitingPart(ident, ends_ms > 0, ends_ms))


@bp.post("/devices/<int:ident>")
def change(ident: int) -> ResponseReturnValue:
    """Change the name, person and role of a device."""
    form = Form(request.form)
    name, role, person = (form.values.get(field, "") for field in ("name", "role", "person"))
    try:
        services().devices.change(ident, name=name, role=role, person=person)
    except SettingError as error:
        return _page(str(error)), 422
    return redirect("/devices", 303)


@bp.post("/devices/<int:ident>/cut-off")
def cut_off(ident: int) -> ResponseReturnValue:
    """End the access of a device."""
    services().devices.cut_off(ident)
    return redirect("/devices", 303)


@bp.post("/devices/leave")
def leave() -> ResponseReturnValue:
    """End the access of this device, and delete its cookie and what its browser cached of our answers, photos too.

    `static/js/owner/forget-device.js` deletes all else, after it has asked about what was not sent.
    """
    device = caller().device
    if device is not None and device.id:
        services().devices.cut_off(device.id)
    response = forget(redirect("/pair", 303))
    response.headers["Clear-Site-Data"] = '"cache"'
    return response


@bp.post("/tokens")
def new_token() -> ResponseReturnValue:
    """Make a token for a program and show it, once."""
    form = Form(request.form)
    name = form.values.get("name", "")
    try:
        token = services().devices.new_token(name, form.values.get("role", ""))
    except SettingError as error:
        return _page(str(error)), 422
    return Response(_page(told=(name, token)), headers=NOT_KEPT)


@bp.post("/tokens/revoke")
def revoke_token() -> ResponseReturnValue:
    """End the access of a program."""
    services().devices.revoke_token(request.form.get("name", ""))
    return redirect("/devices#programs", 303)


def _way_in(secret: str) -> tuple[str, str]:
    """The address at which another device types its code, and the link in the QR code."""
    if has_own_authority():  # the device must trust the certificate first
        return services().address.way_in(), services().address.way_in(secret)
    base = reachable()
    return f"{base}/pair", f"{base}/pair/{secret}"


def reachable() -> str:
    """Address of this server for other devices: that of this request, unless it is local to this computer."""
    host = urlsplit(request.host_url).hostname or ""
    try:
        here = ipaddress.ip_address(host).is_loopback
    except ValueError:
        here = host == "localhost" or host.endswith(".localhost")
    return services().address.own_base() if here else request.host_url.rstrip("/")


def _page(error: str = "", told: tuple[str, str] | None = None) -> str:
    device = caller().device
    page = DevicesPage(
        devices=services().devices.all(),
        programs=services().devices.programs(),
        people=services().people.all(),
        own_id=device.id if device else 0,
        now_ms=services().devices.wall_ms(),
        error=error,
        told=told,
    )
    return render_template("owner/devices/page.html", page=page)
