"""Taking a scan: what it is, its pixels made few, its pixels in full where they are asked for."""

from collections import OrderedDict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import fields
from threading import Lock

import numpy as np
import numpy.typing as npt

from negcat.errors import QuantityError
from negcat.places import Place, place_of
from negcat.scans.blocks import Gatherer, Gleaned, reduction_factor
from negcat.scans.directory import check_directories
from negcat.scans.dng import is_dng, read_dng
from negcat.scans.files import Checksum, Damaged, Master, opened
from negcat.scans.levels import Levels
from negcat.scans.making import NewPyramid
from negcat.scans.model import Reduced, ScanHeader, ScanInfo
from negcat.scans.picture import Geometry, Part, Picture, Pixels
from negcat.scans.tags import facts
from negcat.scans.tiff import read_tiff
from negcat.scans.whole import PNG_SIGNATURE, read_jpeg, read_png

__all__ = ["identify", "read_header", "read_patch", "read_patches", "read_reduced", "take"]

TIFF_SIGNATURES = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")

OTHERS = (
    (b"GIF8", "a GIF"),
    (b"BM", "a Windows bitmap"),
    (b"%PDF", "a PDF"),
    (b"8BPS", "a layered picture"),
    (b"\0\0\0\x0cjP  ", "a JPEG 2000"),
    (b"\xff\x4f\xff\x51", "a JPEG 2000"),
    (b"\0\0\0\x0cJXL ", "a JPEG XL"),
    (b"\xff\x0a", "a JPEG XL"),
    (b"#?RADIANCE", "a radiance picture"),
    (b"v/1\x01", "an OpenEXR"),
    (b"PK\x03\x04", "a ZIP archive"),
)

HEADERS_KEPT = 16


def _picture(master: Master) -> Picture:
    """Read a picture's header; the last few are kept, since a probe asks for the same one again and again."""
    key = (str(master.path), master.size, master.modified_ns)
    with _lock:
        if key in _headers:
            _headers.move_to_end(key)
            return _headers[key]
    head = master.head(16)
    picture: Picture
    if head[:4] in TIFF_SIGNATURES:
        check_directories(master)
        picture = read_dng(master) if is_dng(master) else read_tiff(master)
    elif head[:8] == PNG_SIGNATURE:
        picture = read_png(master)
    elif head[:3] == b"\xff\xd8\xff":
        picture = read_jpeg(master)
    else:
        kind = next((name for start, name in OTHERS if head.startswith(start)), None)
        kind = kind or ("a WebP" if head[:4] == b"RIFF" and head[8:12] == b"WEBP" else None)
        kind = kind or ("a HEIF" if head[4:8] == b"ftyp" else None)
        what = f"it is {kind}" if kind else "it is none of TIFF, PNG and JPEG, or its beginning is damaged"
        msg = f"{what}; scan or save it as a TIFF of 16 bits"
        raise Damaged(msg)
    with _lock:
        _headers[key] = picture
        while len(_headers) > HEADERS_KEPT:
            _headers.popitem(last=False)
    return picture


_lock = Lock()
_headers: OrderedDict[tuple[str, int, int], Picture] = OrderedDict()


def _header(master: Master, picture: Picture) -> ScanHeader:
    geometry = picture.geometry
    width, height = geometry.upright_size
    told = picture.told
    known = facts(
        told.values,
        texts=told.texts,
        xmp=told.xmp,
        icc=told.icc,
        density=told.density,
        width=width,
        height=height,
    )
    return ScanHeader(
        path=master.path,
        size_bytes=master.size,
        modified_ns=master.modified_ns,
        file_format=picture.file_format,
        width=width,
        height=height,
        bits=geometry.bits,
        mode="rgb" if geometry.channels == 3 else "grey",
        dpi=known.dpi,
        make=known.make,
        model=known.model,
        software=known.software,
        description=known.description,
        taken_at=known.taken_at,
        orientation=geometry.orientation,
        compression=picture.compression,
        lossy=picture.compression == "jpeg",
        pages=picture.pages,
        colour_profile=known.colour_profile,
        exponent=known.exponent,
        notes=told.notes + known.notes,
    )


def _identified(header: ScanHeader, sha256: str) -> ScanInfo:
    return ScanInfo(sha256=sha256, **{entry.name: getattr(header, entry.name) for entry in fields(header)})


def read_header(path: str | Place) -> ScanHeader:
    """Read what an image file says of itself, without its pixels and without a checksum; milliseconds.

    Raises
    ------
    ScanError
        See `identify`.
    """
    with opened(place_of(path)) as master:
        return _header(master, _picture(master))


def identify(path: str | Place) -> ScanInfo:
    """Read what an image file says of itself and compute its SHA-256.

    The pixels aren't decoded: a file whose header is sound and whose data lie inside it, but are broken, is
    found out by `read_reduced` or `take`.

    Raises
    ------
    ScanError
        The file is missing, not readable, empty, cut short, not TIFF, PNG, JPEG or linear DNG, or of a kind
        that can't be measured (palette, CMYK, floating point, other than 8 or 16 bits, under 16 pixels, beyond four
        thousand million), or it changed meanwhile.
    """
    with opened(place_of(path), whole=True) as master:
        checksum = Checksum(master)
        header = _header(master, _picture(master))
        checksum.start()
        return _identified(header, checksum.result())


