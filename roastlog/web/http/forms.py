"""Parsing of typed forms: decimal comma or point, an optional unit after the number, a sentence for each error."""

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any, Final
from uuid import UUID, uuid4, uuid5

from flask import Flask, abort, request
from werkzeug.wrappers import Response

from roastlog.journal.kinds.base import MAX_BATCH_G
from roastlog.languages import N_, _
from roastlog.units import G_PER_LB, G_PER_OZ
from roastlog.web.http.security import caller

GRAMS: Final = {"g": 1.0, "kg": 1000.0, "lb": G_PER_LB, "oz": G_PER_OZ}
WHO_COOKIE: Final = "who"
_NUMBER: Final = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+))\s*([^\d\s.,]*)")
_TWO_SIGNS: Final = re.compile(r"[+-]?\d*(?:\.\d*){2,}\s*[^\d\s.,]*")
_THOUSANDTHS: Final = re.compile(r"[+-]?\d{1,3}\.\d{3}")
_CLOCK: Final = re.compile(r"(\d{1,3}):([0-5]\d)")
_SINCE_CHARGE: Final = re.compile(r"(-?)(\d{1,3}):([0-5]\d(?:\.\d+)?)")
_TIME_OF_DAY: Final = re.compile(r"([01]?\d|2[0-3]):([0-5]\d):([0-5]\d)")


FIELDS: Final[dict[str, str]] = {
    "altitude": N_("Altitude"),
    "bag": N_("Net weight"),
    "best_before_days": N_("Days until best before"),
    "bought": N_("Weight bought"),
    "business": N_("Name on bags and labels"),
    "code": N_("Lot code"),
    "coffee": N_("Coffee"),
    "development": N_("Development time"),
    "green": N_("Green weight"),
    "green_lead_days": N_("Days from an order of green coffee to its arrival"),
    "guide": N_("Guide"),
    "intent_words": N_("Purpose"),
    "largest": N_("Largest charge"),
    "lot": N_("Green lot"),
    "name": N_("Name"),
    "note": N_("Note"),
    "person": N_("Roasted by"),
    "pressure": N_("Pressure"),
    "ratio": N_("Development ratio"),
    "read": N_("Probe reading"),
    "reason": N_("Reason"),
    "removed": N_("Defects"),
    "roasted": N_("Roasted weight"),
    "shown": N_("Name on bags"),
    "smallest": N_("Smallest charge"),
    "text": N_("Note"),
    "thermometer": N_("Thermometer"),
    "url_base": N_("Address of the codes"),
    "value": N_("Reading"),
}
"""The names of the forms' fields, for their errors."""

FORM_TYPES: Final = {"application/x-www-form-urlencoded", "multipart/form-data"}


def install(app: Flask) -> None:
    """Let pages accept forms only: any other content would look like an empty form."""
    app.before_request(_only_forms)


def plain(text: str) -> str:
    """A typed number normalised, by the rule of static/js/core/number-input.js: one comma or point is the decimal sign.

    Spaces may group thousands, and a typographic minus is accepted. With two signs, as in 1,234.5, both are kept,
    since either may group the thousands; the number is then refused.
    """
    spaced = text.strip().replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\N{NO-BREAK SPACE}", " ")
    grouped = re.sub(r"(?<=\d) (?=\d{3}(?!\d))", "", spaced)
    return grouped.replace(",", ".").replace("\N{MINUS SIGN}", "-")


def _only_forms() -> None:
    posted = request.method == "POST" and not request.path.startswith("/api/")
    if posted and request.content_length and request.mimetype not in FORM_TYPES:
        abort(415)


