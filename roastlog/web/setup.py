"""Machines: a list, their sheets, and the two ways to add one."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from flask import Blueprint, Response, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import SheetError
from roastlog.instruments.machine import Machine
from roastlog.web import services

bp = Blueprint("setup", __name__)


@dataclass(frozen=True)
class AddMachine:
    """What `setup/_add.html` shows: the text that was sent, and why it was not taken."""

    text: str = ""
    error: str = ""

    @classmethod
    def empty(cls) -> Self:
        """The form as one first meets it."""
        return cls()


@dataclass(frozen=True)
class MachinesPage:
    """What `setup/machines.html` shows."""

    machines: Sequence[Machine]
    add: AddMachine


@bp.get("/machines")
def machines() -> str:
    """All machines, and the form to add one."""
    return _page(AddMachine.empty())


@bp.post("/machines")
def import_sheet() -> ResponseReturnValue:
    """Add the machine that a sheet describes, from a file or pasted."""
    text = request.form.get("text", "")
    try:
        text = _uploaded() or text
        machine = services().add_machine(text)
    except SheetError as error:
        return _page(AddMachine(text, str(error))), 422
    return redirect(f"/machines/{machine.id}", 303)


@bp.post("/machines/practice")
def practise() -> ResponseReturnValue:
    """Add a simulated machine."""
    return redirect(f"/machines/{services().add_practice_machine().id}", 303)


@bp.get("/machines/<machine_id>/sheet.toml")
def sheet(machine_id: str) -> Response:
    """A machine's sheet, as it travels."""
    return Response(
        services().sheet(machine_id),
        mimetype="application/toml",
        headers={"Content-Disposition": f'attachment; filename="{machine_id}.toml"'},
    )


def _page(add: AddMachine) -> str:
    page = MachinesPage(services().machines(), add)
    return render_template("setup/machines.html", page=page)


def _uploaded() -> str:
    file = request.files.get("file")
    if file is None or not file.filename:
        return ""
    try:
        text: str = file.read().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SheetError(f"{file.filename} is not a text file in UTF-8. A sheet is plain text, in TOML.") from None
    return text
