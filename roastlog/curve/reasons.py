"""Reasons in words, with their sizes, in the person's own units."""

from collections.abc import Callable, Mapping
from typing import Final

from roastlog.curve.pairing import Change
from roastlog.curve.why import Reason
from roastlog.journal.words import MOMENT_LABELS
from roastlog.units import clock_text, lb_from_g, rate_f_from_c

NOTHING_STANDS_OUT: Final = "Nothing stands out."


def tell_reason(
    reason: Reason,
    *,
    unit: str = "C",
    mass: str = "kg",
    names: Mapping[str, str] | None = None,
) -> str:
    """A reason as one says it: "charge 4 °C hotter", "radiant cut 20 s later, at 5:25".

    Parameters
    ----------
    reason
        As `roastlog.curve.compare` gives it.
    unit, mass
        What temperatures and weights are told in, ``C`` or ``F`` and ``kg`` or ``lb``; 1 °C of difference is 1.8 °F.
    names
        Names of the controls by id; the id where there is none.
    """
    return _TELLERS[reason.kind](reason, _Sizes(unit, mass, names or {}))


class _Sizes:
    """Sizes in the person's own units, without a sign: the words say which way."""

    def __init__(self, unit: str, mass: str, names: Mapping[str, str]) -> None:
        self._unit, self._mass, self._names = unit, mass, names

    def temp(self, by_c: float) -> str:
        """Size of a difference in temperature."""
        return f"{_round(by_c if self._unit == 'C' else rate_f_from_c(by_c))} °{self._unit}"

    def rate(self, by_c_per_min: float) -> str:
        """Size of a difference in rate."""
        by = abs(by_c_per_min if self._unit == "C" else rate_f_from_c(by_c_per_min))
        return f"{by:.1f} °{self._unit}/min"

    def mass(self, by_g: float) -> str:
        """Size of a difference in weight."""
        return f"{abs(by_g):.0f} g" if self._mass == "kg" else f"{lb_from_g(abs(by_g)):.2f} lb"

    def control(self, reason: Reason) -> str:
        """A control by its name, as it stands in a sentence's midst."""
        name = self._names.get(reason.subject, reason.subject.replace("_", " "))
        return name[:1].lower() + name[1:] if name[1:2].islower() else name


def _round(value: float) -> str:
    return f"{abs(value):.0f}" if abs(value) >= 2.95 else f"{abs(value):.1f}"


def _seconds(by_s: float) -> str:
    return f"{abs(by_s):.0f} s"


def _moment(reason: Reason) -> str:
    return MOMENT_LABELS[reason.subject].lower()


def _done(change: Change) -> str:
    if change.before is None:
        return "set"
    return "cut" if change.setting < change.before else "raised"


def _way(size: float, up: str, down: str) -> str:
    return up if size > 0 else down


def _at(change: Change) -> str:
    return f"at {clock_text(change.time_s)}"


def _move_time(reason: Reason, sizes: _Sizes) -> str:
    if reason.batch is None:
        return sizes.control(reason)
    did = f"{sizes.control(reason)} {_done(reason.batch)}"
    if reason.unit == "C":
        way = _way(reason.size, "hotter", "cooler")
        return f"{did} with the beans {sizes.temp(reason.size)} {way}, {_at(reason.batch)}"
    after = " after first crack" if reason.unit == "s after first crack" else ""
    return f"{did} {_seconds(reason.size)} {_way(reason.size, 'later', 'earlier')}{after}, {_at(reason.batch)}"


def _move_setting(reason: Reason, sizes: _Sizes) -> str:
    if reason.batch is None or reason.guide is None:
        return sizes.control(reason)
    ours, theirs = reason.batch, reason.guide
    return f"{sizes.control(reason)} {_done(ours)} to {ours.setting:g} instead of {theirs.setting:g}, {_at(ours)}"


def _move_left_out(reason: Reason, sizes: _Sizes) -> str:
    if reason.batch is not None:
        made = reason.batch
        return f"{sizes.control(reason)} {_done(made)} to {made.setting:g} besides, {_at(made)}"
    left = reason.guide
    if left is None:
        return sizes.control(reason)
    return f"{sizes.control(reason)} not {_done(left)} to {left.setting:g}, as the guide was {_at(left)}"


def _setting(reason: Reason, sizes: _Sizes) -> str:
    return f"{sizes.control(reason)} {abs(reason.size):g} {_way(reason.size, 'higher', 'lower')} at charge"


_TELLERS: Final[Mapping[str, Callable[[Reason, _Sizes], str]]] = {
    "charge_temperature": lambda r, s: f"charge {s.temp(r.size)} {_way(r.size, 'hotter', 'cooler')}",
    "green_weight": lambda r, s: f"charge weight {s.mass(r.size)} {_way(r.size, 'more', 'less')}",
    "setting": _setting,
    "move_time": _move_time,
    "move_setting": _move_setting,
    "move_left_out": _move_left_out,
    "moment_time": lambda r, _: f"{_moment(r)} {_seconds(r.size)} {_way(r.size, 'later', 'earlier')}",
    "moment_temperature": lambda r, s: f"{_moment(r)} {s.temp(r.size)} {_way(r.size, 'hotter', 'cooler')}",
    "moment_rate": lambda r, s: f"rate at {_moment(r)} {s.rate(r.size)} {_way(r.size, 'higher', 'lower')}",
    "phase_time": lambda r, _: f"{r.subject} {_seconds(r.size)} {_way(r.size, 'longer', 'shorter')}",
    "phase_rate": lambda r, s: f"mean rate of {r.subject} {s.rate(r.size)} {_way(r.size, 'higher', 'lower')}",
}
