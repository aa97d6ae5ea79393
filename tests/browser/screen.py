"""One page of a browser: it collects its errors, and waits until something is shown."""

import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from playwright.sync_api import BrowserContext, ConsoleMessage, Locator, Page, expect

PATIENCE_S = 30.0  # how long a page may take on a busy machine; no measure of how quick it is
expect.set_options(timeout=PATIENCE_S * 1000)

# A row is streamed while its last reading may still be on its way; at the demo's speed, with 33 ms for a second of its
# time, that is so now and then. The record has that reading in it.
NOISE_C, ODD = 1.0, 0.01
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
TABLET: dict[str, Any] = {"viewport": {"width": 1180, "height": 820}, "has_touch": True}
ELSEWHERE: dict[str, str] = {"X-Forwarded-For": "192.0.2.7"}  # headers of another computer; RFC 5737's example address
# A violation is told to the document only; the console says it too, but not of every kind.
TELL_VIOLATIONS = """document.addEventListener("securitypolicyviolation", (event) =>
  console.error(`CSP: ${event.violatedDirective} ${event.blockedURI} ${event.sourceFile}:${event.lineNumber}`));"""
MEASURES = Path(__file__).with_name("measure.js").read_text(encoding="utf-8").partition("\n")[2]
Seen = TypeVar("Seen")


def close(here_c: float | None, there_c: float | None) -> bool:
    """Whether two screens, or a screen and the record, show the same temperature in a row."""
    if here_c is None or there_c is None:
        return here_c is there_c
    return abs(here_c - there_c) < NOISE_C


class Screen:
    """A page of a device, with the server it looks at."""

    def __init__(self, context: BrowserContext, url: str) -> None:
        self.context, self.url = context, url
        self.page: Page = context.new_page()
        self.faults: list[str] = []
        self.expected: list[str] = []  # patterns of console errors that a test brings about on purpose
        self.page.add_init_script(TELL_VIOLATIONS)
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.faults.append(f"page error: {error}"))

    def _hear(self, message: ConsoleMessage) -> None:
        if message.type == "error" or message.text.startswith("Refused"):
            self.faults.append(f"{message.text} ({message.location.get('url')})")

    @property
    def unexpected(self) -> list[str]:
        """Faults that no test asked for."""
        return [fault for fault in self.faults if not any(re.search(known, fault) for known in self.expected)]

    def open(self, path: str) -> None:
        """Open a page of the server."""
        self.page.goto(self.url + path)

    def pair(self, code: str, name: str = "") -> None:
        """Pair this device with the code that the owner reads out."""
        self.open("/")
        expect(self.page.get_by_role("heading", level=1)).to_have_text("This device is not paired yet")
        self.page.get_by_label("Code, six digits").fill(code)
        self.page.get_by_label("Device name").fill(name)
        self.tap("Pair this device")
        expect(self.page.get_by_role("heading", level=1)).to_have_text("Today")

    def open_live(self, machine: str = "drum-4") -> None:
        """Open the live page and wait until numbers come and the curves are drawn."""
        self.open(f"/machines/{machine}")
        self.settled()

    def settled(self) -> None:
        """Wait until the live page has readings, its clock and its chart, where the server sends charts."""
        expect(self.page.locator("#temp")).to_have_text(re.compile(r"\d"))
        drawn = "typeof Bokeh === 'object' && (Bokeh.undrawn || Bokeh.documents.length === 1)"
        self.until(lambda: self.page.evaluate(drawn), "no chart")
        if self.draws:
            expect(self.page.locator("#curves canvas").first).to_be_visible()

    @property
    def draws(self) -> bool:
        """Whether the page has BokehJS rather than the stub for tests that look at no chart."""
        return not self.page.evaluate("Bokeh.undrawn === true")

    def by_id(self, ident: str) -> Locator:
        """The element of an id."""
        return self.page.locator(f"#{ident}")

    def sheet(self, name: str) -> Locator:
        """The sheet of a name, open or not."""
        return self.page.locator(f"dialog#sheet-{name}")

    def tap(self, words: str, within: Locator | None = None, *, exact: bool = True) -> None:
        """Tap the button or link that says the words."""
        place = within or self.page.locator("body")
        button = place.get_by_role("button", name=words, exact=exact)
        button.or_(place.get_by_role("link", name=words, exact=exact)).first.tap()

    def pad(self, moment: str) -> None:
        """Slap the pad once it waits for a moment, and once it takes the next slap for one of its own."""
        expect(self.by_id("pad-next")).to_have_text(moment)
        self.page.wait_for_timeout(750)  # a slap within 0.7 s of the last is a bounce
        self.by_id("pad").tap()
        expect(self.by_id("echo")).to_contain_text(moment)

    def after_drop(self) -> None:
        """Wait until what came in the place of the pad takes taps: no longer the finger that marked the drop."""
        expect(self.by_id("after")).to_be_visible()
        self.page.wait_for_timeout(750)

    def sent(self) -> None:
        """Wait until everything that was said here is on the server."""
        expect(self.by_id("waiting")).to_have_text("0 waiting")
        self.until(lambda: "on the server" in (self.by_id("echo-state").text_content() or ""), "not on the server")

    def log(self) -> list[str]:
        """The lines of the log sheet as they read, newest first."""
        expect(self.by_id("actions-idle")).to_be_visible()
        self.tap("Log")
        lines = [" ".join(line.split()) for line in self.page.locator("#log > li > span").all_inner_texts()]
        self.tap("Close", self.sheet("log"))
        return lines

    def columns(self, name: str) -> dict[str, list[Any]]:
        """The columns of one of the chart's sources; None for a gap."""
        script = """(name) => Object.fromEntries(Object.entries(Bokeh.documents[0].get_model_by_name(name).data)
          .map(([key, column]) => [key, [...column].map((value) => Number.isNaN(value) ? null : value)]))"""
        found: dict[str, list[Any]] = self.page.evaluate(script, name)
        return found

    def until(self, look: Callable[[], Seen], why: str) -> Seen:
        """Look again and again until something is there. (`wait_for_function` needs eval, which our CSP forbids.)"""
        end_s = time.monotonic() + PATIENCE_S
        while not (seen := look()):
            assert time.monotonic() < end_s, f"{why}: {seen!r}"
            self.page.wait_for_timeout(50)
        return seen

    def measure(self, what: str, *arguments: object) -> Any:  # noqa: ANN401 - whatever is measured
        """One of the measurements of `measure.js`."""
        script = f"([what, given]) => {MEASURES}[what](...given)"
        return self.page.evaluate(script, [what, list(arguments)])
