"""Lighthouse, installed by npm at a fixed version into the virtual environment's folder, and its reports."""

import json
import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from tests import chromium

VERSION: Final = "12.8.2"
ROOT: Final = Path(__file__).parents[2]
FOLDER: Final = ROOT / ".venv" / f"lighthouse-{VERSION}"
TRIES: Final = 3  # now and then it misses the start of a page and reports that
CATEGORIES: Final = ("performance", "accessibility", "best-practices")


class NoLighthouseError(RuntimeError):
    """Lighthouse is not available here."""


@dataclass(frozen=True)
class Told:
    """Report of a page: scores of 0 to 100, the largest paint [s], the layout shift, and the findings."""

    performance: float
    accessibility: float
    best_practices: float
    lcp_s: float
    cls: float
    amiss: tuple[str, ...]


def install() -> Path:
    """Path of the program, installed if necessary."""
    if shutil.which("node") is None or shutil.which("npm") is None:
        raise NoLighthouseError("Node and npm are not here, and Lighthouse needs them: nothing was audited by it.")
    program = FOLDER / "node_modules" / ".bin" / "lighthouse"
    if not program.exists():
        words = [
            "npm",
            "install",
            "--silent",
            "--no-fund",
            "--no-audit",
            "--prefix",
            str(FOLDER),
            f"lighthouse@{VERSION}",
        ]
        if subprocess.run(words, check=False).returncode:
            raise NoLighthouseError(f"npm could not install Lighthouse {VERSION}: nothing was audited by it.")
    return program


def audit(program: Path, url: str) -> Told:
    """Audit a page, as a phone on a slow network by Lighthouse's own preset."""
    browser = chromium.executable()
    known = os.environ | ({"CHROME_PATH": browser} if browser else {})
    flags = " ".join(["--headless=new", *chromium.FLAGS])
    words = [str(program), url, "--output=json", "--quiet", f"--chrome-flags={flags}"]
    words += [f"--only-categories={','.join(CATEGORIES)}", "--max-wait-for-load=30000"]
    with tempfile.TemporaryDirectory(prefix="drumside-lighthouse-") as folder:
        said = Path(folder) / "said.json"  # its standard output is cut off now and then, if the process ends too early
        for _ in range(TRIES):
            done = subprocess.run(
                [*words, f"--output-path={said}"], check=False, capture_output=True, text=True, env=known, timeout=180
            )
            if done.returncode == 0 and said.exists():
                return told(json.loads(said.read_text()))
    raise RuntimeError(f"Lighthouse said nothing of {url}: {done.stderr[-400:]}")


def told(report: dict[str, Any]) -> Told:
    """Extract the values of a report."""
    score = {name: 100 * (report["categories"][name]["score"] or 0) for name in CATEGORIES}
    audits = report["audits"]
    asked = [ref["id"] for name in CATEGORIES[1:] for ref in report["categories"][name]["auditRefs"] if ref["weight"]]
    return Told(
        performance=score["performance"],
        accessibility=score["accessibility"],
        best_practices=score["best-practices"],
        lcp_s=(audits["largest-contentful-paint"].get("numericValue") or 0) / 1000,
        cls=audits["cumulative-layout-shift"].get("numericValue") or 0,
        amiss=tuple(name for name in asked if audits[name]["score"] is not None and audits[name]["score"] < 1),
    )
