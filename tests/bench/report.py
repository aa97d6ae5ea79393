"""The figures of a run, as a printed table and as JSON."""

import json
import platform
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from rich.console import Console
from rich.table import Table


@dataclass(frozen=True)
class Figure:
    """One measured value, the floor measured beside it, and the bound stated by issue and docs."""

    name: str
    value: float
    unit: str
    floor: float | None = None
    floor_is: str = ""
    bound: str = ""

    @property
    def ratio(self) -> float | None:
        """The value as a multiple of the floor."""
        return self.value / self.floor if self.floor else None


def quantile(values: Sequence[float], share: float) -> float:
    """The value that ``share`` of the values do not exceed."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def show(figures: Sequence[Figure], failed: Sequence[str]) -> None:
    """Print the table. Bounds are shown beside the figures and not enforced, since a shared machine is unreliable."""
    table = Table(title="Drumside bench", title_justify="left")
    for heading in ("figure", "measured", "floor", "times", "bound", "floor is"):
        table.add_column(heading, justify="right" if heading in {"measured", "floor", "times"} else "left")
    for figure in figures:
        table.add_row(
            figure.name,
            f"{figure.value:.3g} {figure.unit}",
            "" if figure.floor is None else f"{figure.floor:.3g} {figure.unit}",
            "" if figure.ratio is None else f"{figure.ratio:.2f}",
            figure.bound,
            figure.floor_is,
        )
    console = Console(width=150)
    console.print(table)
    for reason in failed:
        console.print(f"not measured: {reason}", markup=False)


def write(figures: Sequence[Figure], failed: Sequence[str], path: Path) -> None:
    """Write all figures as JSON."""
    found = [{**asdict(figure), "times_floor": figure.ratio} for figure in figures]
    about = {"python": platform.python_version(), "machine": platform.machine(), "system": platform.system()}
    path.write_text(json.dumps({"about": about, "figures": found, "not_measured": list(failed)}, indent=2) + "\n")
