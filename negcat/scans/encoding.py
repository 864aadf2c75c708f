"""Tones as files for a screen: JPEG and PNG, in memory."""

import io
from typing import Literal

import numpy as np
import numpy.typing as npt
from PIL import Image

__all__ = ["Encoding", "encoded"]

Encoding = Literal["jpg", "png"]

QUALITY = 90


def encoded(
    tones: npt.NDArray[np.uint8], encoding: Encoding, *, bitonal: bool = False, colour_profile: bytes = b""
) -> bytes:
    """Encode a picture.

    Parameters
    ----------
    tones : uint8 (rows, columns, channels) with 1 or 3 channels.
    encoding : ``jpg`` (colour isn't subsampled) or ``png``.
    bitonal : the tones are only 0 and 255; a PNG then takes one bit a pixel.
    colour_profile : the ICC profile that the tones are in; empty for sRGB.

    Returns
    -------
    The file's bytes.

    Examples
    --------
    >>> encoded(np.zeros((2, 3, 1), np.uint8), "png")[1:4]
    b'PNG'
    """
    picture = Image.fromarray(np.ascontiguousarray(tones[..., 0] if tones.shape[2] == 1 else tones))
    file = io.BytesIO()
    more = {"icc_profile": colour_profile} if colour_profile else {}
    if encoding == "jpg":
        picture.save(file, "JPEG", quality=QUALITY, subsampling=0, **more)
    else:
        # Level 1: a screen waits for it, and grain doesn't compress anyway.
        (picture.convert("1") if bitonal else picture).save(file, "PNG", compress_level=1, **more)
    return file.getvalue()
