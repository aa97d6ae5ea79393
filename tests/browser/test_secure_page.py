"""The secure page in a real Chromium: from the plain door through trust to a page that may do everything."""

import base64
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import Browser, Page, expect

from tests import chromium
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server
from tests.ports import held_port

NAME = "drumside-6.local"
SECRET = "0123456789abcdefghijklmnopqrstuv"  # noqa: S105 - stands for one


@dataclass(frozen=True)
class Lan:
    """A server with `--lan` on loopback, and a Chromium that finds it by its name."""

    server: Server
    folder: Path
    port: int
    browser: Browser

    @property
    def plain(self) -> str:
        """The plain door."""
        return f"http://{NAME}:{self.server.url.rpartition(':')[2]}"

    @property
    def secure(self) -> str:
        """The secure page."""
        return f"https://{NAME}:{self.port}"

    def phone(self, *, trusts: bool) -> Browser:
        """A Chromium that trusts this server's key, as after the steps on a phone, or does not."""
        flags = [*chromium.FLAGS, f"--host-resolver-rules=MAP {NAME} 127.0.0.1"]
        if trusts:
            leaf = x509.load_pem_x509_certificate((self.folder / "lan" / "server.pem").read_bytes())
            digest = hashes.Hash(hashes.SHA256())
            digest.update(leaf.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo))
            flags.append(f"--ignore-certificate-errors-spki-list={base64.b64encode(digest.finalize()).decode()}")
        return self.browser.browser_type.launch(executable_path=chromium.shell(), args=flags)


@pytest.fixture(scope="module")
def lan(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lan]:
    """One for the tests here."""
    folder, port = tmp_path_factory.mktemp("lan") / "data", held_port()
    (folder / "lan").mkdir(mode=0o700, parents=True)
    (folder / "lan" / "name").write_text(NAME, encoding="ascii")
    server = Server.start(folder, "serve", "--lan", "--secure-port", str(port))
    yield Lan(server, folder, port, browser)
    assert server.stop() == []


@pytest.fixture
def trusting(lan: Lan) -> Iterator[Page]:
    """A page of a phone that trusts it."""
    phone = lan.phone(trusts=True)
    yield phone.new_context(**PHONE).new_page()
    phone.close()


def shown(page: Page, check: str) -> str:
    """What the page of this device says of one thing, once it knows."""
    row = page.locator(f'[data-check="{check}"]')
    expect(row.locator('[data-said="looking"]')).to_be_hidden(timeout=15_000)
    return row.locator("[data-said]:visible").inner_text()


def test_a_phone_that_trusts_the_server_is_led_to_pairing(lan: Lan, trusting: Page):
    """The plain page detects a device that trusts it, and leads to the pairing link without sending its secret."""
    asked: list[str] = []
    trusting.on("request", lambda request: asked.append(request.url))
    trusting.goto(f"{lan.plain}/trust#{SECRET}")
    go = trusting.get_by_role("link", name="Go on to Drumside")
    expect(go).to_be_visible(timeout=15_000)
    assert go.get_attribute("href") == f"{lan.secure}/pair/{SECRET}"
    assert [url for url in asked if SECRET in url.partition("#")[0]] == []
    go.click()
    expect(trusting.get_by_role("heading", level=1)).to_be_visible()
    assert trusting.url == f"{lan.secure}/pair/{SECRET}"


def test_a_phone_that_does_not_trust_the_server_sees_the_steps(lan: Lan):
    """The plain page keeps its steps on a device that does not trust the server, and claims no success."""
    phone = lan.phone(trusts=False)
    page = phone.new_context(**PHONE).new_page()
    failed: list[str] = []
    page.on("requestfailed", lambda request: failed.append(request.url))
    with page.expect_event("requestfailed"):
        page.goto(f"{lan.plain}/trust")
    assert failed == [f"{lan.secure}/this-device/reached"]
    expect(page.get_by_role("link", name="Go on to Drumside")).to_be_hidden()
    expect(page.get_by_text("What you agree to")).to_be_visible()
    phone.close()


def test_secure_page_is_a_secure_context(lan: Lan, trusting: Page):
    """The secure page is a secure context, and the page of this device lists what that allows."""
    trusting.goto(f"{lan.secure}/this-device")
    assert trusting.evaluate("window.isSecureContext")
    assert shown(trusting, "secure").startswith("✓ Yes.")
    assert shown(trusting, "box").startswith("✓ Yes.")
    assert "secure page" not in shown(trusting, "worker") + shown(trusting, "wake") + shown(trusting, "camera")
    trusting.get_by_role("button", name="Play a tone").click()
    expect(trusting.locator('[data-check="sound"]')).to_contain_text("A tone was played")


def test_plain_page_says_what_is_missing(lan: Lan, empty: Server):
    """A plain page tells what cannot work, why, and what to do; its taps are stored."""
    flags = [*chromium.FLAGS, "--host-resolver-rules=MAP plain.local 127.0.0.1"]
    phone = lan.browser.browser_type.launch(executable_path=chromium.shell(), args=flags)
    screen = Screen(phone.new_context(**PHONE), empty.url.replace("127.0.0.1", "plain.local"))
    screen.pair(empty.code("operate"))  # under such a name this computer is not the owner
    screen.open("/this-device")
    page = screen.page
    assert not page.evaluate("window.isSecureContext")
    assert "--lan" in shown(page, "secure")
    for check in ("worker", "wake", "kept", "camera"):
        assert "Needs a secure page." in shown(page, check)
    assert shown(page, "box").startswith("✓ Yes.")
    phone.close()
