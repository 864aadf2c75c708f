"""Files that leave the archive: written whole, and never over another."""

from __future__ import annotations

import os
from pathlib import Path
from tempfile import NamedTemporaryFile

from negcat.errors import NegcatError

__all__ = ["FileThereError", "refuse_existing", "write_file"]


class FileThereError(NegcatError):
    """A file that would be written stands there already."""


def refuse_existing(path: Path, *, overwrite: bool) -> None:
    """Refuse, before any work is done, to write over a file.

    Raises
    ------
    FileThereError : the path is a folder, or a file that may not be overwritten, or its folder is absent.
    """
    if path.is_dir():
        raise FileThereError(f"{path} is a folder; name a file in it")
    if not path.absolute().parent.is_dir():
        raise FileThereError(
            f"{path} can't be written: there is no folder {path.absolute().parent}; make it first"
        )
    if (path.exists() or path.is_symlink()) and not overwrite:
        raise FileThereError(f"{path} is there already; name another file, or add --overwrite to replace it")


def write_file(path: Path, content: bytes, *, overwrite: bool) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : where to.
    content : all of it.
    overwrite : a file that is there may be replaced.

    Raises
    ------
    FileThereError : as :func:`refuse_existing`.
    """
    refuse_existing(path, overwrite=overwrite)
    target = path.resolve()
    with NamedTemporaryFile(dir=target.parent, prefix=f".{target.name}-", delete=False) as under_way:
        unfinished = Path(under_way.name)
        try:
            under_way.write(content)
            under_way.flush()
            # Readable as an ordinary new file is; a temporary one is only its owner's.
            unfinished.chmod(0o666 & ~_umask())
            if overwrite:
                unfinished.replace(target)
            else:
                # Fails where a file came there meanwhile.
                os.link(unfinished, target)
                unfinished.unlink()
        except FileExistsError:
            unfinished.unlink(missing_ok=True)
            raise FileThereError(
                f"{path} is there already; name another file, or add --overwrite to replace it"
            ) from None
        except OSError:
            unfinished.unlink(missing_ok=True)
            raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
