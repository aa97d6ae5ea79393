"""axe-core on a page as it stands, in every theme.

It is sent over the browser's own wire, which the page's policy does not bind: the policy stays as strict as it is.
"""

from typing import Final

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

# All that axe-core has for WCAG 2.2, levels A and AA, and what it counts as good practice besides.
RULES: Final = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
COLOURS: Final = ["color-contrast", "link-in-text-block"]  # to all other rules a theme changes nothing
THEMES: Final = ("light", "dark", "glare")
_PAINT = """(theme) => {
  document.documentElement.dataset.theme = theme;
  document.dispatchEvent(new CustomEvent("themechange"));
}"""
_UNFOLD = """() => {
  for (const folded of document.querySelectorAll("details")) folded.open = true;
}"""
_FILL_MS = 400  # what is made when it is unfolded, such as the table of a curve
_RUN = "async ([within, options]) => (await axe.run(within, options)).violations"


def unfold(page: Page) -> None:
    """Open what is folded."""
    page.evaluate(_UNFOLD)
    page.wait_for_timeout(_FILL_MS)


def violations(page: Page, within: str = "html") -> list[str]:
    """What axe-core finds, in words, with the theme and the place of each."""
    found = []
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(AXE_SCRIPT)
    for theme in THEMES:
        page.evaluate(_PAINT, theme)
        only = {"type": "tag", "values": RULES} if theme == THEMES[0] else {"type": "rule", "values": COLOURS}
        for rule in page.evaluate(_RUN, [within, {"runOnly": only, "resultTypes": ["violations"]}]):
            places = "; ".join(
                f"{' '.join(map(str, node['target']))} {node['html'][:120]}" for node in rule["nodes"][:5]
            )
            found.append(f"{theme}: {rule['id']} ({rule['help']}): {places}")
    return found
