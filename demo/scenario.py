"""Quillwater Roasters: an invented roastery with invented people, farms and coffees."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from roastlog.physics.design import IDLE, GreenCoffee
from roastlog.physics.schedule import Schedule, Step

MACHINE: Final = "drum-4"
SHEET: Final = Path(__file__).with_name("drum-4.toml")
INES, TOMAS, WREN = PEOPLE = ("Ines", "Tomas", "Wren")
SETTINGS: Final = {"business": "Quillwater Roasters", "best_before_days": 180, "bag_shows_people": True}


@dataclass(frozen=True)
class DemoLot:
    """A green lot. Mass in g; the price is private."""

    code: str
    coffee: str
    origin: str
    process: str
    altitude: str
    harvest: str
    bought_g: float
    arrived: str
    cup: str
    price: str
    note: str | None = None


@dataclass(frozen=True)
class Coffee:
    """A coffee of the house: its lot, how it is as a bean, and how it is roasted.

    Parameters
    ----------
    lot, bean
        What was bought, and how the roast feels it.
    schedule
        The hand's moves, for 4 kg.
    intent
        What it is roasted for.
    green_g
        Usual charge. [g]
    smells
        What the nose says at each trier stage.
    vigour
        How its first crack sounds.
    ground_colour
        Where the house's own colour meter lands when all goes to plan.
    """

    lot: DemoLot
    bean: GreenCoffee
    schedule: Schedule
    intent: str
    green_g: float
    smells: dict[str, tuple[str, ...]]
    vigour: str
    ground_colour: float


START = {"hot_air": 3.0, "radiant": 2.0, "drum_heat": 4.0, "stir": IDLE["stir"]}
CLIMB = (
    Step("radiant", 3.5, at_s=105),
    Step("hot_air", 5.0, at_s=170),
    Step("radiant", 6.0, at_s=230),
    Step("hot_air", 6.5, at_s=290),
    Step("stir", 6.0, at="yellow"),
)
FILTER = Schedule(
    start=START,
    steps=(
        *CLIMB,
        Step("radiant", 5.0, at_c=184),
        Step("radiant", 4.0, at="first_crack"),
        Step("hot_air", 5.0, at="first_crack"),
    ),
    development_s=78.0,
)
ESPRESSO = Schedule(
    start=START,
    steps=(
        *CLIMB,
        Step("radiant", 5.0, at_c=176),
        Step("hot_air", 5.5, at_c=186),
        Step("radiant", 3.5, at="first_crack"),
        Step("hot_air", 5.0, at="first_crack"),
        Step("drum_heat", 3.0, at="first_crack"),
    ),
    development_s=125.0,
)

_SMELLS = {"pale": ("hay",), "yellow": ("bread", "hay"), "tan": ("toast",), "light_brown": ("malt", "nut")}

ALDER = Coffee(
    lot=DemoLot(
        "QW-261",
        "Alder washed",
        "Alder Terrace, Huila, Colombia",
        "washed",
        "1750–1900 m",
        "May to July 2026",
        70_000,
        "2026-09-14",
        "red apple, raw honey, black tea",
        "7.35 EUR/kg",
    ),
    bean=GreenCoffee(moisture_wet=0.108),
    schedule=FILTER,
    intent="filter",
    green_g=4000,
    smells=_SMELLS | {"brown": ("caramel", "fruit")},
    vigour="steady",
    ground_colour=74,
)
NIGHT_FERRY = Coffee(
    lot=DemoLot(
        "QW-258",
        "Night Ferry",
        "Cerro Velado and Baixa Funda, Minas Gerais, Brazil",
        "natural and pulped natural, blended green",
        "1000–1150 m",
        "June to August 2026",
        60_000,
        "2026-10-02",
        "cocoa, hazelnut, dried fig",
        "5.60 EUR/kg",
        "House espresso.",
    ),
    bean=GreenCoffee(moisture_wet=0.112, first_crack_c=199.0, yellow_c=156.0),
    schedule=ESPRESSO,
    intent="espresso",
    green_g=4200,
    smells=_SMELLS | {"light_brown": ("nut", "caramel"), "brown": ("cocoa", "caramel")},
    vigour="sparse",
    ground_colour=62,
)
HEATHER = Coffee(
    lot=DemoLot(
        "QW-264",
        "Heather Hill",
        "Gorbaya station, Guji, Ethiopia",
        "natural, 18 days on raised beds",
        "2000–2150 m",
        "December 2025 to January 2026",
        25_000,
        "2026-08-20",
        "blueberry, jasmine, lime zest",
        "9.10 EUR/kg",
        "Small dense beans: watch the last minute.",
    ),
    bean=GreenCoffee(moisture_wet=0.101, bean_mm=5.6, first_crack_c=202.0),
    schedule=FILTER,
    intent="filter",
    green_g=3200,
    smells=_SMELLS | {"light_brown": ("malt", "honey"), "brown": ("flower", "fruit")},
    vigour="violent",
    ground_colour=76,
)
ROOK = Coffee(
    lot=DemoLot(
        "QW-249",
        "Rook & Barley",
        "Mugasha washing station, Nyeri, Kenya",
        "double washed",
        "1800 m",
        "November 2025",
        18_000,
        "2026-05-11",
        "blackcurrant, tomato leaf, brown sugar",
        "10.40 EUR/kg",
        "Last bags of the year.",
    ),
    bean=GreenCoffee(moisture_wet=0.104, bean_mm=6.3, first_crack_c=201.0),
    schedule=FILTER,
    intent="both",
    green_g=3600,
    smells=_SMELLS | {"brown": ("fruit", "caramel")},
    vigour="steady",
    ground_colour=72,
)
LOW_TIDE = Coffee(
    lot=DemoLot(
        "QW-255",
        "Low Tide decaf",
        "Sierra Clara, Cauca, Colombia",
        "washed, decaffeinated with sugar-cane ethyl acetate",
        "1650 m",
        "March 2026",
        30_000,
        "2026-07-03",
        "malt, orange peel, panela",
        "8.20 EUR/kg",
        "Browns early; colour tells less than the nose.",
    ),
    bean=GreenCoffee(moisture_wet=0.115, first_crack_c=197.0, yellow_c=154.0),
    schedule=ESPRESSO,
    intent="espresso",
    green_g=3000,
    smells=_SMELLS | {"light_brown": ("malt", "biscuit"), "brown": ("caramel", "cocoa")},
    vigour="sparse",
    ground_colour=60,
)
COFFEES = (ALDER, NIGHT_FERRY, HEATHER, ROOK, LOW_TIDE)
