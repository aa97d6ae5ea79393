"""The wording of a journal line: “First crack”, “Radiant to 4.0”. That of each kind is in its row of the registry."""

from collections.abc import Mapping
from typing import Final
from uuid import UUID

from roastlog.journal.fold import Line, Lines
from roastlog.journal.kinds import REGISTRY
from roastlog.journal.kinds.base import Telling
from roastlog.languages import N_, _, joined

FLAG_WORDS: Final = {
    "late": N_("arrived after the release"),
    "doubled": N_("already marked"),
    "out_of_order": N_("out of order"),
    "too_soon": N_("implausibly early"),
    "amend_unfit": N_("has an invalid correction"),
    "about_nothing": N_("its entry is missing"),
}


def tell(line: Line, subject: Lines, controls: Mapping[str, str]) -> str:
    """One line in words, without its time.

    Parameters
    ----------
    line
        The line.
    subject
        Its batch or other subject.
    controls
        Names of the machine's controls by id.
    """
    if line.kind not in REGISTRY:
        return _("From a newer version of Drumside: {kind}", kind=line.kind)

    def quoted(ident: str) -> str:
        return _quoted(line, ident, subject, controls)

    try:
        return REGISTRY[line.kind].tell(line.body, Telling(controls, quoted))
    except (KeyError, TypeError, ValueError):  # a word or field of a newer version
        return _("From a newer version of Drumside: {kind}", kind=line.kind)


def _quoted(line: Line, ident: str, subject: Lines, controls: Mapping[str, str]) -> str:
    target = UUID(ident)
    about = next((other for other in subject.lines if other.id == target and other.id != line.id), None)
    if about is None:
        return _("a missing entry")
    if about.kind in REGISTRY and REGISTRY[about.kind].corrects:
        return _(REGISTRY[about.kind].noun)
    return joined("", ["“", tell(about, subject, controls), "”"])
