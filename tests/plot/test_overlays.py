"""Overlays: the labels, dots and bars on and under the curves."""

import pytest

from roastlog.journal.vocabulary import STAGES
from roastlog.languages.catalogue import load
from roastlog.machine.views import ControlView
from roastlog.plot.overlays import LANE_FILL, STAGE_FILL, checks, marks, ribbon

CONTROLS = [
    ControlView("radiant", "Radiant", "", 0, 10, 0.5, 1),
    ControlView("stir", "Stir", "", 2, 6, 1, 0),
]


def test_marks_stand_in_the_order_of_time():
    """Marks are sorted by time, whatever the input order."""
    columns = marks([("first crack", 482.0), ("charge", 0.0)])
    assert columns["t_s"] == [0.0, 482.0]
    assert columns["label"] == ["charge", "first crack"]


def test_words_that_would_collide_stand_lower():
    """Labels of two close moments have different heights; distant ones share the top."""
    near = marks([("First crack", 480.0), ("Drop", 500.0)])
    far = marks([("Charge", 0.0), ("Drop", 500.0)])
    assert near["y"][1] < near["y"][0] == 1.0
    assert far["y"] == [1.0, 1.0]


def test_more_moments_than_lines_of_words_still_all_stand():
    """Five moments within a few seconds all keep their rule and label."""
    assert marks([("Drop", float(second)) for second in range(5)])["t_s"] == [0, 1, 2, 3, 4]


def test_each_stage_has_a_letter_of_its_own():
    """Each stage has letters of its own, those of the language, and a fill of its own."""
    columns = checks([(stage, 60.0 * index, 100.0) for index, stage in enumerate(STAGES)])
    assert columns["letter"] == ["G", "P", "Y", "T", "L", "B", "D", "A"]
    german = [load("de").single(letter) for letter in columns["letter"]]
    assert german == ["Gr", "Bl", "Ge", "Be", "Hb", "Br", "Du", "Fs"]
    assert len(set(columns["fill"])) == len(STAGES) == len(STAGE_FILL)


def test_a_check_without_a_temperature_has_no_dot():
    """A trier check without a matching reading is not drawn at a made-up height."""
    assert checks([("tan", 200.0, None)])["t_s"] == []


def test_ribbon_holds_each_setting_until_the_next():
    """A bar extends from its move to the next move of the same control, the last one to the end."""
    columns = ribbon([("radiant", 120.0, 4.0), ("radiant", 0.0, 8.0)], CONTROLS, 300.0)
    assert list(zip(columns["left"], columns["right"], columns["text"], strict=True)) == [
        (0.0, 120.0, "8"),
        (120.0, 300.0, "4"),
    ]
    assert columns["last"] == [False, True]


def test_settings_before_charge_apply_from_charge():
    """Moves before charge become one bar from the start of the ribbon."""
    columns = ribbon([("radiant", -60.0, 3.0), ("radiant", -5.0, 6.5)], CONTROLS, 100.0)
    assert columns["left"] == [0.0]
    assert columns["text"] == ["6.5"]


def test_height_is_the_share_of_the_controls_own_range():
    """Half-way between low and high is level 0.5, even if low is not 0; values beyond the range are clipped."""
    columns = ribbon([("stir", 0.0, 4), ("stir", 50.0, 9)], CONTROLS, 100.0)
    assert columns["level"] == [0.5, 1.0]
    assert columns["row"] == [1, 1]
    assert columns["bottom"] == [0, 0]
    assert columns["top"][0] == pytest.approx(LANE_FILL / 2)


def test_a_control_at_its_lowest_has_no_height():
    """The steps are true to their scale: the lowest setting is the floor of the lane, twice the share twice as high."""
    columns = ribbon([("radiant", 0.0, 0.0), ("radiant", 20.0, 2.5), ("radiant", 40.0, 5.0)], CONTROLS, 60.0)
    heights = [top - bottom for top, bottom in zip(columns["top"], columns["bottom"], strict=True)]
    assert heights == pytest.approx([0.0, LANE_FILL / 4, LANE_FILL / 2])


def test_a_setting_stands_above_a_low_bar_and_inside_a_high_one():
    """The text of each bar is inside its lane: above the bar's top edge where there is room, else below the edge."""
    columns = ribbon([("radiant", 0.0, 2.0), ("radiant", 20.0, 9.0)], CONTROLS, 60.0)
    above, inside = columns["beside_px"]
    assert above < 0 < inside


def test_moves_after_the_end_are_not_drawn():
    """A move after the drop has no bar and does not extend the previous one."""
    columns = ribbon([("radiant", 0.0, 4.0), ("radiant", 150.0, 2.0)], CONTROLS, 100.0)
    assert columns["right"] == [100.0]
    assert columns["last"] == [False]


def test_a_move_of_an_unknown_control_draws_nothing():
    """A control that is no longer on the machine's sheet has no lane."""
    assert ribbon([("gone", 0.0, 4.0)], CONTROLS, 100.0)["left"] == []


def test_whole_tens_keep_their_nought():
    """10 is written 10, even without decimals."""
    assert ribbon([("radiant", 0.0, 10.0)], CONTROLS, 9.0)["text"] == ["10"]
