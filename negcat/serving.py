"""From the command line to the web view.

``cli`` and ``web`` don't know each other; this module stands above both and hands over, so that a command
that serves nothing doesn't load a web server.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

__all__ = ["serve"]


def serve(
    root: Path,
    host: str,
    port: int,
    *,
    say: Callable[[str], object] = print,
    public_read: bool = False,
    behind: str = "",
) -> None:
    """Serve an archive's web view until interrupted.

    Parameters
    ----------
    root : the archive's folder.
    host, port : where to listen; port 0 for any that is free.
    say : called with each line for the user, the address first.
    public_read : on an address that other machines reach, let anyone read without signing in.
    behind : the address under which something else hands requests on to it; empty for none.

    Raises
    ------
    NegcatError : the address can't be listened on, or `behind` is none.
    """
    from negcat.web.serving import serve as serve_web

    serve_web(root, host, port, say=say, public_read=public_read, behind=behind)
