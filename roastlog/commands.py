"""Commands: a few lines each; what they do is in the services."""

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Final

from roastlog import __version__
from roastlog.errors import DrumsideError, SheetError

if TYPE_CHECKING:
    from roastlog.services import Services
    from roastlog.web.server import Serving

DATA: Final = Path("drumside-data")
PORT: Final = 8080


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command that was asked for; a mistake ends with a sentence, not with a traceback."""
    asked = _parser().parse_args(arguments)
    try:
        asked.run(asked)
    except DrumsideError as error:
        sys.exit(str(error))
    except KeyboardInterrupt:
        sys.exit(130)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="drumside", description="The roast record at the roaster's side.")
    parser.add_argument("--version", action="version", version=f"Drumside {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    serve = commands.add_parser("serve", help="record, and serve the pages")
    _with_data(serve)
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on; 0.0.0.0 for phones in the network")
    serve.add_argument("--port", type=int, default=PORT, help=f"port to listen on ({PORT})")
    serve.set_defaults(run=_serve)

    demo = commands.add_parser("demo", help="an invented roastery with a simulated machine, in a fresh folder")
    demo.add_argument("--data", type=Path, help="keep the demo in this folder instead of a fresh one")
    demo.add_argument("--host", default="0.0.0.0", help="address to listen on; 127.0.0.1 for this computer alone")
    demo.add_argument("--port", type=int, default=PORT, help=f"port to listen on ({PORT})")
    demo.add_argument("--speed", type=float, default=1.0, help="how many times as fast the demo's clock runs (1)")
    demo.set_defaults(run=_demo)

    token = commands.add_parser("token", help="print a new API token, once")
    _with_data(token)
    token.add_argument("--name", required=True, help="what it is for, such as the program that will use it")
    _with_role(token)
    token.set_defaults(run=_token)

    pair = commands.add_parser("pair", help="show a QR and a code that let one device in, beside a running server too")
    _with_data(pair)
    pair.add_argument("--name", help="what the device will be called; else it names itself")
    _with_role(pair)
    pair.set_defaults(run=_pair)

    backup = commands.add_parser("backup", help="copy the database, beside a running server too, and check the copy")
    _with_data(backup)
    backup.add_argument("--to", type=Path, metavar="FILE", help="a new file; else it goes to the backups of the folder")
    backup.set_defaults(run=_backup)

    restore = commands.add_parser("restore", help="bring a backup back into a new folder")
    restore.add_argument("backup", type=Path, help="the file")
    restore.add_argument("--data", type=Path, required=True, help="a folder that is new or empty")
    restore.set_defaults(run=_restore)

    machine = commands.add_parser("machine", help="import or export a machine's sheet")
    deeds = machine.add_subparsers(required=True, metavar="import|export")
    take = deeds.add_parser("import", help="set up the machine that a sheet describes")
    _with_data(take)
    take.add_argument("sheet", type=Path, help="a TOML file")
    take.set_defaults(run=_machine_import)
    give = deeds.add_parser("export", help="print a machine's sheet")
    _with_data(give)
    give.add_argument("id", help="id of the machine")
    give.set_defaults(run=_machine_export)
    return parser


def _with_data(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--data", type=Path, default=DATA, help=f"data folder ({DATA})")


def _with_role(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--role", default="operate", help="look, operate, decide or own (operate)")


def _services(folder: Path) -> "Services":
    from roastlog.clock import Clock  # noqa: PLC0415 - `--help` answers at once
    from roastlog.services import Services  # noqa: PLC0415

    return Services(folder, Clock())


def _serve(asked: argparse.Namespace) -> None:
    from roastlog.web.server import Serving, serve  # noqa: PLC0415 - `--help` answers at once

    serving = Serving(asked.data, asked.host, asked.port)
    tell_address(serving)
    serve(serving)


def _demo(asked: argparse.Namespace) -> None:
    # The demo's folder stands beside the package in a checkout, and inside it in a wheel.
    name = "roastlog.demo" if find_spec("roastlog.demo") else "demo"
    import_module(f"{name}.run").run_demo(asked.data, asked.host, asked.port, asked.speed)


def _token(asked: argparse.Namespace) -> None:
    services = _services(asked.data)
    print(services.new_token(asked.name, asked.role))
    services.close()


def _pair(asked: argparse.Namespace) -> None:
    services = _services(asked.data)
    _tell_invitation(services, asked.role, asked.name)
    services.close()


def _backup(asked: argparse.Namespace) -> None:
    from roastlog.clock import Clock  # noqa: PLC0415 - `--help` answers at once
    from roastlog.services import back_up  # noqa: PLC0415

    print(back_up(asked.data, asked.to, Clock()))


def _restore(asked: argparse.Namespace) -> None:
    from roastlog.services import restore  # noqa: PLC0415 - `--help` answers at once

    print(restore(asked.backup, asked.data))


def _machine_import(asked: argparse.Namespace) -> None:
    try:
        text = asked.sheet.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise SheetError(f"{asked.sheet} cannot be read ({error}). A sheet is plain text in UTF-8, in TOML.") from None
    services = _services(asked.data)
    machine = services.keep_sheet(text)
    services.close()
    print(f"{machine.name} is set up; a server that is running reads it after a restart.")


def _machine_export(asked: argparse.Namespace) -> None:
    services = _services(asked.data)
    print(services.kept_sheet(asked.id), end="")
    services.close()


def tell_address(serving: "Serving", role: str = "operate") -> None:
    """Print where to go, and what lets a first phone in."""
    from roastlog.services import lan_address  # noqa: PLC0415 - `--help` answers at once

    print(f"Drumside {__version__} on this computer:  http://localhost:{serving.port}/")
    services = _services(serving.folder)
    if serving.host in {"127.0.0.1", "localhost", "::1"}:
        services.note_base("")
        print("Only this computer can open it; start with --host 0.0.0.0 to let phones in. Ctrl-C stops.")
    else:
        host = lan_address() if serving.host in {"0.0.0.0", "::"} else serving.host
        services.note_base(f"http://{f'[{host}]' if ':' in host else host}:{serving.port}")
        _tell_invitation(services, role)
        print("Later on:  python app.py pair, or More, Devices on the page of an owner. Ctrl-C stops.")
    services.close()
    sys.stdout.flush()


def _tell_invitation(services: "Services", role: str, name: str | None = None) -> None:
    from roastlog.label.qr import terminal  # noqa: PLC0415 - `--help` answers at once

    made, base = services.invite(role, name=name), services.noted_base()
    if base:
        link = f"{base}/pair/{made.secret}"
        print(f"A phone in the same network, to {made.role.word}:  {link}")
        print(terminal(link, colour=sys.stdout.isatty()))
    print(f"Or open {base or 'Drumside'}/pair on it and type  {made.code[:3]} {made.code[3:]}")
    print(f"Either lets one device in, with the role {made.role.word}, for ten minutes.")
