"""Times: warm-up, charges and drops, and bands that hold what they say."""

import numpy as np
import pytest

from roastlog.trace.plan.day import Batch, Done
from roastlog.trace.plan.schedule import day_end, schedule
from tests.trace.plan.days import OPENS_MS, after_ms, day, machine, product


def batches(*names: str, on: str = "drum") -> list[Batch]:
    """A batch of 3 kg of each."""
    return [Batch(name, on, 3000, {}) for name in names]


def test_times_add_up():
    """Half an hour of warm-up, 10 and 12 minutes of roasting, and 5 between: the last drop is at 0:57."""
    products = [product("a", lengths_s=(600.0,) * 5), product("b", lengths_s=(720.0,) * 5)]
    found = schedule(machine(), batches("a", "b"), day([], products, [machine()]))
    assert found.warm_up_ms == OPENS_MS
    assert [slot.charge.at_ms for slot in found.slots] == [after_ms(30), after_ms(45)]
    assert [slot.drop.at_ms for slot in found.slots] == [after_ms(40), after_ms(57)]
    assert found.slots[0].charge.low_ms == found.slots[0].charge.high_ms  # nothing has come before


def test_idle_machine_is_not_warmed_up():
    """Without batches there is neither warm-up nor end."""
    found = schedule(machine(), [], day([], [], [machine()]))
    assert (found.warm_up_ms, found.end, day_end([found])) == (None, None, None)


@pytest.mark.parametrize("known", [3, 12])
@pytest.mark.parametrize("machines", [1, 2])
def test_eighty_of_a_hundred_days_end_within_the_band(known: int, machines: int):
    """On 76 to 84 % of 1500 simulated days the last drop is within the band, with few and many earlier batches."""
    draw = np.random.default_rng(10 * known + machines)
    drums = [machine(f"m{number}") for number in range(machines)]
    held, runs = 0, 1500
    for _ in range(runs):
        means = draw.uniform(560, 760, 2 * machines)
        names = [f"p{number}" for number in range(2 * machines)]
        products = [
            product(name, lengths_s=tuple(draw.normal(mean, 25, known)))
            for name, mean in zip(names, means, strict=True)
        ]
        given = day([], products, drums)
        ends, planned = [], []
        for number, drum in enumerate(drums):
            order = [names[2 * number]] * 3 + [names[2 * number + 1]] * 4
            planned.append(schedule(drum, batches(*order, on=drum.id), given))
            true_s = sum(draw.normal(means[names.index(name)], 25) for name in order)
            between_min = sum(draw.normal(5.0, 1.0) for _ in order[1:])
            ends.append(after_ms(30 + true_s / 60 + between_min))
        end = day_end(planned)
        held += end.low_ms <= max(ends) <= end.high_ms
    assert held / runs == pytest.approx(0.8, abs=0.04)  # four standard errors


def test_machine_that_has_begun_goes_on_after_its_last_drop():
    """The next charge is one routine after the drop, and not before now; a batch in the drum is waited for."""
    products = [product("a", lengths_s=(600.0,) * 5)]
    done = Done("a", "drum", 3000, after_ms(30), after_ms(41))
    for now_min, dropped, first_min in ((42, True, 46), (60, True, 60), (38, False, 45), (42, False, 47)):
        batch = done if dropped else Done("a", "drum", 3000, after_ms(30))
        given = day([], products, [machine()], done=[batch], now_ms=after_ms(now_min))
        found = schedule(machine(), batches("a"), given)
        assert found.slots[0].charge.at_ms == after_ms(first_min), now_min
        assert found.warm_up_ms is None
        assert found.slots[0].charge.low_ms < found.slots[0].charge.at_ms  # the routine, and the batch in the drum
    late = day([], products, [machine()], done=[Done("a", "drum", 3000, after_ms(30))], now_ms=after_ms(50))
    assert schedule(machine(), batches("a"), late).slots[0].charge.at_ms == after_ms(55)  # it will drop any moment


def test_day_of_two_machines_ends_later_than_either():
    """The band of the later of two equal ends lies above that of one."""
    products = [product("a")]
    one, two = (schedule(machine(name), batches("a", "a", on=name), day([], products, [])) for name in ("x", "y"))
    assert one.end == two.end
    assert day_end([one]).high_ms == pytest.approx(one.end.high_ms, abs=2)
    assert day_end([one, two]).low_ms > one.end.low_ms
    assert day_end([one, two]).high_ms > one.end.high_ms
