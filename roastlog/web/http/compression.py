"""Compression of pages and data, since a curve is much text and phones in the roastery may have a slow network.

The length of compressed responses can reveal a secret if another site can request them repeatedly (BREACH); it cannot
here, because the cookie is `SameSite=Strict`.
"""

import gzip
from typing import Final

from flask import Flask, Response, request

LEAST_BYTES: Final = 1000
LEVEL: Final = 5  # a millisecond for the largest page
KINDS: Final = ("text/html", "application/json", "text/csv", "image/svg+xml")


def install(app: Flask) -> None:
    """Compress larger responses for clients that accept gzip."""
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
