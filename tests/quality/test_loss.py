"""The usual band of roast loss."""

import numpy as np
import pytest

from roastlog.quality.loss import assess_loss, usual_band

STEADY = [0.140, 0.142, 0.141, 0.139, 0.143, 0.141, 0.140]


def test_too_few_batches_give_no_band():
    """Four earlier batches, or four and a missing one, are too few for a usual band."""
    assert usual_band(STEADY[:4]) is None
    assert usual_band([*STEADY[:4], float("nan")]) is None
    assert assess_loss(0.15, None).verdict == "unknown"
    assert "Fewer than 5" in assess_loss(0.15, None).sentence


def test_verdicts():
    """A loss inside the band is usual, outside it low or high, and the text gives the band."""
    band = usual_band(STEADY)
    assert band is not None
    assert band.batches == 7
    for loss, verdict in ((0.141, "usual"), (0.12, "low"), (0.17, "high"), (band.low, "usual"), (band.high, "usual")):
        found = assess_loss(loss, band)
        assert found.verdict == verdict
        assert f"{100 * loss:.1f} % loss" in found.sentence
        assert f"{100 * band.low:.1f} to {100 * band.high:.1f} %" in found.sentence


def test_one_slip_of_the_scale_does_not_widen_the_band():
    """One batch of half the mass among eight hardly changes the band."""
    steady, slipped = usual_band(STEADY), usual_band([*STEADY, 0.57])
    assert steady is not None
    assert slipped is not None
    assert slipped.high - slipped.low < 1.5 * (steady.high - steady.low)


def test_equal_losses_leave_room_for_the_scale():
    """Identical losses give a narrow band, not an empty one."""
    band = usual_band([0.14] * 6)
    assert band is not None
    assert (band.low, band.high) == pytest.approx((0.137, 0.143))


@pytest.mark.parametrize("batches", [5, 6, 7, 8, 9, 10, 12, 15, 20, 30, 50])
def test_the_band_has_its_coverage(batches: int):
    """Of normal losses, 94 to 96 in 100 next batches are inside, at each number in the table [simulated]."""
    random = np.random.default_rng(batches)
    inside = 0
    rounds = 8000
    for sample in random.normal(0.145, 0.02, (rounds, batches + 1)):
        band = usual_band(sample[:-1].tolist())
        assert band is not None
        inside += band.low <= sample[-1] <= band.high
    assert inside / rounds == pytest.approx(0.95, abs=0.01)
