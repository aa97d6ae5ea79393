"""The repository as a whole: dependencies, the claims of the docs, and a few house rules."""

import argparse
import ast
import importlib.metadata
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import fields
from importlib.resources import files
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from roastlog import __version__, commands
from roastlog.machine.sheet import parse_sheet
from roastlog.services import Settings
from roastlog.web.http import assets
from tests.checkout import ROOT, own_files

PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PROJECT = PYPROJECT["project"]
ASKED = {"run": PROJECT["dependencies"], "dev": PROJECT["optional-dependencies"]["dev"]}
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


# Pins


def pins() -> dict[str, str]:
    """Names and versions of the constraints."""
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pairs = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {canonicalize_name(name): version for name, version in pairs}


def test_constraints_are_names_and_versions_only():
    """No download address, no hash, no marker: one name and version per line, in order, each once."""
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if not line.startswith("#")]
    assert [line for line in kept if not re.fullmatch(r"[A-Za-z0-9_.-]+==[0-9][A-Za-z0-9.]*", line)] == []
    assert kept == sorted(kept, key=str.lower)
    assert len(pins()) == len(kept)


def test_constraints_fit_every_dependency():
    """Each direct and indirect dependency is pinned to an allowed version."""
    pinned = pins()
    todo = [Requirement(text) for kind in ASKED.values() for text in kind]
    seen: set[str] = set()
    while todo:
        asked = todo.pop()
        name = canonicalize_name(asked.name)
        if name == "pip" or (
            asked.marker and not any(asked.marker.evaluate({"extra": e}) for e in ["", *asked.extras])
        ):
            continue
        assert name in pinned, f"{asked} is not pinned"
        assert asked.specifier.contains(pinned[name], prereleases=True), f"{asked}, but {pinned[name]} is pinned"
        if name not in seen:
            seen.add(name)
            todo += [Requirement(text) for text in importlib.metadata.requires(name) or () if "extra ==" not in text]
    assert set(pinned) - seen <= {"colorama"}, "pinned, but asked for by nothing"


def test_every_import_is_declared():
    """Each third-party package imported by code or tests is declared by the project itself, and each is used."""
    distributions = importlib.metadata.packages_distributions()
    imported: dict[str, set[str]] = {"run": set(), "dev": set()}
    for path in own_files():
        if path.suffix == ".py":
            kind = "dev" if path.relative_to(ROOT).parts[0] == "tests" else "run"
            for module in imports(path):
                imported[kind] |= {canonicalize_name(name) for name in distributions.get(module, [])}
    asked = {kind: {canonicalize_name(Requirement(text).name) for text in texts} for kind, texts in ASKED.items()}
    parts = {"jinja2", "werkzeug", "markupsafe", "pydantic-core"}  # of flask and of pydantic
    assert imported["run"] - parts - {"drumside"} <= asked["run"]
    assert imported["dev"] - parts - {"drumside"} <= asked["run"] | asked["dev"]
    # Used without an import: package files, programs, plug-ins, type stubs, and one named in a string.
    unseen = {"django-js-lib-htmx", "font-source-sans-pro", "ruff", "mypy", "import-linter", "djlint", "hatchling"}
    unseen |= {"pytest-timeout", "pytest-xdist", "pandas-stubs", "types-qrcode", "types-pyserial", "pyzbar"}
    assert (asked["run"] | asked["dev"]) - imported["run"] - imported["dev"] <= unseen


