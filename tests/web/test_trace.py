"""Ledger and trace through the API: what came from what, one step and whole, after undo too."""

from uuid import uuid4

import pytest

from tests.conftest import START_MS, Bench

Reply = dict[str, object]


def about(subject: str, kind: str, at_s: float = 0.0, **body: object) -> dict[str, object]:
    """An entry about a subject, as a program makes it."""
    return {"id": str(uuid4()), "about": subject, "kind": kind, "at_ms": START_MS + round(at_s * 1000), "body": body}


@pytest.fixture
def sold(bench: Bench) -> str:
    """A batch of HU-7 that was weighed, packed and partly sold; returns its code."""
    bench.clock.turn_to(5000)
    code = bench.open(0, lot="HU-7", green_g=4000)
    bench.say(
        bench.entry("moment", 10, batch=code, moment="charge"),
        bench.entry("weighed", 900, batch=code, roasted_g=3400),
        about(f"pack {code}-1", "packed", 1000, parts=[{"batch": code, "grams": 3010}], bag_g=250, count=12),
        about("customer c1", "listed", 1100, name="Café Lindqvist", contact="cafe@example.org"),
        about(f"pack {code}-1", "sold", 1200, count=5, customer="c1"),
    )
    return code


def test_the_ledger_has_the_movements_of_an_account_and_its_balance(bench: Bench, sold: str):
    """Those of a lot: its arrival and its batch; those of all add up to 0 g."""
    told = bench.client.get("/api/ledger?account=green HU-7").get_json()
    assert [(one["source"], one["target"], one["grams"]) for one in told["movements"]] == [
        ("supplier", "green HU-7", 20_000),
        ("green HU-7", f"drum {sold}", 4000),
    ]
    assert (told["balances"], told["more"]) == ({"green HU-7": 16_000}, False)
    whole = bench.client.get("/api/ledger").get_json()
    assert sum(whole["balances"].values()) == 0
    assert whole["balances"]["customer c1"] == 1250
    charged = [one["at_ms"] for one in told["movements"]][1]
    assert bench.client.get(f"/api/ledger?from={charged + 1}").get_json()["movements"][0]["source"] == f"drum {sold}"


@pytest.mark.parametrize("typed", ["HU-7", "hu-7", "{code}", "l{code}", "{code}-1", "c1"])
def test_any_code_leads_to_the_same_tree(bench: Bench, sold: str, typed: str):
    """From the lot, the batch, its lot mark, the pack and the customer the whole way is seen."""
    told = bench.client.get(f"/api/trace/{typed.format(code=sold)}").get_json()
    steps = {(edge["source"], edge["target"]): edge["grams"] for edge in told["edges"]}
    assert steps["lot HU-7", f"batch {sold}"] == 4000
    assert steps[f"batch {sold}", f"pack {sold}-1"] == 3010
    assert steps[f"pack {sold}-1", "customer c1"] == 1250
    titles = {node["about"]: node["title"] for node in told["nodes"] if node["kind"]}
    assert titles == {
        "lot HU-7": "Alder washed",
        f"batch {sold}": "Alder washed",
        f"pack {sold}-1": "Alder washed",
        "customer c1": "Café Lindqvist",
    }


def test_one_step_each_way(bench: Bench, sold: str):
    """A batch came from its lot, and went into a pack and into loss."""
    told = bench.client.get(f"/api/trace/{sold}").get_json()
    assert [edge["source"] for edge in told["sources"]] == ["lot HU-7"]
    assert {edge["target"] for edge in told["targets"]} == {"loss", f"pack {sold}-1"}
    left = {node["about"]: node["left_g"] for node in told["nodes"]}
    assert (left[f"batch {sold}"], left[f"pack {sold}-1"]) == (390, 1750)


def test_an_undone_weight_leaves_the_tree(bench: Bench, sold: str):
    """Without it the batch is in the drum again, and its pack took what the books do not have."""
    weighed = bench.services.batches.record(sold).batch.of("weighed")[0]
    bench.say(bench.entry("undo", 2000, batch=sold, entry=str(weighed.id)))
    told = bench.client.get(f"/api/trace/{sold}").get_json()
    assert {edge["target"] for edge in told["targets"]} == {f"pack {sold}-1"}
    assert next(node["left_g"] for node in told["nodes"] if node["kind"] == "batch") == 4000 - 3010


@pytest.mark.parametrize(
    ("typed", "words"),
    [("QW-404", "has the code"), ("26332-01D", "mistyped"), ("26332-01D-1", "mistyped"), ("26332-M01X", "mistyped")],
)
def test_a_code_that_nothing_has_is_told_from_a_mistyped_one(bench: Bench, sold: str, typed: str, words: str):
    """Both are answered with a sentence."""
    answer = bench.client.get(f"/api/trace/{typed}")
    assert answer.status_code == 404
    assert words in answer.get_json()["error"]


def test_erasing_a_customer_leaves_the_tree_and_the_sums(bench: Bench, sold: str):
    """The name is gone, the grams and the id stay."""
    before = bench.client.get("/api/ledger").get_json()
    bench.say(about("customer c1", "erased", 3000))
    assert bench.client.get("/api/ledger").get_json() == before
    told = bench.client.get(f"/api/trace/{sold}").get_json()
    assert next(node["title"] for node in told["nodes"] if node["about"] == "customer c1") is None
    assert "Lindqvist" not in bench.client.get(f"/api/trace/{sold}").text
