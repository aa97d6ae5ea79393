"""The live page of a machine, its view as JSON, and its stream of events."""

import threading
from collections import Counter
from collections.abc import Callable, Generator
from itertools import chain
from typing import Any, Final

from flask import Blueprint, Response, jsonify, render_template, request
from flask.typing import ResponseReturnValue

from roastlog import languages
from roastlog.curve.faults.detection import DECLINING_RATE
from roastlog.journal.vocabulary import (
    AROMA_BY_STAGE,
    AROMA_LABELS,
    AROMA_WORDS,
    COOLED_MS,
    EXPECTED,
    MOMENT_LABELS,
    MOMENT_WORDS,
    STAGE_LABELS,
    STAGE_LETTERS,
    UNDER_WAY,
    VIGOUR_WORDS,
)
from roastlog.languages import N_, _
from roastlog.services import Hub
from roastlog.web import services
from roastlog.web.http.formatting import page_units
from roastlog.web.http.forms import who
from roastlog.web.http.security import caller, let_in_still

bp = Blueprint("live", __name__)

MOST_STREAMS: Final = 48  # each holds a thread
MOST_OF_A_DEVICE: Final = 6  # over HTTP/1.1 a browser opens no more connections anyway
WORDS: Final[dict[str, Any]] = {
    "moments": MOMENT_LABELS,
    "moments_within": MOMENT_WORDS,
    "declining_rate": DECLINING_RATE,
    "vigours": VIGOUR_WORDS,
    "expected": list(EXPECTED),
    "under_way": sorted(UNDER_WAY),
    "cooled_ms": COOLED_MS,
    "stages": STAGE_LABELS,
    "letters": STAGE_LETTERS,
    "aroma": {
        "all": list(AROMA_WORDS),
        "called": AROMA_LABELS,
        "by_stage": {stage: list(words) for stage, words in AROMA_BY_STAGE.items()},
    },
}


HINTS: Final[dict[str, str]] = {
    "charge": N_("Tap when the beans fall in"),
    "yellow": N_("Tap when the last green is gone"),
    "first_crack": N_("Tap when one crack follows another"),
    "drop": N_("Tap when the beans fall out"),
}


QUICK_NOTES: Final = (N_("Chaff"), N_("Smoke"), N_("Sticking"))


class Streams:
    """Counts the open streams, of each device and in all."""

    def __init__(self) -> None:
        self._counting = threading.Lock()
        self._of: Counter[str | None] = Counter()

    def refusal(self, device: str | None) -> str | None:
        """Count another stream of a device, or of this computer, which has no limit of its own; or why not."""
        with self._counting:
            if device is not None and self._of[device] >= MOST_OF_A_DEVICE:
                return _("This device has {most} live pages open. Close one.", most=MOST_OF_A_DEVICE)
            if self._of.total() >= MOST_STREAMS:
                return _("Too many live pages are open. Close one.")
            self._of[device] += 1
            return None

    def end(self, device: str | None) -> None:
        """Count a stream no more."""
        with self._counting:
            self._of[device] -= 1
            if not self._of[device]:
                del self._of[device]


_streams = Streams()


@bp.get("/machines/<machine_id>")
def page(machine_id: str) -> str:
    """The live page."""
    view = services().live.view(machine_id)
    units = page_units()
    figure = services().figures.live(view, temp_unit=units.temp)
    return render_template(
        "machine/page.html",
        view=view,
        words=WORDS,
        hints=HINTS,
        units=units,
        figure=figure,
        who=who(),
        quick_notes=services().settings.current().quick_note_texts or [_(text) for text in QUICK_NOTES],
    )


@bp.get("/machines/<machine_id>/view")
def view(machine_id: str) -> Response:
    """The live view, for a page that missed events."""
    return jsonify(services().live.view(machine_id))


@bp.get("/machines/<machine_id>/live")
def stream(machine_id: str) -> ResponseReturnValue:
    """Server-sent events: reading, entry, outlook, state, curve, photo."""
    whole = "changes" not in request.args
    hub = services().live.hub(machine_id)
    sender = caller().device
    device = None if sender is None else sender.key
    refusal = _streams.refusal(device)
    if refusal is not None:
        return Response(refusal, 503, {"Retry-After": "5"})
    events = _events(hub, device, let_in_still(), languages.current(), whole=whole)
    hello = next(events)  # started here, so that closing it always runs its `finally`
    response = Response(chain([hello], events), mimetype="text/event-stream", headers={"X-Accel-Buffering": "no"})
    response.call_on_close(events.close)
    return response


def _events(
    hub: Hub, device: str | None, has_access: Callable[[], bool], language: str, *, whole: bool
) -> Generator[str]:
    """The event stream of one watcher; with ``whole``, each flush also makes it fetch the whole view.

    A page from before a server update cannot apply changes; a `curve` event makes it fetch the view.
    """
    try:
        yield ": hello\n\n"
        for events in hub.watch(language):
            if not has_access():
                return
            text = "".join(f"event: {name}\nid: {ident}\ndata: {data}\n\n" for name, ident, data in events)
            if whole and any(event.name == "entry" for event in events):
                text += "event: curve\ndata: {}\n\n"
            yield text or ": still here\n\n"
    finally:
        _streams.end(device)
