"""The machine model: channels, controls and their sources. Stored as JSON, exported as a TOML sheet.

Each field's description states its allowed values, and error messages quote it.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Annotated, Final, Literal, Self, get_args

from pydantic import Field, Strict, StringConstraints, model_validator

from roastlog.languages import N_, _
from roastlog.machine.sources import (
    ID_WORDS,
    ByHand,
    Checked,
    Id,
    Misplaced,
    ModbusPoint,
    MqttPoint,
    Number,
    Part,
    PushPoint,
    Sensor,
    SerialLine,
    SerialPoint,
    Simulated,
)

BEAN_ROLES: Final = ("bean_probe", "bean_surface")  # the first one of a machine is its bean channel
ChannelRole = Literal["bean_probe", "bean_surface", "inlet_air", "exhaust_air", "drum", "room"]

SOURCES = ("modbus", "mqtt", "serial", "http", "hand", "simulated")
"""Where a channel may be read; the names are fields of `Channel`."""

WIRES = ("modbus", "mqtt", "serial")
"""Those of them that are read over a wire, and may give something else than °C."""

BrokerUser = tuple[str, int, str]
"""Host, port and user of an MQTT broker."""

# Plain text of one line: no control characters, nothing but spaces refused, and no spaces at the ends.
_Words = Annotated[str, StringConstraints(pattern=r"^[^\s\p{C}]([^\p{C}\p{Zl}\p{Zp}]*[^\s\p{C}])?$", max_length=60)]


class Channel(Part):
    """One measured stream."""

    id: Id = Field(description=ID_WORDS)
    name: _Words = Field(description=N_("1 to 60 characters in quotes"))
    role: ChannelRole = Field(description='one of "' + '", "'.join(get_args(ChannelRole)) + '"')
    short: _Words | None = Field(
        None, max_length=12, description=N_("the name where room is short: 1 to 12 characters in quotes")
    )
    offset_c: float = Field(
        0.0,
        allow_inf_nan=False,
        ge=-100,
        le=100,
        description=N_("°C added to each reading, -100 to 100 (0 when left out)"),
    )
    checked: Checked | None = Field(None, description="{ on, reference, … } of the check that gave `offset_c`")
    modbus: ModbusPoint | None = Field(None, description="{ host, port, unit, table, address, type, scale, … }")
    mqtt: MqttPoint | None = Field(None, description="{ host, port, topic, value, … }")
    serial: SerialPoint | None = Field(None, description="{ device, baud, separator, column, columns, … }")
    http: PushPoint | None = Field(None, description="{} (the readings are sent to the API)")
    hand: ByHand | None = Field(None, description="{} (a person reads a thermometer and types it in)")
    simulated: Simulated | None = Field(None, description="{} (for practice)")
    sensor: Sensor | None = Field(None, description="{ type, cold_junction, … } where the value is in mV or ohm")

    def reads_like(self, other: Part) -> bool:
        """Whether it is read in just the same way as another one."""
        return isinstance(other, Channel) and all(
            getattr(self, name) == getattr(other, name) for name in (*SOURCES, "sensor")
        )

    @property
    def label(self) -> str:
        """The name for where room is short."""
        return self.short or self.name

    @property
    def source(self) -> str:
        """Which of `SOURCES` it is read from."""
        return next(name for name in SOURCES if getattr(self, name) is not None)

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        given = [name for name in SOURCES if getattr(self, name) is not None]
        if len(given) != 1:
            sources, found = ", ".join(SOURCES), ", ".join(given) or "–"
            message = _(
                "channel {id} needs exactly one source of {sources}; found: {found}",
                id=self.id,
                sources=sources,
                found=found,
            )
            raise Misplaced(message)
        if self.sensor is not None and self.source not in WIRES:
            message = _("readings by {source} are in °C already; leave `sensor` out", source=self.source)
            raise Misplaced(message, "sensor")
        return self


class Control(Part):
    """One setting of the machine; read from the machine if it has a register."""

    id: Id = Field(description=ID_WORDS)
    name: _Words = Field(description=N_("1 to 60 characters in quotes"))
    unit: str = Field(
        "", pattern=r"^\P{C}*$", max_length=12, description=N_('at most 12 characters in quotes, such as "step" or "%"')
    )
    low: Number = Field(description=N_("the smallest setting, a number"))
    high: Number = Field(description=N_("the largest setting, a number above `low`"))
    step: float = Field(ge=0.001, le=1e6, description=N_("the change of one tap, at least 0.001"))
    modbus: ModbusPoint | None = Field(None, description="{ host, port, unit, table, address, type, scale, … }")

    def reads_like(self, other: Part) -> bool:
        """Whether it is read in just the same way as another one."""
        same = ("modbus", "low", "high", "step")  # what comes is put onto its steps
        return isinstance(other, Control) and all(getattr(self, name) == getattr(other, name) for name in same)

    @property
    def decimals(self) -> int:
        """Number of decimals of its settings, 0 to 3."""
        return min(3, max(_decimals(self.step), _decimals(self.low)))

    @model_validator(mode="after")
    def _range(self) -> Self:
        if self.low >= self.high:
            low, high = f"{self.low:g}", f"{self.high:g}"
            raise Misplaced(_("{high} is not above low ({low}); enter a larger number", high=high, low=low), "high")
        if self.step > self.high - self.low:
            step, most = f"{self.step:g}", f"{self.high - self.low:g}"
            message = _("{step} is wider than low to high; enter at most {most}", step=step, most=most)
            raise Misplaced(message, "step")
        return self


class Machine(Part):
    """One roaster, with its channels and controls."""

    id: Id = Field(description=ID_WORDS)
    name: _Words = Field(description=N_("1 to 60 characters in quotes"))
    # Strict mode would reject both, because they are lists in TOML and JSON.
    batch_g: Annotated[tuple[Number, Number], Strict(strict=False)] = Field(
        description=N_("the smallest and the largest charge in grams, such as [800, 4500]")
    )
    channels: Annotated[tuple[Channel, ...], Strict(strict=False)] = Field(
        min_length=1, max_length=32, description=N_("1 to 32 [[channels]]")
    )
    controls: Annotated[tuple[Control, ...], Strict(strict=False)] = Field(
        (), max_length=32, description=N_("at most 32 [[controls]]")
    )

    def part(self, name: str) -> Channel | Control | None:
        """Its channel or control with that id, or None."""
        parts: tuple[Channel | Control, ...] = (*self.channels, *self.controls)
        return next((part for part in parts if part.id == name), None)

    @property
    def practice(self) -> bool:
        """Whether all channels are simulated. Its batches are in no list, stock or total unless asked for."""
        return all(channel.source == "simulated" for channel in self.channels)

    @property
    def passwords(self) -> dict[BrokerUser, str]:
        """The passwords of its brokers' users."""
        return {
            (point.host, point.port, point.user): point.password
            for channel in self.channels
            if (point := channel.mqtt) is not None and point.user is not None and point.password is not None
        }

    def with_passwords_of(self, known: Self) -> Self:
        """The same machine; a user whose password was left out has that which ``known`` has for that broker."""
        return self.with_passwords(known.passwords)

    def with_passwords(self, passwords: Mapping[BrokerUser, str]) -> Self:
        """The same machine; a user whose password was left out has that of ``passwords``."""

        def with_password(channel: Channel) -> Channel:
            point = channel.mqtt
            if point is None or point.user is None or point.password is not None:
                return channel
            password = passwords.get((point.host, point.port, point.user))
            return channel.model_copy(update={"mqtt": point.model_copy(update={"password": password})})

        return self.model_copy(update={"channels": tuple(with_password(channel) for channel in self.channels)})

    def without_passwords(self) -> Self:
        """The same machine without its passwords, as its description travels and as entries hold it."""
        channels = tuple(
            channel
            if channel.mqtt is None
            else channel.model_copy(update={"mqtt": channel.mqtt.model_copy(update={"password": None})})
            for channel in self.channels
        )
        return self.model_copy(update={"channels": channels})

    @model_validator(mode="after")
    def _check_whole(self) -> Self:
        smallest, largest = self.batch_g
        if not 0 < smallest <= largest:
            message = _("the smallest charge must be above 0 and the largest no less, such as [800, 4500]")
            raise Misplaced(message, "batch_g")
        places = [("channels", index, channel.id) for index, channel in enumerate(self.channels)]
        places += [("controls", index, control.id) for index, control in enumerate(self.controls)]
        seen: set[str] = set()
        for table, index, name in places:
            if name in seen:
                message = _("“{name}” is taken; channels and controls need ids of their own", name=name)
                raise Misplaced(message, table, index, "id")
            seen.add(name)
        return self

    @model_validator(mode="after")
    def _junctions(self) -> Self:
        """Check that each cold junction is a channel of this machine that needs none itself."""
        can = {
            channel.id
            for channel in self.channels
            if channel.source in WIRES and (channel.sensor is None or channel.sensor.platinum)
        }
        for index, channel in enumerate(self.channels):
            wanted = None if channel.sensor is None else channel.sensor.cold_junction
            if wanted is not None and wanted not in can:
                others = ", ".join(sorted(can - {channel.id})) or "`cold_junction_c`"
                message = _(
                    "“{wanted}” is no channel that can measure it; possible: {others}", wanted=wanted, others=others
                )
                raise Misplaced(message, "channels", index, "sensor", "cold_junction")
        return self

    @model_validator(mode="after")
    def _serial_ports(self) -> Self:
        """Check that each serial port has one configuration and one driver."""
        known: dict[str, tuple[str, SerialLine]] = {}
        for source, line, table, index in self._serial_lines():
            first_source, first_line = known.setdefault(line.device, (source, line))
            if (first_source, first_line) != (source, line):
                message = (
                    _("{device} cannot be read at two settings at once", device=line.device)
                    if first_source == source
                    else _("{device} cannot be read as `modbus` and as `serial` at once", device=line.device)
                )
                raise Misplaced(message, table, index, source, "device")
        return self

    def _serial_lines(self) -> Iterator[tuple[str, SerialLine, str, int]]:
        for index, channel in enumerate(self.channels):
            if channel.serial is not None:
                yield "serial", channel.serial.line, "channels", index
        parts: list[tuple[str, int, Channel | Control]] = []
        parts += [("channels", index, channel) for index, channel in enumerate(self.channels)]
        parts += [("controls", index, control) for index, control in enumerate(self.controls)]
        for table, index, part in parts:
            if part.modbus is not None and part.modbus.line is not None:
                yield "modbus", part.modbus.line, table, index