def imports(path: Path) -> set[str]:
    """Top-level names of the modules that a file imports."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.split(".")[0])
    return found


def test_each_library_has_the_room_that_wraps_it():
    """Each imported library except numpy and pydantic is in one import contract."""
    contracts = PYPROJECT["tool"]["importlinter"]["contracts"]
    wrapped = [name for contract in contracts for name in contract.get("protected_modules", ())]
    assert len(wrapped) == len(set(wrapped))
    imported = {name for path in (ROOT / "roastlog").rglob("*.py") for name in imports(path)}
    assert imported - sys.stdlib_module_names - set(wrapped) == {"roastlog", "numpy", "pydantic", "pydantic_core"}


def test_pages_reach_through_no_service():
    """No page uses the store, the runtime or the maintenance below the services."""
    below = {"store", "runtime", "maintenance"}
    for path in (ROOT / "roastlog/web").rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        named = [node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute) and node.attr in below]
        assert named == [], path


def test_htmx_is_the_version_that_its_package_says():
    """The script that pages load declares itself as htmx 2, in the version of its wheel."""
    script = (files("js_lib_htmx") / "static" / "htmx" / "htmx.min.js").read_text(encoding="utf-8")
    said = re.search(r'version:"([0-9.]+)"', script)
    assert said is not None
    assert said[1].startswith("2.")
    assert importlib.metadata.version("django-js-lib-htmx").startswith(said[1])


def test_versions_agree():
    """The package and pyproject.toml carry the same version."""
    assert PROJECT["version"] == __version__


# The claims of the docs


def parsers(parser: argparse.ArgumentParser, words: tuple[str, ...] = ()) -> Iterator[tuple[str, list[str]]]:
    """Each command as it is typed, with its options."""
    deeper = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
    if not deeper:
        options = [name for action in parser._actions for name in action.option_strings if name.startswith("--")]
        yield " ".join(words), [name for name in options if name != "--help"]
    for action in deeper:
        for word, sub in action.choices.items():
            yield from parsers(sub, (*words, word))


def test_readme_names_every_command_with_its_options():
    """The table of commands has each existing command with all of its options, and no other."""
    rows = re.findall(r"^\| `python app\.py ([^`]+)` \|", README, re.MULTILINE)
    told = {re.split(r" (?=[\[A-Z-])", row)[0]: set(re.findall(r"--[a-z-]+", row)) for row in rows}
    assert told == {command: set(options) for command, options in parsers(commands._parser())}


def test_settings_page_lists_every_setting():
    """docs/settings.md names each setting with its default, and no other."""
    text = (ROOT / "docs" / "settings.md").read_text(encoding="utf-8")
    told = dict(re.findall(r"^\| `(\w+)` \| ([^|]+) \|", text, re.MULTILINE))
    defaults = {item.name: f"`{item.default}`" if item.default != "" else "*(empty)*" for item in fields(Settings)}
    assert told == defaults


def test_readme_opens_with_the_job_and_the_two_commands():
    """One paragraph states the purpose; the two commands are on the first screen, followed by those for Windows."""
    title, first, made = README.split("\n\n")[:3]
    assert title == "# Drumside"
    assert "\n" not in first
    for word in ("roast", "kilos", "charge", "first crack", "drop", "label", "scanning"):
        assert word in first
    assert re.findall(r"^    (make \w+)", made, re.MULTILINE) == ["make demo", "make test"]
    assert "py -3 -m venv" in "\n".join(README.splitlines()[:20])


def test_pictures_of_the_readme_are_there_and_small():
    """Four pictures, each with a text in its place and of at most 150 kB, so that the page opens at once."""
    pictures = re.findall(r"!\[([^\]]+)\]\(([^)]+)\)", README)
    assert len(pictures) == 4
    for text, path in pictures:
        assert len(text) > 40, path
        assert (ROOT / path).read_bytes().startswith(b"\x89PNG"), path
        assert (ROOT / path).stat().st_size <= 150_000, path
    assert {ROOT / path for _, path in pictures} == set((ROOT / "docs" / "pictures").iterdir())


def test_sheet_in_readme_is_one():
    """The example of a machine's sheet can be imported as it stands."""
    sheet = re.search(r"```toml\n(.*?)```", README, re.DOTALL)
    assert sheet is not None
    machine = parse_sheet(sheet[1])
    assert [channel.source for channel in machine.channels] == ["modbus", "http"]


def test_readme_says_the_caution():
    """It says advice only and no alarm, and names the authorities on fire, gas and explosion."""
    part = README.split("## Safety")[1].split("\n## ")[0]
    words = ("never sets a machine", "no alarm", "fire", "hot surfaces", "chaff", "carbon monoxide", "manual")
    for word in (*words, "local codes", "licensed"):
        assert word in part


