"""The label page: what it warns of, what prints at once, and what the batch fills."""

import re
from html import unescape

import pypdfium2 as pdfium
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


def weighed(bench: Bench, roasted_g: float, removed_g: float | None = None) -> str:
    """A weighed batch of a lot from Huila; its code."""
    code = bench.roast(30, lot="HU-7", coffee="Alder washed", green_g=40_000.0)
    body = {"roasted_g": roasted_g} if removed_g is None else {"roasted_g": roasted_g, "removed_g": removed_g}
    bench.say(bench.entry("weighed", 40, batch=code, **body))
    return code


def texts(page: str) -> list[list[str]]:
    """The lines of each label in the preview."""
    return [
        [unescape(line) for line in re.findall(r"<text[^>]*>([^<]*)</text>", label)]
        for label in page.split("<g transform")[1:]
    ]


def field(page: str, name: str) -> tuple[str, str]:
    """Value and placeholder of a field."""
    found = re.search(rf'<input id="{name}" name="{name}" value="([^"]*)"(?: placeholder="([^"]*)")?', page)
    assert found is not None
    return unescape(found[1]), unescape(found[2] or "")


def test_the_label_has_net_weight_and_origin(bench: Bench):
    """The weight that was typed and the lot's origin are on the preview and, read back, in the PDF."""
    code = weighed(bench, 3432.0)
    page = bench.client.get(f"/batches/{code}/label?size=100x50&bag=250").text
    assert {"250 g", "Huila"} <= set(texts(page)[0])
    pdf = bench.client.get(f"/batches/{code}/label.pdf?size=100x50&bag=250&copies=1").data
    with pdfium.PdfDocument(pdf) as document:
        printed = document[0].get_textpage().get_text_range()
    assert "250 g" in printed
    assert "Huila" in printed


def test_without_a_net_weight_none_is_printed(bench: Bench):
    """An empty field leaves the weight out and proposes one label; a batch without a lot has no origin."""
    page = bench.client.get(f"/batches/{weighed(bench, 3432.0)}/label").text
    assert not any(re.search(r"\d g$", line) for line in texts(page)[0])
    assert field(page, "copies") == ("", "1")
    assert "Type the net weight" in words(page)
    page = bench.client.get(f"/batches/{bench.roast(30, start_s=900)}/label?bag=250").text
    assert "Huila" not in texts(page)[0]
    assert "Weigh the batch" in words(page)


@pytest.mark.parametrize(
    ("roasted_g", "removed_g", "bag", "number", "sentence"),
    [
        (3432.0, 32.0, "250", 13, "3 400 g fills 13 bags, with 150 g left over."),
        (3432.0, None, "250", 13, "3 432 g fills 13 bags, with 182 g left over."),
        (3000.0, None, "250", 12, "3 000 g fills 12 bags, with 0 g left over."),
        (3000.0, None, "0.1 kg", 30, "3 000 g fills 30 bags, with 0 g left over."),
        (200.0, None, "250", 1, "200 g fills 0 bags, with 200 g left over."),
        (400.0, 400.0, "250", 1, "0 g fills 0 bags, with 0 g left over."),
        (30_000.0, None, "250", 72, "30 000 g fills 120 bags, with 0 g left over. One print has at most 72 labels."),
    ],
)
def test_as_many_labels_are_proposed_as_the_batch_fills_bags(
    bench: Bench, roasted_g: float, removed_g: float | None, bag: str, number: int, sentence: str
):
    """(Roasted − defects) ÷ net weight, rounded down; at least one label, and no more than a print has."""
    page = bench.client.get(f"/batches/{weighed(bench, roasted_g, removed_g)}/label", query_string={"bag": bag}).text
    assert field(page, "copies") == ("", str(number))
    assert len(texts(page)) == number
    assert sentence in words(page)


def test_labels_are_numbered_on_request(bench: Bench):
    """Each has its own number of the total; a typed number of labels overrides the proposed one."""
    code = weighed(bench, 1100.0)
    page = bench.client.get(f"/batches/{code}/label?size=a4-70x37&bag=250&numbered=1&skip=2").text
    assert [line for label in texts(page) for line in label if "250 g" in line] == [
        f"250 g · {number} of 4" for number in (1, 2, 3, 4)
    ]
    page = bench.client.get(f"/batches/{code}/label?bag=250&copies=2&numbered=1").text
    assert [line for label in texts(page) for line in label if "250 g" in line] == ["250 g · 1 of 2", "250 g · 2 of 2"]
    alone = bench.client.get(f"/batches/{code}/label?bag=250&copies=1&numbered=1").text
    assert "250 g" in texts(alone)[0]


def test_a_house_in_pounds_types_ounces(bench: Bench):
    """12 oz is printed as 12 oz, shown again as 12, and counted: 3 lb fill four bags."""
    bench.services.settings.change({"units_mass": "lb"})
    code = weighed(bench, 3 * 453.59237)
    page = bench.client.get(f"/batches/{code}/label?bag=12").text
    assert field(page, "bag") == ("12", "")
    assert field(page, "copies") == ("", "4")
    assert "12 oz" in texts(page)[0]
    assert "340.2 g" not in texts(page)[0]


