"""Pages and API: thin routes over the services."""

from typing import TYPE_CHECKING, cast

from flask import current_app

if TYPE_CHECKING:
    from roastlog.services import Services


def services() -> "Services":
    """The services of the app that answers this request."""
    return cast("Services", current_app.extensions["services"])
