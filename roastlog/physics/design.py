"""What a simulated roast is set up with: the machine, the green coffee, the levels of the controls."""

from dataclasses import dataclass

from roastlog.errors import PhysicsError

TOP_LEVEL = 10.0
CONTROLS = ("hot_air", "radiant", "drum_heat", "stir")

IDLE_C = 204.0
IDLE = {"hot_air": 3.0, "radiant": 0.0, "drum_heat": 4.0, "stir": 5.0}
"""Levels that hold the empty drum near `IDLE_C`."""

PLAIN = {"hot_air": 5.5, "radiant": 4.0, "drum_heat": 4.0, "stir": 5.0}
"""Levels that roast 4 kg to first crack in some nine minutes with no move at all."""


@dataclass(frozen=True, slots=True)
class RoasterDesign:
    """A batch drum roaster with three sources of heat.

    The figures are an invented machine's, chosen so that 4 kg roast as 4 kg do. Coefficients lie in the ranges that
    are common in roasting models (air to bean 20-60 W/(m²·K) in a drum, emissivity of beans 0.85-0.95), which are
    from memory.

    Parameters
    ----------
    batch_kg
        Smallest and largest charge. [kg]
    air_kg_per_s
        Flow of air, the same at all levels. [kg/s]
    air_heater_kw, radiant_kw, drum_heater_kw
        Power of each source at level 10; in between it is in proportion. [kW]
    air_heater_lag_s
        Time constant of the air heater. [s]
    air_to_bean
        Coefficient between air and the bean surface, at stir 5. [kW/(m²·K)]
    bed_share
        Share of the beans' surface that the air reaches.
    air_to_drum
        Conductance between air and drum metal. [kW/K]
    bean_to_drum
        Conductance between a full bed of 4 kg and the drum, at stir 5; it goes with mass to the power 2/3. [kW/K]
    drum_capacity
        Heat capacity of the drum and the metal that goes with it. [kJ/K]
    drum_to_room
        Loss through the insulation. [kW/K]
    emitter_area_m2, emitter_capacity
        Size of the radiant source [m²] and its heat capacity [kJ/K].
    emitter_view
        Share of its glow that falls on the bed; the rest falls on the drum.
    emissivity
        Of emitter and beans together.
    layer_kg
        Mass of the beans that lie open to the glow at any time. [kg]
    turnover_s
        How long a bean lies open before it is turned under, at stir 5. [s]
    duct_lag_s, duct_loss
        Lag of the exhaust air at the place where it is measured [s], and the share of its excess over the room that
        it has lost by then.
    room_c
        Temperature of the room and of the green coffee. [°C]
    """

    batch_kg: tuple[float, float] = (0.8, 4.5)
    air_kg_per_s: float = 0.020
    air_heater_kw: float = 9.0
    radiant_kw: float = 4.0
    drum_heater_kw: float = 4.0
    air_heater_lag_s: float = 14.0
    air_to_bean: float = 0.045
    bed_share: float = 0.12
    air_to_drum: float = 0.009
    bean_to_drum: float = 0.025
    drum_capacity: float = 8.5
    drum_to_room: float = 0.007
    emitter_area_m2: float = 0.05
    emitter_capacity: float = 0.25
    emitter_view: float = 0.75
    emissivity: float = 0.85
    layer_kg: float = 0.30
    turnover_s: float = 1.6
    duct_lag_s: float = 18.0
    duct_loss: float = 0.08
    room_c: float = 24.0


@dataclass(frozen=True, slots=True)
class GreenCoffee:
    """A green coffee, as far as a roast feels it.

    Parameters
    ----------
    moisture_wet
        Share of water in the green bean. [kg/kg moist]
    bean_mm
        Bean diameter. [mm]
    bean_kg_per_m3
        Density of the bean itself. [kg/m³]
    drying_factor
        Multiplies the remembered rate constant of drying. 1.3 leaves some 2-3 % of water in a medium roast, as
        weighed batches have it (from memory); 1 leaves more.
    reaction_total
        Heat that the reactions can give. [kJ/kg dry]
    organic_loss
        Share of the dry solid that is lost as gas and chaff once all that heat is given. Loss goes with that heat:
        an assumption of ours. A medium roast then loses some 5-6 % of its dry matter (common figure).
    yellow_c, first_crack_c, second_crack_c
        Bean temperatures at which the colour turns and the cracks begin. A probe reads some degrees less. [°C]
    """

    moisture_wet: float = 0.110
    bean_mm: float = 6.0
    bean_kg_per_m3: float = 1170.0
    drying_factor: float = 1.3
    reaction_total: float = 232.0
    organic_loss: float = 0.10
    yellow_c: float = 157.0
    first_crack_c: float = 201.0
    second_crack_c: float = 228.0

    def __post_init__(self) -> None:
        """Refuse what no coffee is."""
        if not 0.0 <= self.moisture_wet < 0.5:
            raise PhysicsError(f"Green coffee holds between 0 and 50 % of water, not {self.moisture_wet:.0%}.")
        if not self.yellow_c < self.first_crack_c < self.second_crack_c:
            raise PhysicsError("A coffee turns yellow before its first crack, and cracks first before it cracks again.")


@dataclass(slots=True)
class ControlLevels:
    """Levels of the controls, each 0 to 10."""

    hot_air: float = 0.0
    radiant: float = 0.0
    drum_heat: float = 0.0
    stir: float = 5.0

    def put(self, control: str, level: float) -> None:
        """Set one control.

        Raises
        ------
        PhysicsError
            For a control that the machine has not, or a level out of 0 to 10.
        """
        if control not in CONTROLS:
            raise PhysicsError(f"The simulated roaster has no control {control!r}; it has {', '.join(CONTROLS)}.")
        if not 0.0 <= level <= TOP_LEVEL:
            raise PhysicsError(f"A level is between 0 and 10; {control} cannot be set to {level}.")
        setattr(self, control, float(level))

    def as_dict(self) -> dict[str, float]:
        """Level of each control by its name."""
        return {control: getattr(self, control) for control in CONTROLS}
