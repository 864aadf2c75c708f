"""Whether a JPEG stream is whole, and no larger than it should be.

The decoders that give pixels fill what is missing with grey and say nothing. This one says so.
"""

import re

import simplejpeg

__all__ = ["check_jpeg"]

MOST_SCANS = 100
"""Passes over the picture in which a progressive JPEG refines it; programs write ten. Each one takes its time."""

_MARKER = re.compile(rb"\xff[\x02-\xcf\xd9-\xfe]")


def _scans(data: bytes) -> int:
    """Count the passes of a stream, up to its end."""
    scans, at = 0, 2
    while (marker := _MARKER.search(data, at)) is not None:
        code = data[marker.start() + 1]
        if code == 0xD9:
            break
        scans += code == 0xDA
        at = marker.end() + max(2, int.from_bytes(data[marker.end() : marker.end() + 2], "big"))
    return scans


def check_jpeg(data: bytes, width: int, height: int) -> None:
    """Raise ValueError where a JPEG stream is cut short or corrupt, or larger than it should be.

    All of its codes are read, but only an eighth of the pixels along each side are made of them.

    Parameters
    ----------
    data : the stream.
    width, height : pixels it may have at most.
    """
    rows, columns, _, _ = simplejpeg.decode_jpeg_header(data)
    if rows > height or columns > width:
        msg = f"it has {columns} × {rows} pixels"
        raise ValueError(msg)
    if _scans(data) > MOST_SCANS:
        msg = "it has too many scans"
        raise ValueError(msg)
    simplejpeg.decode_jpeg(data, "GRAY", fastdct=True, min_height=1, min_width=1, strict=True)
