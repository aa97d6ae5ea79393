"""Descriptions of reasons, with sizes in the user's units."""

from collections.abc import Callable, Mapping
from typing import Final

from roastlog.curve.comparison.deviations import Reason
from roastlog.curve.comparison.matching import Change
from roastlog.journal.vocabulary import MOMENT_WORDS, called
from roastlog.languages import N_, _, decimal, translate
from roastlog.units import clock_text, lb_from_g, rate_f_from_c


def describe_reason(
    reason: Reason,
    *,
    unit: str = "C",
    mass: str = "kg",
    names: Mapping[str, str] | None = None,
) -> str:
    """Describe a reason, such as "charge 4 °C hotter" or "radiant cut 20 s later, at 5:25".

    Parameters
    ----------
    reason
        A reason from `roastlog.curve.comparison.compare`.
    unit, mass
        Units of temperatures and weights, ``C`` or ``F`` and ``kg`` or ``lb``; a difference of 1 °C is 1.8 °F.
    names
        Names of the controls by id; defaults to the id.
    """
    return _DESCRIBERS[reason.kind](reason, _Sizes(unit, mass, names or {}))


class _Sizes:
    """Formats unsigned sizes in the user's units."""

    def __init__(self, unit: str, mass: str, names: Mapping[str, str]) -> None:
        self._unit, self._mass, self._names = unit, mass, names

    def temp(self, by_c: float) -> str:
        """Size of a difference in temperature."""
        return decimal(f"{_round(by_c if self._unit == 'C' else rate_f_from_c(by_c))} °{self._unit}")

    def rate(self, by_c_per_min: float) -> str:
        """Size of a difference in rate."""
        by = abs(by_c_per_min if self._unit == "C" else rate_f_from_c(by_c_per_min))
        return decimal(f"{by:.1f} °{self._unit}/min")

    def mass(self, by_g: float) -> str:
        """Size of a difference in weight."""
        return f"{abs(by_g):.0f} g" if self._mass == "kg" else decimal(f"{lb_from_g(abs(by_g)):.2f} lb")

    def control(self, reason: Reason) -> str:
        """Name of a control, for the middle of a sentence."""
        name = self._names.get(reason.subject, reason.subject.replace("_", " "))
        return name[:1].lower() + name[1:] if name[1:2].islower() else name


def _round(value: float) -> str:
    return f"{abs(value):.0f}" if abs(value) >= 2.95 else f"{abs(value):.1f}"


def _seconds(by_s: float) -> str:
    return f"{abs(by_s):.0f} s"


_MORE_LESS: Final[Mapping[str, tuple[str, str]]] = {
    "charge_temperature": (N_("charge {size} hotter"), N_("charge {size} cooler")),
    "green_weight": (N_("charge weight {size} more"), N_("charge weight {size} less")),
    "setting": (N_("{control} {size} higher at charge"), N_("{control} {size} lower at charge")),
    "moment_time": (N_("{moment} {size} later"), N_("{moment} {size} earlier")),
    "moment_temperature": (N_("{moment} {size} hotter"), N_("{moment} {size} cooler")),
    "moment_rate": (N_("rate at {moment} {size} higher"), N_("rate at {moment} {size} lower")),
    "phase_time": (N_("{phase} {size} longer"), N_("{phase} {size} shorter")),
    "phase_rate": (N_("mean rate of {phase} {size} higher"), N_("mean rate of {phase} {size} lower")),
}
_MOVED_AT: Final[Mapping[str, tuple[str, str]]] = {
    "C": (
        N_("{control} {done} with the beans {size} hotter, at {time}"),
        N_("{control} {done} with the beans {size} cooler, at {time}"),
    ),
    "s": (N_("{control} {done} {size} later, at {time}"), N_("{control} {done} {size} earlier, at {time}")),
    "s after first crack": (
        N_("{control} {done} {size} later after first crack, at {time}"),
        N_("{control} {done} {size} earlier after first crack, at {time}"),
    ),
}


def _done(change: Change) -> str:
    if change.before is None:
        return _("set")
    return _("cut") if change.setting < change.before else _("raised")


def _more_less(size: Callable[[Reason, _Sizes], str]) -> Callable[[Reason, _Sizes], str]:
    """A describer of differences that are only more or less, from a formatter of the size."""

    def describe(reason: Reason, sizes: _Sizes) -> str:
        more, less = _MORE_LESS[reason.kind]
        subject = {
            "control": sizes.control(reason),
            "moment": MOMENT_WORDS.get(reason.subject, ""),
            "phase": called(reason.subject),
        }
        return translate(more if reason.size > 0 else less, size=size(reason, sizes), **subject)

    return describe


def _move_time(reason: Reason, sizes: _Sizes) -> str:
    if reason.batch is None:
        return sizes.control(reason)
    later, earlier = _MOVED_AT[reason.unit]
    return translate(
        later if reason.size > 0 else earlier,
        control=sizes.control(reason),
        done=_done(reason.batch),
        size=sizes.temp(reason.size) if reason.unit == "C" else _seconds(reason.size),
        time=clock_text(reason.batch.time_s),
    )


def _move_setting(reason: Reason, sizes: _Sizes) -> str:
    if reason.batch is None or reason.guide is None:
        return sizes.control(reason)
    return _(
        "{control} {done} to {ours:g} instead of {theirs:g}, at {time}",
        control=sizes.control(reason),
        done=_done(reason.batch),
        ours=reason.batch.setting,
        theirs=reason.guide.setting,
        time=clock_text(reason.batch.time_s),
    )


def _move_left_out(reason: Reason, sizes: _Sizes) -> str:
    made = reason.batch or reason.guide
    if made is None:
        return sizes.control(reason)
    sentence = (
        N_("{control} not {done} to {setting:g}; the guide did at {time}")
        if reason.batch is None
        else N_("{control} also {done} to {setting:g}, at {time}")
    )
    return translate(
        sentence,
        control=sizes.control(reason),
        done=_done(made),
        setting=made.setting,
        time=clock_text(made.time_s),
    )


_by_time = _more_less(lambda reason, _sizes: _seconds(reason.size))
_by_temp = _more_less(lambda reason, sizes: sizes.temp(reason.size))
_by_rate = _more_less(lambda reason, sizes: sizes.rate(reason.size))
_DESCRIBERS: Final[Mapping[str, Callable[[Reason, _Sizes], str]]] = {
    "charge_temperature": _by_temp,
    "green_weight": _more_less(lambda reason, sizes: sizes.mass(reason.size)),
    "setting": _more_less(lambda reason, _sizes: decimal(f"{abs(reason.size):g}")),
    "move_time": _move_time,
    "move_setting": _move_setting,
    "move_left_out": _move_left_out,
    "moment_time": _by_time,
    "moment_temperature": _by_temp,
    "moment_rate": _by_rate,
    "phase_time": _by_time,
    "phase_rate": _by_rate,
}
