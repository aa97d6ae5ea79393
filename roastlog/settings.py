"""The settings of a roastery: each with its default. Pages, records and the live path all read this one definition."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Self

from roastlog.curve.faults.detection import Thresholds
from roastlog.curve.faults.probe import ProbeLimits
from roastlog.curve.phases import AREA_BASE_C


@dataclass(frozen=True)
class Settings:
    """What the roastery has set. Each name, its default and its meaning stand in docs/settings.md."""

    business: str = ""
    url_base: str = ""
    units_temp: str = "C"
    units_mass: str = "kg"
    best_before_days: int = 0
    green_lead_days: int = 30
    quick_notes: str = ""
    bag_shows_weights: bool = False
    bag_shows_people: bool = False
    bag_shows_photos: bool = False
    area_base_c: float = AREA_BASE_C
    crash_c_per_min: float = Thresholds.crash_c_per_min
    rebound_c_per_min: float = Thresholds.rebound_c_per_min
    stall_c_per_min: float = Thresholds.stall_c_per_min
    fast_crack_c_per_min: float = Thresholds.fast_crack_c_per_min
    probe_jump_c: float = ProbeLimits.jump_c
    probe_low_c: float = ProbeLimits.low_c
    probe_high_c: float = ProbeLimits.high_c
    probe_stuck_s: float = ProbeLimits.stuck_s
    probe_missing_s: float = ProbeLimits.missing_s

    @classmethod
    def of(cls, changed: Mapping[str, Any]) -> Self:
        """The settings with those that were changed from their defaults; a name that is no setting is passed over."""
        return cls(**{item.name: changed[item.name] for item in fields(cls) if item.name in changed})

    @property
    def quick_note_texts(self) -> tuple[str, ...]:
        """The texts of `quick_notes`; none if the roastery has chosen none."""
        return tuple(text.strip() for text in self.quick_notes.split(";") if text.strip())

    @property
    def thresholds(self) -> Thresholds:
        """From when on a fault of a curve is told."""
        return Thresholds(
            crash_c_per_min=self.crash_c_per_min,
            rebound_c_per_min=self.rebound_c_per_min,
            stall_c_per_min=self.stall_c_per_min,
            fast_crack_c_per_min=self.fast_crack_c_per_min,
            probe=ProbeLimits(
                jump_c=self.probe_jump_c,
                low_c=self.probe_low_c,
                high_c=self.probe_high_c,
                stuck_s=self.probe_stuck_s,
                missing_s=self.probe_missing_s,
            ),
        )
