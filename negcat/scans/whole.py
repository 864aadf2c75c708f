"""PNG and JPEG: pictures that are decoded whole, because their bytes only make sense from the beginning.

Both are walked through by hand first, for their tags and to see whether they are complete, since the decoders
forgive what mustn't be forgiven here.
"""

import struct
import zlib
from dataclasses import dataclass

import imagecodecs

from negcat.scans.decoded import DecodedWhole
from negcat.scans.files import Damaged, Master
from negcat.scans.model import FileFormat
from negcat.scans.picture import Geometry, Pixels, Told, check_size
from negcat.scans.strictness import check_jpeg
from negcat.scans.tags import exif_values

__all__ = ["WholePicture", "read_jpeg", "read_png"]

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"

TEXT_LIMIT = 1 << 20
"""Bytes of one text or profile that are read; longer ones are left aside."""

PNG_RATIO = 1100
"""Deflate can't do better than 1,032 to 1."""

JPEG_RATIO = 4096
"""Pixels to one byte of JPEG: 64 pixels of a block can't take less than a bit over all its scans together."""


@dataclass(frozen=True)
class WholePicture(DecodedWhole):
    """A PNG or JPEG, decoded whole."""

    geometry: Geometry
    file_format: FileFormat
    compression: str
    told: Told
    start: int
    """Where the coded picture's own data begin, from which its ratio is judged."""
    pages: int = 1

    def _decode(self, master: Master) -> Pixels:
        data = master.read(master.size, 0)
        jpeg = self.file_format == "JPEG"
        limit = (JPEG_RATIO if jpeg else PNG_RATIO) * (len(data) + 1024)
        size = self.geometry.width * self.geometry.height if jpeg else self.geometry.nbytes
        if size > limit:
            msg = "it is far too short for the size of picture it declares; copy or scan it again"
            raise Damaged(msg)
        try:
            if jpeg:
                check_jpeg(data)
            pixels: Pixels = imagecodecs.jpeg8_decode(data) if jpeg else imagecodecs.png_decode(data)
        except Exception as error:
            # each library has errors of its own, and memory may not suffice
            msg = "its picture is damaged or cut short; copy or scan it again"
            raise Damaged(msg) from error
        if pixels.ndim == 2:
            pixels = pixels[..., None]
        geometry = self.geometry
        if (
            pixels.shape[:2] != (geometry.height, geometry.width)
            or pixels.dtype.itemsize * 8 != geometry.bits
        ):
            msg = "its picture is not what its header says; copy or scan it again"
            raise Damaged(msg)
        return pixels[..., : geometry.channels]


# -- PNG (W3C Portable Network Graphics, third edition) ------------------------------------------------------


