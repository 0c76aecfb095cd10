"""`intervals serve`: pages over the plant's own network, to read what is due and to hand in cards."""

from __future__ import annotations

import os
import re
import shlex
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.options import SiteArgument, named_path
from intervals.cli.common.output import Answer
from intervals.cli.common.site_request import SiteRequest

if TYPE_CHECKING:
    from ipaddress import IPv4Address, IPv6Address

    from intervals.serve.passphrase import Passphrase


@answers
def serve(
    *,
    site: SiteArgument,
    bind: Annotated[
        str,
        typer.Option(
            "--bind", metavar="ADDRESS", help="The address of this machine to listen on. Any but its own loopback needs a passphrase."
        ),
    ] = "127.0.0.1",
    port: Annotated[
        int, typer.Option("--port", metavar="N", min=0, max=65535, help="The port to listen on; 0 takes any that is free.")
    ] = 8460,
    passphrase_file: Annotated[
        Path | None,
        typer.Option(
            "--passphrase-file",
            metavar="FILE",
            parser=named_path,
            help="A file whose first line is the passphrase that people enter with. Without it a terminal asks for one where it is needed.",
            show_default=False,
        ),
    ] = None,
    name: Annotated[
        list[str] | None,
        typer.Option(
            "--name",
            metavar="NAME",
            help="A name that people type for this machine in a browser; it needs a passphrase. Repeat the option for more.",
            show_default=False,
        ),
    ] = None,
) -> Answer:
    """Serve a site's pages over the plant's own network, until Ctrl-C.

    What is due and the page of the month are there to read. A card is a plain form: it is judged as record judges it, the verdict and
    its reasons are shown first, and it is written after a yes. Nothing but cards and records can be written. Only this machine is
    answered unless --bind says otherwise. What is typed travels unencrypted: see intervals handbook plant-network.

    \b
    Exit codes:
      0  stopped
      2  cannot serve; every problem is listed on standard error

    \b
    Examples:
      intervals serve my-site
      intervals serve my-site --bind 192.0.2.10 --passphrase-file passphrase.txt
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    asked = SiteRequest(site)
    asked.read(_check_installed)
    address = asked.read(_address_of, bind)
    asked.read(_check_names, name or [])
    passphrase = None if address is None else asked.read(_passphrase_of, passphrase_file, is_needed=not address.is_loopback or bool(name))
    asked.ready()
    assert address is not None
    from intervals.cli.common.clock import read_clock
    from intervals.serve.serve_site import Listening, SiteServer

    server = SiteServer(asked.site, Listening(address, port, tuple(name or ()), passphrase), read_clock)
    if not address.is_loopback:
        typer.echo(_WARNING.format(address=address), err=True)
    typer.echo(f"{server.address} (Ctrl-C ends it)")
    with _ended_by_system():
        server.run()
    typer.echo("stopped")
    return Answer()


@contextmanager
def _ended_by_system() -> Iterator[None]:
    """Let the system's polite request to end do the same as Ctrl-C."""
    import signal

    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _check_installed() -> None:
    """Refuse where the libraries that serve are not installed."""
    from importlib.util import find_spec

    from intervals.problems import Problem, RequestProblemError

    lacking = [library for library in ("flask", "waitress") if find_spec(library) is None]
    if lacking:
        text, fix = f"not installed: {', '.join(lacking)}", "pip install 'engine-intervals[serve]', or pip install '.[serve]' in a clone"
        raise RequestProblemError([Problem("CLI190", "serve", None, None, text, fix)])


def _address_of(typed: str) -> IPv4Address | IPv6Address:
    """Return the address to listen on; refuse what is none."""
    from ipaddress import ip_address

    from intervals.problems import Problem, RequestProblemError

    try:
        return ip_address("127.0.0.1" if typed == "localhost" else typed)
    except ValueError:
        text, fix = f'not an address; got "{typed}"', "write for example 192.0.2.10; 0.0.0.0 means every address of this machine"
        raise RequestProblemError([Problem("CLI193", "--bind", None, None, text, fix)]) from None


def _check_names(names: Sequence[str]) -> None:
    """Refuse names that no browser could ask for."""
    from intervals.problems import Problem, RequestProblemError

    odd = [name for name in names if not re.fullmatch(r"[A-Za-z0-9](?:[A-Za-z0-9.-]{0,250}[A-Za-z0-9])?", name)]
    if odd:
        text = f"not the name of a machine: {', '.join(odd)}"
        raise RequestProblemError(
            [Problem("CLI193", "--name", None, None, text, "write for example engines.plant.example, without http:// and port")]
        )


def _passphrase_of(file: Path | None, *, is_needed: bool) -> Passphrase | None:
    """Return the passphrase out of its file, else as it is typed at a terminal where one is needed; None where none is."""
    from intervals.problems import Problem, RequestProblemError

    if file is None and not is_needed:
        return None
    _check_installed()
    from intervals.serve.passphrase import Passphrase

    if file is not None:
        passphrase = Passphrase(_first_line(file), str(file))
        if os.name == "posix" and file.stat().st_mode & _OF_OTHERS:
            typer.echo(f"! {file} can be read by other people of this machine: chmod 600 {shlex.quote(str(file))}", err=True)
        return passphrase
    if not _is_terminal():
        text, fix = "others would reach the pages without a passphrase", "write one into a file, and name it with --passphrase-file"
        raise RequestProblemError([Problem("CLI192", "--passphrase-file", None, None, text, fix)])
    return Passphrase(
        typer.prompt("Passphrase that people enter with", hide_input=True, confirmation_prompt="Once more", err=True), "passphrase"
    )


def _is_terminal() -> bool:
    """Tell whether somebody can be asked."""
    return sys.stdin is not None and sys.stdin.isatty()


def _first_line(file: Path) -> str:
    """Return the first line of a file; refuse one that cannot be read."""
    from intervals.problems import Problem, RequestProblemError

    try:
        with file.open(encoding="utf-8-sig") as stream:
            return stream.readline(10_000).rstrip("\r\n")
    except (OSError, UnicodeError) as error:
        text = f"cannot be read: {getattr(error, 'strerror', None) or 'it is not UTF-8 text'}"
        raise RequestProblemError([Problem("CLI192", str(file), None, None, text, "its first line is the passphrase")]) from None


_OF_OTHERS = 0o077
"""What a file's group, and everybody else, may do with it."""
_WARNING = (
    "! Every machine that reaches {address} reaches these pages. The passphrase and all that is typed travel unencrypted.\n"
    "! Use this only inside a network that you trust, never from the internet. See: intervals handbook plant-network"
)
COMMAND = Command(serve, place=95, short_help="Serve pages and cards over the plant's network.")
