"""The label page: what it warns of, what prints at once, and what the batch fills."""

import re
from html import unescape

import pytest

from roastlog.services.address import leads_to_itself
from tests.conftest import Bench

REACHED = "https://coffee.example"


def words(page: str) -> str:
    """Text of a page, without tags."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def button(page: str) -> tuple[str, bool]:
    """What the button that prints says, and whether the page may print at once."""
    found = re.search(r'<button class="primary" type="button" data-print( data-at-once)?>([^<]+)<', page)
    assert found is not None
    return found[2], bool(found[1])


@pytest.mark.parametrize(
    "host",
    [
        "127.0.0.1:8080", "localhost:8080", "LOCALHOST", "localhost.", "coffee.localhost", "[::1]:8080", "127.8.8.8",
        "127.1", "2130706433", "0.0.0.0:8080", "[::]", "[::ffff:127.0.0.1]",
    ],
)  # fmt: skip
def test_an_address_that_leads_each_phone_to_itself(host: str):
    """Loopback names (RFC 6761) and addresses, in every form that a browser accepts, and the unspecified address."""
    assert leads_to_itself(f"http://{host}/r/token")


@pytest.mark.parametrize(
    "host", ["192.168.1.20:8080", "coffee.example", "localhost.example", "[fd00::1]", "drumside.local", "10.0.0.1"]
)
def test_an_address_that_leads_to_a_server(host: str):
    """Other names and addresses lead somewhere, as far as the address alone can tell."""
    assert not leads_to_itself(f"http://{host}/r/token")


@pytest.mark.parametrize("base", ["", "http://127.0.0.1:8080", "http://localhost"])
def test_a_code_that_no_phone_can_open_is_announced(bench: Bench, base: str):
    """The page says so first, what to do, and prints only on “Print anyway”."""
    bench.services.settings.change({"url_base": base})
    code = bench.roast(30)
    page = bench.client.get(f"/batches/{code}/label").text
    assert button(page) == ("Print anyway", False)
    main = words(page[page.index("<main") :])
    assert main.startswith("No phone can open this code. It leads each phone to itself")
    assert "Start Drumside with --lan, or set the address of the codes" in main
    assert 'href="/settings#url_base"' in page


def test_a_code_that_leads_somewhere_may_print_at_once(bench: Bench):
    """With an address that phones reach there is no notice; one tap leads to the next batch on the machine."""
    bench.services.settings.change({"url_base": REACHED})
    page = bench.client.get(f"/batches/{bench.roast(30)}/label").text
    assert button(page) == ("Print", True)
    assert "No phone can open" not in page
    assert '<a href="/machines/drum-4/start">Next batch</a>' in page


@pytest.mark.parametrize(("decision", "at_once"), [("hold", False), ("reject", False), ("release", True)])
def test_no_label_of_a_held_batch_prints_at_once(bench: Bench, decision: str, at_once: bool):
    """Held or rejected, it waits for a tap and has its word across it; with a reason for bag labels it is one again."""
    bench.services.settings.change({"url_base": REACHED})
    code = bench.roast(30)
    bench.say(bench.entry("weighed", 40, batch=code, roasted_g=3400))
    bench.say(bench.entry("released", 50, batch=code, decision=decision))
    assert button(bench.client.get(f"/batches/{code}/label").text) == ("Print", at_once)
    if not at_once:
        bench.clock.turn_to(60)
        bench.client.post(f"/batches/{code}/label/allow", data={"reason": "For the tasting room."})
        assert button(bench.client.get(f"/batches/{code}/label").text) == ("Print", True)


def test_a_label_that_cannot_be_made_does_not_print(bench: Bench):
    """Nor one whose number is refused."""
    bench.services.settings.change({"url_base": REACHED})
    page = bench.client.get(f"/batches/{bench.roast(30)}/label?copies=99").text
    assert button(page) == ("Print", False)
