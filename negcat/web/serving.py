"""What ``negcat serve`` starts: Datasette with this plugin, under uvicorn.

The socket is bound before anything is printed, so that the address printed is one that answers, and a port
that is taken is a sentence and no traceback.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import uvicorn
from datasette.app import Datasette

from negcat.errors import NegcatError
from negcat.work.archive import CATALOGUE_NAME

__all__ = ["ServingError", "assemble", "bind", "serve"]


class ServingError(NegcatError):
    """The address can't be listened on."""


def assemble(root: Path, *, hosts: tuple[str, ...] = (), sign_in: bool = False) -> Any:
    """Put Datasette together for an archive.

    Parameters
    ----------
    root : the archive's folder.
    hosts : names under which it is reached besides its own address.
    sign_in : whether reading asks for signing in.

    Returns
    -------
    Datasette
    """
    metadata: dict[str, Any] = {"title": root.absolute().name, "plugins": {"negcat": {"hosts": list(hosts)}}}
    if sign_in:
        metadata["allow"] = {"id": "root"}
    return Datasette(
        [str(root.absolute() / CATALOGUE_NAME)],
        metadata=metadata,
        # Suggesting facets reads whole tables; on a hundred thousand sheets that takes seconds.
        settings={"suggest_facets": False, "default_cache_ttl": 0},
    )


def bind(host: str, port: int) -> socket.socket:
    """Take hold of an address to listen on.

    Parameters
    ----------
    host : a name or address of this machine.
    port : 0 for any that is free.

    Raises
    ------
    ServingError : the host isn't this machine's, the port is taken or not allowed.
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except (OSError, OverflowError) as error:
        raise ServingError(
            f"{host} is no address that can be listened on: give one of this machine's."
        ) from error
    listener = socket.socket(family, kind, protocol)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
        listener.listen(128)
    except (OSError, OverflowError) as error:
        listener.close()
        said = getattr(error, "strerror", None) or error
        raise ServingError(
            f"Port {port} on {host} can't be listened on ({said}): choose another with --port, "
            "or --port 0 for any that is free."
        ) from error
    return listener


def serve(
    root: Path,
    host: str,
    port: int,
    *,
    say: Callable[[str], object],
    public_read: bool = False,
) -> None:
    """Serve an archive until interrupted.

    Parameters
    ----------
    root : the archive's folder.
    host, port : where to listen; port 0 for any that is free.
    say : called with each line for the user: the address and the sign-in link.
    public_read : on an address that other machines reach, let anyone read without signing in.

    Raises
    ------
    ServingError : the address can't be listened on.
    """
    listener = bind(host, port)
    bound, at = listener.getsockname()[:2]
    everywhere = ipaddress.ip_address(bound.partition("%")[0]).is_unspecified
    local = ipaddress.ip_address(bound.partition("%")[0]).is_loopback
    sign_in = not local and not public_read
    datasette = assemble(root, hosts=() if everywhere else (host,), sign_in=sign_in)
    name = socket.gethostname() if everywhere else host
    address = f"http://{f'[{name}]' if ':' in name else name}:{at}"
    link = f"{address}{datasette.urls.path('/-/auth-token')}?token={datasette._root_token}"
    if sign_in:
        say(link)
        say(
            "Open that link to sign in; it works once, and nobody reads the archive without it. "
            f"Where {name} isn't known by name, put this machine's address in its place."
        )
    else:
        say(f"{address}{datasette.urls.path('/')}")
        say(f"To write as well, sign in by this link, which works once: {link}")
    configuration = uvicorn.Config(
        datasette.app(),
        log_level="warning",
        access_log=False,
        lifespan="on",
        ws="none",
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=2,
    )
    try:
        uvicorn.Server(configuration).run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        listener.close()
