"""Parameters of a simulated roast: machine, green coffee and control levels."""

from dataclasses import dataclass

from roastlog.errors import PhysicsError

TOP_LEVEL = 10.0
CONTROLS = ("hot_air", "radiant", "drum_heat", "stir")

IDLE_C = 204.0
IDLE = {"hot_air": 3.0, "radiant": 0.0, "drum_heat": 4.0, "stir": 5.0}
"""Levels that hold the empty drum near `IDLE_C`."""

PLAIN = {"hot_air": 5.5, "radiant": 4.0, "drum_heat": 4.0, "stir": 5.0}
"""Levels that roast 4 kg to first crack in about nine minutes without any move."""


@dataclass(frozen=True, slots=True)
class RoasterDesign:
    """A batch drum roaster with three heat sources.

    The machine is invented, with values chosen so that 4 kg roast realistically. The coefficients lie in the ranges
    that are common in roasting models (air to bean 20-60 W/(m²·K) in a drum, emissivity of beans 0.85-0.95), which are
    from memory.

    Parameters
    ----------
    batch_kg
        Smallest and largest charge. [kg]
    air_kg_per_s
        Air flow, the same at all levels. [kg/s]
    air_heater_kw, radiant_kw, drum_heater_kw
        Power of each source at level 10; proportional to the level. [kW]
    air_heater_lag_s
        Time constant of the air heater. [s]
    air_to_bean
        Heat transfer coefficient from air to the bean surface, at stir 5. [kW/(m²·K)]
    bed_share
        Share of the bean surface in contact with the air.
    air_to_drum
        Conductance between air and drum metal. [kW/K]
    bean_to_drum
        Conductance between a full bed of 4 kg and the drum, at stir 5; proportional to mass to the power 2/3. [kW/K]
    drum_capacity
        Heat capacity of the drum and the attached metal. [kJ/K]
    drum_to_room
        Loss through the insulation. [kW/K]
    emitter_area_m2, emitter_capacity
        Area of the radiant source [m²] and its heat capacity [kJ/K].
    emitter_view
        Share of its radiation that reaches the bed; the rest reaches the drum.
    emissivity
        Effective emissivity of emitter and beans.
    layer_kg
        Mass of the beans exposed to radiation at any time. [kg]
    turnover_s
        Exposure time of a bean before it is turned under, at stir 5. [s]
    duct_lag_s, duct_loss
        Lag of the exhaust air at the sensor [s], and the share of its excess over room temperature lost by then.
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
    """Properties of a green coffee that affect a roast.

    Parameters
    ----------
    moisture_wet
        Share of water in the green bean. [kg/kg moist]
    bean_mm
        Bean diameter. [mm]
    bean_kg_per_m3
        Density of the bean itself. [kg/m³]
    drying_factor
        Multiplier of the drying rate constant. 1.3 leaves 2-3 % of water in a medium roast, as in weighed batches (from
        memory); 1 leaves more.
    reaction_total
        Total heat of the reactions. [kJ/kg dry]
    organic_loss
        Share of the dry solid lost as gas and chaff once all that heat is released; proportional to that heat [our
        assumption]. A medium roast then loses 5-6 % of its dry matter (common figure).
    yellow_c, first_crack_c, second_crack_c
        Bean temperatures at which yellow and the cracks start. A probe reads some degrees less. [°C]
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
        """Reject implausible values."""
        if not 0.0 <= self.moisture_wet < 0.5:
            raise PhysicsError(f"Green coffee holds between 0 and 50 % of water, not {self.moisture_wet:.0%}.")
        if not self.yellow_c < self.first_crack_c < self.second_crack_c:
            raise PhysicsError("Yellow must be below first crack, and first crack below second crack.")


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
            For an unknown control, or a level outside 0 to 10.
        """
        if control not in CONTROLS:
            raise PhysicsError(f"The simulated roaster has no control {control!r}; it has {', '.join(CONTROLS)}.")
        if not 0.0 <= level <= TOP_LEVEL:
            raise PhysicsError(f"The level of {control} must be between 0 and 10, not {level}.")
        setattr(self, control, float(level))

    def as_dict(self) -> dict[str, float]:
        """Levels by control name."""
        return {control: getattr(self, control) for control in CONTROLS}
