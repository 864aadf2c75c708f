"""Previews: tones of our own, written as JPEG, never beside a master."""

import io
from contextlib import suppress
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image

from negcat.errors import QuantityError, ScanError
from negcat.scans.strictness import check_jpeg
from negcat.whole_files import clear_unfinished as clear_unfinished_in
from negcat.whole_files import written_whole

__all__ = ["clear_unfinished", "preview_is_whole", "preview_of", "write_preview"]


def preview_of(
    tones: npt.NDArray[np.uint8], quality: int = 85, *, size: tuple[int, int] | None = None
) -> bytes:
    """Encode 8-bit tones as a JPEG.

    Parameters
    ----------
    tones : uint8, (h, w) or (h, w, 1) grey, or (h, w, 3) RGB.
    quality : 1 to 95, of the JPEG; colour isn't subsampled, and no metadata is written.
    size : width and height to bring the picture to (Lanczos, which keeps edges crisp); None leaves it as it is.

    Returns
    -------
    The file's bytes.

    Raises
    ------
    QuantityError
        `tones` is no such array.
    """
    if tones.ndim == 3 and tones.shape[2] == 1:
        tones = tones[..., 0]
    if tones.dtype != np.uint8 or tones.ndim not in {2, 3} or (tones.ndim == 3 and tones.shape[2] != 3):
        msg = f"a preview is made of 8-bit grey or RGB, not of {tones.dtype} {tones.shape}"
        raise QuantityError(msg)
    if 0 in tones.shape or max(tones.shape) > 65_500:
        msg = f"a JPEG has 1 to 65,500 pixels along a side, not {tones.shape[1]} × {tones.shape[0]}"
        raise QuantityError(msg)
    picture = Image.fromarray(np.ascontiguousarray(tones))
    if size is not None and size != picture.size:
        picture = picture.resize(size, Image.Resampling.LANCZOS)
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=quality, subsampling=0, optimize=False)
    return file.getvalue()


def write_preview(preview: bytes, path: str | Path) -> None:
    """Write a preview, whole or not at all.

    Parameters
    ----------
    preview : the file's bytes.
    path : where to; a file that is there is replaced at once, so that no reader sees half a preview.

    Raises
    ------
    ScanError
        The folder is missing, full, or not writable.
    """
    target = Path(path)
    try:
        with written_whole(target) as unfinished:
            unfinished.write_bytes(preview)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        msg = (
            f"{target}: the preview can't be written ({reason}); check the folder and the space on its disk."
        )
        raise ScanError(msg) from error


def clear_unfinished(previews: Path) -> None:
    """Clear away the derivatives that killed programs left unfinished.

    Parameters
    ----------
    previews : the folder of derivatives.
    """
    clear_unfinished_in(previews)
    with suppress(OSError):
        for folder in previews.iterdir():
            if folder.is_dir():
                clear_unfinished_in(folder)


def preview_is_whole(path: str | Path, width: int, height: int) -> bool:
    """Tell whether a preview is there, of these sizes in pixels, and can be read to its end."""
    try:
        data = Path(path).read_bytes()
        check_jpeg(data, width, height)
    except (OSError, ValueError):
        return False
    return True
