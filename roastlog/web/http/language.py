"""The language of a page: the one chosen on the device, else the browser's, else English."""

from collections.abc import Iterator
from typing import Any, Final

from flask import Blueprint, Flask, Response, redirect, request
from flask.json.provider import DefaultJSONProvider
from flask.typing import ResponseReturnValue
from markupsafe import Markup, escape
from werkzeug.wrappers import Request

from roastlog import languages
from roastlog.jsonable import jsonable

bp = Blueprint("language", __name__)

COOKIE: Final = "language"
YEAR_S: Final = 365 * 86400


@bp.post("/language")
def choose() -> ResponseReturnValue:
    """Store the language of this device in a cookie; an empty choice returns to the browser's."""
    response = redirect("/settings", 303)
    chosen = request.form.get("language", "")
    if chosen in languages.known():
        response.set_cookie(COOKIE, chosen, max_age=YEAR_S, samesite="Lax")
    else:
        response.delete_cookie(COOKIE)
    return response


class Provider(DefaultJSONProvider):
    """JSON with all texts in the language of the request, and keys in their order."""

    sort_keys = False

    def dumps(self, obj: Any, **kwargs: Any) -> str:  # noqa: ANN401
        """The object as JSON."""
        return super().dumps(jsonable(obj), **kwargs)


def install(app: Flask) -> None:
    """Render each page and response in the language of its request."""
    app.json = Provider(app)
    app.jinja_env.policies["json.dumps_function"] = app.json.dumps  # Jinja still holds the provider set before
    app.before_request(_choose_language)
    app.after_request(_add_headers)
    app.teardown_request(lambda _: languages.use(languages.SOURCE))
    app.jinja_env.finalize = _translated
    app.jinja_env.globals.update(
        _=_in_page,
        ngettext=_numbered_in_page,
        language=languages.catalogue,
        language_choices=_choices,
        script_words=_script_words,
    )


def language_for(asked: Request) -> str:
    """The language in which a request is answered."""
    return next(tag for tag in _preferred(asked) if tag in languages.known())


def _choose_language() -> None:
    languages.use(language_for(request))


def _preferred(asked: Request) -> Iterator[str]:
    """Languages by preference: de-AT, then de (lookup of RFC 4647, 3.4); English last."""
    yield asked.cookies.get(COOKIE, "")
    for tag in asked.accept_languages.values():
        parts = tag.split("-")
        yield from ("-".join(parts[:length]) for length in range(len(parts), 0, -1))
    yield languages.SOURCE


def _add_headers(response: Response) -> Response:
    if response.mimetype == "text/html":
        response.vary.update(("Accept-Language", "Cookie"))
        response.headers["Content-Language"] = languages.current()
    return response


def _choices() -> dict[str, str]:
    """Languages by code, each under its own name, so that it can be found on a page in another one."""
    return {code: languages.name_of(code) for code in languages.known()}


def _script_words() -> dict[str, Any]:
    """Texts of the language for static/js/core/words.js, with the plural forms for numbers below 200."""
    words = languages.catalogue()
    forms = (
        [words.form(n) for n in range(200)]
        if any(isinstance(said, tuple) for said in words.in_scripts.values())
        else []
    )
    return {"words": words.in_scripts, "decimal": words.decimal, "forms": forms}


def _translated(value: object) -> object:
    """A template value, translated if it is a marked text."""
    return value.translated() if isinstance(value, languages.Message) else value


def _in_page(message: str, **fields: object) -> Markup:
    return _html(message, fields)


def _numbered_in_page(one: str, many: str, n: int, **fields: object) -> Markup:
    return _html((one, many, n), {"n": n, **fields})


def _html(msgid: languages.MessageId, fields: dict[str, object]) -> Markup:
    """A message as escaped HTML; only fields that are Markup keep their markup."""
    text = str(escape(languages.translation(msgid))).replace("&#39;", "'")  # attributes are in double quotes
    return Markup(languages.filled(text, fields, escape))  # noqa: S704 - escaped on the line above
