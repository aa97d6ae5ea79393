"""Progress of a plan that is being made, and its cancelling."""

from collections.abc import Callable
from dataclasses import dataclass

from roastlog.errors import PlanCancelled
from roastlog.languages import _


def _unwatched(_step: str, _share: float) -> None:
    pass


def _never() -> bool:
    return False


@dataclass(frozen=True)
class Watch:
    """``progress`` is told the step and the share of it that is done; ``cancelled`` is asked, as ``Event.is_set``."""

    progress: Callable[[str, float], None] = _unwatched
    cancelled: Callable[[], bool] = _never

    def at(self, step: str, share: float = 0.0) -> None:
        """Tell of a step, ``share`` of it done.

        Raises
        ------
        PlanCancelled
            If the planning was cancelled.
        """
        if self.cancelled():
            raise PlanCancelled(_("Planning was cancelled. The earlier plan is unchanged."))
        self.progress(step, share)


UNWATCHED = Watch()
