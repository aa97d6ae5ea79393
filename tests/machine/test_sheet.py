"""The machine sheet: its syntax, the location of mistakes, and the round trip."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roastlog.errors import SheetError
from roastlog.machine.model import Channel, Control, Machine, practice_machine
from roastlog.machine.sheet import parse_sheet, sheet_text
from roastlog.machine.sources import ModbusPoint, MqttPoint, PushPoint, Sensor, SerialPoint, Simulated

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
    """The machine has the sheet's values, and defaults for omitted keys."""
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
        ("http = {}", "wire = {}", 14, "`modbus`, `mqtt`, `serial`, `http`, `hand`, `simulated`, `sensor`"),
        ("http = {}", "", 10, "exactly one source of modbus, mqtt, serial, http, hand, simulated; found: –"),
        ("http = {}", "http = {}\nsimulated = {}", 10, "found: http, simulated"),
        ("http = {}", "http = { every_s = 1 }", 14, "`every_s` is not known here"),
        ('"127.0.0.1", port = 5020, t', '"127.0.0.1", port = 70000, t', 9, "whole number from 1 to 65535"),
        ("address = 0,", "", 9, "`modbus` needs `address`"),
        ("scale = 0.1 }", "scale = nan }", 9, "`scale` cannot be NaN"),
        ("scale = 0.1 }", "scale = 0 }", 9, "`scale`: a scale of 0"),
        ('"input"', '"coil"', 9, "leave `type` out"),
        ('type = "int16", ', "", 9, "needs `type`"),
        ('role = "room"', 'role = "cellar"', 13, '"exhaust_air", "drum", "room"'),
        ('id = "room"', 'id = "bean_probe"', 11, "“bean_probe” is taken"),
        ('id = "radiant"', 'id = "bean_probe"', 16, "“bean_probe” is taken"),
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
    """Each mistake is reported with its line and the allowed values."""
    assert SHEET.count(good) == 1
    with pytest.raises(SheetError) as caught:
        parse_sheet(SHEET.replace(good, bad))
    message = str(caught.value)
    assert message.startswith(f"Line {line}")
    assert says in message


WIRES = """\
id = "drum-4"
name = "Four-kilo drum"
batch_g = [800, 4500]
[[channels]]
id = "bean_probe"
name = "Bean probe"
role = "bean_probe"
modbus = { device = "/dev/ttyUSB0", baud = 19200, unit = 3, table = "input", address = 0, type = "int16" }
sensor = { type = "K", cold_junction = "box" }
[[channels]]
id = "box"
name = "Box"
role = "room"
mqtt = { host = "broker", topic = "drum-4/box", value = "$.box[0]", user = "drumside", password = "x" }
sensor = { type = "Pt100" }
[[channels]]
id = "exhaust"
name = "Exhaust"
role = "exhaust_air"
serial = { device = "/dev/ttyACM0", separator = ",", column = 2, columns = 3 }
[[channels]]
id = "inlet"
name = "Inlet"
role = "inlet_air"
serial = { device = "/dev/ttyACM0", pattern = 'IN (?P<hot>[-.0-9]+)', group = "hot" }
"""


def test_every_wire_arrives():
    """Serial settings, broker, path, columns, pattern and sensors are read from the sheet."""
    probe, box, exhaust, inlet = parse_sheet(WIRES).channels
    assert (probe.source, box.source, exhaust.source, inlet.source) == ("modbus", "mqtt", "serial", "serial")
    assert probe.modbus is not None
    assert probe.modbus.line == ("/dev/ttyUSB0", 19200, 8, "none", 1)
    assert probe.sensor == Sensor(type="K", cold_junction="box")
    assert box.mqtt is not None
    assert (box.mqtt.broker.port, box.mqtt.broker.version, box.mqtt.value) == (1883, "3.1.1", "$.box[0]")
    assert exhaust.serial == SerialPoint(device="/dev/ttyACM0", separator=",", column=2, columns=3)
    assert inlet.serial is not None
    assert inlet.serial.line == exhaust.serial.line


