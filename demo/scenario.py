"""Quillwater Roasters: an invented roastery with invented people, farms and coffees."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from roastlog.physics.design import IDLE, GreenCoffee
from roastlog.physics.schedule import Schedule, Step

MACHINE: Final = "drum-4"
SHEET: Final = Path(__file__).with_name("drum-4.toml")
INES, TOMAS, WREN = PEOPLE = ("Ines", "Tomas", "Wren")
SETTINGS: Final = {"business": "Quillwater Roasters", "best_before_days": 180, "bag_shows_people": True}


@dataclass(frozen=True)
class DemoLot:
    """A green lot. Mass in g; prices are private.

    ``said`` are the entries that follow its arrival: days after it, kind and body.
    """

    code: str
    coffee: str
    origin: str
    process: str
    altitude: str
    harvest: str
    green_g: float
    arrived: str
    cup: str
    price_per_kg: float
    landed_per_kg: float
    harvested: str
    supplier: str
    reference: str
    sacks: int
    place: str
    lead_days: int | None = None
    note: str | None = None
    currency: str = "EUR"
    said: tuple[tuple[int, str, dict[str, Any]], ...] = ()

    @property
    def facts(self) -> dict[str, Any]:
        """The body of its arrival."""
        return {name: value for name, value in vars(self).items() if name not in {"code", "said"} and value is not None}


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


def _check(moisture: float, activity: float, density: float, **more: Any) -> dict[str, Any]:  # noqa: ANN401 - JSON
    """An intake check: density in a litre, defects in 350 g."""
    figures = {"moisture_percent": moisture, "water_activity": activity, "density_g_l": density, "volume_ml": 1000.0}
    return {"sample_g": 350.0, "quakers": 0, "defects": {}, **figures, **more}


_ACCEPT: Final = {"decision": "accept"}
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
        7.35,
        7.84,
        "2026-07",
        "Millrace Green Imports",
        "MG-26-0417",
        1,
        "Shelf A2",
        35,
        said=(
            (1, "checked", _check(11.1, 0.56, 698, screen=15, screen_percent=93.0, screen_ordered_percent=90.0)),
            (1, "decided", _ACCEPT),
            (60, "checked", {"moisture_percent": 10.9, "water_activity": 0.55}),
        ),
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
        5.60,
        6.05,
        "2026-08",
        "Millrace Green Imports",
        "MG-26-0431",
        1,
        "Pallet 1",
        note="House espresso.",
        said=(
            (0, "checked", _check(11.0, 0.57, 681, defects={"broken": 12, "slight_insect": 11})),
            (1, "decided", _ACCEPT),
            (40, "counted", {"grams": 59_960.0}),
        ),
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
        9.10,
        9.72,
        "2026-01",
        "Harrow & Fenn",
        "HF 1188",
        1,
        "Shelf B1",
        note="Small dense beans: watch the last minute.",
        said=(
            (2, "checked", _check(10.4, 0.53, 724, defects={"shell": 4, "partial_sour": 3})),
            (2, "decided", _ACCEPT),
        ),
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
        10.40,
        11.15,
        "2025-11",
        "Harrow & Fenn",
        "HF 1102",
        1,
        "Shelf B2",
        26,
        note="Last bags of the year.",
        said=(
            (1, "checked", _check(11.0, 0.58, 712)),
            (1, "decided", _ACCEPT),
            (150, "checked", {"moisture_percent": 10.4, "water_activity": 0.54}),
        ),
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
        8.20,
        8.90,
        "2026-03",
        "Millrace Green Imports",
        "MG-26-0388",
        1,
        "Shelf A3",
        note="Browns early; colour tells less than the nose.",
        said=((1, "checked", _check(10.6, 0.56, 655)), (1, "decided", _ACCEPT)),
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

OTHER_LOTS: Final = (
    DemoLot(
        "QW-266",
        "Alder washed",
        "Alder Terrace, Huila, Colombia",
        "washed",
        "1750–1900 m",
        "August to September 2026",
        60_000,
        "2026-11-26",
        "red apple, panela",
        7.30,
        7.84,
        "2026-09",
        "Millrace Green Imports",
        "MG-26-0502",
        1,
        "Receiving",
        35,
        said=(
            (
                0,
                "checked",
                _check(
                    11.4,
                    0.61,
                    702,
                    defects={"broken": 11, "shell": 6},
                    screen=15,
                    screen_percent=94.0,
                    screen_ordered_percent=90.0,
                ),
            ),
        ),
    ),
    DemoLot(
        "QW-263",
        "Saltmarsh honey",
        "Finca Ostrala, Tarrazú, Costa Rica",
        "honey",
        "1550 m",
        "January to March 2026",
        24_000,
        "2026-10-19",
        "apricot, cane sugar",
        8.75,
        9.40,
        "2026-03",
        "Harrow & Fenn",
        "HF 1175",
        1,
        "Quarantine",
        said=(
            (0, "checked", _check(12.6, 0.68, 676, defects={"fungus": 1, "broken": 8})),
            (1, "decided", {"decision": "hold", "reason": "Moist, and one mouldy bean: the importer is asked."}),
        ),
    ),
    DemoLot(
        "QW-268",
        "Lantern Creek",
        "Oromay washing station, Sidama, Ethiopia",
        "washed",
        "1950 m",
        "November 2025 to January 2026",
        30_000,
        "2026-11-27",
        "bergamot, peach",
        9.60,
        10.25,
        "2026-01",
        "Harrow & Fenn",
        "HF 1203",
        1,
        "Receiving",
    ),
    DemoLot(
        "QW-252",
        "Grey Heron",
        "Vale das Garças, Sul de Minas, Brazil",
        "natural",
        "1050 m",
        "July 2025",
        30_000,
        "2026-06-02",
        "peanut, cocoa",
        5.10,
        5.55,
        "2025-07",
        "Millrace Green Imports",
        "MG-26-0301",
        1,
        "–",
        said=(
            (0, "checked", _check(13.1, 0.71, 668, defects={"fungus": 4})),
            (1, "decided", {"decision": "reject", "reason": "Wet on arrival."}),
            (9, "taken", {"grams": 30_000.0, "why": "returned"}),
            (9, "closed", {"reason": "Went back whole."}),
        ),
    ),
)
