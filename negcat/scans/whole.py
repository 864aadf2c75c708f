"""PNG and JPEG: pictures that are decoded whole, because their bytes only make sense from the beginning.

Both are walked through by hand first, for their tags and to see whether they are complete, since the decoders
forgive what mustn't be forgiven here.
"""

import struct
import zlib
from dataclasses import dataclass

import imagecodecs

from negcat.scans.bounds import check_growth, check_size, check_whole
from negcat.scans.decoded import DecodedWhole
from negcat.scans.exif import exif_values
from negcat.scans.files import Damaged, Master
from negcat.scans.model import FileFormat
from negcat.scans.picture import Geometry, Pixels, Told
from negcat.scans.strictness import check_jpeg
from negcat.scans.tags import TEXT_LENGTH, orientation_of

__all__ = ["WholePicture", "read_jpeg", "read_png"]

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"

TEXT_LIMIT = 1 << 20
"""Bytes of one text or profile that are read; longer ones are left aside."""

MOST_TEXTS = 100
"""Texts and profiles that are looked at; a scanner writes ten at most."""

MOST_PIECES = 10_000
"""Chunks or segments beside the picture's own data. What holds more was made to be walked through without end."""


@dataclass(frozen=True)
class WholePicture(DecodedWhole):
    """A PNG or JPEG, decoded whole."""

    geometry: Geometry
    file_format: FileFormat
    compression: str
    told: Told
    spans: tuple[tuple[int, int], ...]
    """Offset and length of what the decoder is handed: of a PNG the picture alone, no text and no profile."""
    pages: int = 1

    def _decode(self, master: Master) -> Pixels:
        data = b"".join(master.read(length, offset) for offset, length in self.spans)
        try:
            if self.file_format == "JPEG":
                check_jpeg(data, self.geometry.width, self.geometry.height)
                pixels: Pixels = imagecodecs.jpeg8_decode(data)
            else:
                _check_png(data)
                pixels = imagecodecs.png_decode(data)
        except Exception as error:
            # each library has errors of its own, and memory may not suffice
            msg = "its picture is damaged or cut short; copy or scan it again"
            raise Damaged(msg) from error
        if pixels.ndim == 2:
            pixels = pixels[..., None]
        geometry = self.geometry
        if (
            pixels.shape[:2] != (geometry.height, geometry.width)
            or pixels.shape[2] < geometry.channels
            or pixels.dtype.itemsize * 8 != geometry.bits
        ):
            msg = "its picture is not what its header says; copy or scan it again"
            raise Damaged(msg)
        return pixels[..., : geometry.channels]


