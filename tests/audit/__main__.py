"""Audit: Lighthouse scores of each page of the demo, and the echo time of a tap on a slow phone.

Scores of accessibility and good practice decide the exit code; timings are only printed beside their bounds.
"""

import re
import sys
import tempfile
from contextlib import suppress
from pathlib import Path
from urllib.request import urlopen

from playwright.sync_api import sync_playwright
from rich.console import Console
from rich.table import Table

from tests import chromium
from tests.audit.lighthouse import NoLighthouseError, Told, audit, install
from tests.bench.running import bare_server
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server

ACCESSIBILITY, PRACTICE, LCP_S, CLS = 100, 95, 2.5, 0.1
BAG, PLAIN = 98, 90  # of performance: the bag page, and pages without a chart
ECHO_MS, SLOWED, TAPS = 100, 4, 10
ECHO = """(words) => new Promise((done) => {
  const echo = document.getElementById("echo");
  const begun = performance.now();
  new MutationObserver((_, watch) => {
    if (!echo.textContent.includes(words)) return;
    watch.disconnect();
    done(performance.now() - begun);
  }).observe(echo, { childList: true, characterData: true, subtree: true });
  document.querySelector("#sheet-note .keep").click();
})"""
LOOKS = 3  # of the live page the median: a roast that enters another phase paints its name late
CHARTS = ("live", "record", "compare")


def main() -> int:
    """Print the table; returns 1 if a check other than a timing fails."""
    console = Console(width=150)
    with tempfile.TemporaryDirectory(prefix="drumside-audit-") as folder:
        demo = Server.start(Path(folder) / "data", "demo")
        try:
            echo_ms = _echo_ms(demo)
            held = _lighthouse(demo, console)
        finally:
            demo.stop()
    console.print(
        f"tap to echo, processor {SLOWED} times slower, slowest of {TAPS}: {echo_ms:.0f} ms (bound {ECHO_MS})"
    )
    return 0 if held else 1


def _lighthouse(demo: Server, console: Console) -> bool:
    try:
        program = install()
    except NoLighthouseError as error:
        console.print(str(error))
        return True
    table = Table(title="Lighthouse, mobile", title_justify="left")
    for heading in (
        "page",
        "performance",
        "bound",
        "LCP (≤ 2.5 s)",
        "CLS (≤ 0.1)",
        "accessibility",
        "practice",
        "amiss",
    ):
        table.add_column(heading, justify="left" if heading in {"page", "amiss"} else "right")
    held = True
    for name, path in _pages(demo).items():
        looks = [audit(program, demo.url + path) for _ in range(LOOKS if name == "live" else 1)]
        said = sorted(looks, key=lambda told: told.lcp_s)[len(looks) // 2]
        held &= said.accessibility >= ACCESSIBILITY and said.best_practices >= PRACTICE and said.cls <= CLS
        bound = "" if name in CHARTS else f"≥ {BAG if name == 'bag page' else PLAIN}"
        table.add_row(name, *_row(said, bound))
    with bare_server() as bare:
        table.add_row(
            "a bare page with the same chart", *_row(audit(program, f"{bare.url}/chart?width=390&height=500"), "")
        )
    console.print(table)
    return held


def _row(said: Told, bound: str) -> list[str]:
    scores = f"{said.performance:.0f}", bound, f"{said.lcp_s:.1f} s", f"{said.cls:.3f}"
    return [*scores, f"{said.accessibility:.0f}", f"{said.best_practices:.0f}", " ".join(said.amiss)]


def _pages(demo: Server) -> dict[str, str]:
    codes = [batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"]]
    code, other = codes[:2]
    with urlopen(f"{demo.url}/batches/{code}", timeout=10) as answer:
        token = re.search(r"/r/([\w-]+)", answer.read().decode())[1]  # type: ignore[index]
    return {
        "bag page": f"/r/{token}",
        "today": "/", "find": "/find", "records": "/batches", "more": "/more", "settings": "/settings",
        "green lots": "/lots", "machines": "/machines", "set-up": "/machines/drum-4/setup", "devices": "/devices",
        "scan": "/scan", "this device": "/this-device", "start": "/machines/drum-4/start",
        "weigh": f"/batches/{code}/weigh", "label": f"/batches/{code}/label",
        "withdraw": f"/batches/{code}/withdraw", "pair": "/pair", "taste": "/taste",
        "record": f"/batches/{code}", "compare": f"/compare?batches={code},{other}", "live": "/machines/drum-4",
    }  # fmt: skip


def _echo_ms(demo: Server) -> float:
    """Time from touch to echo in the page, the slowest of ten."""
    took = []
    with sync_playwright() as playwright:
        browser = chromium.launch(playwright)
        screen = Screen(browser.new_context(**PHONE), demo.url)
        screen.open_live()
        session = screen.context.new_cdp_session(screen.page)
        session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
        for number in range(TAPS):
            screen.tap("Note")
            screen.sheet("note").get_by_role("textbox").fill(f"tap {number}")
            took.append(screen.page.evaluate(ECHO, f"tap {number}"))
            with suppress(AssertionError):
                screen.sent()
        browser.close()
    return max(took)


if __name__ == "__main__":
    sys.exit(main())
