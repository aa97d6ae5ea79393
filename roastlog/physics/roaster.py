"""Simulated roaster: time-stepped model of beans, drum metal, air path and radiant source.

A lumped balance after Schwartzberg (see `roastlog.physics.chemistry` for the source and its confidence), with a radiant
source and a drum heater added:

    ms·C(Tb, X)·dTb/dt = air to beans + drum to beans + radiation to beans + ms·(reaction heat + λ·dX/dt)
    Cd·dTd/dt          = drum heater + air to drum + radiation to drum - drum to beans - loss to the room
    Ce·dTe/dt          = radiant power - radiation to beans - radiation to drum

All beans share one temperature. The few exposed to radiation are hotter while exposed, and an infrared sensor reads
those. Their extra heat enters the common temperature at once.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, exp
from math import pow as power

from roastlog.errors import PhysicsError
from roastlog.physics.chemistry import (
    CAPACITY_WATER,
    LATENT_HEAT,
    dry_basis,
    drying_rate,
    heat_capacity,
    heat_content,
    reaction_heat,
)
from roastlog.physics.design import TOP_LEVEL, ControlLevels, GreenCoffee, RoasterDesign
from roastlog.physics.heat import AIR_CAPACITY, exchange_heat, radiant_heat

LONGEST_STEP_S = 1.0
NO_COFFEE = GreenCoffee()


@dataclass(slots=True)
class HeatLedger:
    """Heat that crossed the machine's boundary, or was released in it, since its creation. [kJ]"""

    supplied: float = 0.0
    reactions: float = 0.0
    with_green: float = 0.0
    with_vapour: float = 0.0
    with_air: float = 0.0
    with_roasted: float = 0.0
    to_room: float = 0.0


@lru_cache(64)
def _stages(yellow_c: float, crack_c: float) -> tuple[tuple[str, float], ...]:
    """Colour stages, the darkest first, and from what temperature on the beans have them. [°C]"""
    browning_c = crack_c - yellow_c
    return (
        ("brown", crack_c - 2.0),
        ("light_brown", yellow_c + 0.55 * browning_c),
        ("tan", yellow_c + 0.25 * browning_c),
        ("yellow", yellow_c),
        ("pale", yellow_c - 30.0),
    )