def _reduce(master: Master, picture: Picture, max_side: int, levels: Levels | None = None) -> Reduced:
    geometry = picture.geometry
    gatherer = Gatherer(geometry, reduction_factor(geometry.width, geometry.height, max_side))

    def glean(part: Part) -> Gleaned:
        if levels is not None:
            levels.add(part)
        return gatherer.glean(part)

    for found in picture.stream(master, glean):
        gatherer.add(found)
    return gatherer.reduced()


def read_reduced(scan: ScanHeader, max_side: int = 1600) -> Reduced:
    """Read the whole picture as means of square blocks; at the same time the proof that it is whole.

    Parameters
    ----------
    scan : from `identify` or `read_header`; refused if the file has changed since.
    max_side : the longer side of the result, in blocks, at most.

    Returns
    -------
    Reduced
        Upright, in 16-bit codes, more = more light.

    Raises
    ------
    ScanError
        As `identify`; and where any part of the picture is missing or can't be decoded.
    """
    if max_side < 1:
        msg = f"a picture can't be reduced to {max_side} pixels; ask for one or more"
        raise QuantityError(msg)
    with opened(scan.path, size=scan.size_bytes, modified_ns=scan.modified_ns, whole=True) as master:
        return _reduce(master, _picture(master), max_side)


def take(
    path: str | Place, max_side: int = 1600, *, pyramid: NewPyramid | None = None
) -> tuple[ScanInfo, Reduced]:
    """Do `identify` and `read_reduced` in one pass: the checksum is computed beside the decoding.

    Parameters
    ----------
    path : the master, or its address.
    max_side : the longer side of the reduced picture, in blocks, at most.
    pyramid : to be made in the same pass. Once the scan is known to be whole it lies at `pyramid.path`, or
        `pyramid.fault` says why it couldn't be written.

    Raises
    ------
    ScanError
        As `read_reduced`; there is no pyramid then.
    """
    if max_side < 1:
        msg = f"a picture can't be reduced to {max_side} pixels; ask for one or more"
        raise QuantityError(msg)
    levels: Levels | None = None
    try:
        with opened(place_of(path), whole=True) as master:
            picture = _picture(master)
            header = _header(master, picture)
            checksum = Checksum(master)
            checksum.start()
            try:
                if pyramid is not None:
                    levels = pyramid.begin(picture, header)
                reduced = _reduce(master, picture, max_side, levels)
            except BaseException:
                # the thread must be done with the file before it is closed
                with suppress(OSError, Damaged):
                    checksum.result()
                raise
            info = _identified(header, checksum.result())
        if pyramid is not None and levels is not None:
            pyramid.finish(info, levels)
    finally:
        if pyramid is not None:
            pyramid.discard()
    return info, reduced


def _as_codes(pixels: Pixels, geometry: Geometry) -> npt.NDArray[np.uint16]:
    codes = pixels.astype(np.uint16)
    if geometry.bits == 8:
        codes *= np.uint16(257)
    if geometry.inverted:
        np.subtract(np.uint16(65535), codes, out=codes)
    return np.ascontiguousarray(geometry.upright(codes))


def read_patches(
    scan: ScanHeader | str | Place, boxes: Sequence[tuple[int, int, int, int]]
) -> list[npt.NDArray[np.uint16]]:
    """Read several rectangles at full resolution, decoding each strip or tile they touch once for all.

    Parameters
    ----------
    scan : from `identify` or `read_header` (refused if the file has changed since), or a path.
    boxes : (x0, y0, x1, y1) in upright pixels, ends exclusive; each is cut down to the picture.

    Returns
    -------
    list
        uint16 (rows, columns, channels) for each box, upright, more = more light.

    Raises
    ------
    QuantityError
        A box lies outside the picture or is empty.
    ScanError
        As `read_reduced`, as far as what was touched is concerned.
    """
    path, size, modified_ns = (
        (scan.path, scan.size_bytes, scan.modified_ns)
        if isinstance(scan, ScanHeader)
        else (place_of(scan), None, None)
    )
    with opened(path, size=size, modified_ns=modified_ns) as master:
        picture = _picture(master)
        geometry = picture.geometry
        width, height = geometry.upright_size
        stored = []
        for box in boxes:
            x0, y0, x1, y1 = max(0, box[0]), max(0, box[1]), min(width, box[2]), min(height, box[3])
            if x0 >= x1 or y0 >= y1:
                msg = f"{path}: the box {box} is empty or outside the picture of {width} × {height} pixels"
                raise QuantityError(msg)
            stored.append(geometry.stored_box(x0, y0, x1, y1))
        return [_as_codes(pixels, geometry) for pixels in picture.boxes(master, stored)]


def read_patch(scan: ScanHeader | str | Place, x0: int, y0: int, x1: int, y1: int) -> npt.NDArray[np.uint16]:
    """Read one rectangle at full resolution; see `read_patches`, which is quicker for several."""
    return read_patches(scan, [(x0, y0, x1, y1)])[0]
