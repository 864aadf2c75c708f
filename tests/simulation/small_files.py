"""Small image files of one simulated scan, in every layout that is read: what the mutations begin with."""

import io
import struct
import zlib
from collections.abc import Callable
from functools import cache
from typing import Any

import imagecodecs
import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image, PngImagePlugin

from tests.simulation.awkward import draw_case, scan

XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/" '
    b'xmp:CreateDate="2026-05-03T07:40:00"><dc:title><rdf:Alt><rdf:li xml:lang="x-default">BW-07, kiln door'
    b"</rdf:li></rdf:Alt></dc:title></rdf:Description></rdf:RDF></x:xmpmeta>"
)


@cache
def _codes() -> NDArray[np.uint16]:
    """Codes of a sheet on its bed, some 90 × 70 pixels."""
    codes, _, _ = scan(draw_case(5, "ordinary"))
    return np.ascontiguousarray(codes[::7, ::7])


def _grey(bits: int = 16) -> NDArray[Any]:
    return _codes() if bits == 16 else (_codes() >> 8).astype(np.uint8)


def _rgb(bits: int = 16) -> NDArray[Any]:
    grey = _grey(bits)
    return np.ascontiguousarray(np.stack([grey, grey // 2 + 7, grey // 3 + 20], axis=-1))


def icc_profile() -> bytes:
    """Make a colour profile with a name and a tone curve, as small as one can be."""
    desc = (
        b"mluc"
        + bytes(4)
        + struct.pack(">II2s2sII", 1, 12, b"en", b"GB", 22, 28)
        + "Creek lamp".encode("utf-16-be")
    )
    curve = b"curv" + bytes(4) + struct.pack(">IH", 1, 563) + bytes(2)
    tags, body, at = b"", b"", 132 + 12 * 2
    for name, element in ((b"desc", desc), (b"kTRC", curve)):
        tags += struct.pack(">4sII", name, at, len(element))
        body += element
        at += len(element)
    head = struct.pack(">I", 132 + len(tags) + len(body)) + bytes(32) + b"acsp"
    return head.ljust(128, b"\0") + struct.pack(">I", 2) + tags + body


def exif_block(order: str = "<") -> bytes:
    """Make an Exif block: make and model, an orientation, a description, and the Exif directory below."""
    texts = {270: b"BW-07\0", 271: b"Tidescan\0", 272: b"Flat One\0", 306: b"2026:05:03 07:40:00\0"}
    below = {36867: b"2026:05:03 07:40:00\0", 37510: b"ASCII\0\0\0BW-07 again", 37500: bytes(range(200))}
    short = struct.pack(order + "HHIHH", 274, 3, 1, 6, 0)
    count = len(texts) + 2
    at = 8 + 2 + 12 * count + 4
    body, entries = b"", []
    for code, text in texts.items():
        entries.append((code, struct.pack(order + "HHII", code, 2, len(text), at + len(body))))
        body += text
    entries.append((274, short))
    second = at + len(body)
    entries.append((34665, struct.pack(order + "HHII", 34665, 4, 1, second)))
    head = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(order + "IH", 8, count)
    first = head + b"".join(entry for _, entry in sorted(entries)) + bytes(4) + body
    at = second + 2 + 12 * len(below) + 4
    body, found = b"", b""
    for code, raw in sorted(below.items()):
        found += struct.pack(order + "HHII", code, 2 if code == 36867 else 7, len(raw), at + len(body))
        body += raw
    return first + struct.pack(order + "H", len(below)) + found + bytes(4) + body


def _tiff(pixels: NDArray[Any], **options: Any) -> bytes:
    tags = [(700, 1, len(XMP), XMP, True), (285, 2, 0, "BW-07", True), (274, 3, 1, 6, True)]
    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer,
        pixels,
        **{
            "photometric": "rgb" if pixels.ndim == 3 and pixels.shape[-1] in {3, 4} else "minisblack",
            "description": "BW-07, kiln door",
            "software": "Tidescan 2",
            "datetime": "2026:05:03 07:40:00",
            "resolution": (300, 300),
            "iccprofile": icc_profile(),
            "metadata": None,
            "extratags": tags,
        }
        | options,
    )
    return buffer.getvalue()


def _tiff_with_exif() -> bytes:
    """Put a directory of Exif tags behind a TIFF and let its Artist tag point there in its place."""
    raw = bytearray(_tiff(_grey(), extratags=[(315, 4, 1, 0, True)]))
    block = exif_block()
    # the directory below, moved: its values lie inside it
    (count,) = struct.unpack_from("<H", block, 8)
    (start,) = struct.unpack_from("<I", block, 10 + 12 * (count - 1) + 8)
    below, shift = bytearray(block[start:]), len(raw) - start
    for entry in range(struct.unpack_from("<H", below, 0)[0]):
        at = 2 + 12 * entry + 8
        struct.pack_into("<I", below, at, struct.unpack_from("<I", below, at)[0] + shift)
    (directory,) = struct.unpack_from("<I", raw, 4)
    (count,) = struct.unpack_from("<H", raw, directory)
    for entry in range(count):
        at = directory + 2 + 12 * entry
        if struct.unpack_from("<H", raw, at)[0] == 315:
            struct.pack_into("<HHII", raw, at, 34665, 4, 1, len(raw))
    return bytes(raw + below)


def _pages(*, below: bool) -> bytes:
    """A scan with a preview before it, or with two directories below its own."""
    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer) as writer:
        if below:
            writer.write(_grey(), subifds=2, rowsperstrip=9, metadata=None)
            writer.write(_grey()[::2, ::2], subfiletype=1, metadata=None)
            writer.write(_grey()[::3, ::3], subfiletype=1, metadata=None)
        else:
            writer.write(_rgb(8)[::4, ::4], photometric="rgb", subfiletype=1, metadata=None)
            writer.write(_grey(), compression="lzw", rowsperstrip=9, metadata=None)
            writer.write(_grey()[::2, ::2], subfiletype=1, metadata=None)
    return buffer.getvalue()


def _dng(channels: int, **options: Any) -> bytes:
    name = b"Tidescan Raw One\0"
    tags = [
        (50706, 1, 4, bytes([1, 4, 0, 0]), True),
        (50708, 2, len(name), name, True),
        (50714, 3, channels, (300,) * channels, True),
        (50717, 3, channels, (65000,) * channels, True),
    ]
    pixels = _rgb() if channels == 3 else _grey()
    raw = bytearray(
        _tiff(pixels, **{"photometric": 34892 if channels == 3 else 1, "extratags": tags} | options)
    )
    if channels == 1:
        (directory,) = struct.unpack_from("<I", raw, 4)
        for entry in range(struct.unpack_from("<H", raw, directory)[0]):
            at = directory + 2 + 12 * entry
            if struct.unpack_from("<H", raw, at)[0] == 262:
                struct.pack_into("<H", raw, at + 8, 34892)
    return bytes(raw)


def png_chunk(kind: bytes, body: bytes) -> bytes:
    """Make a chunk with its length and its checksum."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def _png(pixels: NDArray[Any]) -> bytes:
    plain: bytes = imagecodecs.png_encode(pixels)
    more = (
        png_chunk(b"gAMA", struct.pack(">I", 45455))
        + png_chunk(b"pHYs", struct.pack(">IIB", 11811, 11811, 1))
        + png_chunk(b"iCCP", b"Creek lamp\0\0" + zlib.compress(icc_profile()))
        + png_chunk(b"eXIf", exif_block(">"))
        + png_chunk(b"tEXt", b"Title\0BW-07")
        + png_chunk(b"zTXt", b"Description\0\0" + zlib.compress(b"kiln door " * 9))
        + png_chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + XMP)
    )
    return plain[:33] + more + plain[33:]


def _png_by_pillow(mode: str) -> bytes:
    """PNGs of kinds that are refused: a palette, one bit."""
    buffer, text = io.BytesIO(), PngImagePlugin.PngInfo()
    text.add_text("Comment", "BW-07")
    Image.fromarray(_grey(8)).convert(mode).save(buffer, "PNG", pnginfo=text)
    return buffer.getvalue()


def _jpeg(pixels: NDArray[Any], **options: Any) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(
        buffer,
        "JPEG",
        **{
            "quality": 85,
            "dpi": (300, 300),
            "comment": b"BW-07",
            "exif": b"Exif\0\0" + exif_block(),
            "icc_profile": icc_profile(),
            "xmp": XMP,
        }
        | options,
    )
    return buffer.getvalue()


SMALL_FILES: dict[str, Callable[[], bytes]] = {
    "tiff": lambda: _tiff(_grey()),
    "tiff 8 bits": lambda: _tiff(_grey(8)),
    "tiff big-endian": lambda: _tiff(_grey(), byteorder=">"),
    "tiff in strips": lambda: _tiff(_grey(), rowsperstrip=7),
    "tiff in tiles": lambda: _tiff(_grey(), tile=(32, 48)),
    "tiff rgb": lambda: _tiff(_rgb(), rowsperstrip=20),
    "tiff rgb in planes": lambda: _tiff(
        _rgb(8).transpose(2, 0, 1), photometric="rgb", planarconfig="separate"
    ),
    "tiff planes in tiles": lambda: _tiff(
        _rgb().transpose(2, 0, 1),
        photometric="rgb",
        planarconfig="separate",
        tile=(32, 32),
        compression="zlib",
    ),
    "tiff with alpha": lambda: _tiff(
        np.dstack([_rgb(8), _grey(8)]), extrasamples=["unassalpha"], compression="lzw"
    ),
    "tiff counting dark": lambda: _tiff(_grey(), photometric="miniswhite"),
    "tiff lzw": lambda: _tiff(_grey(), compression="lzw", rowsperstrip=20),
    "tiff lzw predicted": lambda: _tiff(_rgb(), compression="lzw", predictor=2, rowsperstrip=20),
    "tiff lzw tiles": lambda: _tiff(_grey(), compression="lzw", predictor=2, tile=(32, 32)),
    "tiff deflate": lambda: _tiff(_grey(), compression="zlib", rowsperstrip=20),
    "tiff deflate in one": lambda: _tiff(_grey(), compression="zlib", predictor=2),
    "tiff packbits": lambda: _tiff(_grey(8), compression="packbits", rowsperstrip=20),
    "tiff lzma": lambda: _tiff(_grey(), compression="lzma", rowsperstrip=20),
    "tiff zstd": lambda: _tiff(_grey(), compression="zstd", rowsperstrip=20, predictor=2),
    "tiff jpeg": lambda: _tiff(_grey(8), compression="jpeg", rowsperstrip=32),
    "tiff jpeg tiles": lambda: _tiff(_rgb(8), compression="jpeg", photometric="ycbcr", tile=(32, 32)),
    "bigtiff": lambda: _tiff(_grey(), bigtiff=True, rowsperstrip=30),
    "bigtiff deflate big-endian": lambda: _tiff(
        _rgb(), bigtiff=True, byteorder=">", compression="zlib", tile=(32, 32)
    ),
    "tiff with exif": _tiff_with_exif,
    "tiff of pages": lambda: _pages(below=False),
    "tiff with directories below": lambda: _pages(below=True),
    "tiff in floats": lambda: _tiff(_grey().astype(np.float32)),
    "dng rgb": lambda: _dng(3),
    "dng grey tiles": lambda: _dng(1, tile=(32, 32)),
    "png 16 bits": lambda: _png(_grey()),
    "png rgb 16 bits": lambda: _png(_rgb()),
    "png 8 bits": lambda: _png(_grey(8)),
    "png with alpha": lambda: _png(np.dstack([_rgb(8), _grey(8)])),
    "png of a palette": lambda: _png_by_pillow("P"),
    "jpeg": lambda: _jpeg(_grey(8)),
    "jpeg rgb": lambda: _jpeg(_rgb(8)),
    "jpeg progressive": lambda: _jpeg(_rgb(8), progressive=True),
    "jpeg with restarts": lambda: _jpeg(_grey(8), restart_marker_rows=1),
    "jpeg subsampled": lambda: _jpeg(_rgb(8), subsampling=2),
}
"""Name → a maker of the file's bytes."""


@cache
def small_file(name: str) -> bytes:
    """Give a small file, made once."""
    return SMALL_FILES[name]()
