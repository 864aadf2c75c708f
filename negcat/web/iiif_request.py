"""The request syntax of the IIIF Image API 3.0: what a part of an address asks of a picture.

Read here is only text; no picture is opened. What can't be answered is a :class:`RequestError` with the status
that the standard gives it: 400 for what is wrong, 501 for what is right and isn't done here.
"""

from __future__ import annotations

import re
from math import isfinite, sqrt

from negcat.errors import NegcatError
from negcat.work.tiles import Drawing, Quality

__all__ = ["FORMATS", "MAX_AREA", "QUALITIES", "RequestError", "canonical", "read_request"]

MAX_AREA = 4096 * 4096
"""Pixels of the largest picture sent at once; the whole of a larger scan is to be had in tiles."""

QUALITIES: dict[str, Quality] = {
    "default": "colour",
    "color": "colour",
    "gray": "grey",
    "bitonal": "bitonal",
}
FORMATS = {"jpg": "image/jpeg", "png": "image/png"}
OTHER_FORMATS = ("tif", "gif", "pdf", "jp2", "webp")
"""Formats that the standard names and that aren't made here."""

_WHOLE = r"\d{1,9}"
_NUMBER = r"\d{1,9}(?:\.\d{1,12})?|\.\d{1,12}"
_PIXELS = re.compile(rf"({_WHOLE}),({_WHOLE}),({_WHOLE}),({_WHOLE})", re.ASCII)
_PERCENT = re.compile(rf"pct:({_NUMBER}),({_NUMBER}),({_NUMBER}),({_NUMBER})", re.ASCII)
_SIZE = re.compile(rf"(!?)({_WHOLE})?,({_WHOLE})?", re.ASCII)
_SCALE = re.compile(rf"pct:({_NUMBER})", re.ASCII)
_ROTATION = re.compile(rf"(!?)({_NUMBER})", re.ASCII)

_Box = tuple[int, int, int, int]


class RequestError(NegcatError):
    """A request that isn't answered.

    Parameters
    ----------
    status : of HTTP, 400 or 501.
    sentence : why.
    """

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status = status


def read_request(parts: tuple[str, str, str, str], width: int, height: int) -> Drawing:
    """Read a request.

    Parameters
    ----------
    parts : region, size, rotation and ``quality.format``, decoded.
    width, height : of the whole picture.

    Raises
    ------
    RequestError : it is wrong, or asks for something that isn't done here.

    Examples
    --------
    >>> read_request(("square", "!300,200", "90", "default.jpg"), 1000, 600)
    Drawing(box=(200, 0, 800, 600), width=200, height=200, mirrored=False, quarter_turns=1, quality='colour', encoding='jpg')
    """  # noqa: E501 - a doctest's answer
    region, size, rotation, ending = parts
    quality, dot, encoding = ending.rpartition(".")
    if not dot or quality not in QUALITIES:
        raise RequestError(
            400, f"There is no quality “{quality if dot else ending}”: ask for {_list(QUALITIES)}."
        )
    if encoding not in FORMATS:
        if encoding in OTHER_FORMATS:
            raise RequestError(501, f"Pictures aren’t made as {encoding} here: ask for {_list(FORMATS)}.")
        raise RequestError(400, f"There is no format “{encoding}”: ask for {_list(FORMATS)}.")
    box = _region(region, width, height)
    across, down = _size(size, box[2] - box[0], box[3] - box[1])
    mirrored, turns = _rotation(rotation)
    return Drawing(
        box, across, down, mirrored, turns, QUALITIES[quality], "jpg" if encoding == "jpg" else "png"
    )


def _list(names: object) -> str:
    *most, last = list(names)  # type: ignore[call-overload]
    return f"{', '.join(most)} or {last}"


def _region(text: str, width: int, height: int) -> _Box:
    if text == "full":
        return 0, 0, width, height
    if text == "square":
        side = min(width, height)
        left, top = (width - side) // 2, (height - side) // 2
        return left, top, left + side, top + side
    if match := _PIXELS.fullmatch(text):
        x, y, w, h = (int(part) for part in match.groups())
    elif match := _PERCENT.fullmatch(text):
        shares = [float(part) / 100 for part in match.groups()]
        x, y, w, h = (
            round(share * side) for share, side in zip(shares, (width, height, width, height), strict=True)
        )
    else:
        raise RequestError(
            400, f"The region “{text}” can’t be read: write full, square, x,y,w,h or pct:x,y,w,h."
        )
    if w == 0 or h == 0 or x >= width or y >= height:
        raise RequestError(
            400, f"The region “{text}” holds nothing of the picture, which has {width} × {height} pixels."
        )
    return x, y, min(x + w, width), min(y + h, height)


