"""What a machine is: its channels, its controls, and where each is read. Stored as JSON, carried as a TOML sheet.

Each field's description says what may stand there; a mistake in a sheet is answered with it.
"""

from decimal import Decimal
from typing import Annotated, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, Strict, StringConstraints, model_validator

from roastlog.instruments.decode import RegisterType, WordOrder, register_count

Role = Literal["bean_probe", "bean_surface", "inlet_air", "exhaust_air", "drum", "room"]
Table = Literal["input", "holding", "coil", "discrete"]
BIT_TABLES: frozenset[Table] = frozenset({"coil", "discrete"})

SOURCES = ("modbus", "http", "simulated")
"""Where a channel may be read; the names are fields of `Channel`."""

_ID_WORDS = "lowercase letters, digits, - and _, at most 40, in quotes"
_Id = Annotated[str, StringConstraints(pattern=r"^[a-z0-9_-]{1,40}$")]
# Plain text of one line: no control characters, nothing but spaces refused, and no spaces at the ends.
_Words = Annotated[str, StringConstraints(pattern=r"^[^\s\p{C}]([^\p{C}\p{Zl}\p{Zp}]*[^\s\p{C}])?$", max_length=60)]
_Number = Annotated[float, Field(allow_inf_nan=False, ge=-1e6, le=1e6)]


class Misplaced(ValueError):
    """A value that is wrong beside another one; says where it stands within the model that found it."""

    def __init__(self, message: str, *where: str | int) -> None:
        super().__init__(message)
        self.where = where


class _Part(BaseModel):
    # Strict: a number in quotes or a true where a number belongs is a mistake, not a number.
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class ModbusPoint(_Part):
    """One value on a Modbus TCP instrument. Only ever read."""

    host: str = Field(
        pattern=r"^[^\s/\p{C}]+$",
        max_length=253,
        description='the name or address of the instrument, such as "192.168.1.20"',
    )
    port: int = Field(502, ge=1, le=65535, description="a whole number from 1 to 65535 (502 when left out)")
    unit: int = Field(1, ge=0, le=255, description="a whole number from 0 to 255 (1 when left out)")
    table: Table = Field(description='"input", "holding", "coil" or "discrete"')
    address: int = Field(ge=0, le=65535, description="the protocol address, counted from 0, to 65535")
    type: RegisterType | None = Field(
        None, description='"int16", "uint16", "int32", "uint32" or "float32"; left out for coil and discrete'
    )
    word_order: WordOrder = Field("big", description='"big" (high word first, when left out) or "little"')
    scale: _Number = Field(1.0, description="a number that the raw value is multiplied by, not 0 (1 when left out)")
    offset: _Number = Field(0.0, description="a number that is added after scaling (0 when left out)")
    poll_s: float = Field(0.5, ge=0.05, le=60, description="seconds from 0.05 to 60 (0.5 when left out)")

    @property
    def count(self) -> int:
        """How many registers, or bits, it takes."""
        return 1 if self.type is None else register_count(self.type)

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.table in BIT_TABLES and self.type is not None:
            raise Misplaced(f"a {self.table} is on or off and has no type; leave `type` out", "type")
        if self.table not in BIT_TABLES and self.type is None:
            raise Misplaced(f"a {self.table} register needs `type`: {self.says('type')}")
        if self.address + self.count > 65536:
            raise Misplaced(f"a {self.type} does not fit at the last address; at most 65534 may stand there", "address")
        if self.scale == 0:
            raise Misplaced("a scale of 0 makes every value the same; another number must stand there", "scale")
        return self

    @classmethod
    def says(cls, field: str) -> str:
        """What may stand at a field."""
        return cls.model_fields[field].description or ""


class Pushed(_Part):
    """A channel whose readings are sent to the API."""


class Simulated(_Part):
    """A channel of the practice machine."""


class Channel(_Part):
    """One measured stream."""

    id: _Id = Field(description=_ID_WORDS)
    name: _Words = Field(description="1 to 60 characters in quotes")
    role: Role = Field(description='one of "' + '", "'.join(get_args(Role)) + '"')
    short: _Words | None = Field(
        None, max_length=12, description="the name where room is short: 1 to 12 characters in quotes"
    )
    offset_c: float = Field(
        0.0, allow_inf_nan=False, ge=-100, le=100, description="°C added to each reading, -100 to 100 (0 when left out)"
    )
    modbus: ModbusPoint | None = Field(None, description="{ host, port, unit, table, address, type, scale, … }")
    http: Pushed | None = Field(None, description="{} (the readings are sent to the API)")
    simulated: Simulated | None = Field(None, description="{} (for practice)")

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
            found = " and ".join(given) or "none"
            raise Misplaced(f"channel {self.id} needs exactly one source of {', '.join(SOURCES)}; here is {found}")
        return self


class Control(_Part):
    """One thing that the person sets; read off the machine where it has a register."""

    id: _Id = Field(description=_ID_WORDS)
    name: _Words = Field(description="1 to 60 characters in quotes")
    unit: str = Field(
        "", pattern=r"^\P{C}*$", max_length=12, description='at most 12 characters in quotes, such as "step" or "%"'
    )
    low: _Number = Field(description="the smallest setting, a number")
    high: _Number = Field(description="the largest setting, a number above `low`")
    step: float = Field(ge=0.001, le=1e6, description="what one tap changes, at least 0.001")
    modbus: ModbusPoint | None = Field(None, description="{ host, port, unit, table, address, type, scale, … }")

    @property
    def decimals(self) -> int:
        """How many decimals its settings need, 0 to 3."""
        return min(3, max(_decimals(self.step), _decimals(self.low)))

    @model_validator(mode="after")
    def _range(self) -> Self:
        if self.low >= self.high:
            raise Misplaced(f"{self.high:g} is not above low ({self.low:g}); a larger number must stand there", "high")
        if self.step > self.high - self.low:
            raise Misplaced(f"{self.step:g} is wider than low to high; at most {self.high - self.low:g} may", "step")
        return self


class Machine(_Part):
    """One roaster, with its channels and controls."""

    id: _Id = Field(description=_ID_WORDS)
    name: _Words = Field(description="1 to 60 characters in quotes")
    # Both come as lists from TOML and JSON, which strict alone would refuse.
    batch_g: Annotated[tuple[_Number, _Number], Strict(strict=False)] = Field(
        description="the smallest and the largest charge in grams, such as [800, 4500]"
    )
    channels: Annotated[tuple[Channel, ...], Strict(strict=False)] = Field(
        min_length=1, max_length=32, description="1 to 32 [[channels]]"
    )
    controls: Annotated[tuple[Control, ...], Strict(strict=False)] = Field(
        (), max_length=32, description="at most 32 [[controls]]"
    )

    @model_validator(mode="after")
    def _whole(self) -> Self:
        smallest, largest = self.batch_g
        if not 0 < smallest <= largest:
            raise Misplaced(
                "the smallest charge must be above 0 and the largest no less, such as [800, 4500]", "batch_g"
            )
        places = [("channels", index, channel.id) for index, channel in enumerate(self.channels)]
        places += [("controls", index, control.id) for index, control in enumerate(self.controls)]
        seen: set[str] = set()
        for table, index, name in places:
            if name in seen:
                message = f'"{name}" is taken; channels and controls need ids of their own'
                raise Misplaced(message, table, index, "id")
            seen.add(name)
        return self


def practice_machine() -> Machine:
    """A simulated four-kilo drum to practise on."""
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