@pytest.mark.parametrize(
    ("good", "bad", "line", "says"),
    [
        ('device = "/dev/ttyUSB0", ', "", 8, "either `host` (over the network) or `device` (on a serial line)"),
        ('device = "/dev/ttyUSB0", ', 'device = "/dev/ttyUSB0", host = "a", ', 8, "either `host`"),
        ('device = "/dev/ttyUSB0", ', 'device = "/dev/ttyUSB0", port = 1502, ', 8, "`port`: that belongs to `host`"),
        ('device = "/dev/ttyUSB0", ', 'host = "a", ', 8, "`baud`: that belongs to `device`"),
        ("baud = 19200", "baud = 12", 8, "300 to 921600"),
        ("baud = 19200", 'parity = "maybe"', 8, '"none" (when left out), "even" or "odd"'),
        ("unit = 3", "unit = 0", 8, "`unit`: on a serial line units are counted from 1 to 247"),
        ('type = "K"', 'type = "X"', 9, '"K", "J", "T", "N" or "E"'),
        (', cold_junction = "box"', "", 9, "either `cold_junction` or `cold_junction_c`"),
        ('cold_junction = "box"', 'cold_junction = "box", cold_junction_c = 25', 9, "either `cold_junction`"),
        ('cold_junction = "box"', "cold_junction_c = 400", 9, "°C where the wires end, -40 to 125"),
        ('cold_junction = "box"', 'cold_junction = "bean_probe"', 9, "possible: box, exhaust, inlet"),
        ('cold_junction = "box"', 'cold_junction = "cellar"', 9, "“cellar” is no channel that can measure it"),
        ('"Pt100"', '"Pt100", cold_junction_c = 0', 15, "a resistance has no cold junction"),
        ('topic = "drum-4/box"', 'topic = "drum-4/#"', 14, "the topic in quotes, without + and #"),
        ('topic = "drum-4/box", ', "", 14, "`mqtt` needs `topic`"),
        ("$.box[0]", "box", 14, "`value`: “box” is not a JSON path"),
        ('user = "drumside", ', "", 14, "`password`: a password needs `user`"),
        ('user = "drumside"', 'user = "drumside", ca_file = "ca.pem"', 14, "`ca_file`: an authority is used with"),
        ('user = "drumside"', 'user = "drumside", version = "4"', 14, '"3.1.1" (when left out) or "5"'),
        ('user = "drumside"', 'user = "drumside", scale = 0', 14, "`scale`: a scale of 0"),
        ('user = "drumside"', 'user = "drumside", silent_s = 0', 14, "seconds of silence until it is a fault"),
        ('user = "drumside"', 'user = "drumside", publish = "on"', 14, "`publish` is not known here; in `mqtt` may"),
        ('separator = ",", column = 2, columns = 3', "column = 2", 20, "either `separator` with `columns`"),
        ("columns = 3", "columns = 1", 20, "`column`: a line of 1 columns has no column 2"),
        (", columns = 3", "", 20, "a separator needs `columns`"),
        ('separator = ",", ', 'separator = "1", ', 20, "the text between columns"),
        ("columns = 3", 'columns = 3, checksum = "md5"', 20, '"xor", "sum" or "crc16" if each line ends in one'),
        ("columns = 3", 'columns = 3, checksum = "sum", mark = "A"', 20, "the text before the checksum"),
        ("columns = 3", 'columns = 3, mark = ";"', 20, "`mark`: that goes with `checksum`"),
        ("[-.0-9]+", "[-.0-9]+)(a+)+(", 25, "`pattern`: A group must not be repeated"),
        ("(?P<hot>", "(", 25, "`pattern`: the pattern has no group (?P<hot>…)"),
        ('group = "hot"', "column = 2", 25, "`column`: that goes with the other form of a line"),
        ('"/dev/ttyACM0", pattern', '"/dev/ttyACM0", baud = 4800, pattern', 25, "read at two settings at once"),
        ('"/dev/ttyACM0", pattern', '"/dev/ttyUSB0", baud = 19200, pattern', 8, "as `modbus` and as `serial` at once"),
    ],
)  # fmt: skip
def test_mistake_of_a_wire_names_its_line(good, bad, line, says):
    """Each mistake about a source or a sensor is reported with its line and the allowed values."""
    assert good in WIRES
    with pytest.raises(SheetError) as caught:
        parse_sheet(WIRES.replace(good, bad, 1))
    message = str(caught.value)
    assert message.startswith(f"Line {line}:")
    assert says in message


