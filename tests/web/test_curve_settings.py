"""Curve settings: their form in the roastery's unit, their limits, and their effects."""

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.curve.faults.detection import Thresholds
from roastlog.curve.faults.probe import ProbeLimits
from roastlog.curve.phases import AREA_BASE_C
from roastlog.errors import SettingError
from roastlog.journal.kinds.house import LIMITS
from roastlog.services import Settings
from roastlog.services.curve_settings import CURVE_SETTINGS
from tests.conftest import Bench

FORM = {"units_temp": "C", "units_mass": "kg", "shown_in": "C"}


def test_defaults_are_those_of_the_detector():
    """Without settings, all thresholds are those of `find_faults` and `phases`."""
    assert Settings().thresholds == Thresholds()
    assert Settings().area_base_c == AREA_BASE_C
    rates = {item.name for item in fields(Thresholds)} - {"probe"}
    assert set(CURVE_SETTINGS) == {"area_base_c"} | rates | {f"probe_{item.name}" for item in fields(ProbeLimits)}


def test_the_form_has_the_limits_of_the_entry(bench: Bench):
    """Each limit itself is kept, and the form names it in its refusal of a value beyond it."""
    assert set(LIMITS) == {*CURVE_SETTINGS, "best_before_days", "green_lead_days"}
    for name, (low, high) in LIMITS.items():
        for limit, beyond in ((low, low - 1), (high, high + 1)):
            assert getattr(bench.services.settings.change({name: limit}), name) == limit
            with pytest.raises(SettingError, match=f"{limit:g}".replace("-", "−")):
                bench.services.settings.change({name: beyond})


def test_each_threshold_reaches_the_detector():
    """A changed setting changes its own threshold and no other."""
    for name, item in CURVE_SETTINGS.items():
        if name == "area_base_c":
            continue
        told = Settings(**{name: item.low}).thresholds
        changed = getattr(told.probe, name.removeprefix("probe_")) if name.startswith("probe_") else getattr(told, name)
        assert changed == item.low
        assert told != Thresholds()


def test_the_form_shows_and_keeps_them(bench: Bench):
    """Values are stored as typed, with a decimal comma too; an emptied field returns to its default."""
    assert 'value="4.5"' in bench.client.get("/settings").text
    answer = bench.client.post("/settings", data=FORM | {"crash_c_per_min": "6,5", "area_base_c": "90"})
    assert answer.status_code == 303
    kept = bench.services.settings.current()
    assert (kept.crash_c_per_min, kept.area_base_c) == (6.5, 90.0)
    assert bench.client.post("/settings", data=FORM | {"crash_c_per_min": ""}).status_code == 303
    kept = bench.services.settings.current()
    assert (kept.crash_c_per_min, kept.area_base_c) == (4.5, 90.0)


@pytest.mark.parametrize("unit", ["C", "F"])
def test_a_form_that_is_sent_as_it_was_shown_changes_nothing(bench: Bench, unit: str):
    """A round trip changes no value, in °C or °F."""
    bench.services.settings.change({"units_temp": unit, "stall_c_per_min": 1.3})
    before = bench.services.settings.current()
    kept = {name: f"{item.shown(getattr(before, name), unit):g}" for name, item in CURVE_SETTINGS.items()}
    page = bench.client.get("/settings").text
    for name, shown in kept.items():
        assert f'name="{name}" value="{shown}"' in page
    assert bench.client.post("/settings", data=FORM | kept | {"units_temp": unit, "shown_in": unit}).status_code == 303
    assert bench.services.settings.current() == before


def test_changing_the_unit_changes_no_threshold(bench: Bench):
    """A form shown in °C and sent with °F selected is read in °C, and then shown in °F."""
    sent = FORM | {"units_temp": "F", "area_base_c": "100", "fast_crack_c_per_min": "12"}
    assert bench.client.post("/settings", data=sent).status_code == 303
    kept = bench.services.settings.current()
    assert (kept.area_base_c, kept.fast_crack_c_per_min) == (100.0, 12.0)
    page = bench.client.get("/settings").text
    assert 'name="area_base_c" value="212"' in page
    assert 'name="fast_crack_c_per_min" value="21.6"' in page


def test_invalid_setting_is_refused_with_its_limits(bench: Bench):
    """Nothing is stored, the message names the field and its limits, and the typed value remains."""
    before = bench.services.settings.current()
    for typed, said in (
        ({"crash_c_per_min": "0"}, "“Rate crash” must be between 0.5 and 30 °C/min."),
        ({"probe_high_c": "90"}, "“Highest reading” must be between 200 and 1500 °C."),
        ({"probe_stuck_s": "1"}, "“Frozen for” must be between 5 and 600 s."),
        ({"area_base_c": "hot"}, "Area under the curve from must be a number, not “hot”."),
    ):
        answer = bench.client.post("/settings", data=FORM | {"business": "Other"} | typed)
        assert answer.status_code == 422
        assert said in answer.text
        assert f'value="{next(iter(typed.values()))}"' in answer.text
    assert bench.services.settings.current() == before
    with pytest.raises(SettingError, match=r"between 0\.9 and 54 °F/min"):
        bench.services.settings.change({"crash_c_per_min": 31.0, "units_temp": "F"})


@given(st.sampled_from(sorted(CURVE_SETTINGS)), st.integers(0, 100))
def test_limits_hold_in_either_unit(name: str, share: int):
    """A limit shown in °F and typed again is valid, to the last displayed digit."""
    item = CURVE_SETTINGS[name]
    value = round(item.low + (item.high - item.low) * share / 100, 1)
    assert item.kept(item.shown(value, "F"), "F") == pytest.approx(value, abs=0.005)
    assert item.kept(item.shown(value, "C"), "C") == value
