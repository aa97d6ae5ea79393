"""Access: every route with every role and without one, against the one table; entries by kind."""

from uuid import uuid4

import pytest

from roastlog.journal.kinds import REGISTRY
from roastlog.services import Role
from roastlog.web.http.roles import DECIDE, LEAST, LOOK, MEANS, OPERATE, OWN, PUBLIC, says
from tests.checkout import ROOT
from tests.conftest import Bench
from tests.web.walk import addresses, browser

TABLE = "LEAST in roastlog/web/http/roles.py"


def test_every_route_has_its_line_in_the_table(bench: Bench):
    """Each route has a line with its role; no line is for a nonexistent route."""
    there = {rule.endpoint for rule in bench.app.url_map.iter_rules()}
    missing = sorted(there - LEAST.keys())
    assert not missing, f"say who may use {missing}: a line each in {TABLE}, with PUBLIC, LOOK, OPERATE, DECIDE or OWN"
    assert not LEAST.keys() - there, f"no routes any more, so no lines in {TABLE}: {sorted(LEAST.keys() - there)}"


@pytest.mark.parametrize("role", [None, *Role])
def test_every_route_answers_every_role_as_the_table_says(bench: Bench, role: Role | None):
    """A stranger gets 401, an insufficient role 403 with the name of the required one, all others pass."""
    code = bench.roast(30)
    for method, path, endpoint in addresses(bench, code):
        least = LEAST.get(endpoint, OWN)
        client = browser(bench, role)  # each time a new one: some routes remove the caller
        answer = client.open(path, method=method)
        where = f"{method} {path} ({endpoint}: {TABLE} says {least!r}) as {role!r} answered {answer.status_code}"
        if least is PUBLIC or (role is not None and role >= least):
            assert answer.status_code not in {401, 403}, where
        elif role is None:
            assert answer.status_code == 401, where
            assert code not in answer.text, where
        else:
            assert answer.status_code == 403, where
            told = answer.get_json()["error"] if answer.is_json else answer.text
            assert f"“{least.word}”" in told, where
            assert f"“{role.word}”" in told, where
        answer.close()


def test_few_addresses_are_public(bench: Bench):
    """Only these addresses are public; another one needs a reason, and a line here."""
    code = bench.roast(30)
    public = {path.split("/")[1] for _, path, endpoint in addresses(bench, code) if LEAST.get(endpoint, OWN) is PUBLIC}
    known = {"r", "healthz", "static", "vendor", "pair"}
    phone = {"sw.js", "manifest.webmanifest", "offline", "trust", "trust.crt", "this-device"}
    assert known <= public <= known | phone, f"public besides: {sorted(public - known - phone)}"


