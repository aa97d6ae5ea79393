"""How one line of the journal reads: “First crack 8:42”, “Radiant to 4.0”."""

from collections.abc import Callable, Mapping
from typing import Any, Final
from uuid import UUID

from pydantic import ValidationError

from roastlog.journal.entries import Plan
from roastlog.journal.fold import Batch, Line
from roastlog.journal.vocabulary import MOMENT_LABELS, STAGE_LABELS, called, purpose
from roastlog.languages import N_, _, joined, numeral, said
from roastlog.units import clock_text

_DECISIONS: Final = {"release": N_("Released"), "hold": N_("Held back"), "reject": N_("Rejected")}
_FACTS: Final = {
    "lot": N_("lot"),
    "coffee": N_("coffee"),
    "green_g": N_("green weight"),
    "intent": N_("for"),
    "plan": N_("plan"),
    "guide": N_("guide"),
}
FLAG_WORDS: Final = {
    "late": N_("came in after the release"),
    "doubled": N_("marked before"),
    "out_of_order": N_("out of order"),
    "amend_unfit": N_("has a correction that does not fit"),
    "about_nothing": N_("about an entry that is not here"),
}


def tell(line: Line, batch: Batch, controls: Mapping[str, str]) -> str:
    """One line in words, without its time.

    Parameters
    ----------
    line
        The line, after undo, shift and amend.
    batch
        The batch that it belongs to.
    controls
        Names of the machine's controls by id.
    """
    if line.kind == "move":
        control = line.body["control"]
        return _("{control} to {setting}", control=controls.get(control, control), setting=plain(line.body["setting"]))
    if line.kind in _TELLERS:
        return _TELLERS[line.kind](line.body)
    return _about(line, batch, controls)


def _weighed(body: Mapping[str, Any]) -> str:
    weighed = _("Weighed {mass}", mass=_grams(body["roasted_g"]))
    if not body.get("removed_g"):
        return weighed
    return joined(" · ", [weighed, _("{mass} sorted out", mass=_grams(body["removed_g"]))])


def _grams(mass_g: float) -> str:
    return f"{mass_g:,.0f} g".replace(",", "\u202f")


def _about(line: Line, batch: Batch, controls: Mapping[str, str]) -> str:
    target = UUID(str(line.body["entry"]))
    about = next((other for other in batch.lines if other.id == target and other.id != line.id), None)
    if about is None:
        what = _("an entry that is not here")
    elif about.kind in {"undo", "shift", "amend"}:
        what = {"undo": _("an undo"), "shift": _("a shift"), "amend": _("a correction")}[about.kind]
    else:
        what = joined("", ["“", tell(about, batch, controls), "”"])
    if line.kind == "undo":
        return _("Took back {what}", what=what)
    if line.kind == "shift":
        by_s = line.body["by_s"]
        size = joined("", ["+" if by_s > 0 else "−", numeral(abs(by_s))])
        return _("Moved {what} by {by_s} s", what=what, by_s=size)
    changed = joined(", ", [change_text(name, value) for name, value in line.body["body"].items()])
    return _("Corrected {what}: {changed}", what=what, changed=changed)


def change_text(name: str, value: Any) -> str:  # noqa: ANN401 - whatever a body holds
    """One corrected field in words."""
    label = _(_FACTS[name]) if name in _FACTS else name.replace("_", " ")
    words = _plan(value) if name == "plan" else plain(value)
    return joined(" ", [label, words]) if words else _("no {label}", label=label)


def _plan(value: Any) -> str:  # noqa: ANN401 - a correction that came before its entry was not held against it
    try:
        plan = Plan.model_validate(value or {})
    except ValidationError:
        return str(value)
    return " ".join(plan_text(plan.model_dump(exclude_none=True)))


def facts(body: Mapping[str, Any]) -> list[str]:
    """What was said about a batch when it was opened, in words."""
    told = [str(body[name]) for name in ("coffee", "lot") if name in body]
    if "green_g" in body:
        told.append(_("{mass:.2f} kg green", mass=body["green_g"] / 1000))
    if "intent" in body:
        told.append(purpose(str(body["intent"])))
    return told + plan_text(body.get("plan", {}))


def plan_text(plan: Mapping[str, Any]) -> list[str]:
    """The planned development in words; nothing without a plan."""
    if plan.get("development_s") is not None:
        return [_("development {time}", time=clock_text(plan["development_s"]))]
    if plan.get("development_ratio") is not None:
        return [_("development {share:.0%}", share=plan["development_ratio"])]
    return []


def plain(value: object) -> str:
    """A number as one says it: 4.0 is “4”, 3.5 is “3.5”; several words with commas; nothing for None."""
    if isinstance(value, list | tuple):
        return joined(", ", map(plain, value))
    return numeral(value) if isinstance(value, float) else "" if value is None else str(value)


_TELLERS: Final[dict[str, Callable[[Mapping[str, Any]], str]]] = {
    "opened": lambda body: joined(" · ", [_("Batch opened"), *facts(body)]),
    "moment": lambda body: said(MOMENT_LABELS[body["moment"]]),
    "trier": lambda body: joined(
        ", ",
        [_("Trier: {stage}", stage=STAGE_LABELS[body["stage"]]), *map(called, body.get("words", []))],
    ),
    "aroma": lambda body: _("Aroma: {words}", words=joined(", ", map(called, body["words"]))),
    "crack": lambda body: _("Crack sounds {vigour}", vigour=called(body["vigour"])),
    "note": lambda body: str(body["text"]),
    "weighed": _weighed,
    "colour": lambda body: _(
        "Colour {value} on {scale}, {sample}",
        value=plain(body["value"]),
        scale=body["scale"],
        sample=called(body["sample"]),
    ),
    "released": lambda body: joined(
        ": ", [said(_DECISIONS[body["decision"]]), *([body["reason"]] if "reason" in body else [])]
    ),
}
