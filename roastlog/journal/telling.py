"""How one line of the journal reads: “First crack 8:42”, “Radiant to 4.0”."""

from collections.abc import Callable, Mapping
from typing import Any, Final
from uuid import UUID

from pydantic import ValidationError

from roastlog.journal.entries import Plan
from roastlog.journal.fold import Batch, Line
from roastlog.journal.words import MOMENT_LABELS, STAGE_LABELS, purpose
from roastlog.units import clock_text

_DECISIONS: Final = {"release": "Released", "hold": "Held back", "reject": "Rejected"}
_FACTS: Final = {
    "lot": "lot",
    "coffee": "coffee",
    "green_g": "green weight",
    "intent": "for",
    "plan": "plan",
    "guide": "guide",
}
FLAG_WORDS: Final = {
    "late": "came in after the release",
    "doubled": "marked before",
    "out_of_order": "out of order",
    "amend_unfit": "has a correction that does not fit",
    "about_nothing": "about an entry that is not here",
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
        return f"{controls.get(control, control)} to {plain(line.body['setting'])}"
    if line.kind in _TELLERS:
        return _TELLERS[line.kind](line.body)
    return _about(line, batch, controls)


def _weighed(body: Mapping[str, Any]) -> str:
    removed = f" · {body['removed_g']:,.0f} g sorted out" if body.get("removed_g") else ""
    return f"Weighed {body['roasted_g']:,.0f} g{removed}".replace(",", "\u202f")


def _about(line: Line, batch: Batch, controls: Mapping[str, str]) -> str:
    target = UUID(str(line.body["entry"]))
    about = next((other for other in batch.lines if other.id == target and other.id != line.id), None)
    if about is None:
        what = "an entry that is not here"
    elif about.kind in {"undo", "shift", "amend"}:
        what = {"undo": "an undo", "shift": "a shift", "amend": "a correction"}[about.kind]
    else:
        what = f"“{tell(about, batch, controls)}”"
    if line.kind == "undo":
        return f"Took back {what}"
    if line.kind == "shift":
        return f"Moved {what} by {line.body['by_s']:+g} s".replace("-", "−")
    changed = ", ".join(change_text(name, value) for name, value in line.body["body"].items())
    return f"Corrected {what}: {changed}"


def change_text(name: str, value: Any) -> str:  # noqa: ANN401 - whatever a body holds
    """One corrected field in words."""
    label = _FACTS.get(name, name.replace("_", " "))
    said = _plan(value) if name == "plan" else plain(value)
    return f"{label} {said}" if said else f"no {label}"


def _plan(value: Any) -> str:  # noqa: ANN401 - a correction that came before its entry was not held against it
    try:
        plan = Plan.model_validate(value or {})
    except ValidationError:
        return str(value)
    return " ".join(plan_text(plan.model_dump(exclude_none=True)))


def facts(body: Mapping[str, Any]) -> list[str]:
    """What was said about a batch when it was opened, in words."""
    said = [str(body[name]) for name in ("coffee", "lot") if name in body]
    if "green_g" in body:
        said.append(f"{body['green_g'] / 1000:.2f} kg green")
    if "intent" in body:
        said.append(purpose(str(body["intent"])))
    return said + plan_text(body.get("plan", {}))


def plan_text(plan: Mapping[str, Any]) -> list[str]:
    """The planned development in words; nothing without a plan."""
    if plan.get("development_s") is not None:
        return [f"development {clock_text(plan['development_s'])}"]
    if plan.get("development_ratio") is not None:
        return [f"development {plan['development_ratio']:.0%}"]
    return []


def plain(value: object) -> str:
    """A number as one says it: 4.0 is “4”, 3.5 is “3.5”; several words with commas; nothing for None."""
    if isinstance(value, list | tuple):
        return ", ".join(map(plain, value))
    return f"{value:g}" if isinstance(value, float) else "" if value is None else str(value)


_TELLERS: Final[dict[str, Callable[[Mapping[str, Any]], str]]] = {
    "opened": lambda body: " · ".join(["Batch opened", *facts(body)]),
    "moment": lambda body: MOMENT_LABELS[body["moment"]],
    "trier": lambda body: ", ".join([f"Trier: {STAGE_LABELS[body['stage']]}", *body.get("words", [])]),
    "aroma": lambda body: "Aroma: " + ", ".join(body["words"]),
    "crack": lambda body: f"Crack sounds {body['vigour']}",
    "note": lambda body: str(body["text"]),
    "weighed": _weighed,
    "colour": lambda body: f"Colour {plain(body['value'])} on {body['scale']}, {body['sample']}",
    "released": lambda body: ": ".join([_DECISIONS[body["decision"]], *([body["reason"]] if "reason" in body else [])]),
}
