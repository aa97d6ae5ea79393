"""Which language a page is in: what was chosen on this device, else what its browser asks for, else English."""

from collections.abc import Iterator
from typing import Any, Final

from flask import Blueprint, Flask, Response, redirect, request
from flask.json.provider import DefaultJSONProvider
from flask.typing import ResponseReturnValue
from markupsafe import Markup, escape

from roastlog import languages
from roastlog.jsonable import jsonable

bp = Blueprint("language", __name__)

COOKIE: Final = "language"
YEAR_S: Final = 365 * 86400


@bp.post("/language")
def choose() -> ResponseReturnValue:
    """Keep the language of this device; an empty choice goes back to what its browser asks for."""
    response = redirect("/settings", 303)
    chosen = request.form.get("language", "")
    if chosen in languages.known():
        response.set_cookie(COOKIE, chosen, max_age=YEAR_S, samesite="Lax")
    else:
        response.delete_cookie(COOKIE)
    return response


class Provider(DefaultJSONProvider):
    """JSON in which all that is said is in the language of whoever asked; keys stay in their order."""

    sort_keys = False

    def dumps(self, obj: Any, **kwargs: Any) -> str:  # noqa: ANN401
        """The object as JSON."""
        return super().dumps(jsonable(obj), **kwargs)


def install(app: Flask) -> None:
    """Let each page and answer be in the language of whoever asks."""
    app.json = Provider(app)
    app.jinja_env.policies["json.dumps_function"] = app.json.dumps  # it took the one that was there before
    app.before_request(_listen)
    app.after_request(_varies)
    app.teardown_request(lambda _: languages.use(languages.SOURCE))
    app.jinja_env.finalize = _finally
    app.jinja_env.globals.update(
        _=_in_page,
        ngettext=_numbered_in_page,
        language=languages.catalogue,
        language_choices=_choices,
        script_words=_script_words,
    )


def _listen() -> None:
    languages.use(next(tag for tag in _asked_for() if tag in languages.known()))


def _asked_for() -> Iterator[str]:
    """Languages by how much they are wished for: de-AT, then de (lookup of RFC 4647, 3.4); English at the end."""
    yield request.cookies.get(COOKIE, "")
    for tag in request.accept_languages.values():
        parts = tag.split("-")
        yield from ("-".join(parts[:length]) for length in range(len(parts), 0, -1))
    yield languages.SOURCE


def _varies(response: Response) -> Response:
    if response.mimetype == "text/html":
        response.vary.update(("Accept-Language", "Cookie"))
        response.headers["Content-Language"] = languages.current()
    return response


def _choices() -> dict[str, str]:
    """Each language by its own name, for whoever must find it on a page in another."""
    return {code: languages.name_of(code) for code in languages.known()}


def _script_words() -> dict[str, Any]:
    """What static/js/core/words.js needs of a language; the form of each number by its last two digits."""
    words = languages.catalogue()
    forms = (
        [words.form(n) for n in range(200)]
        if any(isinstance(said, tuple) for said in words.in_scripts.values())
        else []
    )
    return {"words": words.in_scripts, "decimal": words.decimal, "forms": forms}


def _finally(value: object) -> object:
    """What a page writes: all that is said is said in its language."""
    return value.again() if isinstance(value, languages.Said) else value


def _in_page(message: str, **fields: object) -> Markup:
    return _html(message, fields)


def _numbered_in_page(one: str, many: str, n: int, **fields: object) -> Markup:
    return _html((one, many, n), {"n": n, **fields})


def _html(message: languages.Message, fields: dict[str, object]) -> Markup:
    """A message as HTML. It holds no markup of its own; a field may, where it is Markup."""
    text = str(escape(languages.found(message))).replace("&#39;", "'")  # attributes stand in double quotes
    return Markup(languages.filled(text, fields, escape))  # noqa: S704 - escaped on the line above
