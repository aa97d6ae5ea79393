"""Sources of channels and controls in a sheet. All are read-only.

Each field's description states its allowed values, and error messages quote it.
"""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Annotated, Final, Literal, NamedTuple, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from roastlog.errors import InstrumentError
from roastlog.languages import N_, _
from roastlog.machine.decoding import Checksum, RegisterType, WordOrder, json_steps, line_pattern, register_count

Table = Literal["input", "holding", "coil", "discrete"]
BIT_TABLES: frozenset[Table] = frozenset({"coil", "discrete"})
Parity = Literal["none", "even", "odd"]
Reference = Literal["ice", "altitude", "pressure", "thermometer"]

REFERENCES: Final[Mapping[Reference, str]] = {
    "ice": N_("ice water"),
    "altitude": N_("boiling water, by altitude"),
    "pressure": N_("boiling water, by air pressure"),
    "thermometer": N_("a thermometer you trust"),
}
"""What a probe is checked against, in words."""

_Parsed = TypeVar("_Parsed")

ID_WORDS = N_("lowercase letters, digits, - and _, at most 40, in quotes")
Id = Annotated[str, StringConstraints(pattern=r"^[a-z0-9_-]{1,40}$")]
Number = Annotated[float, Field(allow_inf_nan=False, ge=-1e6, le=1e6)]
_Host = Annotated[str, StringConstraints(pattern=r"^[^\s/\p{C}]+$", max_length=253)]
_Path = Annotated[str, StringConstraints(pattern=r"^[^\s\p{C}]([^\p{C}]*[^\s\p{C}])?$", max_length=200)]
_Topic = Annotated[str, StringConstraints(pattern=r"^[^+#$\p{C}][^+#\p{C}]*$", max_length=200)]

_Baud = Annotated[int, Field(ge=300, le=921_600, description=N_("bits a second, 300 to 921600 (9600 when left out)"))]
_Parity = Annotated[Parity, Field(description=N_('"none" (when left out), "even" or "odd"'))]
_Stop = Annotated[Literal[1, 2], Field(description=N_("1 (when left out) or 2 stop bits"))]
_Scale = Annotated[
    Number, Field(description=N_("a number that the raw value is multiplied by, not 0 (1 when left out)"))
]
_Offset = Annotated[Number, Field(description=N_("a number that is added after scaling (0 when left out)"))]
_Silent = Annotated[
    float, Field(ge=1, le=3600, description=N_("seconds of silence until it is a fault, 1 to 3600 (10 when left out)"))
]


class Misplaced(ValueError):
    """A value that conflicts with another one; ``where`` is its path within the model."""

    def __init__(self, message: str, *where: str | int) -> None:
        super().__init__(message)
        self.where = where


