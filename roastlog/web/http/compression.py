"""Pages and data go out compressed: a phone in the roastery's corner has a slow network, and a curve is much text.

A secret in a compressed answer can be guessed at by its length where another site may have it asked for again and
again; ours is asked for by our own pages alone, since the cookie is `SameSite=Strict`.
"""

import gzip
from typing import Final

from flask import Flask, Response, request

LEAST_BYTES: Final = 1000
LEVEL: Final = 5  # a millisecond for the largest page
KINDS: Final = ("text/html", "application/json", "text/csv", "image/svg+xml")


def install(app: Flask) -> None:
    """Compress what is worth it, for those who take it."""
    app.after_request(_compress)


def _compress(response: Response) -> Response:
    if response.mimetype not in KINDS or response.is_streamed or response.direct_passthrough:
        return response
    response.vary.add("Accept-Encoding")
    body = response.get_data()
    if len(body) < LEAST_BYTES or response.content_encoding or not request.accept_encodings["gzip"]:
        return response
    response.set_data(gzip.compress(body, LEVEL, mtime=0))
    response.content_encoding = "gzip"
    return response