class Form:
    """The fields of a form, and their errors.

    Attributes
    ----------
    values
        The texts typed, to be shown again.
    errors
        A sentence by field that could not be parsed, with its name and its range; empty without errors.
    """

    def __init__(self, values: Mapping[str, str], names: Mapping[str, str] = FIELDS) -> None:
        self._names = names
        self.values = {name: value.strip() for name, value in values.items()}
        self.errors: dict[str, str] = {}

    def text(self, name: str, *, longest: int = 80) -> str | None:
        """Free text; None if empty."""
        text = self.values.get(name, "")
        if len(text) > longest:
            self.errors[name] = _(
                "{field} must be at most {longest} characters, not {typed}.",
                field=self._name(name),
                longest=longest,
                typed=len(text),
            )
            return None
        return text or None

    def number(self, name: str) -> float | None:
        """A number without a unit."""
        found = self._number(name)
        if found is None or not found[1]:
            return None if found is None else found[0]
        self.errors[name] = self._no_number(name)
        return None

    def mass_g(self, name: str, unit: str, *, most_g: float = MAX_BATCH_G) -> float | None:
        """A mass, typed in ``unit`` unless another unit follows the number. [g]"""
        found = self._number(name)
        if found is None:
            return None
        value, typed = found[0], (found[1] or unit).lower()
        if typed not in GRAMS:
            self.errors[name] = _(
                "{field} must be in kg, g, lb or oz, not in “{unit}”.", field=self._name(name), unit=found[1]
            )
            return None
        if typed == "g" and _THOUSANDTHS.match(plain(self.values[name])):
            self.errors[name] = _(
                "{field}: “{text}” may mean a gram or a thousand. Type it without the sign, or in kg.",
                field=self._name(name),
                text=self.values[name],
            )
            return None
        if value * GRAMS[typed] > most_g:
            self.errors[name] = _(
                "{field} must be at most {most:g} {unit}, not {typed:g} {unit}.",
                field=self._name(name),
                most=most_g / GRAMS[typed],
                typed=value,
                unit=typed,
            )
            return None
        return value * GRAMS[typed]

    def duration_s(self, name: str) -> float | None:
        """A time typed as ``1:20`` or in seconds. [s]"""
        text = self.values.get(name, "")
        if clock := _CLOCK.fullmatch(text):
            return int(clock[1]) * 60.0 + int(clock[2])
        found = self._number(name)
        if found is None:
            return None
        if found[1] not in {"", "s"}:
            self.errors[name] = _(
                "{field} must be a time such as 1:20 or 80, not “{text}”.", field=self._name(name), text=text
            )
            return None
        return found[0]

    def moment_ms(self, name: str, charged_ms: int | None, opened_ms: int) -> int | None:
        """A time in a batch, typed as ``8:42`` from charge or as ``14:05:10`` by the clock of its day. [ms UTC]"""
        text = plain(self.values.get(name, ""))
        if (since := _SINCE_CHARGE.fullmatch(text)) and charged_ms is not None:
            seconds = int(since[2]) * 60 + float(since[3])
            return charged_ms + round(1000 * (-seconds if since[1] else seconds))
        if by_clock := _TIME_OF_DAY.fullmatch(text):
            hour, minute, second = map(int, by_clock.groups())
            day = datetime.fromtimestamp(opened_ms / 1000).astimezone()
            typed = day.replace(hour=hour, minute=minute, second=second, microsecond=0)
            return round(typed.timestamp() * 1000)
        self.errors[name] = (
            _(
                "“{text}” is not a time of this batch. Type 8:42 from charge, or the time of day, such as 14:05:10.",
                text=text,
            )
            if charged_ms is not None
            else _(
                "“{text}” is not a time. Charge is not marked, so type the time of day, such as 14:05:10.", text=text
            )
        )
        return None

    def share(self, name: str) -> float | None:
        """A share typed in per cent; 14.2 gives 0.142."""
        found = self._number(name)
        if found is None:
            return None
        if found[1] not in {"", "%"} or not 0 < found[0] < 100:
            self.errors[name] = _(
                "{field} must be between 0 and 100 %, not “{text}”.", field=self._name(name), text=self.values[name]
            )
            return None
        return found[0] / 100

    @cached_property
    def id(self) -> UUID:
        """The form's id, so that sending it twice counts once; a new one if it is invalid."""
        try:
            return UUID(self.values.get("id", ""))
        except ValueError:
            return uuid4()

    def _number(self, name: str) -> tuple[float, str] | None:
        text = self.values.get(name, "")
        if not text:
            return None
        found = _NUMBER.fullmatch(plain(text))
        if found is None:
            self.errors[name] = (
                _("“{text}” has more than one comma or point. Leave out those that group the thousands.", text=text)
                if _TWO_SIGNS.fullmatch(plain(text))
                else self._no_number(name)
            )
            return None
        value = float(found[1])
        if not math.isfinite(value):
            self.errors[name] = _("{field} is too large.", field=self._name(name))
            return None
        return value, found[2]

    def _no_number(self, name: str) -> str:
        return _("{field} must be a number, not “{text}”.", field=self._name(name), text=self.values[name])

    def _name(self, name: str) -> str:
        return _(self._names.get(name, N_("Value")))


def entry_id(form: Form, kind: str, body: Mapping[str, Any]) -> UUID:
    """The id of an entry that a form makes: the same form sent twice makes one, and a corrected form another one."""
    return uuid5(form.id, kind + json.dumps(body, sort_keys=True))


def ask_once(form: Form, name: str, doubt: str) -> None:
    """Refuse a doubtful value of a field with a sentence, unless the form shows that the same value was asked about."""
    if form.values.get(f"sure-{name}") != form.values[name]:
        form.errors.setdefault(name, doubt)


def entry(
    form: Form,
    kind: str,
    body: Mapping[str, Any],
    *,
    machine: str,
    at_ms: int,
    person: str | None,
    batch: str | None = None,
) -> dict[str, Any]:
    """A journal entry made from a form.

    Its id is that of `entry_id`.
    """
    body = {key: value for key, value in body.items() if value is not None}
    made: dict[str, Any] = {
        "id": str(entry_id(form, kind, body)),
        "machine": machine,
        "kind": kind,
        "at_ms": at_ms,
        "by": {"person": person} if person else {},
        "body": body,
    }
    return made if batch is None else made | {"batch": batch}


def who() -> str:
    """The person of this device; on a shared one, its last user, from a cookie that only prefills a field."""
    return caller().person or request.cookies.get(WHO_COOKIE, "")


def remember(response: Response, person: str | None) -> Response:
    """Store the user in a cookie on the device, for the next form and for taps on the live page."""
    if person:
        response.set_cookie(WHO_COOKIE, person, max_age=365 * 86400, samesite="Lax")
    return response


@dataclass(frozen=True)
class AddMachine:
    """Context of `owner/machines/_add.html`: the text sent, and why it was refused."""

    text: str = ""
    error: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