def _check_png(data: bytes) -> None:
    """Raise ValueError or zlib.error where a PNG's compressed data hold more or less than its picture, or are broken.

    The decoder goes on to the end of whatever it is given, be it a thousand times what the picture needs.
    """
    width, height, bits, colour, _, _, interlaced = struct.unpack_from(">IIBBBBB", data, 16)
    pixel = bits // 8 * {0: 1, 2: 3, 4: 2, 6: 4}[colour]
    passes = _PASSES if interlaced else ((0, 0, 1, 1),)
    left = 0
    for x, y, across, down in passes:
        columns, rows = -(-(width - x) // across), -(-(height - y) // down)
        left += rows * (1 + columns * pixel) if columns > 0 else 0
    stream, at = zlib.decompressobj(), len(PNG_SIGNATURE)
    while at < len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        rest = data[at + 8 : at + 8 + length] if kind == b"IDAT" else b""
        while rest:
            left -= len(stream.decompress(rest, 1 << 20))
            rest = stream.unconsumed_tail
            if left < 0 or stream.unused_data:
                msg = "it holds more than its picture"
                raise ValueError(msg)
        at += 12 + length
    if left - len(stream.flush()) or not stream.eof:
        msg = "it holds less than its picture"
        raise ValueError(msg)


_PASSES = (
    (0, 0, 8, 8),
    (4, 0, 8, 8),
    (0, 4, 4, 8),
    (2, 0, 4, 4),
    (0, 2, 2, 4),
    (1, 0, 2, 2),
    (0, 1, 1, 2),
)
"""Of an interlaced picture, for each pass: its first column and row, and the steps between those that follow."""


def _check_sizes(geometry: Geometry, kind: str, stored: int) -> None:
    """Refuse, as Damaged, a picture of which so few bytes can't be the whole, or that no memory would hold."""
    check_size(geometry.width, geometry.height)
    check_growth("jpeg" if kind == "JPEG" else "deflate", stored, geometry.nbytes)
    check_whole(max(geometry.nbytes, stored), f"a {kind}")


# -- PNG (W3C Portable Network Graphics, third edition) ------------------------------------------------------


def read_png(master: Master) -> WholePicture:
    """Walk through a PNG's chunks; Damaged where one is missing or broken, or it can't be measured."""
    header: bytes | None = None
    told = _PngTexts()
    spans = [(0, len(PNG_SIGNATURE))]
    offset, others, stored = len(PNG_SIGNATURE), 0, 0
    kind = b""
    while kind != b"IEND":
        length, kind = struct.unpack(">I4s", master.read(8, offset))
        if length > 0x7FFFFFFF or not kind.isalpha():
            msg = f"its chunk at byte {offset} is damaged; copy or scan it again"
            raise Damaged(msg)
        if kind == b"IDAT" and length:
            # the decoder checks these; here it is enough that another chunk follows
            stored += length
        else:
            others += 1
        if others > MOST_PIECES:
            msg = f"it holds more than {MOST_PIECES:,} chunks beside its picture; it is damaged or not a scan"
            raise Damaged(msg)
        if (kind == b"IHDR") != (header is None):
            msg = "its header is missing, misplaced or there twice; copy or scan it again"
            raise Damaged(msg)
        if kind in _PNG_CHUNKS and length <= TEXT_LIMIT:
            body = master.read(length + 4, offset + 8)
            body, check = body[:-4], struct.unpack(">I", body[-4:])[0]
            if zlib.crc32(kind + body) != check:
                msg = f"the checksum of its {kind.decode()} chunk is wrong; copy or scan it again"
                raise Damaged(msg)
            if kind == b"IHDR":
                header = body
            else:
                told.take(kind, body)
        if kind in _PNG_PICTURE:
            # chunks that follow each other are handed on in one piece
            begin, before = spans[-1]
            if begin + before == offset:
                spans[-1] = (begin, before + 12 + length)
            else:
                spans.append((offset, 12 + length))
        elif kind[:1].isupper() and kind != b"PLTE":
            msg = "it is of a kind of PNG that isn't known here; save it as a TIFF of 16 bits"
            raise Damaged(msg)
        offset += 12 + length
    if header is None or len(header) != 13 or not stored:
        msg = "it has no picture in it; copy or scan it again"
        raise Damaged(msg)
    width, height, bits, colour, *methods = struct.unpack(">IIBBBBB", header)
    if tuple(methods) not in {(0, 0, 0), (0, 0, 1)}:
        msg = "it is of a kind of PNG that isn't known here; save it as a TIFF of 16 bits"
        raise Damaged(msg)
    if colour == 3:
        msg = "it has a colour palette; save it in grey or RGB with 8 or 16 bits"
        raise Damaged(msg)
    if colour not in {0, 2, 4, 6} or bits not in {8, 16}:
        msg = f"it has {bits} bits a sample; save it with 8 or 16 bits"
        raise Damaged(msg)
    if colour in {4, 6}:
        told.notes.append("1 further channel(s), such as alpha or infrared, left aside")
    orientation = orientation_of(told.exif.get("Orientation", 1), told.notes)
    geometry = Geometry(width, height, 3 if colour in {2, 6} else 1, bits, False, orientation)
    _check_sizes(geometry, "PNG", stored)
    return WholePicture(geometry, "PNG", "deflate", told.all_told(), tuple(spans))


_PNG_PICTURE = {b"IHDR", b"IDAT", b"IEND"}

_PNG_CHUNKS = {b"IHDR", b"gAMA", b"sRGB", b"pHYs", b"eXIf", b"iCCP", b"tEXt", b"zTXt", b"iTXt", b"IEND"}

_PNG_TEXTS = {"Software": "Software", "Source": "Model", "Creation Time": "DateTime"}


class _PngTexts:
    """What the chunks beside the picture tell."""

    def __init__(self) -> None:
        self.exif: dict[str, object] = {}
        self.notes: list[str] = []
        self._values: dict[str, object] = {}
        self._texts: list[str] = []
        self._xmp = self._icc = b""
        self._density: tuple[float, float] | None = None
        self._left = MOST_TEXTS

    def take(self, kind: bytes, body: bytes) -> None:
        """Take a chunk in."""
        self._left -= 1
        if self._left < 0:
            return
        values = self._values
        if kind == b"pHYs" and len(body) == 9:
            across, down, unit = struct.unpack(">IIB", body)
            self._density = (across * 0.0254, down * 0.0254) if unit == 1 else None
        elif kind == b"gAMA" and len(body) == 4:
            values.setdefault("Gamma", struct.unpack(">I", body)[0] / 100_000)
        elif kind == b"sRGB":
            values["Gamma"] = 1 / 2.2  # goes before gAMA; the standard writes this gamma beside it
        elif kind == b"eXIf":
            self.exif = exif_values(body, self.notes)
        elif kind == b"iCCP":
            name, _, rest = body.partition(b"\0")
            self._icc = _inflate(rest[1:])
            values["ProfileName"] = name.decode("latin-1")
        elif kind in {b"tEXt", b"zTXt", b"iTXt"}:
            keyword, text = _png_text(kind, body)
            if keyword == "XML:com.adobe.xmp":
                self._xmp = text.encode()
            elif keyword in _PNG_TEXTS:
                values[_PNG_TEXTS[keyword]] = text[:TEXT_LENGTH]
            elif keyword in {"Title", "Description", "Comment"}:
                self._texts.append(text[:TEXT_LENGTH])

    def all_told(self) -> Told:
        """Give what was taken in."""
        values = self.exif | self._values
        return Told(values, tuple(self._texts), self._xmp, self._icc, tuple(self.notes), self._density)


def _inflate(data: bytes) -> bytes:
    """Decompress a text or profile up to the limit; empty where it is broken."""
    try:
        return zlib.decompressobj().decompress(data, TEXT_LIMIT)
    except zlib.error:
        return b""


def _png_text(kind: bytes, body: bytes) -> tuple[str, str]:
    keyword, _, rest = body.partition(b"\0")
    if kind == b"tEXt":
        raw, encoding = rest, "latin-1"
    elif kind == b"zTXt":
        raw, encoding = _inflate(rest[1:]), "latin-1"
    else:
        compressed = rest[:1] == b"\1"
        _language, _, rest = rest[2:].partition(b"\0")
        _translated, _, rest = rest.partition(b"\0")
        raw, encoding = (_inflate(rest) if compressed else rest), "utf-8"
    return keyword.decode("latin-1"), raw.decode(encoding, "replace")


# -- JPEG (ITU-T T.81; JFIF 1.02; Exif 2.32) -----------------------------------------------------------------

_FRAMES = {
    0xC3: "it is a lossless JPEG",
    0xC5: "it is a hierarchical JPEG",
    0xC6: "it is a hierarchical JPEG",
    0xC7: "it is a hierarchical JPEG",
    0xC9: "it is an arithmetically coded JPEG",
    0xCA: "it is an arithmetically coded JPEG",
    0xCB: "it is a lossless JPEG",
}


def read_jpeg(master: Master) -> WholePicture:
    """Walk through a JPEG's markers; Damaged where it is cut short or of a kind that can't be measured."""
    texts: list[str] = []
    notes: list[str] = []
    exif: dict[str, object] = {}
    xmp = b""
    icc: dict[int, bytes] = {}
    density: tuple[float, float] | None = None
    frame: tuple[int, int, int, int] | None = None
    offset = 2
    for _ in range(MOST_PIECES):
        marker = master.read(2, offset)
        if marker[0] != 0xFF:
            msg = f"its marker at byte {offset} is damaged; copy or scan it again"
            raise Damaged(msg)
        code = marker[1]
        if code == 0xFF:  # fill byte
            offset += 1
            continue
        if code == 0xD9:
            msg = "it has no picture in it; copy or scan it again"
            raise Damaged(msg)
        if code == 0x01 or 0xD0 <= code <= 0xD7:
            offset += 2
            continue
        length = struct.unpack(">H", master.read(2, offset + 2))[0]
        if length < 2:
            msg = f"its marker at byte {offset} is damaged; copy or scan it again"
            raise Damaged(msg)
        if code == 0xDA:
            break
        body = master.read(length - 2, offset + 4)
        offset += 2 + length
        if code in _FRAMES:
            msg = f"{_FRAMES[code]}; save it as a TIFF"
            raise Damaged(msg)
        if code in {0xC0, 0xC1, 0xC2} and len(body) >= 6:
            if frame is not None:
                msg = "it has two headers; copy or scan it again"
                raise Damaged(msg)
            bits, height, width, components = struct.unpack(">BHHB", body[:6])
            frame = (bits, height, width, components)
        elif code == 0xE0 and body.startswith(b"JFIF\0") and len(body) >= 12:
            unit, across, down = struct.unpack(">BHH", body[7:12])
            scale = {1: 1.0, 2: 2.54}.get(unit)
            density = (across * scale, down * scale) if scale else None
        elif code == 0xE1 and body.startswith(b"Exif\0"):
            exif = exif or exif_values(body[6:], notes)
        elif code == 0xE1 and body.startswith(b"http://ns.adobe.com/xap/1.0/\0"):
            xmp = xmp or body[29:]
        elif code == 0xE2 and body.startswith(b"ICC_PROFILE\0") and len(body) > 14:
            icc[body[12]] = body[14:]
        elif code == 0xFE and len(texts) < MOST_TEXTS:
            texts.append(_text(body))
    else:
        msg = f"it holds more than {MOST_PIECES:,} segments before its picture; it is damaged or not a scan"
        raise Damaged(msg)
    if frame is None:
        msg = "it has no picture in it; copy or scan it again"
        raise Damaged(msg)
    bits, height, width, components = frame
    if bits != 8:
        msg = f"it is a JPEG of {bits} bits; save it as a TIFF"
        raise Damaged(msg)
    if components == 4:
        msg = "it is in CMYK, inks and not light; save it in grey or RGB"
        raise Damaged(msg)
    if components not in {1, 3}:
        msg = f"it has {components} channels; save it in grey or RGB"
        raise Damaged(msg)
    geometry = Geometry(
        width, height, components, bits, False, orientation_of(exif.get("Orientation", 1), notes)
    )
    _check_sizes(geometry, "JPEG", master.size - offset)
    _look_for_end(master, offset)
    told = Told(
        exif, tuple(texts), xmp, b"".join(icc[number] for number in sorted(icc)), tuple(notes), density
    )
    return WholePicture(geometry, "JPEG", "jpeg", told, ((0, master.size),))


def _look_for_end(master: Master, start: int) -> None:
    """Refuse a JPEG without an end-of-image marker after its picture began.

    Looked for from the end backwards: some cameras and programs append things behind it.
    """
    end, step = master.size, 1 << 16
    while end > start:
        begin = max(start, end - step)
        # one byte more, for a marker that lies across two pieces
        if b"\xff\xd9" in master.read(min(end + 1, master.size) - begin, begin):
            return
        end, step = begin, 8 << 20
    msg = "it is cut short: the picture has no end; copy or scan it again"
    raise Damaged(msg)


def _text(raw: bytes) -> str:
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return raw.decode("latin-1")