class Roaster:
    """A simulated batch drum roaster. Deterministic: only `Sensors` adds noise.

    Parameters
    ----------
    design
        The machine.

    Attributes
    ----------
    settings : ControlLevels
        Levels of the controls; set them at any time.
    loaded : bool
        Whether beans are in the drum.
    bean_c, surface_c : float
        Temperature of the beans, and of the exposed ones; of the drum when it is empty. [°C]
    moisture : float
        Water content of the beans, dry basis. [kg/kg dry]
    released : float
        Heat released by the reactions. [kJ/kg dry]
    drum_c, emitter_c, air_c, outlet_c, exhaust_c : float
        Temperature of the drum metal, the radiant source, the inlet air, the air at the drum outlet, and the air at
        the exhaust sensor. [°C]
    ledger : HeatLedger
        The heat balance.
    """

    def __init__(self, design: RoasterDesign | None = None) -> None:
        self.design = design or RoasterDesign()
        self.settings = ControlLevels()
        self.ledger = HeatLedger()
        room_c = self.design.room_c
        self.drum_c = self.emitter_c = self.air_c = self.outlet_c = self.exhaust_c = room_c
        self.bean_c = self.surface_c = self._hottest_c = room_c
        self.loaded = False
        self.coffee = NO_COFFEE
        self.green_kg = self.dry_kg = self.moisture = self.released = 0.0

    # -- operator actions -------------------------------------------------------------------------------------

    def warm_up(self, drum_c: float = 200.0) -> None:
        """Set the empty machine to ``drum_c`` [°C], in equilibrium with the current settings.

        Raises
        ------
        PhysicsError
            If beans are in the drum.
        """
        if self.loaded:
            raise PhysicsError("Only an empty roaster can be warmed up. Drop the beans first.")
        design = self.design
        flow = design.air_kg_per_s * AIR_CAPACITY
        heater_kw = design.air_heater_kw * self.settings.hot_air / TOP_LEVEL
        self.drum_c = self.bean_c = self.surface_c = drum_c
        self.emitter_c = drum_c
        self.air_c = design.room_c + heater_kw / flow
        self.outlet_c, _, _ = exchange_heat(self.air_c, flow, ((0.0, drum_c), (design.air_to_drum, drum_c)))
        self.exhaust_c = self._duct_c()
        self.ledger = HeatLedger()

    def charge(self, green_kg: float, coffee: GreenCoffee | None = None, *, bean_c: float | None = None) -> None:
        """Charge the drum with green coffee.

        Parameters
        ----------
        green_kg
            Mass of the charge. [kg]
        coffee
            Its properties.
        bean_c
            Its temperature; defaults to room temperature. [°C]

        Raises
        ------
        PhysicsError
            If the drum already holds beans, or the charge is outside the machine's batch size.
        """
        low_kg, high_kg = self.design.batch_kg
        if self.loaded:
            raise PhysicsError("The drum already holds beans. Drop them first.")
        if not low_kg <= green_kg <= high_kg:
            raise PhysicsError(f"This roaster takes {low_kg:g} to {high_kg:g} kg; {green_kg:g} kg is outside that.")
        self.coffee = coffee or NO_COFFEE
        self.green_kg = green_kg
        self.moisture = dry_basis(self.coffee.moisture_wet)
        self.dry_kg = green_kg / (1.0 + self.moisture)
        self.released = 0.0
        self.bean_c = self.surface_c = self._hottest_c = self.design.room_c if bean_c is None else bean_c
        self.loaded = True
        self.ledger.with_green += self.dry_kg * heat_content(self.bean_c, self.moisture)

    def drop(self) -> float:
        """Drop the beans and return the roasted mass. [kg]

        Raises
        ------
        PhysicsError
            If the drum is empty.
        """
        if not self.loaded:
            raise PhysicsError("The drum is empty.")
        self.ledger.with_roasted += self.dry_kg * heat_content(self.bean_c, self.moisture)
        roasted_kg = self.roasted_kg
        self.loaded = False
        self.bean_c = self.surface_c = self.drum_c
        return roasted_kg

    # -- bean state -------------------------------------------------------------------------------------------

    @property
    def roasted_kg(self) -> float:
        """Current mass of the charge, after water and organic loss. [kg]"""
        total = self.coffee.reaction_total
        organic = self.coffee.organic_loss * self.released / total if total else 0.0
        return self.dry_kg * (1.0 - organic + self.moisture)

    @property
    def stage(self) -> str:
        """Colour stage in the trier, from the highest bean temperature so far."""
        for stage, from_c in _stages(self.coffee.yellow_c, self.coffee.first_crack_c):
            if self._hottest_c >= from_c:
                return stage
        return "green"

    @property
    def yellow(self) -> bool:
        """Whether the beans have turned yellow."""
        return self.loaded and self._hottest_c >= self.coffee.yellow_c

    @property
    def first_crack(self) -> bool:
        """Whether first crack has started."""
        return self.loaded and self._hottest_c >= self.coffee.first_crack_c

    @property
    def second_crack(self) -> bool:
        """Whether second crack has started."""
        return self.loaded and self._hottest_c >= self.coffee.second_crack_c

    @property
    def crack_activity(self) -> float:
        """Intensity of first crack, 0 to 1: most beans crack some degrees after the first ones."""
        if not self.first_crack:
            return 0.0
        past_c = self.bean_c - self.coffee.first_crack_c - 4.0
        return exp(-0.5 * (past_c / 3.5) ** 2)

    @property
    def stored_kj(self) -> float:
        """Sensible heat above 0 °C in beans, drum and radiant source. [kJ]"""
        beans = self.dry_kg * heat_content(self.bean_c, self.moisture) if self.loaded else 0.0
        return beans + self.design.drum_capacity * self.drum_c + self.design.emitter_capacity * self.emitter_c

    # -- time -------------------------------------------------------------------------------------------------

    def step(self, dt_s: float = 1.0) -> None:
        """Advance by ``dt_s``. Steps longer than 1 s are split. [s]"""
        count = max(1, ceil(dt_s / LONGEST_STEP_S))
        for _ in range(count):
            self._step(dt_s / count)

    def _step(self, dt_s: float) -> None:
        design, settings, ledger = self.design, self.settings, self.ledger
        to_beans_kw, drum_kw = self._air_heat(dt_s)
        glow_beans_kw, glow_drum_kw = self._radiant_heat_flows(dt_s)
        contact_kw = self._drum_to_beans_kw()
        heater_kw = design.drum_heater_kw * settings.drum_heat / TOP_LEVEL
        loss_kw = design.drum_to_room * (self.drum_c - design.room_c)
        if self.loaded:
            self._heat_beans(to_beans_kw + contact_kw + glow_beans_kw, dt_s)
            self._warm_surface(glow_beans_kw, dt_s)
        self.drum_c += (heater_kw + drum_kw + glow_drum_kw - contact_kw - loss_kw) / design.drum_capacity * dt_s
        if not self.loaded:
            self.bean_c = self.surface_c = self.drum_c
        self.exhaust_c += (self._duct_c() - self.exhaust_c) * (1.0 - exp(-dt_s / design.duct_lag_s))
        ledger.supplied += heater_kw * dt_s
        ledger.to_room += loss_kw * dt_s

    def _air_heat(self, dt_s: float) -> tuple[float, float]:
        """Heat flow from the air to the beans and to the drum. [kW]"""
        design = self.design
        flow = design.air_kg_per_s * AIR_CAPACITY
        aim_c = design.room_c + design.air_heater_kw * self.settings.hot_air / TOP_LEVEL / flow
        self.air_c += (aim_c - self.air_c) * (1.0 - exp(-dt_s / design.air_heater_lag_s))
        to_beans = self._stirred(design.air_to_bean * design.bed_share) * self._surface_m2() if self.loaded else 0.0
        self.outlet_c, beans_kw, drum_kw = exchange_heat(
            self.air_c, flow, ((to_beans, self.bean_c), (design.air_to_drum, self.drum_c))
        )
        self.ledger.supplied += flow * (self.air_c - design.room_c) * dt_s
        self.ledger.with_air += flow * (self.outlet_c - design.room_c) * dt_s
        return beans_kw, drum_kw

    def _radiant_heat_flows(self, dt_s: float) -> tuple[float, float]:
        """Heat flow from the radiant source to the beans and to the drum. [kW]"""
        design = self.design
        power_kw = design.radiant_kw * self.settings.radiant / TOP_LEVEL
        area_m2 = design.emitter_area_m2 * design.emissivity
        view = design.emitter_view if self.loaded else 0.0
        beans_kw = radiant_heat(self.emitter_c, self.surface_c, area_m2 * view)
        drum_kw = radiant_heat(self.emitter_c, self.drum_c, area_m2 * (1.0 - view))
        self.emitter_c += (power_kw - beans_kw - drum_kw) / design.emitter_capacity * dt_s
        self.ledger.supplied += power_kw * dt_s
        return beans_kw, drum_kw

    def _drum_to_beans_kw(self) -> float:
        """Heat flow from the drum metal to the beans. [kW]"""
        if not self.loaded:
            return 0.0
        conductance = self._stirred(self.design.bean_to_drum) * power(self.green_kg / 4.0, 2.0 / 3.0)
        return conductance * (self.drum_c - self.bean_c)

    def _heat_beans(self, into_kw: float, dt_s: float) -> None:
        coffee = self.coffee
        dried = dt_s * drying_rate(self.bean_c, self.moisture, bean_mm=coffee.bean_mm, factor=coffee.drying_factor)
        dried = min(dried, self.moisture)
        reacted = dt_s * reaction_heat(self.bean_c, self.released, total=coffee.reaction_total)
        gained = into_kw * dt_s / self.dry_kg + reacted - LATENT_HEAT * dried
        self.ledger.reactions += self.dry_kg * reacted
        self.ledger.with_vapour += self.dry_kg * dried * (LATENT_HEAT + CAPACITY_WATER * self.bean_c)
        self.bean_c += gained / heat_capacity(self.bean_c, self.moisture)
        self.moisture -= dried
        self.released += reacted
        self._hottest_c = max(self._hottest_c, self.bean_c)

    def _warm_surface(self, glow_kw: float, dt_s: float) -> None:
        """Move the exposed beans towards their excess temperature: radiation over the exposure time, on the layer."""
        design = self.design
        layer = min(design.layer_kg, self.green_kg) / self.green_kg * self.dry_kg
        turnover_s = design.turnover_s / self._stirred(1.0)
        excess_c = glow_kw * turnover_s / (layer * heat_capacity(self.bean_c, self.moisture))
        aim_c = self.bean_c + max(0.0, excess_c)
        self.surface_c += (aim_c - self.surface_c) * (1.0 - exp(-dt_s / turnover_s))

    def _stirred(self, coefficient: float) -> float:
        """Scale a bean-side coefficient by stirring: 0.6 at level 0, 1.4 at level 10."""
        return coefficient * (0.6 + 0.08 * self.settings.stir)

    def _surface_m2(self) -> float:
        return 6000.0 * self.green_kg / (self.coffee.bean_kg_per_m3 * self.coffee.bean_mm)

    def _duct_c(self) -> float:
        return self.outlet_c - self.design.duct_loss * (self.outlet_c - self.design.room_c)
