"""Commands: a few lines each; what they do is in the services."""

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Final

from roastlog import __version__
from roastlog.errors import DrumsideError, SettingError, SheetError
from roastlog.private import UMASK

if TYPE_CHECKING:
    from roastlog.lan.secure import SecureServer
    from roastlog.services import Services
    from roastlog.web.server import Serving

DATA: Final = Path("drumside-data")
PORT: Final = 8080
SECURE_PORT: Final = 8443


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command that was asked for; a mistake ends with a sentence, not with a traceback."""
    asked = _parser().parse_args(arguments)
    before = os.umask(UMASK)
    try:
        asked.run(asked)
    except DrumsideError as error:
        sys.exit(str(error))
    except KeyboardInterrupt:
        sys.exit(130)
    finally:
        os.umask(before)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="drumside", description="The roast record at the roaster's side.")
    parser.add_argument("--version", action="version", version=f"Drumside {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    serve = commands.add_parser("serve", help="record, and serve the pages")
    _with_data(serve)
    serve.add_argument("--host", help="address to listen on (127.0.0.1); 0.0.0.0, as with --lan, for the network")
    serve.add_argument("--port", type=int, default=PORT, help=f"port to listen on ({PORT})")
    _with_lan(serve)
    serve.add_argument("--cert", type=Path, metavar="FILE", help="with --lan: a certificate of your own, in PEM")
    serve.add_argument("--key", type=Path, metavar="FILE", help="with --cert: its private key, in PEM")
    words = "believe the forwarded headers of N reverse proxies in front (1)"
    serve.add_argument("--behind-proxy", type=int, nargs="?", const=1, default=0, metavar="N", help=words)
    serve.set_defaults(run=_serve)

    demo = commands.add_parser("demo", help="an invented roastery with a simulated machine, in a fresh folder")
    demo.add_argument("--data", type=Path, help="keep the demo in this folder instead of a fresh one")
    demo.add_argument("--host", default="0.0.0.0", help="address to listen on; 127.0.0.1 for this computer alone")
    demo.add_argument("--port", type=int, default=PORT, help=f"port to listen on ({PORT})")
    _with_lan(demo)
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

    rebuild = commands.add_parser("rebuild", help="make all lists anew from the journal, with the same content")
    _with_data(rebuild)
    rebuild.set_defaults(run=_rebuild)

    _add_machine(commands)
    return parser


def _add_machine(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
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


def _with_data(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--data", type=Path, default=DATA, help=f"data folder ({DATA})")


def _with_lan(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--lan", action="store_true", help="a secure page for the phones in this network")
    words = f"with --lan: port of the secure page ({SECURE_PORT})"
    parser.add_argument("--secure-port", type=int, default=SECURE_PORT, metavar="N", help=words)


def _with_role(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--role", default="operate", help="look, operate, decide or own (operate)")


def _services(folder: Path) -> "Services":
    from roastlog.clock import Clock  # noqa: PLC0415 - `--help` answers at once
    from roastlog.services import open_services  # noqa: PLC0415

    return open_services(folder, Clock())


def _serve(asked: argparse.Namespace) -> None:
    from roastlog.web.server import Serving, secured, serve  # noqa: PLC0415 - `--help` answers at once

    _check_lan(asked)
    host, secure = asked.host or ("0.0.0.0" if asked.lan else "127.0.0.1"), None
    if asked.lan:
        secure = secured(asked.data, host, asked.port, asked.secure_port, certificate=asked.cert, key=asked.key)
    serving = Serving(asked.data, host, asked.port, secure=secure, proxies=asked.behind_proxy)
    tell_address(serving)
    serve(serving)


def _check_lan(asked: argparse.Namespace) -> None:
    """Refuse options that do not go together; what somebody meant by them cannot be guessed."""
    if (asked.cert is None) != (asked.key is None):
        raise SettingError(
            "--cert and --key belong together: the certificate in one file, its private key in the other."
        )
    if asked.cert is not None and not asked.lan:
        raise SettingError("--cert and --key are for the secure page: add --lan.")
    if asked.behind_proxy < 0:
        raise SettingError("--behind-proxy takes the number of proxies in front, mostly 1.")
    if asked.behind_proxy and asked.lan:
        raise SettingError(
            "--behind-proxy and --lan exclude each other: behind a proxy the page is made secure by the proxy."
        )


def _demo(asked: argparse.Namespace) -> None:
    # The demo's folder stands beside the package in a checkout, and inside it in a wheel.
    name = "roastlog.demo" if find_spec("roastlog.demo") else "demo"
    import_module(f"{name}.run").run_demo(
        asked.data, asked.host, asked.port, asked.speed, secure_port=asked.secure_port if asked.lan else None
    )


def _token(asked: argparse.Namespace) -> None:
    services = _services(asked.data)
    print(services.devices.new_token(asked.name, asked.role))
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


def _rebuild(asked: argparse.Namespace) -> None:
    from roastlog.services import rebuild  # noqa: PLC0415 - `--help` answers at once

    print(rebuild(asked.data))


def _machine_import(asked: argparse.Namespace) -> None:
    try:
        text = asked.sheet.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise SheetError(f"{asked.sheet} cannot be read ({error}). A sheet is plain text in UTF-8, in TOML.") from None
    services = _services(asked.data)
    machine = services.machines.keep_sheet(text)
    services.close()
    print(f"{machine.name} is set up; a server that is running reads it after a restart.")


def _machine_export(asked: argparse.Namespace) -> None:
    services = _services(asked.data)
    print(services.machines.sheet(asked.id), end="")
    services.close()


def tell_address(serving: "Serving", role: str = "operate") -> None:
    """Print where to go, and what lets a first phone in."""
    from roastlog.services import lan_address  # noqa: PLC0415 - `--help` answers at once

    print(f"Drumside {__version__} on this computer:  http://localhost:{serving.port}/")
    services, host = _services(serving.folder), serving.host
    if host in {"0.0.0.0", "::"}:
        host = lan_address()
    if serving.secure is not None:
        services.address.note_base(_tell_secure(serving.secure, host))
    elif host in {"127.0.0.1", "localhost", "::1"}:
        services.address.note_base("")
        print("Only this computer can open it; start with --lan to let phones in.")
    else:
        services.address.note_base(f"http://{f'[{host}]' if ':' in host else host}:{serving.port}")
        print("Plain HTTP: phones can tap and see the curve, but not install the app, keep pages for a lost network,")
        print("keep the screen awake or scan with the camera; and who listens in the network reads along. See --lan.")
    if services.address.noted_base():
        _tell_invitation(services, role)
        print("Later on:  python app.py pair, or More, Devices on the page of an owner.")
    print("Ctrl-C stops.")
    services.close()
    sys.stdout.flush()


def _tell_secure(secure: "SecureServer", host: str) -> str:
    """Print what there is to know of the secure page; where a device begins that shall be let in."""
    for sentence in secure.told:
        print(sentence)
    print(f"Secure, in the network:  {'  or  '.join(f'{base}/' for base in secure.bases)}")
    if secure.authority is None:
        return secure.bases[0]
    print("A phone has to trust this computer once; the QR leads it there. Compare the number that it shows:")
    half = len(secure.authority.fingerprint) // 2
    print(f"  {secure.authority.fingerprint[:half].strip()}\n  {secure.authority.fingerprint[half:].strip()}")
    return secure.trust_base(host)


def _tell_invitation(services: "Services", role: str, name: str | None = None) -> None:
    from roastlog.label.qr import terminal  # noqa: PLC0415 - `--help` answers at once

    made = services.pairing.invite(role, name=name)
    if services.address.noted_base():
        link = services.address.way_in(made.secret)
        print(f"A phone in the same network, to {made.role.word}:  {link}")
        print(terminal(link, colour=sys.stdout.isatty()))
    print(f"Or open {services.address.way_in() or 'Drumside'} on it and type  {made.code[:3]} {made.code[3:]}")
    print(f"Either lets one device in, with the role {made.role.word}, for ten minutes.")
