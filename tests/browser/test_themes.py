"""Light, dark and glare: switched without a reload, the chart too, and readable in each."""

import io
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import expect

from tests.browser.contrast import contrast, rgb
from tests.browser.screen import Screen
from tests.browser.server import Server

TEXT, LIVE, LINE = 4.5, 7.0, 3.0
LINES = ("rule", "line", "probe", "surface", "exhaust", "guide", "accent", "warn", "good")
PAPERS = ("paper", "paper-2")


def test_the_formula_agrees_with_published_pairs():
    """Black on white is 21:1, and #767676 is the lightest grey that passes 4.5:1 on white, at 4.54."""
    white = (255, 255, 255)
    assert contrast((0, 0, 0), white) == pytest.approx(21.0)
    assert contrast((0x76, 0x76, 0x76), white) == pytest.approx(4.54, abs=0.005)  # [computed]
    assert contrast((0x77, 0x77, 0x77), white) < TEXT


@pytest.mark.drawn
def test_themes_switch_without_a_reload(phone: Screen, roast: str):
    """A theme chosen on the settings page repaints the live page beside it, chart and all, readable in each."""
    phone.open_live()
    phone.until(lambda: len(phone.columns("live")["t_s"]) > 60, "no curve yet")
    phone.page.evaluate("window.never_reloaded = true")
    settings = Screen(phone.context, phone.url)
    settings.open("/settings")
    seen: list[tuple[object, ...]] = []
    for theme in ("light", "dark", "glare"):
        settings.page.bring_to_front()
        settings.tap(theme, settings.page.get_by_role("group", name="Theme"))
        expect(phone.page.locator("html")).to_have_attribute("data-theme", theme)
        phone.page.bring_to_front()
        seen.append(check_chart(phone))
        check_contrast(phone)
        check_sheets(phone)
    assert len(set(seen)) == 3
    assert phone.page.evaluate("window.never_reloaded")
    assert settings.unexpected == []


@pytest.mark.drawn
def test_the_preference_of_the_system_is_followed(phone: Screen, roast: str):
    """Without a choice of its own the page follows the system's preference, dark or more contrast, chart included."""
    phone.open_live()
    phone.until(lambda: len(phone.columns("live")["t_s"]) > 60, "no curve yet")
    seen = {check_chart(phone)}
    for wish in ({"color_scheme": "dark"}, {"color_scheme": "light", "contrast": "more"}):
        phone.page.emulate_media(**wish)
        seen.add(check_chart(phone))
        check_contrast(phone)
    assert len(seen) == 3


@pytest.mark.drawn
@pytest.mark.parametrize("theme", ["light", "dark", "glare"])
def test_other_pages_are_readable(theme: str, demo: Server, phone: Screen):
    """Text of the other pages has a contrast of 4.5:1 in each theme."""
    code = next(batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"])
    phone.open("/settings")
    phone.tap(theme, phone.page.get_by_role("group", name="Theme"))
    desk = (f"/batches/{code}", f"/compare?of={code}", "/settings", "/lots")
    for path in ("/", "/machines/drum-4/start", f"/batches/{code}/weigh", *desk):
        phone.open(path)
        assert faint(phone.measure("texts", "body")) == [], path


def faint(texts: list[dict[str, Any]]) -> list[str]:
    """Texts with too little contrast, in words."""
    assert texts
    return [
        f"“{text['words']}” {text['ink']} on {text['paper']}"
        for text in texts
        if contrast(rgb(text["ink"]), rgb(text["paper"])) < (LIVE if text["live"] else TEXT)
    ]


def check_contrast(phone: Screen) -> None:
    """Text, live numbers, lines and curves against what is behind them."""
    expect(phone.page.locator("#three.old")).to_have_count(0)
    texts = phone.measure("texts", "body")
    assert sum(text["live"] for text in texts) == 3
    assert faint(texts) == []
    tokens = {name: rgb(color) for name, color in phone.measure("tokens", [*LINES, *PAPERS]).items()}
    for line in LINES:
        for paper in PAPERS:
            assert contrast(tokens[line], tokens[paper]) >= LINE, (line, paper)


def check_sheets(phone: Screen) -> None:
    """The sheet with the most colours: trier stages and aroma words."""
    phone.tap("Trier")
    phone.sheet("trier").locator("[data-stage=tan]").tap()
    assert faint(phone.measure("texts", "#sheet-trier")) == []
    phone.tap("Close", phone.sheet("trier"))


def check_chart(phone: Screen) -> tuple[object, ...]:
    """The chart stands on the page's paper with its curves in this theme's colours; both colours."""
    tokens = {name: rgb(color) for name, color in phone.measure("tokens", ["paper", "probe", "surface"]).items()}
    return phone.until(lambda: painted(phone, tokens), f"the chart is not painted in {tokens}")


def painted(phone: Screen, tokens: dict[str, tuple[int, int, int]]) -> tuple[object, ...]:
    """The chart's paper and curve colours if they are this theme's, else nothing."""
    picture = Image.open(io.BytesIO(phone.by_id("curves").screenshot())).convert("RGB")
    counted = {color: count for count, color in picture.getcolors(picture.width * picture.height) or []}
    most = max(counted, key=lambda color: counted[color])
    right = most == tokens["paper"] and all(counted.get(tokens[name]) for name in ("probe", "surface"))
    return (most, tokens["probe"]) if right else ()
