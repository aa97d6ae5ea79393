"""The machine sheet: what may stand in it, where a mistake is, and the way there and back."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roastlog.errors import SheetError
from roastlog.instruments.machine import Channel, Control, Machine, practice_machine
from roastlog.instruments.points import ModbusPoint, Pushed, Simulated
from roastlog.instruments.sheet import parse_sheet, sheet_text

SHEET = """\
id = "drum-4"                      # also its name in the API
name = "Four-kilo drum"
batch_g = [800, 4500]              # smallest and largest charge
[[channels]]
id = "bean_probe"
name = "Bean probe"
role = "bean_probe"
offset_c = 0.0
modbus = { host = "127.0.0.1", port = 5020, table = "input", address = 0, type = "int16", scale = 0.1 }
[[channels]]
id = "room"
name = "Room"
role = "room"
http = {}
[[controls]]
id = "radiant"
name = "Radiant"
unit = "step"
low = 0
high = 10
step = 0.5
[controls.modbus]  # a table of its own is as good as one in braces
host = "127.0.0.1"
port = 5020
table = "holding"
address = 10
type = "uint16"
scale = 0.1
"""


def test_sheet_describes_a_machine():
    """The sheet's values arrive, with the defaults of what it leaves out."""
    machine = parse_sheet(SHEET)
    probe, room = machine.channels
    assert (machine.id, machine.batch_g) == ("drum-4", (800, 4500))
    assert (probe.source, probe.label) == ("modbus", "Bean probe")
    assert probe.modbus == ModbusPoint(host="127.0.0.1", port=5020, table="input", address=0, type="int16", scale=0.1)
    assert (probe.modbus.unit, probe.modbus.poll_s, probe.modbus.word_order) == (1, 0.5, "big")
    assert room.source == "http"
    assert machine.controls[0].decimals == 1
    assert machine.controls[0].modbus is not None


@pytest.mark.parametrize(
    ("good", "bad", "line", "says"),
    [
        ("http = {}", "wire = {}", 14, "`modbus`, `mqtt`, `serial`, `http`, `simulated`, `sensor`"),
        ("http = {}", "", 10, "exactly one source of modbus, mqtt, serial, http, simulated; here is none"),
        ("http = {}", "http = {}\nsimulated = {}", 10, "here is http and simulated"),
        ("http = {}", "http = { every_s = 1 }", 14, "`every_s` is not known here"),
        ('"127.0.0.1", port = 5020, t', '"127.0.0.1", port = 70000, t', 9, "whole number from 1 to 65535"),
        ("address = 0,", "", 9, "`modbus` needs `address`"),
        ("scale = 0.1 }", "scale = nan }", 9, "`scale` cannot be NaN"),
        ("scale = 0.1 }", "scale = 0 }", 9, "`scale`: a scale of 0"),
        ('"input"', '"coil"', 9, "leave `type` out"),
        ('type = "int16", ', "", 9, "needs `type`"),
        ('role = "room"', 'role = "cellar"', 13, '"exhaust_air", "drum", "room"'),
        ('id = "room"', 'id = "bean_probe"', 11, '"bean_probe" is taken'),
        ('id = "radiant"', 'id = "bean_probe"', 16, '"bean_probe" is taken'),
        ('id = "room"', 'id = "The Room"', 11, "lowercase letters, digits, - and _"),
        ("low = 0\n", "", 15, "a control needs `low`"),
        ("low = 0\n", "low = 20\n", 20, "`high`: 10 is not above low (20)"),
        ("step = 0.5", "step = 0", 21, "at least 0.001"),
        ("step = 0.5", "step = true", 21, "`step` cannot be true"),
        ("address = 10\n", "address = -1\n", 26, "counted from 0, to 65535"),
        ('table = "holding"', 'table = "holdings"', 25, '"input", "holding", "coil" or "discrete"'),
        ("[800, 4500]", "[4500, 800]", 3, "the largest no less"),
        ("[800, 4500]", "[800]", 3, "the smallest and the largest charge"),
        ('name = "Room"', "name = Room", 12, "this is not TOML"),
        ('name = "Room"', 'name = "Room', 12, "this is not TOML"),
        ('name = "Room"', 'name = "A\\u0007"', 12, "1 to 60 characters"),
        ('name = "Room"', 'name = "A"\nname = "B"', 13, "this is not TOML"),
        ('name = "Four-kilo drum"', 'name = "  "', 2, "1 to 60 characters"),
    ],
)
def test_mistake_names_its_line(good, bad, line, says):
    """Each mistake is answered with its line and what may stand there."""
    assert SHEET.count(good) == 1
    with pytest.raises(SheetError) as caught:
        parse_sheet(SHEET.replace(good, bad))
    message = str(caught.value)
    assert message.startswith(f"Line {line}")
    assert says in message


def test_all_mistakes_are_told_at_once():
    """Two mistakes are two lines of the message, in the sheet's order."""
    text = SHEET.replace('role = "room"', 'role = "cellar"').replace("step = 0.5", "step = 0")
    with pytest.raises(SheetError) as caught:
        parse_sheet(text)
    assert [line.split(":")[0] for line in str(caught.value).splitlines()] == ["Line 13", "Line 21"]


def test_empty_sheet_says_what_is_needed():
    """An empty sheet is answered with the keys that it needs."""
    with pytest.raises(SheetError, match="the sheet needs `id`"):
        parse_sheet("")