class Part(BaseModel):
    """A part of a sheet. Strict: a string or a boolean is never accepted as a number."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    @classmethod
    def allowed_values(cls, field: str) -> str:
        """Allowed values of a field, in words."""
        return cls.model_fields[field].description or ""

    def is_default(self, field: str) -> bool:
        """Whether a field has its default value."""
        return bool(getattr(self, field) == type(self).model_fields[field].default)


class SerialLine(NamedTuple):
    """A serial port with its line settings."""

    device: str
    baud: int
    bits: int
    parity: Parity
    stop: int


class Broker(NamedTuple):
    """Key of a connection to an MQTT broker: channels with equal keys share it."""

    host: str
    port: int
    tls: bool
    ca_file: str | None
    user: str | None
    password: str | None
    version: str
    status: str | None


class ModbusPoint(Part):
    """One value on a Modbus instrument, over the network or on a serial line."""

    host: _Host | None = Field(
        None, description=N_('a name or an address, such as "192.168.1.20"; on a serial line `device` instead')
    )
    port: int = Field(502, ge=1, le=65535, description=N_("a whole number from 1 to 65535 (502 when left out)"))
    device: _Path | None = Field(
        None, description=N_('the serial port, such as "/dev/ttyUSB0" or "COM3"; over the network `host` instead')
    )
    baud: _Baud = 9600
    parity: _Parity = "none"
    stop: _Stop = 1
    unit: int = Field(1, ge=0, le=255, description=N_("a whole number from 0 to 255 (1 when left out)"))
    table: Table = Field(description=N_('"input", "holding", "coil" or "discrete"'))
    address: int = Field(ge=0, le=65535, description=N_("the protocol address, counted from 0, to 65535"))
    type: RegisterType | None = Field(
        None, description=N_('"int16", "uint16", "int32", "uint32" or "float32"; left out for coil and discrete')
    )
    word_order: WordOrder = Field("big", description=N_('"big" (high word first, when left out) or "little"'))
    scale: _Scale = 1.0
    offset: _Offset = 0.0
    poll_s: float = Field(0.5, ge=0.05, le=60, description=N_("seconds from 0.05 to 60 (0.5 when left out)"))

    @property
    def count(self) -> int:
        """Number of its registers or bits."""
        return 1 if self.type is None else register_count(self.type)

    @property
    def line(self) -> SerialLine | None:
        """Its serial line; None over the network."""
        return None if self.device is None else SerialLine(self.device, self.baud, 8, self.parity, self.stop)

    @model_validator(mode="after")
    def _one_wire(self) -> Self:
        if (self.host is None) == (self.device is None):
            raise Misplaced(_("a Modbus point needs either `host` (over the network) or `device` (on a serial line)"))
        odd, own = (("port",), "host") if self.host is None else (("baud", "parity", "stop"), "device")
        for field in odd:
            if not self.is_default(field):
                message = _("that belongs to `{own}`, which is not here; leave `{field}` out", own=own, field=field)
                raise Misplaced(message, field)
        if self.device is not None and not 1 <= self.unit <= 247:
            raise Misplaced(_("on a serial line units are counted from 1 to 247"), "unit")
        return self

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.table in BIT_TABLES and self.type is not None:
            raise Misplaced(_("a {table} is on or off and has no type; leave `type` out", table=self.table), "type")
        if self.table not in BIT_TABLES and self.type is None:
            raise Misplaced(
                _(
                    "a {table} register needs `type`: {allowed}",
                    table=self.table,
                    allowed=_(self.allowed_values("type")),
                )
            )
        if self.address + self.count > 65536:
            message = _("a {type} does not fit at the last address; enter at most 65534", type=self.type)
            raise Misplaced(message, "address")
        _no_zero(self.scale)
        return self


class MqttPoint(Part):
    """One value from a topic of an MQTT broker."""

    host: _Host = Field(description=N_('a name or an address, such as "192.168.1.20": the broker\'s'))
    port: int = Field(1883, ge=1, le=65535, description=N_("a whole number from 1 to 65535 (1883 when left out)"))
    version: Literal["3.1.1", "5"] = Field("3.1.1", description=N_('"3.1.1" (when left out) or "5"'))
    tls: bool = Field(False, description=N_("true or false (when left out)"))
    ca_file: _Path | None = Field(None, description=N_("the path of a PEM file with your own authority, in quotes"))
    user: _Path | None = Field(None, description=N_("the user's name, in quotes"))
    password: str | None = Field(None, max_length=200, description=N_("at most 200 characters in quotes"))
    status: _Topic | None = Field(
        None, description=N_("a topic in quotes for Drumside's own status, online or offline")
    )
    topic: _Topic = Field(description=N_("the topic in quotes, without + and #"))
    value: str | None = Field(
        None, max_length=200, description=N_('the place of the number in JSON, such as "$.probe[0]"; left out if plain')
    )
    scale: _Scale = 1.0
    offset: _Offset = 0.0
    silent_s: _Silent = 10.0

    @property
    def broker(self) -> Broker:
        """Its broker connection."""
        return Broker(self.host, self.port, self.tls, self.ca_file, self.user, self.password, self.version, self.status)

    @model_validator(mode="after")
    def _check_whole(self) -> Self:
        if self.ca_file is not None and not self.tls:
            raise Misplaced(_("an authority is used with `tls = true` alone; leave `ca_file` out"), "ca_file")
        if self.password is not None and self.user is None:
            raise Misplaced(_("a password needs `user` beside it"), "password")
        if self.value is not None:
            _as_misplaced("value", lambda: json_steps(self.value or ""))
        _no_zero(self.scale)
        return self


class SerialPoint(Part):
    """One value from the lines of a device on a serial port."""

    device: _Path = Field(description=N_('the serial port, such as "/dev/ttyUSB0" or "COM3"'))
    baud: _Baud = 9600
    bits: Literal[7, 8] = Field(8, description=N_("7 or 8 (when left out) data bits"))
    parity: _Parity = "none"
    stop: _Stop = 1
    separator: str | None = Field(
        None,
        pattern=r"^[^\r\n0-9]{1,3}$",
        description=N_('the text between columns, such as ","; " " for any spaces'),
    )
    column: int = Field(1, ge=1, le=64, description=N_("which column, counted from 1, to 64 (1 when left out)"))
    columns: int | None = Field(None, ge=1, le=64, description=N_("how many columns a whole line has, 1 to 64"))
    pattern: str | None = Field(
        None, max_length=200, description=N_("a regular expression that the whole line fits, with a group (?P<value>…)")
    )
    group: str = Field(
        "value",
        pattern=r"^[A-Za-z_]\w{0,39}$",
        description=N_('its group in `pattern` ("value" when left out)'),
    )
    checksum: Checksum | None = Field(
        None,
        description=N_('"xor", "sum" or "crc16" if each line ends in one, in hexadecimal; left out for a line without'),
    )
    mark: str = Field(
        "*",
        pattern=r"^[^\r\n0-9A-Fa-f]{1,3}$",
        description=N_('the text before the checksum ("*" when left out)'),
    )
    scale: _Scale = 1.0
    offset: _Offset = 0.0
    silent_s: _Silent = 10.0

    @property
    def line(self) -> SerialLine:
        """Its serial line."""
        return SerialLine(self.device, self.baud, self.bits, self.parity, self.stop)

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        if (self.separator is None) == (self.pattern is None):
            raise Misplaced(_("a serial line needs either `separator` with `columns`, or `pattern`"))
        odd = ("group",) if self.pattern is None else ("column", "columns")
        for field in odd:
            if not self.is_default(field):
                raise Misplaced(_("that goes with the other form of a line; leave `{field}` out", field=field), field)
        if self.checksum is None and not self.is_default("mark"):
            raise Misplaced(_("that goes with `checksum`, which is not here; leave `mark` out"), "mark")
        if self.pattern is not None:
            self._pattern_has_group(self.pattern)
        elif self.columns is None:
            raise Misplaced(_("a separator needs `columns`: {allowed}", allowed=_(self.allowed_values("columns"))))
        elif self.column > self.columns:
            message = _("a line of {columns} columns has no column {column}", columns=self.columns, column=self.column)
            raise Misplaced(message, "column")
        _no_zero(self.scale)
        return self

    def _pattern_has_group(self, pattern: str) -> None:
        compiled = _as_misplaced("pattern", lambda: line_pattern(pattern))
        if self.group not in compiled.groupindex:
            raise Misplaced(_("the pattern has no group (?P<{group}>…)", group=self.group), "pattern")


class PushPoint(Part):
    """A channel whose readings are sent to the API."""


class ByHand(Part):
    """A channel that a person reads from a thermometer and types in."""


class Simulated(Part):
    """A channel of the practice machine."""


class Checked(Part):
    """Date and reference of the last probe check; its result is the channel's `offset_c`.

    The reference is one of `REFERENCES` with its temperature and that of the probe, or ``against`` in someone's words.
    """

    on: date = Field(description=N_("the day, such as 2026-11-25"))
    against: str | None = Field(
        None,
        pattern=r"^\P{C}*$",
        max_length=120,
        description=N_("the reference of the check, at most 120 characters in quotes"),
    )
    reference: Reference | None = Field(None, description='"ice", "altitude", "pressure" or "thermometer"')
    reference_c: Number | None = Field(None, description=N_("°C of the reference, a number"))
    read_c: Number | None = Field(None, description=N_("°C that the probe read there, a number"))

    @property
    def basis(self) -> str:
        """The reference and the comparison in words."""
        if self.reference is None:
            return self.against or ""
        return _(
            "{against}, {reference:.1f} °C; it read {read:.1f} °C",
            against=_(REFERENCES[self.reference]),
            reference=self.reference_c,
            read=self.read_c,
        )

    @model_validator(mode="after")
    def _one_reference(self) -> Self:
        measured = [value is not None for value in (self.reference, self.reference_c, self.read_c)]
        if any(measured) == (self.against is not None) or any(measured) != all(measured):
            raise Misplaced(_("give either `against`, or `reference` with `reference_c` and `read_c`"))
        return self


class Sensor(Part):
    """Sensor type of a channel whose instrument gives mV or ohm instead of °C."""

    type: Literal["K", "J", "T", "N", "E", "Pt100", "Pt1000"] = Field(
        description=N_('"K", "J", "T", "N" or "E" for a thermocouple in mV; "Pt100" or "Pt1000" in ohm')
    )
    cold_junction: Id | None = Field(
        None,
        description=N_(
            "the id of the channel that measures where the wires of the thermocouple end: "
            "lowercase letters, digits, - and _, at most 40, in quotes"
        ),
    )
    cold_junction_c: float | None = Field(
        None,
        ge=-40,
        le=125,
        allow_inf_nan=False,
        description=N_("°C where the wires end, -40 to 125; 0 if already added"),
    )

    @property
    def platinum(self) -> bool:
        """Whether it is a platinum resistance; otherwise it is a thermocouple."""
        return self.type.startswith("Pt")

    @model_validator(mode="after")
    def _junction(self) -> Self:
        given = [name for name in ("cold_junction", "cold_junction_c") if getattr(self, name) is not None]
        if self.platinum and given:
            raise Misplaced(_("a resistance has no cold junction; leave it out"), given[0])
        if not self.platinum and len(given) != 1:
            raise Misplaced(_("a thermocouple in mV needs either `cold_junction` or `cold_junction_c`"))
        return self


def _no_zero(scale: float) -> None:
    if scale == 0:
        raise Misplaced(_("a scale of 0 makes every value the same; enter another number"), "scale")


def _as_misplaced(field: str, make: Callable[[], _Parsed]) -> _Parsed:
    """Call ``make``; an InstrumentError becomes a mistake of that field."""
    try:
        return make()
    except InstrumentError as error:
        raise Misplaced(str(error).rstrip("."), field) from None
