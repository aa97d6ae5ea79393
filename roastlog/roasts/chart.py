"""What a chart shows of a batch beside its curves: its moments, its trier checks, the ribbon of its controls."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from roastlog.journal.fold import Batch
from roastlog.machine.views import ControlView
from roastlog.plot import overlays
from roastlog.plot.overlays import Columns
from roastlog.roasts.history import moves_of


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
    """The overlays of one batch, the same on the live page and in the record.

    Parameters
    ----------
    batch
        Whose moves and trier checks they are; without a charge there are none, since they have no times.
    marked
        Word and time of each moment, the turning point among them. [s from charge]
    bean_at
        Bean temperature at a time, None where it is not known. [s from charge], [°C]
    controls
        The machine's controls, the first one uppermost.
    end_s
        Where the ribbon ends. [s from charge]
    growing
        Whether it still grows.
    """
    trier = [(line.body["stage"], batch.time_s(line.at_ms)) for line in batch.of("trier")]
    return ChartOverlays(
        marks=overlays.marks(marked),
        checks=overlays.checks((stage, time_s, bean_at(time_s)) for stage, time_s in trier if time_s is not None),
        ribbon=overlays.ribbon(
            ((move.control, move.time_s, move.setting) for move in moves_of(batch)), controls, end_s, growing=growing
        ),
    )
