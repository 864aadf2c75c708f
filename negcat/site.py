"""From the command line to the pages that leave the archive as files.

As :mod:`negcat.serving` does for served pages: ``cli`` and ``web`` don't know each other, and a command that writes no
pages doesn't load what makes them.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from negcat.work.archive import Archive

if TYPE_CHECKING:
    from negcat.web.site import Site

__all__ = ["site_of"]


def site_of(archive: Archive, folder: Path) -> Site:
    """Begin a site.

    Parameters
    ----------
    archive : the archive, which is only read.
    folder : where to.

    Returns
    -------
    The site, written as it is iterated.
    """
    from negcat.web.site import Site

    return Site(archive, folder)
