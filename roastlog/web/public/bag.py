"""The public page of a bag, which its QR code opens: small and without a script."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from flask import Blueprint, Response, render_template, request
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from roastlog.languages import _
from roastlog.services import Bag
from roastlog.web import services
from roastlog.web.http.formatting import day_of, mass, page_units
from roastlog.web.http.security import caller

bp = Blueprint("bag", __name__)


@dataclass(frozen=True)
class BagPage:
    """Context of `public/bag/page.html`; ``paired`` is True on the roastery's own devices."""

    bag: Bag
    token: str
    roasted: str
    best_before: str
    curve: Markup
    facts: Sequence[tuple[str, str]]
    paired: bool


@bp.get("/r/<token>")
def bag(token: str) -> str:
    """The page of one bag."""
    found = services().bags.by_token(token)
    curve = Markup(found.curve_svg)  # noqa: S704 - our own drawing, its words escaped
    paired = caller().role is not None
    page = BagPage(found, token, _date(found.roasted), _date(found.best_before), curve, _facts(found), paired)
    return render_template("public/bag/page.html", page=page)


@bp.get("/r/<token>/photos/<uuid:photo_id>")
def photo(token: str, photo_id: UUID) -> AnyResponse:
    """A photo on that page. It is revalidated on each request, since photos may be hidden or the code withdrawn."""
    response = Response(services().bags.photo(token, str(photo_id)), mimetype="image/jpeg")
    response.headers["Cache-Control"] = "private, no-cache"
    response.set_etag(str(photo_id))
    return response.make_conditional(request)


def _date(when: datetime | None) -> str:
    return "" if when is None else day_of(when)


def _facts(found: Bag) -> list[tuple[str, str]]:
    """Public facts about the coffee, as label and value."""
    facts = list(found.origin.items())
    facts += [(name, mass(mass_g, page_units())) for name, mass_g in found.weights.items()]
    if found.roasted_by:
        facts.append((_("roasted by"), found.roasted_by))
    return facts
