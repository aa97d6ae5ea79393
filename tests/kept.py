"""A cache of costly results, kept between runs under the hash of the code that makes them."""

import ast
import hashlib
import pickle
import platform
import tempfile
from collections.abc import Callable, Iterator
from functools import cache, wraps
from pathlib import Path
from typing import ParamSpec, TypeVar

import numpy as np
from flask import Flask
from jinja2 import FileSystemBytecodeCache

from tests.checkout import ROOT

FOLDER = ROOT / ".cache" / "made"
Given, Made = ParamSpec("Given"), TypeVar("Made")


def kept(make: Callable[Given, Made]) -> Callable[Given, Made]:
    """Cache a function's results by its arguments, for this run and later ones.

    Results of other code are not used: the name of its folder holds the hash of the module of ``make``, of every
    module of ours that this one imports, however far down, and of the versions of Python and numpy.
    """
    name = f"{make.__module__}.{make.__qualname__}"

    @cache
    @wraps(make)
    def fetch(*given: Given.args, **named: Given.kwargs) -> Made:
        place = FOLDER / f"{name}-{code_hash(Path(make.__code__.co_filename))}" / f"{given}{named or ''}.pickle"
        if place.exists():
            found: Made = pickle.loads(place.read_bytes())  # noqa: S301 - written below
            return found
        made = make(*given, **named)
        place.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=place.parent, delete=False) as part:
            part.write(pickle.dumps(made))
        Path(part.name).replace(place)  # atomic: another process may make it at the same time
        return made

    return fetch


def keep_templates() -> None:
    """Keep the compiled templates of all apps that are created from now on; Jinja knows when one has changed."""
    folder = ROOT / ".cache" / "templates"
    folder.mkdir(parents=True, exist_ok=True)
    Flask.jinja_options = {"bytecode_cache": FileSystemBytecodeCache(str(folder))}


@cache
def code_hash(module: Path, root: Path = ROOT) -> str:
    """Hash of a module and of all that it imports from the checkout at ``root``."""
    found = hashlib.sha256(f"{platform.python_version()} {np.__version__}".encode())
    for path in sorted(sources(module, root)):
        found.update(f"{path.relative_to(root)}\n".encode() + path.read_bytes())
    return found.hexdigest()[:20]


def sources(module: Path, root: Path) -> set[Path]:
    """Files of a module and, recursively, of the modules of the checkout that it imports."""
    found: set[Path] = set()
    left = [module]
    while left:
        path = left.pop()
        if path not in found:
            found.add(path)
            left += _imported(path, root)
    return found


def _imported(path: Path, root: Path) -> Iterator[Path]:
    for node in ast.walk(ast.parse(path.read_bytes())):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            above = path.relative_to(root).parts[: -node.level] if node.level else ()
            base = ".".join([*above, *([node.module] if node.module else [])])
            names = [base, *(f"{base}.{alias.name}" for alias in node.names)]
        for name in names:
            parts = name.split(".")
            for depth in range(1, len(parts) + 1):
                place = root.joinpath(*parts[:depth])
                yield from (one for one in (place.with_suffix(".py"), place / "__init__.py") if one.is_file())
