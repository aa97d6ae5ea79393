"""Settings of the roastery: read, changed within their limits, and stored."""

from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any, Final
from urllib.parse import urlsplit

from roastlog.errors import EntryRefused, SettingError
from roastlog.journal.kinds.house import LIMITS
from roastlog.journal.subject import HOUSE, Subject
from roastlog.languages import _
from roastlog.recording.entry_service import EntryService, Speaker
from roastlog.services.curve_settings import CURVE_SETTINGS
from roastlog.settings import Settings
from roastlog.store import books
from roastlog.store.store import Store

MOST_QUICK_NOTES: Final = 3
LONGEST_QUICK_NOTE: Final = 20


class SettingsService:
    """Reads and changes the settings."""

    def __init__(self, store: Store, entries: EntryService) -> None:
        self._store, self._entries = store, entries

    def current(self) -> Settings:
        """All settings, with defaults for those never set."""
        return Settings.of(books.settings(self._store.read))

    def change(self, changes: Mapping[str, Any], speaker: Speaker = Speaker()) -> Settings:  # noqa: B008 - frozen
        """Change settings, all or none; raises SettingError if one is out of range."""
        before = self.current()
        settings = replace(before, **changes)
        _check(settings)
        settings = replace(settings, url_base=settings.url_base.rstrip("/"))
        changed = {name: value for name, value in asdict(settings).items() if value != getattr(before, name)}
        if changed:
            self._enter(changed, speaker)
        return settings

    def _enter(self, changed: Mapping[str, Any], speaker: Speaker) -> None:
        try:
            self._entries.say(Subject(HOUSE), "set", changed, speaker)
        except EntryRefused as error:
            raise SettingError(error.args[0]) from None


def _check(settings: Settings) -> None:
    if settings.url_base and not _is_base(settings.url_base):
        raise SettingError(_("Address of the codes must be https:// or http:// and the name of a host."))
    texts = settings.quick_note_texts
    if len(texts) > MOST_QUICK_NOTES or any(len(text) > LONGEST_QUICK_NOTE for text in texts):
        raise SettingError(
            _(
                "Quick notes are at most {most}, of at most {longest} characters each, with ; between them.",
                most=MOST_QUICK_NOTES,
                longest=LONGEST_QUICK_NOTE,
            )
        )
    least, most = LIMITS["best_before_days"]
    if not least <= settings.best_before_days <= most:
        raise SettingError(_("Days until best before must be 0 (none) to {most:g}.", most=most))
    least, most = LIMITS["green_lead_days"]
    if not least <= settings.green_lead_days <= most:
        raise SettingError(_("Days from an order of green coffee to its arrival must be 0 to {most:g}.", most=most))
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
