"""The simulated roaster: its energy balance, bounds and plausibility."""

from math import isfinite

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roastlog.errors import PhysicsError
from roastlog.physics.design import CONTROLS, IDLE, IDLE_C, PLAIN, ControlLevels, GreenCoffee, RoasterDesign
from roastlog.physics.heat import AIR_CAPACITY
from roastlog.physics.roaster import Roaster
from roastlog.physics.schedule import Schedule, Step, roast

COLOURS = ["green", "pale", "yellow", "tan", "light_brown", "brown"]
level = st.floats(0.0, 10.0)
LEVELS = st.fixed_dictionaries(dict.fromkeys(CONTROLS, level))


def charged(green_kg: float = 4.0, coffee: GreenCoffee | None = None, **levels: float) -> Roaster:
    roaster = Roaster()
    for control, value in ({"hot_air": 5.0, "radiant": 4.0, "drum_heat": 3.0} | levels).items():
        roaster.settings.put(control, value)
    roaster.warm_up(210.0)
    roaster.charge(green_kg, coffee)
    return roaster


@pytest.mark.parametrize("green_kg", [0.8, 2.5, 4.5])
def test_heat_in_is_heat_stored_evaporated_and_left(green_kg: float):
    """Over a roast the energy balance closes within 0.5 % of the heat input (first law)."""
    roaster = Roaster()
    roaster.settings.put("hot_air", 5.0)
    roaster.warm_up(210.0)
    before_kj = roaster.stored_kj
    roaster.charge(green_kg)
    roaster.settings.put("radiant", 4.0)
    roaster.settings.put("drum_heat", 3.0)
    for _ in range(600):
        roaster.step()
    book = roaster.ledger
    into_kj = book.supplied + book.reactions + book.with_green
    out_kj = book.with_vapour + book.with_air + book.with_roasted + book.to_room
    assert roaster.stored_kj - before_kj == pytest.approx(into_kj - out_kj, abs=0.005 * into_kj)
    assert min(book.supplied, book.reactions, book.with_vapour, book.with_air, book.to_room) > 0.0


def test_heat_account_closes_over_the_drop_too():
    """The heat carried out by the roasted beans is counted; the rest stays."""
    roaster = charged()
    for _ in range(500):
        roaster.step()
    before_kj = roaster.stored_kj
    roaster.drop()
    assert roaster.stored_kj == pytest.approx(before_kj - roaster.ledger.with_roasted)


@settings(max_examples=40, deadline=None)
@given(green_kg=st.floats(0.8, 4.5), levels=LEVELS, warm_c=st.floats(80.0, 260.0), turned=LEVELS)
def test_without_reactions_no_bean_is_hotter_than_the_hottest_source(
    green_kg: float, levels: dict[str, float], warm_c: float, turned: dict[str, float]
):
    """With any settings all temperatures are finite, and no bean exceeds air, drum and radiator (second law)."""
    roaster = Roaster()
    roaster.warm_up(warm_c)
    roaster.charge(green_kg, GreenCoffee(reaction_total=0.0))
    hottest_c = roaster.drum_c
    for now in (levels, turned):
        for control, value in now.items():
            roaster.settings.put(control, value)
        for _ in range(300):
            roaster.step()
            hottest_c = max(hottest_c, roaster.air_c, roaster.drum_c, roaster.emitter_c)
            assert roaster.design.room_c - 1.0 < roaster.bean_c <= hottest_c + 1e-6
            assert roaster.surface_c <= hottest_c + 1e-6
            assert roaster.exhaust_c <= hottest_c + 1e-6
    assert 0.0 <= roaster.moisture <= 0.124


@settings(max_examples=40, deadline=None)
@given(green_kg=st.floats(0.8, 4.5), levels=LEVELS, dt_s=st.floats(0.01, 7.0))
def test_any_settings_and_step_keep_the_roast_sane(green_kg: float, levels: dict[str, float], dt_s: float):
    """With reactions too: finite, above room temperature, below the maximum of all power, mass only decreasing."""
    roaster = charged(green_kg, **levels)
    design = roaster.design
    ceiling_c = 24.0 + 17.0 / (design.drum_to_room + design.air_kg_per_s * AIR_CAPACITY) + 232.0
    mass_kg = roaster.roasted_kg
    for _ in range(200):
        roaster.step(dt_s)
        temps = (roaster.bean_c, roaster.drum_c, roaster.air_c, roaster.outlet_c, roaster.exhaust_c)
        assert all(isfinite(temp_c) and 20.0 < temp_c < ceiling_c for temp_c in temps)
        assert 0.0 <= roaster.crack_activity <= 1.0
        assert 0.0 < roaster.roasted_kg <= mass_kg
        mass_kg = roaster.roasted_kg
        assert roaster.stage in COLOURS