def test_channels_in_degrees_have_no_sensor():
    """Pushed and simulated channels are in °C; a sensor beside them is a mistake."""
    with pytest.raises(SheetError, match="Line 15: `sensor`: readings by http are in °C already"):
        parse_sheet(SHEET.replace("http = {}", 'http = {}\nsensor = { type = "Pt100" }'))


def test_a_password_is_not_given_in_a_mistake():
    """The report of a mistake beside a password does not contain it."""
    with pytest.raises(SheetError) as caught:
        parse_sheet(WIRES.replace('password = "x"', 'password = "Night Ferry 7", topic2 = 1'))
    assert "Night" not in str(caught.value)


def test_all_mistakes_are_reported_at_once():
    """Two mistakes are two lines of the message, in the sheet's order."""
    text = SHEET.replace('role = "room"', 'role = "cellar"').replace("step = 0.5", "step = 0")
    with pytest.raises(SheetError) as caught:
        parse_sheet(text)
    assert [line.split(":")[0] for line in str(caught.value).splitlines()] == ["Line 13", "Line 21"]


def test_empty_sheet_lists_the_required_keys():
    """The message for an empty sheet lists the required keys."""
    with pytest.raises(SheetError, match="the sheet needs `id`"):
        parse_sheet("")


@pytest.mark.parametrize("text", ["[" * 3000, "x = " + "[" * 3000, "x = 1" + "0" * 5000, "\x00", "x = 1\ud800"])
def test_hostile_text_is_a_sheet_error(text):
    """Deep nesting, endless numbers and stray bytes give a SheetError with a line."""
    with pytest.raises(SheetError, match="Line 1"):
        parse_sheet(text)


@given(st.text(max_size=200))
def test_any_text_is_a_sheet_or_a_sheet_error(text):
    """Any text is a sheet or a SheetError."""
    with pytest.raises(SheetError):
        parse_sheet(text)


@given(cut=st.integers(0, len(SHEET)), dropped=st.integers(0, 40), put=st.text(max_size=8))
def test_damaged_sheet_is_a_machine_or_a_sheet_error(cut, dropped, put):
    """A sheet with text removed and inserted is read, or refused with a line."""
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


HOSTS = st.from_regex(r"[a-z0-9.:-]{1,40}", fullmatch=True)
WIRED: st.SearchStrategy[dict[str, object]] = st.one_of(
    st.fixed_dictionaries({"host": HOSTS, "port": st.integers(1, 65535), "unit": st.integers(0, 255)}),
    st.fixed_dictionaries({"device": st.just("/dev/ttyUSB0"), "baud": st.just(19200), "unit": st.integers(1, 247)}),
)
MQTT = st.builds(
    MqttPoint,
    host=HOSTS,
    topic=st.from_regex(r"[a-zA-Z0-9 _/-]{1,60}", fullmatch=True),
    value=st.none() | st.from_regex(r"\$(\.[a-z0-9_-]{1,9}|\[[0-9]\]){0,4}", fullmatch=True),
    tls=st.just(True),
    ca_file=st.none() | st.just("/etc/drumside/Eigene CA/ca.pem"),
    user=st.just("drumside"),
    password=st.none() | st.text(max_size=40),
    version=st.sampled_from(("3.1.1", "5")),
    silent_s=st.floats(1, 3600),
    offset=numbers,
)
SERIAL = st.one_of(
    st.builds(
        SerialPoint, device=st.just("/dev/ttyACM0"), separator=st.sampled_from((",", ";", " ", "\t", "::")),
        column=st.integers(1, 5), columns=st.integers(5, 64), scale=numbers.filter(bool),
        checksum=st.sampled_from(("xor", "sum", "crc16")), mark=st.sampled_from(("*", " ", ", #")),
    ),
    st.builds(
        SerialPoint, device=st.just("/dev/ttyACM0"), group=st.just("hot"),
        pattern=st.sampled_from((r"\d+ (?P<hot>[-\d.]+)", "'\"\"\"(?P<hot>.*)\\\\", "°(?P<hot>.+)(x|y)?")),
    ),
)  # fmt: skip
SENSORS = st.one_of(
    st.none(),
    st.builds(Sensor, type=st.sampled_from(("Pt100", "Pt1000"))),
    st.builds(Sensor, type=st.sampled_from(("K", "J", "T", "N", "E")), cold_junction_c=st.floats(-40, 125)),
)


