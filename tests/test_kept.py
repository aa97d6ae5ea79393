"""Cached results depend on the code that made them, and on no other."""

from pathlib import Path

import pytest

from tests.kept import code_hash, sources

MODULES = {
    "physics/__init__.py": "",
    "physics/heat.py": "def flow(): return 1\n",
    "physics/drum.py": "from .heat import flow\n",
    "physics/other.py": "def flow(): return 2\n",
    "made.py": "import math\n\ndef make():\n    from physics import drum\n    return drum.flow()\n",
}


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A module that imports another, which imports a third."""
    for name, text in MODULES.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    code_hash.cache_clear()  # this folder may have the name of one that is deleted
    return tmp_path


def test_all_that_is_imported_counts(checkout: Path):
    """Imports within a function, relative ones, and indirect ones count; nothing else does."""
    found = {str(path.relative_to(checkout)) for path in sources(checkout / "made.py", checkout)}
    assert found == MODULES.keys() - {"physics/other.py"}


@pytest.mark.parametrize("name", sorted(MODULES))
def test_a_change_of_any_of_it_makes_it_anew(checkout: Path, name: str):
    """A change of any imported module invalidates the result; a change of another module does not."""
    before = code_hash(checkout / "made.py", checkout)
    (checkout / name).write_text(MODULES[name] + "# changed\n", encoding="utf-8")
    code_hash.cache_clear()
    assert (code_hash(checkout / "made.py", checkout) == before) == (name == "physics/other.py")
