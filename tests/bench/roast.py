"""The roast that all parts of the bench use, by formula so that it costs nothing, and its machine."""

import math

CHANNELS: list[dict[str, str]] = [
    {"id": "bean_probe", "name": "Bean probe", "short": "probe", "role": "bean_probe"},
    {"id": "bean_surface", "name": "Bean surface", "short": "surface", "role": "bean_surface"},
    {"id": "exhaust", "name": "Exhaust", "short": "exhaust", "role": "exhaust_air"},
]
CONTROLS: list[dict[str, str | int]] = [
    {"id": "hot_air", "name": "Hot air", "low": 0, "high": 10},
    {"id": "radiant", "name": "Radiant", "low": 0, "high": 10},
    {"id": "drum_heat", "name": "Drum heat", "low": 0, "high": 10},
    {"id": "stir", "name": "Stir", "low": 0, "high": 10},
]
MINUTE_15_S = 15 * 60

_CHANNEL = """[[channels]]
id = "{id}"
name = "{name}"
short = "{short}"
role = "{role}"
http = {{}}
"""
_CONTROL = """[[controls]]
id = "{id}"
name = "{name}"
low = {low}
high = {high}
step = 0.5
"""
SHEET = (
    'id = "bench"\nname = "Bench drum"\nbatch_g = [800, 4500]\n'
    + "".join(_CHANNEL.format(**channel) for channel in CHANNELS)
    + "".join(_CONTROL.format(**control) for control in CONTROLS)
)


def values_at(time_s: float) -> dict[str, float]:
    """Readings of the three channels, with a ripple in place of noise. [s from charge] to [°C]"""
    since_s = max(time_s, 0.0)
    beans_c = 25 + 185 * (1 - math.exp(-since_s / 420))
    ripple_c = 0.2 * math.sin(7.3 * time_s) + 0.1 * math.sin(17.1 * time_s)
    return {
        "bean_probe": round(beans_c + 150 * math.exp(-since_s / 25) + ripple_c, 1),
        "bean_surface": round(beans_c + 4 + ripple_c, 1),
        "exhaust": round(175 + 35 * (1 - math.exp(-since_s / 300)) + ripple_c, 1),
    }


def columns(end_s: int) -> dict[str, list[float]]:
    """Rows of the chart from charge to ``end_s``, one a second, with rates. [s], [°C], [°C/min]"""
    found: dict[str, list[float]] = {"t_s": [float(t) for t in range(end_s + 1)]}
    for name in ("bean_probe", "bean_surface", "exhaust"):
        found[name] = [values_at(t)[name] for t in found["t_s"]]
    for name in ("bean_probe", "bean_surface"):
        # A difference over 20 s: the chart only needs something to draw.
        found[f"rate_{name}"] = [3 * (values_at(t)[name] - values_at(t - 20)[name]) for t in found["t_s"]]
    return found


def instants(from_s: float, to_s: float, origin_ms: int) -> list[dict[str, object]]:
    """Readings at 4 Hz as the API takes them, from ``from_s`` up to but not including ``to_s``. [s from charge]"""
    steps = range(math.ceil(from_s * 4), math.ceil(to_s * 4))
    return [
        {"at_ms": origin_ms + step * 250, "channel": channel, "value": value}
        for step in steps
        for channel, value in values_at(step / 4).items()
    ]
