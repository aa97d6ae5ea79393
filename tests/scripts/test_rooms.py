"""The rooms of static/js: core, offline on it, and on both a room for each posture, as web/ has them."""

import posixpath
import re
from itertools import pairwise

import pytest

from roastlog.web.http import assets
from tests.checkout import ROOT

SCRIPTS = ROOT / "static/js"
FLOORS = ("core", "offline")
POSTURES = {"machine", "bench", "desk", "owner", "public"}
LONGEST = 120
IMPORT = re.compile(r"""\b(?:from|import)\s*\(?\s*["']([^"']+)["']""")
NAMED = re.compile(r"""asset\(["']js/([\w./-]+\.js)["']\)""")
MODULES = sorted(path.relative_to(SCRIPTS).as_posix() for path in SCRIPTS.rglob("*.js"))


def imports(module: str) -> list[str]:
    """Modules that a module imports, by their paths under static/js; other imports stay as they are written."""
    found = IMPORT.findall((SCRIPTS / module).read_text(encoding="utf-8"))
    return [posixpath.normpath(posixpath.join(posixpath.dirname(module), path)) for path in found]


def room(module: str) -> str:
    """The outer folder of a module."""
    return module.partition("/")[0]


def test_every_script_is_in_a_room():
    """Every script is in a room; only the live page's room and the base, with the figures, have inner rooms."""
    assert {room(module) for module in MODULES} <= {*FLOORS, *POSTURES}
    assert all(module.count("/") == 1 for module in MODULES if room(module) not in {"machine", "core"})


def test_a_room_has_inner_rooms_before_it_has_many_files():
    """No folder has more than some 20 scripts."""
    folders = [posixpath.dirname(module) for module in MODULES]
    assert max(folders.count(folder) for folder in folders) <= 20


@pytest.mark.parametrize("module", MODULES)
def test_imports_point_down(module: str):
    """Core imports core only, offline also core, a posture both; no posture imports another, nothing the web."""
    allowed = {"core": {"core"}, "offline": {"core", "offline"}}.get(room(module), {"core", "offline", room(module)})
    for imported in imports(module):
        assert imported in MODULES
        assert room(imported) in allowed, f"{module} imports {imported}"


def test_no_module_imports_itself_by_way_of_others():
    """Imports have no cycle, except those in comments that only name a type."""
    done: set[str] = set()

    def walk(path: tuple[str, ...]) -> None:
        for imported in values(path[-1]):
            assert imported not in path, " → ".join((*path, imported))
            if imported not in done:
                walk((*path, imported))
        done.add(path[-1])

    for module in MODULES:
        walk((module,))


def values(module: str) -> list[str]:
    """Modules whose values a module imports."""
    reached = assets.modules(f"js/{module}")
    direct = set(imports(module))
    return [name.removeprefix("js/") for name in reached[1:] if name.removeprefix("js/") in direct]


def test_every_script_is_loaded_by_a_page_or_the_worker():
    """Each script is named by a template, or by the answer at /sw.js, or imported by one that is."""
    named = {"offline/service-worker.js"}
    for path in assets.folder("templates").rglob("*.html"):
        named |= set(NAMED.findall(path.read_text(encoding="utf-8")))
    loaded = {name.removeprefix("js/") for module in named if module != "core/theme.js" for name in walked(module)}
    assert set(MODULES) - loaded - {"core/theme.js"} == set()


def walked(module: str) -> tuple[str, ...]:
    """A module and all its imports, direct and indirect."""
    return assets.modules(f"js/{module}")


def test_the_walk_is_ordered_by_import_distance():
    """The order is by import distance: close modules are fetched first."""
    found = assets.modules("js/machine/live.js")
    depth = {found[0]: 0}
    for module in found:
        for imported in imports(module.removeprefix("js/")):
            depth.setdefault(f"js/{imported}", depth[module] + 1)
    assert all(depth[one] <= depth[other] for one, other in pairwise(found))


def test_lines_are_short_where_they_can_be():
    """No line exceeds 120 characters, except for a message, which stays whole for translators."""
    long = [
        f"{module}:{number}"
        for module in MODULES
        for number, line in enumerate((SCRIPTS / module).read_text(encoding="utf-8").splitlines(), 1)
        if len(line) > LONGEST and not re.fullmatch(r'\s*"[^"]*",?', line)
    ]
    assert long == []