@pytest.mark.parametrize("text", ["[" * 3000, "x = " + "[" * 3000, "x = 1" + "0" * 5000, "\x00", "x = 1\ud800"])
def test_hostile_text_is_a_sheet_error(text):
    """Deep nesting, endless numbers and stray bytes end in a SheetError with a line."""
    with pytest.raises(SheetError, match="Line 1"):
        parse_sheet(text)


@given(st.text(max_size=200))
def test_any_text_is_a_sheet_or_a_sheet_error(text):
    """No text breaks the parser."""
    with pytest.raises(SheetError):
        parse_sheet(text)


@given(cut=st.integers(0, len(SHEET)), dropped=st.integers(0, 40), put=st.text(max_size=8))
def test_damaged_sheet_is_a_machine_or_a_sheet_error(cut, dropped, put):
    """A sheet with something cut out and something put in is read, or refused with a line."""
    try:
        told = sheet_text(parse_sheet(SHEET[:cut] + put + SHEET[cut + dropped :]))
    except SheetError as error:
        told = str(error)
    assert told.startswith(("id = ", "Line "))


ids = st.from_regex(r"[a-z0-9_-]{1,40}", fullmatch=True)
words = (
    st.text(st.characters(exclude_categories=("C", "Zl", "Zp")), min_size=1, max_size=60).map(str.strip).filter(bool)
)
numbers = st.floats(-1e6, 1e6, allow_nan=False).map(lambda value: value + 0.0)


@st.composite
def points(draw: st.DrawFn) -> ModbusPoint:
    """Any Modbus point."""
    table = draw(st.sampled_from(("input", "holding", "coil", "discrete")))
    registers = table in {"input", "holding"}
    return ModbusPoint(
        host=draw(st.from_regex(r"[a-z0-9.:-]{1,40}", fullmatch=True)),
        port=draw(st.integers(1, 65535)),
        unit=draw(st.integers(0, 255)),
        table=table,
        address=draw(st.integers(0, 65534)),
        type=draw(st.sampled_from(("int16", "uint16", "int32", "uint32", "float32"))) if registers else None,
        word_order=draw(st.sampled_from(("big", "little"))),
        scale=draw(numbers.filter(bool)),
        offset=draw(numbers),
        poll_s=draw(st.floats(0.05, 60)),
    )


@st.composite
def machines(draw: st.DrawFn) -> Machine:
    """Any machine."""
    names = draw(st.lists(ids, min_size=1, max_size=6, unique=True))
    cut = draw(st.integers(1, len(names)))
    sources = st.one_of(
        points().map(lambda point: {"modbus": point}),
        st.just({"http": Pushed()}),
        st.just({"simulated": Simulated()}),
    )
    channels = [
        Channel(
            id=name,
            name=draw(words),
            role=draw(st.sampled_from(("bean_probe", "bean_surface", "inlet_air", "exhaust_air", "drum", "room"))),
            short=draw(st.none() | words.map(lambda word: word[:12].strip())),
            offset_c=draw(st.floats(-100, 100)),
            **draw(sources),
        )
        for name in names[:cut]
    ]
    controls = []
    for name in names[cut:]:
        low, high = sorted(draw(st.tuples(numbers, numbers).filter(lambda pair: abs(pair[0] - pair[1]) > 0.01)))
        step = draw(st.floats(0.001, min(high - low, 1e6)))
        point = draw(st.none() | points())
        controls.append(Control(id=name, name=draw(words), low=low, high=high, step=step, modbus=point))
    smallest, largest = sorted(draw(st.tuples(st.floats(0.001, 1e6), st.floats(0.001, 1e6))))
    return Machine(id=draw(ids), name=draw(words), batch_g=(smallest, largest), channels=channels, controls=controls)


@settings(deadline=None)
@given(machines())
def test_sheet_and_json_round_trip(machine):
    """A machine written as a sheet, or as the JSON that is stored, reads back the same."""
    assert parse_sheet(sheet_text(machine)) == machine
    assert Machine.model_validate_json(machine.model_dump_json(exclude_none=True)) == machine


def test_windows_line_ends_and_a_byte_order_mark_are_no_mistake():
    """A sheet saved on Windows is the same sheet."""
    assert parse_sheet("\ufeff" + SHEET.replace("\n", "\r\n")) == parse_sheet(SHEET)


@pytest.mark.parametrize(
    ("low", "step", "decimals"), [(0, 1, 0), (0, 0.5, 1), (0, 0.25, 2), (0.75, 0.5, 2), (0, 10, 0), (0, 0.001, 3)]
)
def test_decimals_follow_from_step_and_low(low, step, decimals):
    """A control shows as many decimals as its settings need."""
    control = Control(id="air", name="Air", low=low, high=100, step=step)
    assert control.decimals == decimals


def test_practice_machine_is_whole():
    """The practice machine is simulated, has the three channels and the four controls, and makes a sheet."""
    machine = practice_machine()
    assert {channel.source for channel in machine.channels} == {"simulated"}
    assert [channel.role for channel in machine.channels] == ["bean_probe", "bean_surface", "exhaust_air"]
    assert [control.id for control in machine.controls] == ["hot_air", "radiant", "drum_heat", "stir"]
    assert parse_sheet(sheet_text(machine)) == machine
