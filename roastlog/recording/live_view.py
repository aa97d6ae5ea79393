"""The live view: all that a live page shows besides the numbers, as plain data. Made once for each entry, for all."""

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any, Final

import numpy as np

from roastlog.curve.phases import phase_at, planned_drop_s
from roastlog.curve.turning_point import turning_point
from roastlog.journal.fold import Batch, Line
from roastlog.journal.vocabulary import MOMENT_LABELS, MOMENT_WORDS, called
from roastlog.journal.wording import FLAG_WORDS, tell
from roastlog.machine.model import Machine, bean_channel
from roastlog.plot import overlays
from roastlog.store.batches import BatchSummary
from roastlog.units import clock_text

LOG_LINES: Final = 40
SHIFTABLE: Final = frozenset({"moment", "move", "trier", "aroma", "crack", "note"})
ValueAt = Callable[[str, float], float | None]


def machine_part(machine: Machine) -> dict[str, Any]:
    """What does not change while a machine runs: its name, channels and controls."""
    return {
        "machine": {
            "id": machine.id,
            "name": machine.name,
            "batch_g": list(machine.batch_g),
            "practice": machine.practice,
        },
        "channels": [
            {
                "id": channel.id,
                "name": channel.name,
                "role": channel.role,
                "short": channel.label,
                "by_hand": channel.source == "hand",
            }
            for channel in machine.channels
        ],
        "controls": [
            {
                "id": control.id,
                "name": control.name,
                "unit": control.unit,
                "low": control.low,
                "high": control.high,
                "step": control.step,
                "decimals": control.decimals,
            }
            for control in machine.controls
        ],
    }


def planned_drop(batch: Batch) -> float | None:
    """When the planned development will be reached; None without a first crack or a plan. [s from charge]"""
    crack_s, plan = batch.moments_s.get("first_crack"), batch.facts.plan
    if crack_s is None or crack_s <= 0 or plan is None:
        return None
    return planned_drop_s(crack_s, plan.development_s, plan.development_ratio)


def batch_part(
    machine: Machine,
    batch: Batch,
    summary: BatchSummary,
    columns: Mapping[str, Sequence[float]],
    value_at: ValueAt,
    now_ms: int,
    photos: Collection[str] = (),
) -> dict[str, Any]:
    """The batch as the live page shows it.

    Parameters
    ----------
    columns
        The curve so far: ``t_s`` and one column a channel, NaN for gaps.
    value_at
        Value of a channel at a time from charge, None where it is not known.
    photos
        Names of the photos that are here.
    """
    bean = bean_channel(machine)
    moments = batch.moments_s
    now_s = batch.time_s(now_ms)
    charge, drop = batch.moments.get("charge"), batch.moments.get("drop")
    end_s = moments.get("drop", now_s or 0.0)
    turn = turning_point(np.asarray(columns["t_s"], float), np.asarray(columns[bean], float))
    marked = [(MOMENT_WORDS[name], time_s) for name, time_s in moments.items()]
    if turn is not None and turn.time_s < end_s:
        marked.append((MOMENT_WORDS["turning_point"], turn.time_s))
    trier = [(line.body["stage"], batch.time_s(line.at_ms)) for line in batch.of("trier")]
    moves = [(line.body["control"], batch.time_s(line.at_ms), line.body["setting"]) for line in batch.of("move")]
    controls = machine_part(machine)["controls"]
    plan = batch.facts.plan
    return {
        "code": batch.code,
        "title": summary.title,
        "intent": batch.facts.intent,
        "green_g": batch.green_g,
        "state": batch.state,
        "opened_entry": str(batch.opened.id) if batch.opened else None,
        "facts": batch.facts.model_dump(mode="json", exclude_none=True),
        "charged_at_ms": charge.at_ms if charge else None,
        "dropped_at_ms": drop.at_ms if drop else None,
        "moments": [_moment(name, line, batch, bean, value_at) for name, line in batch.moments.items()],
        "turning_point": None if turn is None else {"time_s": round(turn.time_s, 1), "temp_c": round(turn.temp_c, 1)},
        "settings": batch.settings,
        "expected": batch.expected,
        "stage": batch.stage,
        "phase": called(phase_at(moments, now_s) if now_s is not None else "before charge"),
        "plan": {
            "development_s": plan.development_s if plan else None,
            "development_ratio": plan.development_ratio if plan else None,
            "drop_at_s": planned_drop(batch),
        },
        "log": log(machine, batch, bean, value_at, photos),
        "chart": {
            "marks": overlays.marks(marked),
            "checks": overlays.checks(
                (stage, time_s, value_at(bean, time_s)) for stage, time_s in trier if time_s is not None
            ),
            "ribbon": overlays.ribbon(
                ((control, time_s, setting) for control, time_s, setting in moves if time_s is not None),
                controls,
                end_s,
                growing=drop is None,
            ),
        },
    }


def _moment(name: str, line: Line, batch: Batch, bean: str, value_at: ValueAt) -> dict[str, Any]:
    time_s = batch.time_s(line.at_ms)
    return {
        "moment": name,
        "label": MOMENT_LABELS[name],
        "time_s": time_s,
        "temp_c": None if time_s is None else value_at(bean, time_s),
        "entry": str(line.id),
        "by": line.by.person or line.by.device,
        "flags": list(line.flags),
    }


def log(
    machine: Machine, batch: Batch, bean: str, value_at: ValueAt, photos: Collection[str] = ()
) -> list[dict[str, Any]]:
    """What was said and counts, newest first: the words, and what can still be done about each."""
    controls = {control.id: control.name for control in machine.controls}
    lines = [line for line in batch.lines if not line.undone and line.kind not in {"undo", "shift", "amend"}]
    told = []
    for line in reversed(lines[-LOG_LINES:]):
        time_s = batch.time_s(line.at_ms)
        text = tell(line, batch, controls)
        temp_c = value_at(bean, time_s) if time_s is not None and line.kind == "moment" else None
        told.append(
            {
                "entry": str(line.id),
                "kind": line.kind,
                "time_s": time_s,
                "clock": None if time_s is None else clock_text(time_s).replace("-", "−"),
                "text": text,
                "temp_c": temp_c,
                "by": line.by.person or line.by.device,
                "late": "late" in line.flags,
                "flags": [FLAG_WORDS[flag] for flag in line.flags],
                "shiftable": line.kind in SHIFTABLE,
                "photo": _photo(line, photos),
            }
        )
    return told


def _photo(line: Line, here: Collection[str]) -> dict[str, Any] | None:
    """The photo that a line names, and whether it has come; the tap goes ahead of it."""
    name = line.body.get("photo")
    return None if name is None else {"name": name, "here": name in here}