def read_png(master: Master) -> WholePicture:
    """Walk through a PNG's chunks; Damaged where one is missing or broken, or it can't be measured."""
    header: bytes | None = None
    values: dict[str, object] = {}
    texts: list[str] = []
    notes: list[str] = []
    xmp = icc = b""
    density: tuple[float, float] | None = None
    exif: dict[str, object] = {}
    offset, first_data = len(PNG_SIGNATURE), 0
    while True:
        length, kind = struct.unpack(">I4s", master.read(8, offset))
        if length > 0x7FFFFFFF or not kind.isalpha():
            msg = f"its chunk at byte {offset} is damaged; copy or scan it again"
            raise Damaged(msg)
        if kind == b"IDAT":
            # the decoder checks these; here it is enough that another chunk follows
            first_data = first_data or offset
        elif kind in _PNG_CHUNKS and length <= TEXT_LIMIT:
            body = master.read(length + 4, offset + 8)
            body, check = body[:-4], struct.unpack(">I", body[-4:])[0]
            if zlib.crc32(kind + body) != check:
                msg = f"the checksum of its {kind.decode()} chunk is wrong; copy or scan it again"
                raise Damaged(msg)
            if kind == b"IHDR":
                header = body
            elif kind == b"pHYs" and length == 9:
                across, down, unit = struct.unpack(">IIB", body)
                density = (across * 0.0254, down * 0.0254) if unit == 1 else None
            elif kind == b"gAMA" and length == 4:
                values.setdefault("Gamma", struct.unpack(">I", body)[0] / 100_000)
            elif kind == b"sRGB":
                values["Gamma"] = 1 / 2.2  # goes before gAMA; the standard writes this gamma beside it
            elif kind == b"eXIf":
                exif = exif_values(body, notes)
            elif kind == b"iCCP":
                name, _, rest = body.partition(b"\0")
                icc = _inflate(rest[1:])
                values["ProfileName"] = name.decode("latin-1")
            elif kind in {b"tEXt", b"zTXt", b"iTXt"}:
                keyword, text = _png_text(kind, body)
                if keyword == "XML:com.adobe.xmp":
                    xmp = text.encode()
                else:
                    _take_png_text(keyword, text, values, texts)
        if kind == b"IEND":
            break
        offset += 12 + length
    if header is None or len(header) != 13 or not first_data:
        msg = "it has no picture in it; copy or scan it again"
        raise Damaged(msg)
    width, height, bits, colour, *_ = struct.unpack(">IIBBBBB", header)
    check_size(width, height)
    if colour == 3:
        msg = "it has a colour palette; save it in grey or RGB with 8 or 16 bits"
        raise Damaged(msg)
    if colour not in {0, 2, 4, 6} or bits not in {8, 16}:
        msg = f"it has {bits} bits a sample; save it with 8 or 16 bits"
        raise Damaged(msg)
    if colour in {4, 6}:
        notes.append("1 further channel(s), such as alpha or infrared, left aside")
    geometry = Geometry(width, height, 3 if colour in {2, 6} else 1, bits, False, _orientation(exif, notes))
    return WholePicture(
        geometry,
        "PNG",
        "deflate",
        Told(exif | values, tuple(texts), xmp, icc, tuple(notes), density),
        first_data,
    )


_PNG_CHUNKS = {b"IHDR", b"gAMA", b"sRGB", b"pHYs", b"eXIf", b"iCCP", b"tEXt", b"zTXt", b"iTXt", b"IEND"}

_PNG_TEXTS = {"Software": "Software", "Source": "Model", "Creation Time": "DateTime"}


def _take_png_text(keyword: str, text: str, values: dict[str, object], texts: list[str]) -> None:
    if keyword in _PNG_TEXTS:
        values[_PNG_TEXTS[keyword]] = text
    elif keyword in {"Title", "Description", "Comment"}:
        texts.append(text)


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
    while True:
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
        elif code == 0xFE:
            texts.append(_text(body))
    if frame is None:
        msg = "it has no picture in it; copy or scan it again"
        raise Damaged(msg)
    bits, height, width, components = frame
    check_size(width, height)
    if bits != 8:
        msg = f"it is a JPEG of {bits} bits; save it as a TIFF"
        raise Damaged(msg)
    if components == 4:
        msg = "it is in CMYK, inks and not light; save it in grey or RGB"
        raise Damaged(msg)
    if components not in {1, 3}:
        msg = f"it has {components} channels; save it in grey or RGB"
        raise Damaged(msg)
    _look_for_end(master, offset)
    geometry = Geometry(width, height, components, bits, False, _orientation(exif, notes))
    profile = b"".join(icc[number] for number in sorted(icc))
    return WholePicture(
        geometry, "JPEG", "jpeg", Told(exif, tuple(texts), xmp, profile, tuple(notes), density), offset
    )


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


def _orientation(exif: dict[str, object], notes: list[str]) -> int:
    found = exif.get("Orientation", 1)
    if isinstance(found, int) and 1 <= found <= 8:
        return found
    notes.append(f"orientation {found} means nothing; taken as it lies")
    return 1
