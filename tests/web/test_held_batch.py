"""A batch that is held or rejected says so in every list and on its label, until someone allows bag labels."""

import pytest

from roastlog.label.layout import layout
from roastlog.label.stock import SIZES
from tests.conftest import Bench


def decided(bench: Bench, decision: str) -> str:
    """A weighed batch with a decision; its code."""
    code = bench.roast(coffee="Alder washed", green_g=4000)
    bench.say(bench.entry("weighed", 700, batch=code, roasted_g=3400))
    bench.say(bench.entry("released", 710, batch=code, decision=decision, reason="Smoky."))
    return code


@pytest.mark.parametrize(("decision", "word", "shown"), [("hold", "HELD", "held"), ("reject", "REJECTED", "rejected")])
def test_lists_and_label_say_that_a_batch_must_not_be_sold(bench: Bench, decision: str, word: str, shown: str):
    """Today, the list, the comparison's choice, and the word on the preview and in the PDF."""
    code = decided(bench, decision)
    flag = f'<span class="flag">{shown}</span>'
    for path in ("/", "/batches", "/compare"):
        assert flag in bench.client.get(path).text, path
    assert f">{word}<" in bench.client.get(f"/batches/{code}/label").text
    for size in SIZES.values():
        lines = layout(bench.services.labels.label(code), size).lines
        (warning,) = (line for line in lines if line.part == "warning")
        assert (warning.text, warning.size_mm > 3.5) == (word, True), size
    assert bench.client.get(f"/batches/{code}/label.pdf").status_code == 200


def test_bag_labels_of_a_held_batch_need_a_reason_that_stays(bench: Bench):
    """Without one they are refused; with one the label is a bag's, until the batch is held again."""
    code = decided(bench, "hold")
    assert bench.client.post(f"/batches/{code}/label/allow", data={"reason": " "}).status_code == 422
    assert bench.services.labels.label(code).warning == "HELD"
    bench.clock.turn_to(800)
    answer = bench.client.post(f"/batches/{code}/label/allow", data={"reason": "For the tasting room."})
    assert (answer.status_code, bench.services.labels.label(code).warning) == (303, "")
    assert "Bags allowed: For the tasting room." in bench.client.get(f"/batches/{code}").text
    bench.say(bench.entry("released", 900, batch=code, decision="hold"))
    assert bench.services.labels.label(code).warning == "HELD"


def test_a_released_batch_has_a_plain_label(bench: Bench):
    """Neither word nor form."""
    code = decided(bench, "release")
    page = bench.client.get(f"/batches/{code}/label").text
    assert "HELD" not in page
    assert "/label/allow" not in page