@st.composite
def points(draw: st.DrawFn) -> ModbusPoint:
    """Any Modbus point."""
    table = draw(st.sampled_from(("input", "holding", "coil", "discrete")))
    registers = table in {"input", "holding"}
    return ModbusPoint(
        **draw(WIRED),
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
        st.fixed_dictionaries({"modbus": points(), "sensor": SENSORS}),
        st.fixed_dictionaries({"mqtt": MQTT, "sensor": SENSORS}),
        st.fixed_dictionaries({"serial": SERIAL, "sensor": SENSORS}),
        st.just({"http": PushPoint()}),
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


def without_passwords(machine):
    """The machine as it is exported."""
    channels = [
        channel.model_copy(update={"mqtt": channel.mqtt and channel.mqtt.model_copy(update={"password": None})})
        for channel in machine.channels
    ]
    return machine.model_copy(update={"channels": tuple(channels)})


def test_an_exported_sheet_has_no_password_and_an_import_restores_it():
    """The export notes the missing password; an import over the same machine restores it, for that broker only."""
    point = MqttPoint(host="broker.lan", user="drumside", password="a long one", topic="a")  # noqa: S106
    probe = Channel(id="probe", name="Probe", role="bean_probe", mqtt=point)
    machine = Machine(id="m", name="M", batch_g=(1, 2), channels=(probe,))
    text = sheet_text(machine)
    assert "a long one" not in text
    assert "The password of drumside at broker.lan is not in this sheet" in text
    assert parse_sheet(text).with_passwords_of(machine) == machine
    elsewhere = parse_sheet(text.replace('host = "broker.lan"', 'host = "other.lan"')).with_passwords_of(machine)
    assert elsewhere.channels[0].mqtt.password is None


@settings(max_examples=40)
@given(machines())
def test_sheet_and_json_round_trip(machine):
    """A machine written as a sheet reads back the same except for its passwords, and equals the stored JSON."""
    assert parse_sheet(sheet_text(machine)) == without_passwords(machine)
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


def test_a_machine_with_one_real_channel_is_no_practice():
    """A machine with one real channel is no practice machine."""
    practice = practice_machine()
    room = Channel(id="room", name="Room", role="room", http={})
    mixed = practice.model_copy(update={"channels": (*practice.channels, room)})
    assert (practice.practice, mixed.practice) == (True, False)


def test_a_check_keeps_its_date():
    """The date of a check is kept in TOML and in the stored JSON, as a date."""
    for reference in ('against = "ice"', 'reference = "ice", reference_c = 0, read_c = 0.8'):
        checked = f'role = "bean_probe"\nchecked = {{ on = 2026-11-25, {reference} }}'
        machine = parse_sheet(SHEET.replace('role = "bean_probe"', checked, 1))
        assert machine.channels[0].checked.on.isoformat() == "2026-11-25"
        assert parse_sheet(sheet_text(machine)) == machine
        assert Machine.model_validate_json(machine.model_dump_json()) == machine


def test_practice_machine_is_whole():
    """The practice machine is simulated, has three channels and four controls, and can be exported as a sheet."""
    machine = practice_machine()
    assert {channel.source for channel in machine.channels} == {"simulated"}
    assert [channel.role for channel in machine.channels] == ["bean_probe", "bean_surface", "exhaust_air"]
    assert [control.id for control in machine.controls] == ["hot_air", "radiant", "drum_heat", "stir"]
    assert parse_sheet(sheet_text(machine)) == machine