def test_the_device_remembers_size_net_weight_and_numbering(bench: Bench):
    """The next label, of another batch too, has them, and so has the PDF; clearing the weight is remembered too."""
    first, second = weighed(bench, 1100.0), bench.roast(30, start_s=900)
    bench.client.get(f"/batches/{first}/label?size=62x29&bag=500&numbered=1")
    page = bench.client.get(f"/batches/{second}/label").text
    assert field(page, "bag")[0] == "500"
    assert 'name="numbered" value="1" checked' in page
    assert "label-62x29" in page
    assert '"label-' in (answer := bench.client.get(f"/batches/{second}/label.pdf")).headers["Content-Disposition"]
    assert "62x29" in answer.headers["Content-Disposition"]
    bench.client.get(f"/batches/{first}/label?bag=")
    page = bench.client.get(f"/batches/{second}/label").text
    assert field(page, "bag")[0] == ""
    assert 'value="1" checked' not in page
    assert "label-62x29" in page


@pytest.mark.parametrize(
    "cookie", ["", "huge_-3_9", "50x30_nan_1", "50x30_inf_", "_____", "a4-70x37", "💥", "50x30_1e9_1"]
)
def test_a_strange_cookie_gives_the_defaults(bench: Bench, cookie: str):
    """Whatever the browser sends as remembered choices, the page and the PDF are made."""
    code = weighed(bench, 1100.0)
    bench.client.set_cookie("label", cookie)
    page = bench.client.get(f"/batches/{code}/label")
    assert page.status_code == 200
    assert field(page.text, "bag")[0] == ""
    assert bench.client.get(f"/batches/{code}/label.pdf").status_code == 200


@pytest.mark.parametrize(
    ("bag", "sentence"),
    [
        ("0", "Net weight must be more than 0"),
        ("-250", "Net weight must be more than 0"),
        ("much", "Net weight"),
        ("250 stone", "Net weight must be in kg, g, lb or oz"),
        ("1.000 g", "may mean a gram or a thousand"),
        ("9999999", "Net weight must be at most"),
        ("<b>250</b>", "Net weight"),
    ],
)
def test_a_net_weight_that_makes_no_sense_is_refused(bench: Bench, bag: str, sentence: str):
    """Page and PDF are answered by 422 and a sentence that names the field, and nothing of it is remembered."""
    code = weighed(bench, 1100.0)
    for path in ("label", "label.pdf"):
        answer = bench.client.get(f"/batches/{code}/{path}", query_string={"bag": bag})
        assert answer.status_code == 422
        assert sentence in words(answer.text)
        assert "Set-Cookie" not in answer.headers
    assert field(bench.client.get(f"/batches/{code}/label").text, "bag")[0] == ""


def test_links_keep_the_choices(bench: Bench):
    """The link to another size and to the PDF have the net weight, the typed number and the numbering."""
    code = weighed(bench, 1100.0)
    page = bench.client.get(f"/batches/{code}/label?size=a4-70x37&bag=250&numbered=1&copies=3&skip=5").text
    links = [unescape(link) for link in re.findall(r'href="([^"]*bag=250[^"]*)"', page)]
    assert "?size=50x30&bag=250&copies=3&numbered=1" in links
    assert f"/batches/{code}/label.pdf?size=a4-70x37&bag=250&copies=3&skip=5&numbered=1" in links
    assert len(links) == 5
    for link in links:
        assert bench.client.get(link if link.startswith("/") else f"/batches/{code}/label{link}").status_code == 200


def test_any_stock_is_printed_as_a_pdf_and_remembered(bench: Bench):
    """A size in mm is drawn at its size, offered as PDF, and used for the device's next label."""
    code = bench.roast()
    page = bench.client.get(f"/batches/{code}/label?size=80x40").text
    assert "Print the PDF" in page
    assert "data-print" not in page
    pdf = pdfium.PdfDocument(bench.client.get(f"/batches/{code}/label.pdf?size=80x40").data)
    assert [round(side / 72 * 25.4) for side in pdf[0].get_size()] == [80, 40]
    pdf.close()
    assert 'value="80x40"' in bench.client.get(f"/batches/{code}/label").text


def test_a_stock_that_cannot_be_is_refused_in_words(bench: Bench):
    """The sentence says how a size is written."""
    answer = bench.client.get(f"/batches/{bench.roast()}/label?size=8x4000000")
    assert answer.status_code == 422
    assert bench.client.get("/labels/test-print.pdf?size=nothing").status_code == 422
    assert "is written like" in words(bench.client.get("/labels/test-print.pdf?size=nothing").text)


def test_the_test_print_has_the_size_of_its_stock(bench: Bench):
    """It is a page of the stock's paper: the roll's own, or A4."""
    for size, sides in (("80x40", [80, 40]), ("a4-70x37", [210, 297])):
        pdf = pdfium.PdfDocument(bench.client.get(f"/labels/test-print.pdf?size={size}").data)
        assert [round(side / 72 * 25.4) for side in pdf[0].get_size()] == sides
        pdf.close()