def _size(text: str, width: int, height: int) -> tuple[int, int]:
    """Read the size; width and height are the region's.

    A box ``!w,h`` larger than the region both ways is refused like any other size that would enlarge, as the
    public validator of the standard holds it.
    """
    if text.startswith("^"):
        if text == "^max" or _SIZE.fullmatch(text[1:]) or _SCALE.fullmatch(text[1:]):
            raise RequestError(
                501, "Pictures aren’t enlarged here: ask for a size up to the region’s, without ^."
            )
        raise _unread(text)
    if text == "max":
        return _largest(width, height)
    if match := _SCALE.fullmatch(text):
        share = float(match[1]) / 100
        across, down = width * share, height * share
    elif (match := _SIZE.fullmatch(text)) and (match[2] or match[3]):
        w, h = (int(part) if part else None for part in match.groups()[1:])
        if match[1]:
            if w is None or h is None:
                raise _unread(text)
            share = min(w / width, h / height)
            across, down = width * share, height * share
        else:
            across = w if w is not None else width * (h or 0) / height
            down = h if h is not None else height * (w or 0) / width
        if 0 in (w, h):
            raise RequestError(400, f"The size “{text}” is empty.")
    else:
        raise _unread(text)
    if not (isfinite(across) and isfinite(down)) or round(across) > width or round(down) > height:
        raise RequestError(
            400, f"The size “{text}” would enlarge the region, which has {width} × {height} pixels."
        )
    found = round(across), round(down)
    if match.re is _SCALE and 0 in found and share == 0:
        raise RequestError(400, f"The size “{text}” is empty.")
    found = max(found[0], 1), max(found[1], 1)
    if found[0] * found[1] > MAX_AREA:
        raise RequestError(
            400,
            f"The size “{text}” has more than the {MAX_AREA} pixels that are sent at once: ask for tiles.",
        )
    return found


def _unread(text: str) -> RequestError:
    return RequestError(400, f"The size “{text}” can’t be read: write max, w, or ,h or w,h or !w,h or pct:n.")


def _largest(width: int, height: int) -> tuple[int, int]:
    """Give the largest size that is sent at once, in the region's proportions."""
    share = min(1.0, sqrt(MAX_AREA / (width * height)))
    return max(1, int(width * share)), max(1, int(height * share))


def _rotation(text: str) -> tuple[bool, int]:
    match = _ROTATION.fullmatch(text)
    degrees = float(match[2]) if match else -1.0
    if match is None or not 0 <= degrees <= 360:
        raise RequestError(
            400, f"The rotation “{text}” can’t be read: write 0 to 360, after a ! to mirror first."
        )
    if degrees % 90:
        raise RequestError(501, "Pictures are turned only by 0, 90, 180 or 270 degrees here.")
    return bool(match[1]), int(degrees // 90) % 4


def canonical(wanted: Drawing, width: int, height: int, quality: str) -> str:
    """Write a request in the standard's canonical form (Image API 3.0, 4.7).

    Parameters
    ----------
    wanted : the request.
    width, height : of the whole picture.
    quality : as it was asked for.

    Examples
    --------
    >>> canonical(read_request(("0,0,1000,600", "500,", "!0", "color.png"), 1000, 600), 1000, 600, "color")
    'full/500,300/!0/default.png'
    """
    x0, y0, x1, y1 = wanted.box
    whole = wanted.box == (0, 0, width, height)
    region = "full" if whole else f"{x0},{y0},{x1 - x0},{y1 - y0}"
    largest = (wanted.width, wanted.height) == _largest(x1 - x0, y1 - y0)
    size = "max" if largest else f"{wanted.width},{wanted.height}"
    turned = f"{'!' if wanted.mirrored else ''}{wanted.quarter_turns * 90}"
    named = "default" if wanted.quality == "colour" else quality
    return f"{region}/{size}/{turned}/{named}.{wanted.encoding}"