def test_a_route_without_a_line_is_for_the_owner_alone(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """A route missing from the table is refused, not open."""
    monkeypatch.delitem(LEAST, "records.batches")  # type: ignore[arg-type] - a dict, read-only for others
    assert [browser(bench, role).get("/batches").status_code for role in (None, *Role)] == [401, 403, 403, 403, 200]


def test_strangers_cannot_probe_addresses(bench: Bench):
    """A stranger cannot find out which addresses exist; a paired device gets 404."""
    assert browser(bench).get("/nowhere").status_code == 401
    assert browser(bench).put("/api/entries").status_code == 401
    assert browser(bench, LOOK).get("/nowhere").status_code == 404


def test_this_computer_alone_is_the_owner_from_the_start(bench: Bench):
    """Without pairing, this computer may do everything, others nothing."""
    assert bench.client.get("/devices").status_code == 200
    assert browser(bench).get("/devices").status_code == 401


@pytest.mark.parametrize(
    "header",
    ["Forwarded", "X-Forwarded-For", "X-Real-IP", "X-Forwarded-Host", "X-Forwarded-Proto", "Via"],
)
def test_requests_through_a_proxy_are_not_this_computer(bench: Bench, header: str):
    """Requests through a proxy on this computer come from everyone, so they never have owner access."""
    assert bench.client.get("/", headers={header: "127.0.0.1"}).status_code == 401
    assert bench.client.post("/people", data={"name": "x"}, headers={header: ""}).status_code == 401


# Entries by kind


def status(results: list[dict[str, str]]) -> list[str]:
    """Results of the entries."""
    return [result["status"] for result in results]


def test_every_kind_of_entry_has_its_role():
    """The row defines it. Look makes no entries; of a batch's kinds, only a decision needs more than operate."""
    desk = {"arrived", "decided", "closed", "composed", "recalled", "finished"}
    assert {kind for kind in REGISTRY if says(kind) is DECIDE} == {"released", "labels_allowed", *desk}
    assert {kind for kind in REGISTRY if says(kind) is OWN} == {"set", "named", "erased", "set_up", "probe_checked"}
    assert all(
        says(kind) is OPERATE for kind, row in REGISTRY.items() if row.about == ("batch",) and says(kind) is not DECIDE
    )


@pytest.mark.parametrize(("role", "became"), [(OPERATE, "refused"), (DECIDE, "stored"), (OWN, "stored")])
def test_a_release_is_kept_of_those_who_decide(bench: Bench, role: Role, became: str):
    """A release needs the role decide, in the API and in the form; a refused one affects no other entry."""
    code = bench.roast(30)
    release, note = bench.entry("released", 40, batch=code, decision="hold"), bench.entry("note", batch=code, text="x")
    results = browser(bench, role).post("/api/entries", json={"entries": [release, note]}).get_json()["results"]
    assert status(results) == [became, "stored"]
    assert became == "stored" or "“decide”" in results[0]["reason"]
    assert (bench.services.batches.summary(code).state == "held") == (became == "stored")


@pytest.mark.parametrize("kind", ["undo", "amend", "shift"])
def test_a_release_is_taken_back_or_corrected_by_those_who_decide(bench: Bench, kind: str):
    """A role that may not make an entry may not undo it either, nor undo the undo."""
    code = bench.roast(30)
    release = bench.entry("released", 40, batch=code, decision="hold")
    bench.say(release)
    said = {"undo": {}, "amend": {"body": {"decision": "release"}}, "shift": {"by_s": -5}}[kind]
    about = bench.entry(kind, 50, batch=code, entry=release["id"], **said)
    operate, decide = browser(bench, OPERATE), browser(bench, DECIDE)
    assert status(operate.post("/api/entries", json={"entries": [about]}).get_json()["results"]) == ["refused"]
    assert bench.services.batches.summary(code).state == "held"
    assert status(decide.post("/api/entries", json={"entries": [about]}).get_json()["results"]) == ["stored"]
    again = bench.entry("undo", 60, batch=code, entry=about["id"])
    assert status(operate.post("/api/entries", json={"entries": [again]}).get_json()["results"]) == ["refused"]


def test_entries_about_each_other_come_to_an_end(bench: Bench):
    """Two undos of each other, and an undo of an unknown entry, are checked once each."""
    code = bench.roast(30)
    one, other = bench.entry("undo", 1, batch=code), bench.entry("undo", 2, batch=code)
    one["body"], other["body"] = {"entry": other["id"]}, {"entry": one["id"]}
    lost = bench.entry("undo", 3, batch=code, entry=str(uuid4()))
    results = browser(bench, OPERATE).post("/api/entries", json={"entries": [one, other, lost]}).get_json()["results"]
    assert status(results) == ["refused", "refused", "refused"]  # until its entry is here
    assert status(bench.say(one, other, lost)) == ["stored", "stored", "stored"]
    again = browser(bench, OPERATE).post("/api/entries", json={"entries": [{**one, "id": str(uuid4())}]})
    assert status(again.get_json()["results"]) == ["stored"]


def test_the_server_says_which_device_it_was(bench: Bench):
    """The journal has the device's registered name, whatever the entry says."""
    code = bench.open()
    note = bench.entry("note", batch=code, text="x")
    assert note["by"] == {"person": "Ines", "device": "phone"}
    browser(bench, OPERATE, name="Bench tablet").post("/api/entries", json={"entries": [note]})
    last = bench.services.batches.record(code).log[-1]
    assert (last.by, last.device) == ("Ines", "Bench tablet")


def test_a_device_of_one_person_can_name_no_other(bench: Bench):
    """Without a name it is that person's, another name is refused; a shared device can name anyone."""
    bench.services.people.add("Tomas")
    code, tomas = bench.open(), browser(bench, OPERATE, person="Tomas")
    nobody, ines = (bench.entry("note", batch=code, text=text) for text in ("x", "y"))
    nobody["by"] = {}
    results = tomas.post("/api/entries", json={"entries": [nobody, ines]}).get_json()["results"]
    assert status(results) == ["stored", "refused"]
    assert "belongs to Tomas" in results[1]["reason"]
    assert bench.services.batches.record(code).log[-1].by == "Tomas"
    shared = browser(bench, OPERATE).post("/api/entries", json={"entries": [ines]}).get_json()["results"]
    assert status(shared) == ["stored"]


def test_a_form_with_another_name_is_refused_too(bench: Bench):
    """A form follows the same rule as the API: nothing is stored under another person's name."""
    bench.services.people.add("Tomas")
    bench.services.people.add("Ines")
    code, tomas = bench.open(), browser(bench, OPERATE, person="Tomas")
    answer = tomas.post(f"/batches/{code}/note", data={"text": "x", "person": "Ines"})
    assert answer.status_code == 422
    assert "belongs to Tomas" in answer.text
    assert tomas.post(f"/batches/{code}/note", data={"text": "y"}).status_code == 303
    assert [line.by for line in bench.services.batches.record(code).log if line.kind == "note"] == ["Tomas"]


def test_a_form_offers_no_name_that_would_be_refused(bench: Bench):
    """Weighing and starting offer only the device's person; a shared device offers all."""
    bench.services.people.add("Tomas")
    bench.services.people.add("Ines")
    for path in (f"/batches/{bench.roast(30)}/weigh", "/machines/drum-4/start"):
        own = browser(bench, OPERATE, person="Tomas").get(path).text
        assert '<input type="hidden" name="person" value="Tomas">' in own
        assert "Ines" not in own
        assert 'type="radio" name="person" value="Ines"' in browser(bench, OPERATE).get(path).text


def test_the_docs_list_the_roles_of_the_code():
    """docs/access.md lists each role with its meaning, in order."""
    text = (ROOT / "docs" / "access.md").read_text(encoding="utf-8")
    told = [line for line in text.splitlines() if line.startswith("| `")]
    assert [line.split(" | ")[:2] for line in told] == [[f"| `{role.word}`", means] for role, means in MEANS.items()]


def test_a_correction_before_its_entry_needs_every_role(bench: Bench):
    """It may turn out to be about a release: a device that may not release sends it again once the entry is here."""
    code = bench.roast(30)
    release = bench.entry("released", 700, batch=code, decision="hold")
    undo = bench.entry("undo", 701, batch=code, entry=str(release["id"]))
    operator = browser(bench, OPERATE)
    first = operator.post("/api/entries", json={"entries": [undo]}).get_json()["results"]
    assert status(first) == ["refused"]
    assert "not on the server yet" in first[0]["reason"]
    assert status(bench.say(release)) == ["stored"]
    assert status(operator.post("/api/entries", json={"entries": [undo]}).get_json()["results"]) == ["refused"]
    assert bench.services.batches.record(code).batch.state == "held"
    tap = bench.entry("note", 702, batch=code, text="Chaff.")
    own = bench.entry("undo", 703, batch=code, entry=str(tap["id"]))
    assert status(operator.post("/api/entries", json={"entries": [tap, own]}).get_json()["results"]) == ["stored"] * 2
