"""A batch as the API gives it; its description at /api/openapi.json is made from these classes."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from roastlog.journal.fold import Line
from roastlog.journal.kinds.roast import Opened


@dataclass(frozen=True)
class PhaseDetail:
    """A part of the roast. Times in s from charge, the area above the metric area_base_c in °C·min."""

    name: str
    start_s: float
    duration_s: float
    share: float
    mean_rate_c_per_min: float | None
    area_c_min: float | None


@dataclass(frozen=True)
class MetricsDetail:
    """Figures of a batch, units by the ends of the names; turning_point_error_s is the standard error of when."""

    duration_s: float | None
    development_s: float | None
    development_ratio: float | None
    turning_point_error_s: float | None
    area_base_c: float
    green_g: float | None
    roasted_g: float | None
    roast_loss: float | None


@dataclass(frozen=True)
class SpeakerDetail:
    """The author of an entry: a person, a device, or both."""

    person: str | None
    device: str | None


@dataclass(frozen=True)
class EntryDetail:
    """An entry as it counts after undo, shift and amend."""

    id: str
    kind: str
    at_ms: int
    received_ms: int
    by: SpeakerDetail
    body: Mapping[str, Any]
    undone: bool
    shifted_s: float
    amended: bool
    flags: tuple[str, ...]

    @classmethod
    def of(cls, line: Line) -> "EntryDetail":
        """A line of a batch."""
        return cls(
            id=str(line.id),
            kind=line.kind,
            at_ms=line.at_ms,
            received_ms=line.received_ms,
            by=SpeakerDetail(line.by.person, line.by.device),
            body=line.body,
            undone=line.undone,
            shifted_s=line.shifted_s,
            amended=line.amended,
            flags=line.flags,
        )


@dataclass(frozen=True)
class BatchDetail:
    """One batch, folded; its moments in seconds from charge, the turning point among them."""

    code: str
    machine: str
    state: str
    coffee: str | None
    opened: Opened
    opened_ms: int
    charged_ms: int | None
    dropped_ms: int | None
    moments: Mapping[str, float]
    phases: tuple[PhaseDetail, ...]
    metrics: MetricsDetail
    entries: tuple[EntryDetail, ...]
