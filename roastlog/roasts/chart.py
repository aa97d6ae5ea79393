"""Chart overlays of a batch: its moments, its trier checks, and the ribbon of its controls."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from roastlog.journal.fold import Batch
from roastlog.machine.views import ControlView
from roastlog.plot import overlays
from roastlog.plot.overlays import Columns
from roastlog.roasts.history import moves_of

LONGEST_GAP_S: Final = 600
GAP_STEP_S: Final = 5


@dataclass(frozen=True)
class ChartOverlays:
    """Columns as `roastlog.plot.overlays` makes them."""

    marks: Columns
    checks: Columns
    ribbon: Columns


def chart_overlays(
    batch: Batch,
    marked: Iterable[tuple[str, float]],
    bean_at: Callable[[float], float | None],
    controls: Sequence[ControlView],
    end_s: float,
    *,
    growing: bool = False,
) -> ChartOverlays:
    """The overlays of one batch, for both the live page and the record.

    Parameters
    ----------
    batch
        The batch; without a charge there are no moves or checks, since they have no times.
    marked
        Label and time of each moment and of the turning point. [s from charge]
    bean_at
        Returns the bean temperature at a time, None where it is not known. [s from charge], [°C]
    controls
        The machine's controls, from top to bottom.
    end_s
        End of the ribbon. [s from charge]
    growing
        Whether the ribbon still grows.
    """
    trier = [(line.body["stage"], batch.time_s(line.at_ms)) for line in batch.of("trier")]
    return ChartOverlays(
        marks=overlays.marks(marked),
        checks=overlays.checks(
            (stage, time_s, _nearest(bean_at, time_s)) for stage, time_s in trier if time_s is not None
        ),
        ribbon=overlays.ribbon(
            ((move.control, move.time_s, move.setting) for move in moves_of(batch)), controls, end_s, growing=growing
        ),
    )


def _nearest(bean_at: Callable[[float], float | None], time_s: float) -> float | None:
    """The temperature at a time, or where readings were down the nearest one known, so that a check is on the curve."""
    for apart_s in range(0, LONGEST_GAP_S, GAP_STEP_S):
        for at_s in (time_s - apart_s, time_s + apart_s):
            temp_c = bean_at(at_s)
            if temp_c is not None:
                return temp_c
    return None