def test_make_targets_that_the_docs_name_exist():
    """Every `make …` in README and guide is a target, and `make help` lists each."""
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE))
    named = set(re.findall(r"(?:^ {4}|`)make ([a-z]+)", README + GUIDE, re.MULTILINE))
    assert {"demo", "test"} <= named <= targets


def test_paths_that_the_docs_name_exist():
    """Each of our files or folders named in README, guide or docs exists."""
    texts = [README, GUIDE, *(path.read_text(encoding="utf-8") for path in (ROOT / "docs").glob("*.md"))]
    pattern = r"`((?:roastlog|templates|static|tests|demo|docs|\.ci)/[\w./-]*)`"
    named = {name for text in texts for name in re.findall(pattern, text)}
    assert len(named) > 30
    assert sorted(name for name in named if not (ROOT / name).exists()) == []


def test_links_in_the_docs_lead_somewhere():
    """Each relative link in README, guide, changelog and docs is a file."""
    for path in [*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")]:
        for link in re.findall(r"\]\(([^)#:]+)\)", path.read_text(encoding="utf-8")):
            assert (path.parent / link).exists(), f"{path.name}: {link}"


def test_licence_is_mit():
    """LICENSE is the MIT licence by its opening and its condition (text from the Open Source Initiative)."""
    text = " ".join((ROOT / "LICENSE").read_text(encoding="utf-8").split())
    assert text.startswith("MIT License Copyright (c) ")
    assert "Permission is hereby granted, free of charge, to any person obtaining a copy of this software" in text
    assert "The above copyright notice and this permission notice shall be included in all copies" in text
    assert 'THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND' in text


# House rules


def test_every_test_states_its_claim():
    """Each test function has a one-line docstring."""
    silent = []
    for path in (ROOT / "tests").rglob("test_*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                said = ast.get_docstring(node) or ""
                if not said or "\n" in said:
                    silent.append(f"{path.relative_to(ROOT)}: {node.name}")
    assert silent == []


def test_no_file_knows_the_machine_it_was_made_on():
    """No committed text names a folder of this machine or a package registry's host."""
    home = str(ROOT.parent) if len(ROOT.parts) > 2 else str(ROOT)
    words = [str(ROOT), f"{home}/shared", "/root/", "/home/", "pypi" + ".org", "python" + "hosted", "npmjs" + ".org"]
    found = []
    for path in own_files():
        if path != Path(__file__) and path.suffix not in {".png", ".woff2", ".ico"}:
            text = path.read_text(encoding="utf-8")
            found += [f"{path.relative_to(ROOT)}: {word}" for word in words if word in text]
    assert found == []


def test_templates_hold_nothing_inline():
    """No template has an inline script, an `on…=` attribute or a `javascript:` address; data blocks are JSON."""
    for path in assets.folder("templates").rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"<[^>]*\son\w+\s*=", text), path
        assert "javascript:" not in text, path
        for attributes, body in re.findall(r"<script([^>]*)>(.*?)</script>", text, re.DOTALL):
            assert not body.strip() or 'type="application/json"' in attributes, path


def test_style_sheets_use_only_tokens_that_are_defined():
    """Each custom property that a style sheet reads is set by one, or by a script or template of ours."""
    sheets = {path: path.read_text(encoding="utf-8") for path in assets.folder("static").glob("*.css")}
    others = [path for kind in ("js", "html") for path in own_files() if path.suffix == f".{kind}"]
    texts = [*sheets.values(), *(path.read_text(encoding="utf-8") for path in others)]
    defined = {name for text in texts for name in re.findall(r"(--[\w-]+)[\"']?\s*[:,]", text)}
    read = {(path.name, name) for path, text in sheets.items() for name in re.findall(r"var\((--[\w-]+)\)", text)}
    assert read
    assert {(sheet, name) for sheet, name in read if name not in defined} == set()
