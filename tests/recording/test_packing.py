"""Entries about packs and blends: their codes, and the refusals and notices of the entry service."""

from uuid import UUID, uuid4

import pytest

from roastlog.errors import EntryRefused, MistypedCode, NotACode
from roastlog.journal.fold import Account
from roastlog.journal.fold.movements import PACKED, ROASTED
from roastlog.journal.subject import PACK, Subject
from roastlog.store import ledger
from roastlog.store.roasted import loose, next_pack
from roastlog.trace.codes import blend_code, parse_code, parse_pack, parse_source
from tests.conftest import START_MS, Bench


def roasted(bench: Bench, start_s: int = 0, roasted_g: float = 3400) -> str:
    """A weighed batch; its code."""
    code = bench.open(start_s, coffee="Alder washed", green_g=4000)
    bench.say(bench.entry("weighed", start_s + 700, batch=code, roasted_g=roasted_g))
    return code


def said(bench: Bench, about: str, kind: str, **body: object) -> dict[str, str]:
    """The result of an entry about another subject than a batch."""
    raw = {"id": str(uuid4()), "about": about, "kind": kind, "at_ms": START_MS + 800_000, "body": body}
    bench.clock.turn_to(800)
    return bench.say(raw)[0]


def packed(bench: Bench, source: str, name: str, grams: int = 1000, **more: object) -> dict[str, str]:
    """The result of packing bags of 250 g."""
    parts = [{"batch": source, "grams": grams}]
    return said(bench, f"pack {name}", "packed", parts=parts, bag_g=250, count=grams // 250, **more)


def balance_g(bench: Bench, kind: str, name: str) -> int:
    """Grams in an account."""
    return ledger.balance_g(bench.services.store.read, Account(kind, name))


def test_a_blend_has_a_code_that_no_batch_has():
    """A blend's code is read as a source but not as a batch, and a letter or digit that is wrong is told."""
    code = blend_code(parse_code("26332-01C").day, 1)
    assert code == "26332-M01R"
    assert parse_source(code.lower().replace("-", " ")).code == code
    with pytest.raises(NotACode, match="blend"):
        parse_code(code)
    for wrong in ("26332-801R", "26332-M02R", "26333-M01R"):
        with pytest.raises(MistypedCode):
            parse_source(wrong)
    assert parse_pack("l26332 01c-12") == "26332-01C-12"
    with pytest.raises(NotACode):
        parse_pack("26332-01C")


def test_a_packing_moves_coffee_and_names_its_source_as_stored(bench: Bench):
    """However the code is typed, the movement is from that batch."""
    code = roasted(bench)
    assert packed(bench, code.lower().replace("-", ""), f"{code}-1", 3000)["about"] == f"pack {code}-1"
    assert balance_g(bench, ROASTED, code) == 400
    assert balance_g(bench, PACKED, f"{code}-1") == 3000


@pytest.mark.parametrize(("source", "reason"), [("26332-99Z", "mistyped"), ("26332-010", "mistyped"), ("??", "code")])
def test_an_unknown_source_is_refused(bench: Bench, source: str, reason: str):
    """Neither a mistyped code nor an unknown one is packed."""
    result = packed(bench, source, "26332-01C-1")
    assert result["status"] == "refused"
    assert reason in result["reason"]


@pytest.mark.parametrize("decision", ["hold", "reject"])
def test_a_held_batch_is_packed_only_once_that_is_allowed(bench: Bench, decision: str):
    """The refusal has the reason; an entry that allows its bags lifts it, until it is held again; blends follow."""
    code, other = roasted(bench), roasted(bench, 1000)
    parts = [{"batch": code, "grams": 300}, {"batch": other, "grams": 300}]
    assert said(bench, "blend 26332-M01R", "blended", parts=parts)["status"] == "stored"
    bench.say(bench.entry("released", 750, batch=code, decision=decision, reason="Smoky."))
    refused = packed(bench, code, f"{code}-1")
    assert refused["status"] == "refused"
    assert "Smoky." in refused["reason"]
    assert packed(bench, "26332-M01R", "26332-M01R-1", 500)["status"] == "refused"
    assert said(bench, "blend 26332-M02P", "blended", parts=parts)["status"] == "refused"
    bench.say(bench.entry("labels_allowed", 760, batch=code, reason="For the tasting room."))
    assert packed(bench, code, f"{code}-1")["status"] == "stored"
    assert packed(bench, "26332-M01R", "26332-M01R-1", 500)["status"] == "stored"
    bench.say(bench.entry("released", 770, batch=code, decision=decision))
    assert packed(bench, code, f"{code}-2")["status"] == "refused"


def test_a_correction_cannot_bring_in_a_held_batch(bench: Bench):
    """A pack of another batch is not corrected to one that is held; its date can be corrected all the same."""
    code, held = roasted(bench), roasted(bench, 1000)
    bench.say(bench.entry("released", 750, batch=held, decision="hold"))
    ident = packed(bench, code, f"{code}-1")["id"]
    change = {"entry": ident, "body": {"parts": [{"batch": held, "grams": 1000}]}}
    assert said(bench, f"pack {code}-1", "amend", **change)["status"] == "refused"
    bench.say(bench.entry("released", 760, batch=code, decision="hold"))
    change = {"entry": ident, "body": {"best_before": "2027-05-01"}}
    assert said(bench, f"pack {code}-1", "amend", **change)["status"] == "stored"


def test_more_than_there_is_is_saved_and_told(bench: Bench):
    """The second of two packings that take too much is told so; both are stored."""
    code = roasted(bench)
    assert "notice" not in packed(bench, code, f"{code}-1", 3000)
    assert "2\u202f600 g more" in packed(bench, code, f"{code}-2", 3000)["notice"]
    assert [row.grams for row in loose(bench.services.store.read, short=True)] == [-2600]


def test_a_packing_whose_bags_are_sold_is_not_undone(bench: Bench):
    """It is refused until the bags are back."""
    code = roasted(bench)
    ident = packed(bench, code, f"{code}-1")["id"]
    said(bench, f"pack {code}-1", "sold", count=2, customer="c1")
    refused = said(bench, f"pack {code}-1", "undo", entry=ident)
    assert (refused["status"], "2 bags" in refused["reason"]) == ("refused", True)
    said(bench, f"pack {code}-1", "returned", count=2, customer="c1")
    assert said(bench, f"pack {code}-1", "undo", entry=ident)["status"] == "stored"
    assert balance_g(bench, ROASTED, code) == 3400


def test_a_blending_whose_coffee_is_packed_is_not_undone(bench: Bench):
    """The refusal names the pack."""
    code = roasted(bench)
    ident = said(bench, "blend 26332-M01R", "blended", parts=[{"batch": code, "grams": 500}])["id"]
    packed(bench, "26332-M01R", "26332-M01R-1", 500)
    refused = said(bench, "blend 26332-M01R", "undo", entry=ident)
    assert (refused["status"], "26332-M01R-1" in refused["reason"]) == ("refused", True)


def test_codes_are_made_in_the_commit(bench: Bench):
    """Two packings get two codes, one form sent twice counts once, and an undone code is not used again."""
    code, service = roasted(bench), bench.services.runtime.entry_service
    body = {"parts": [{"batch": code, "grams": 250}], "bag_g": 250, "count": 1}

    def pack(ident: UUID) -> str | None:
        return service.say(lambda db: Subject(PACK, next_pack(db.conn, code)), "packed", body, ident=ident).about

    once = uuid4()
    assert [pack(once), pack(once), pack(uuid4())] == [f"pack {code}-1", f"pack {code}-1", f"pack {code}-2"]
    service.say(Subject(PACK, f"{code}-1"), "undo", {"entry": str(once)})
    assert pack(uuid4()) == f"pack {code}-3"
    with pytest.raises(EntryRefused):
        service.say(Subject(PACK, f"{code}-4"), "packed", body | {"count": 0})
