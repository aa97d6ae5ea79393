"""Settings of the roastery: their values, their limits, and where they are kept."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any
from urllib.parse import urlsplit

from roastlog.curve.faults.detection import Thresholds
from roastlog.curve.faults.probe import ProbeLimits
from roastlog.curve.phases import AREA_BASE_C
from roastlog.errors import SettingError
from roastlog.languages import _
from roastlog.services.curve_settings import CURVE_SETTINGS
from roastlog.store import books
from roastlog.store.store import Store


@dataclass(frozen=True)
class Settings:
    """The values of all settings. Each name, its default and its meaning stand in docs/settings.md."""

    business: str = ""
    url_base: str = ""
    units_temp: str = "C"
    units_mass: str = "kg"
    best_before_days: int = 0
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


class SettingsService:
    """Reads and changes the settings."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def current(self) -> Settings:
        """All settings, those not changed at their defaults."""
        known = {item.name for item in fields(Settings)}
        return Settings(**{name: value for name, value in books.settings(self._store.read).items() if name in known})

    def change(self, changes: Mapping[str, Any]) -> Settings:
        """Change settings, all or none; raises SettingError when one is out of range."""
        settings = replace(self.current(), **changes)
        _check(settings)
        settings = replace(settings, url_base=settings.url_base.rstrip("/"))
        self._store.write(lambda db: books.keep_settings(db, asdict(settings)))
        return settings


def _check(settings: Settings) -> None:
    if settings.url_base and not _is_base(settings.url_base):
        raise SettingError(
            _("The address for labels must begin with https:// or http://, and a host's name must follow.")
        )
    if not 0 <= settings.best_before_days <= 3650:
        raise SettingError(_("Best before must be 0 (none) to 3650 days after roasting."))
    if settings.units_temp not in {"C", "F"} or settings.units_mass not in {"kg", "lb"}:
        raise SettingError(_("Units are C or F, and kg or lb."))
    for name, item in CURVE_SETTINGS.items():
        if not item.low <= getattr(settings, name) <= item.high:
            raise SettingError(item.refusal(settings.units_temp))


def _is_base(url: str) -> bool:
    try:
        parts = urlsplit(url)
        return parts.scheme in {"http", "https"} and bool(parts.hostname) and (parts.port or 1) > 0
    except ValueError:
        return False
