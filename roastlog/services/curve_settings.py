"""Settings of the curve, with texts: the base of the area under it, and the thresholds of its faults.

Stored in °C, °C/min and s; entered and shown in the roastery's unit of temperature.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from roastlog.journal.kinds.house import LIMITS
from roastlog.languages import N_, _
from roastlog.units import c_from_f, f_from_c

SettingKind = Literal["temp", "rate", "difference", "time"]
_UNITS: Final[dict[SettingKind, str]] = {"temp": "°{}", "rate": "°{}/min", "difference": "°{}", "time": "s"}


@dataclass(frozen=True)
class CurveSetting:
    """A number that can be set: its label, its limits in °C, °C/min or s, and a hint."""

    label: str
    kind: SettingKind
    low: float
    high: float
    hint: str

    def unit(self, temp_unit: str) -> str:
        """The unit in which it is entered, where temperatures are in C or F."""
        return _UNITS[self.kind].format(temp_unit)

    def shown(self, value: float, temp_unit: str) -> float:
        """A stored value in the unit in which it is shown."""
        if temp_unit == "C" or self.kind == "time":
            return value
        return round(f_from_c(value) if self.kind == "temp" else value * 1.8, 2)

    def kept(self, value: float, temp_unit: str) -> float:
        """An entered value in the stored unit; a shown value entered again gives the same."""
        if temp_unit == "C" or self.kind == "time":
            return value
        return round(c_from_f(value) if self.kind == "temp" else value / 1.8, 4)

    def refusal(self, temp_unit: str) -> str:
        """The message for a value outside the limits."""
        low, high = (f"{self.shown(limit, temp_unit):g}".replace("-", "−") for limit in (self.low, self.high))
        return _(
            "“{label}” must be between {low} and {high} {temp_unit}.",
            label=self.label,
            low=low,
            high=high,
            temp_unit=self.unit(temp_unit),
        )


AREA: Final[Mapping[str, CurveSetting]] = {
    "area_base_c": CurveSetting(
        N_("Area under the curve from"),
        "temp",
        *LIMITS["area_base_c"],
        N_("A record gives the area between the bean probe and this temperature, a rough measure of heat over time."),
    ),
}

FAULTS: Final[Mapping[str, CurveSetting]] = {
    "crash_c_per_min": CurveSetting(
        N_("Rate crash"),
        "rate",
        *LIMITS["crash_c_per_min"],
        N_("Rate below its own trend by this much, after yellow."),
    ),
    "rebound_c_per_min": CurveSetting(
        N_("Rate rebound"),
        "rate",
        *LIMITS["rebound_c_per_min"],
        N_("Rate above its own low by this much, after first crack."),
    ),
    "stall_c_per_min": CurveSetting(
        N_("Stall"), "rate", *LIMITS["stall_c_per_min"], N_("Rate below this for 40 s, after yellow.")
    ),
    "fast_crack_c_per_min": CurveSetting(
        N_("Fast at first crack"),
        "rate",
        *LIMITS["fast_crack_c_per_min"],
        N_("Rate at first crack of at least this."),
    ),
}

PROBE: Final[Mapping[str, CurveSetting]] = {
    "probe_jump_c": CurveSetting(
        N_("Jump"), "difference", *LIMITS["probe_jump_c"], N_("Between two readings, more than beans can.")
    ),
    "probe_low_c": CurveSetting(
        N_("Lowest reading"), "temp", *LIMITS["probe_low_c"], N_("Below: a short circuit or a wrong scale.")
    ),
    "probe_high_c": CurveSetting(
        N_("Highest reading"), "temp", *LIMITS["probe_high_c"], N_("Above: a broken wire or a wrong scale.")
    ),
    "probe_stuck_s": CurveSetting(
        N_("Frozen for"),
        "time",
        *LIMITS["probe_stuck_s"],
        N_("Same value to the last digit; allow more for a coarse sensor."),
    ),
    "probe_missing_s": CurveSetting(
        N_("Silent for"), "time", *LIMITS["probe_missing_s"], N_("No reading for this long.")
    ),
}

CURVE_SETTINGS: Final[Mapping[str, CurveSetting]] = {**AREA, **FAULTS, **PROBE}