def first_crack_s(green_kg: float = 4.0, coffee: GreenCoffee | None = None, **levels: float) -> float:
    start = {"hot_air": 5.0, "radiant": 4.5, "drum_heat": 3.0, "stir": 5.0} | levels
    return roast(Schedule(green_kg=green_kg, start=start), coffee).moments["first_crack"]


@pytest.mark.parametrize("more", [{"hot_air": 7.0}, {"radiant": 6.0}, {"drum_heat": 6.0}, {"stir": 8.0}])
def test_more_heat_or_stirring_cracks_earlier(more: dict[str, float]):
    """More of each source, or of stirring, makes first crack earlier."""
    assert first_crack_s(**more) < first_crack_s()


def test_more_or_wetter_coffee_cracks_later():
    """A larger charge or wetter coffee makes first crack later."""
    assert first_crack_s(3.0) < first_crack_s(4.0) < first_crack_s(4.5)
    assert first_crack_s(coffee=GreenCoffee(moisture_wet=0.09)) < first_crack_s(coffee=GreenCoffee(moisture_wet=0.13))


def test_glow_makes_the_open_beans_lead():
    """The open beans are hotter under the radiant source, less so when stirred, and not without it."""
    lead_c = {}
    for radiant, stir in ((0.0, 5.0), (6.0, 5.0), (6.0, 9.0)):
        roaster = charged(radiant=radiant, stir=stir)
        for _ in range(400):
            roaster.step()
        lead_c[radiant, stir] = roaster.surface_c - roaster.bean_c
    assert lead_c[0.0, 5.0] < 1.0 < lead_c[6.0, 9.0] < lead_c[6.0, 5.0]


def test_colours_come_in_their_order():
    """The colours run from green to brown, each once."""
    schedule = Schedule(start={"hot_air": 5.0, "radiant": 5.0, "drum_heat": 3.0})
    assert list(dict.fromkeys(roast(schedule).stages)) == COLOURS


def test_first_crack_swells_and_fades():
    """First crack starts from nothing, is lively, and is quiet again well before second crack."""
    run = roast(Schedule(start={"hot_air": 6.0, "radiant": 5.0}, development_s=600.0, drop_c=228.0))
    activity, crack = run.truth["crack_activity"], round(run.moments["first_crack"])
    assert max(activity[:crack]) == 0.0
    assert max(activity) > 0.9
    assert activity[round(run.moments["second_crack"])] < 0.05


def test_an_empty_warm_machine_stays_near_its_charge_temperature():
    """With holding settings, an empty drum changes by less than 2 °C in an hour."""
    roaster = Roaster()
    for control, value in IDLE.items():
        roaster.settings.put(control, value)
    roaster.warm_up(IDLE_C)
    roaster.step(3600.0)
    assert roaster.drum_c == pytest.approx(IDLE_C, abs=2.0)


def test_plain_settings_roast_without_a_move():
    """4 kg reach first crack in 8 to 10 minutes without a move."""
    run = roast(Schedule(charge_c=IDLE_C, start=PLAIN))
    assert 480.0 <= run.moments["first_crack"] <= 600.0


def test_a_long_step_equals_many_short_ones():
    """One step of 60 s equals 60 steps of 1 s; steps of 0.25 s differ by less than 0.2 °C."""
    at_once, by_one, fine = charged(), charged(), charged()
    at_once.step(60.0)
    for _ in range(60):
        by_one.step()
    for _ in range(240):
        fine.step(0.25)
    assert at_once.bean_c == pytest.approx(by_one.bean_c)
    assert fine.bean_c == pytest.approx(by_one.bean_c, abs=0.2)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda: charged().charge(2.0), "already"),
        (lambda: charged(5.0), "0.8 to 4.5 kg"),
        (lambda: charged().warm_up(), "empty"),
        (lambda: Roaster().drop(), "drum is empty"),
        (lambda: ControlLevels().put("steam", 1.0), "hot_air"),
        (lambda: ControlLevels().put("stir", 11.0), "between 0 and 10"),
        (lambda: ControlLevels().put("stir", float("nan")), "between 0 and 10"),
        (lambda: GreenCoffee(moisture_wet=0.6), "50 %"),
        (lambda: GreenCoffee(yellow_c=210.0), "Yellow must be below"),
        (lambda: Step("stir", 1.0), "exactly one"),
        (lambda: Step("stir", 1.0, at="lunch"), "lunch"),
    ],
)
def test_invalid_values_are_refused(wrong, words: str):
    """Each refusal is a PhysicsError that names the valid values."""
    with pytest.raises(PhysicsError, match=words):
        wrong()


def test_a_smaller_design_takes_its_own_charges():
    """The batch size is the design's."""
    roaster = Roaster(RoasterDesign(batch_kg=(0.1, 0.5)))
    roaster.charge(0.3)
    assert roaster.loaded