def practice_machine() -> Machine:
    """The practice machine: a simulated four-kilo drum."""
    channels = (
        Channel(id="bean_probe", name="Bean probe", short="probe", role="bean_probe", simulated=Simulated()),
        Channel(id="bean_surface", name="Bean surface", short="surface", role="bean_surface", simulated=Simulated()),
        Channel(id="exhaust", name="Exhaust", short="exhaust", role="exhaust_air", simulated=Simulated()),
    )
    controls = (
        Control(id="hot_air", name="Hot air", unit="step", low=0, high=10, step=0.5),
        Control(id="radiant", name="Radiant", unit="step", low=0, high=10, step=0.5),
        Control(id="drum_heat", name="Drum heat", unit="step", low=0, high=10, step=0.5),
        Control(id="stir", name="Stir", unit="step", low=0, high=10, step=1),
    )
    return Machine(id="practice", name="Practice drum", batch_g=(800, 4500), channels=channels, controls=controls)


def _decimals(value: float) -> int:
    exponent = Decimal(repr(value)).normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def bean_channel(machine: Machine) -> str:
    """The bean channel: the probe, else the surface, else the first channel."""
    roles = {channel.role: channel.id for channel in reversed(machine.channels)}
    return roles.get("bean_probe") or roles.get("bean_surface") or machine.channels[0].id
