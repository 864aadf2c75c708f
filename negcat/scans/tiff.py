"""TIFF: classic and BigTIFF, either byte order, strips or tiles, the usual compressions.

The directory is read by tifffile; the segments are read by position and decoded by tifffile's own decoder one
by one, so that memory holds a few of them, never the file, and every one is checked to be whole.
"""

import math
import struct
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

import numpy as np
import tifffile

from negcat.scans.bounds import check_growth, check_size, check_whole
from negcat.scans.directory import MOST_DIRECTORIES
from negcat.scans.exif import EXIF_DIRECTORY, exif_directory
from negcat.scans.files import Damaged, Master
from negcat.scans.kept import kept
from negcat.scans.model import FileFormat
from negcat.scans.picture import Geometry, Part, Pixels, Told
from negcat.scans.strictness import check_jpeg
from negcat.scans.tags import orientation_of
from negcat.scans.workers import shared_out

__all__ = ["TiffPicture", "check_segments", "read_tiff", "told_by"]

T = TypeVar("T")

COMPRESSIONS = {
    1: "none",
    5: "lzw",
    7: "jpeg",
    8: "deflate",
    32773: "packbits",
    32946: "deflate",
    34925: "lzma",
    50000: "zstd",
}
"""Those that are decoded, by the tag's value. All but `jpeg` keep every code value."""

REFUSED_PHOTOMETRIC = {
    3: "it has a colour palette",
    4: "it is a transparency mask",
    5: "it is in CMYK, inks and not light",
    6: "it is in YCbCr without JPEG",
    8: "it is in CIE L*a*b*",
    32803: "it is a raw file with a colour filter mosaic",
    34892: "it is a linear raw file",
}

BATCH_BYTES = 1 << 20
"""Decoded bytes to one task: small strips are taken together, or the bookkeeping outweighs the work."""

CHUNK_BYTES = 1 << 20
"""Bytes read at once from an uncompressed file: what stays in a processor's cache while it is worked on."""

LARGE_SEGMENT = 32 << 20
"""Decoded bytes of a segment from which on the last one is kept for the next look."""

TOLD_BYTES = 1 << 20
"""Bytes of a tag that are read for what it tells; a text has a few, a table of all codes of three channels 393,216."""

COLOUR_BYTES = 16 << 20
"""The same of a colour profile, which may hold tables."""

DISK_BLOCK = 4096
"""Bytes; file systems write no less at once."""


@dataclass(frozen=True)
class TiffPicture:
    """A page of a TIFF file. `decode` takes the bytes and the index of a segment."""

    geometry: Geometry
    compression: str
    pages: int
    told: Told
    decode: Callable[[bytes, int], Pixels]
    offsets: tuple[int, ...]
    counts: tuple[int, ...]
    tiled: bool
    segment_width: int
    segment_height: int
    samples: int
    """Samples in a pixel as decoded: with alpha, or 1 where channels lie in planes of their own."""
    planar: bool
    big_endian: bool
    jpeg_tables: bytes | None
    plain: bool
    """Uncompressed rows that follow each other without a gap from the first offset on."""
    file_format: FileFormat = "TIFF"

    # -- geometry of the segments -------------------------------------------------------------------------

    @property
    def across(self) -> int:
        """Segments side by side."""
        return math.ceil(self.geometry.width / self.segment_width)

    @property
    def down(self) -> int:
        """Segments above each other, in one plane."""
        return math.ceil(self.geometry.height / self.segment_height)

    @property
    def row_bytes(self) -> int:
        """Bytes of one stored row of a plain file."""
        return self.geometry.width * self.samples * self.geometry.bits // 8

    @property
    def _segment_bytes(self) -> int:
        return self.segment_height * self.segment_width * self.samples * self.geometry.bits // 8

    def _name(self, index: int) -> str:
        return f"{'tile' if self.tiled else 'strip'} {index + 1} of {len(self.offsets)}"

    def _pixels(self, master: Master, index: int) -> Pixels:
        """Read and decode one segment; it may be larger than what the picture has of it."""
        data = master.read(self.counts[index], self.offsets[index])
        try:
            if self.jpeg_tables is not None:
                completed = self.jpeg_tables[:-2] + data[2:] if self.jpeg_tables else data
                check_jpeg(completed, self.segment_width, self.segment_height)
            pixels = self.decode(data, index)
        except Exception as error:
            # The decoders raise whatever they like: their own errors, ValueError, IndexError, MemoryError.
            msg = f"{self._name(index)} is damaged and can't be decoded; copy or scan it again"
            raise Damaged(msg) from error
        return pixels

    def _part(self, master: Master, index: int, pixels: Pixels | None = None) -> Part:
        """Give one segment as a part of the picture, and check that it is whole."""
        pixels = self._pixels(master, index) if pixels is None else pixels
        plane, within = divmod(index, self.across * self.down)
        row, column = divmod(within, self.across)
        x, y = column * self.segment_width, row * self.segment_height
        wanted = (
            min(self.segment_height, self.geometry.height - y),
            min(self.segment_width, self.geometry.width - x),
            1 if self.planar else self.geometry.channels,
        )
        if any(there < due for there, due in zip(pixels.shape, wanted, strict=True)):
            msg = f"{self._name(index)} holds less than it should; copy or scan it again"
            raise Damaged(msg)
        return Part(x, y, plane, pixels[: wanted[0], : wanted[1], : wanted[2]])

    # -- the whole picture --------------------------------------------------------------------------------

    def stream(self, master: Master, work: Callable[[Part], T]) -> Iterator[T]:
        """Decode the whole picture segment by segment; see `Picture.stream`."""
        if self.plain:
            yield from self._stream_plain(master, work)
            return
        planes = self.geometry.channels if self.planar else 1
        count = self.across * self.down
        batch = 1 if self.tiled else max(1, min(self.down, BATCH_BYTES // self._segment_bytes))

        def decoded(span: tuple[int, int]) -> T:
            parts = [self._part(master, index) for index in range(*span)]
            if len(parts) == 1:
                return work(parts[0])
            pixels = np.concatenate([part.pixels for part in parts])
            return work(Part(0, parts[0].y, parts[0].channel, pixels))

        # Planes in turn, batch by batch, so that the channels of a pixel come soon after each other.
        spans = (
            (plane * count + first, plane * count + min(first + batch, count))
            for first in range(0, count, batch)
            for plane in range(planes)
        )
        yield from shared_out(spans, decoded)

    def _stream_plain(self, master: Master, work: Callable[[Part], T]) -> Iterator[T]:
        rows = max(1, CHUNK_BYTES // self.row_bytes)
        # each thread reads into memory of its own, again and again: to touch fresh memory costs more
        own = threading.local()

        def read(y: int) -> T:
            if not hasattr(own, "memory"):
                own.memory = memoryview(bytearray(rows * self.row_bytes))
            count = min(rows, self.geometry.height - y)
            view = own.memory[: count * self.row_bytes]
            master.read_into(view, self.offsets[0] + y * self.row_bytes)
            return work(Part(0, y, 0, self._raw(view, count)))

        yield from shared_out(range(0, self.geometry.height, rows), read)
        self._look_for_unwritten_tail(master)

    def _look_for_unwritten_tail(self, master: Master) -> None:
        """Refuse, as Damaged, raw pixels that break off into zeros where a disk block begins.

        A copy that was given its full length and then broken off ends so. Black that belongs to the picture
        ends a row, or starts at any pixel, but not in the midst of a row and just at a block's edge.
        """
        start = self.offsets[0]
        end = start + self.geometry.height * self.row_bytes
        step, last = 64 << 10, end
        while last > start:
            begin = max(start, last - step)
            rest = master.read(last - begin, begin).rstrip(b"\0")
            last = begin + len(rest)
            if rest:
                break
        zeros = end - last
        if last > start and zeros >= step:
            block = -(-last // DISK_BLOCK) * DISK_BLOCK
            if block - last < self.geometry.bits // 8 and (block - start) % self.row_bytes:
                rows = zeros // self.row_bytes
                msg = f"its last {rows} rows were never written, as where a copy broke off; copy it again"
                raise Damaged(msg)

    def _raw(self, data: bytes | memoryview, rows: int, columns: int | None = None) -> Pixels:
        """Make pixels of raw bytes; native byte order, alpha dropped."""
        stored = np.dtype(np.uint8 if self.geometry.bits == 8 else np.uint16).newbyteorder(
            ">" if self.big_endian else "<"
        )
        pixels = np.frombuffer(data, stored).reshape(rows, columns or self.geometry.width, self.samples)
        return pixels[..., : self.geometry.channels].astype(stored.newbyteorder("="), copy=False)

    # -- parts of it --------------------------------------------------------------------------------------

    def boxes(self, master: Master, boxes: list[tuple[int, int, int, int]]) -> list[Pixels]:
        """Decode stored boxes, touching only the segments they lie in; each segment once for all boxes."""
        if self.plain:
            return [self._plain_box(master, box) for box in boxes]
        found = [self._blank(box) for box in boxes]
        wanted: dict[int, list[int]] = {}
        for number, (x0, y0, x1, y1) in enumerate(boxes):
            rows = range(y0 // self.segment_height, -(-y1 // self.segment_height))
            columns = range(x0 // self.segment_width, -(-x1 // self.segment_width))
            for plane in range(self.geometry.channels if self.planar else 1):
                for row in rows:
                    for column in columns:
                        index = (plane * self.down + row) * self.across + column
                        wanted.setdefault(index, []).append(number)
        for index, numbers in sorted(wanted.items()):
            if self._segment_bytes >= LARGE_SEGMENT:
                part = self._part(master, index, kept(master, index, partial(self._pixels, master, index)))
            else:
                part = self._part(master, index)
            for number in numbers:
                paste(part, boxes[number], found[number])
        return found

    def _blank(self, box: tuple[int, int, int, int]) -> Pixels:
        x0, y0, x1, y1 = box
        kind = np.uint8 if self.geometry.bits == 8 else np.uint16
        return np.empty((y1 - y0, x1 - x0, self.geometry.channels), kind)

    def _plain_box(self, master: Master, box: tuple[int, int, int, int]) -> Pixels:
        x0, y0, x1, y1 = box
        pixel_bytes = self.samples * self.geometry.bits // 8
        first = self.offsets[0] + y0 * self.row_bytes
        if (x1 - x0) * 4 > self.geometry.width:
            # wide: one read of whole rows beats many short ones
            data = master.read((y1 - y0) * self.row_bytes, first)
            return self._raw(data, y1 - y0)[:, x0:x1]
        count = (x1 - x0) * pixel_bytes
        data = b"".join(
            master.read(count, first + row * self.row_bytes + x0 * pixel_bytes) for row in range(y1 - y0)
        )
        return self._raw(data, y1 - y0, x1 - x0)


def paste(part: Part, box: tuple[int, int, int, int], target: Pixels) -> None:
    """Copy what a part and a stored box have in common into the box's own array."""
    x0, y0, x1, y1 = box
    height, width, channels = part.pixels.shape
    left, right = max(x0, part.x), min(x1, part.x + width)
    top, bottom = max(y0, part.y), min(y1, part.y + height)
    if left >= right or top >= bottom:
        return
    target[top - y0 : bottom - y0, left - x0 : right - x0, part.channel : part.channel + channels] = (
        part.pixels[top - part.y : bottom - part.y, left - part.x : right - part.x]
    )


def _full_size_page(tif: tifffile.TiffFile) -> tuple[Any, int]:
    """Choose the first page that is neither reduced nor a mask and has at least half the largest area."""
    pages: list[Any] = []
    for page in tif.pages:
        pages.append(page)
        if len(pages) == MOST_DIRECTORIES:
            break
    if not pages:
        msg = "its TIFF directory is not there, damaged or cut short; copy or scan it again"
        raise Damaged(msg)

    def area(page: Any) -> int:
        return int(page.imagewidth) * int(page.imagelength)

    pages = [page if isinstance(page, tifffile.TiffPage) else page.aspage() for page in pages]
    whole = [page for page in pages if not int(page.subfiletype) & 0b101] or pages
    largest = max(area(page) for page in whole)
    return next(page for page in whole if 2 * area(page) >= largest), len(pages)


def read_tiff(master: Master) -> TiffPicture:
    """Read a TIFF file's directory and check that all its segments lie inside the file.

    Raises Damaged for what can't be taken: broken, truncated, of a kind negcat can't measure.
    """
    try:
        with (
            master.as_file() as handle,
            tifffile.TiffFile(handle, name=master.path.name) as tif,
        ):
            page, pages = _full_size_page(tif)
            return _picture(master, tif, page, pages)
    except Damaged:
        raise
    except Exception as error:
        # tifffile meets a broken directory with TiffFileError, struct.error, IndexError, KeyError …
        msg = "its TIFF directory is damaged or cut short; copy or scan it again"
        raise Damaged(msg) from error


def _refuse_unmeasurable(page: Any) -> None:
    photometric = int(page.photometric)
    compression = int(page.compression)
    if 50706 in page.tags or photometric in {32803, 34892}:
        msg = "it is a raw file; save it as a linear 16-bit TIFF"
        raise Damaged(msg)
    if photometric in REFUSED_PHOTOMETRIC and not (photometric == 6 and compression == 7):
        msg = f"{REFUSED_PHOTOMETRIC[photometric]}; save it in grey or RGB with 8 or 16 bits"
        raise Damaged(msg)
    if photometric not in {0, 1, 2, 6}:
        msg = f"its kind of colour ({photometric}) isn't known; save it in grey or RGB with 8 or 16 bits"
        raise Damaged(msg)
    if compression not in COMPRESSIONS:
        name = getattr(page.compression, "name", str(compression)).lower()
        msg = f"its compression ({name}) isn't known; save it uncompressed or with LZW or deflate"
        raise Damaged(msg)
    if int(page.sampleformat) == 3:
        msg = "its values are floating point; save it with 8 or 16 bits"
        raise Damaged(msg)
    if int(page.sampleformat) not in {1, 4}:
        msg = "its values have a sign; save it in unsigned 8 or 16 bits"
        raise Damaged(msg)
    if page.bitspersample not in {8, 16}:
        msg = f"it has {page.bitspersample} bits a sample; save it with 8 or 16 bits"
        raise Damaged(msg)
    if int(getattr(page, "imagedepth", 1)) > 1:
        msg = "it is a stack in depth, not a flat scan; save one plane"
        raise Damaged(msg)


def _picture(master: Master, tif: tifffile.TiffFile, page: Any, pages: int) -> TiffPicture:
    width, height = int(page.imagewidth), int(page.imagelength)
    check_size(width, height)
    _refuse_unmeasurable(page)
    photometric, compression = int(page.photometric), COMPRESSIONS[int(page.compression)]
    stored_samples = int(page.samplesperpixel)
    channels = 3 if photometric in {2, 6} else 1
    if stored_samples < channels:
        msg = f"it is RGB with {stored_samples} samples a pixel; the file is damaged"
        raise Damaged(msg)
    notes = []
    if stored_samples > channels:
        notes.append(f"{stored_samples - channels} further channel(s), such as alpha or infrared, left aside")
    if pages > 1:
        more = "or more " if pages >= MOST_DIRECTORIES else ""
        notes.append(
            f"page {page.index + 1} of {pages} {more}taken, the first of full size; the others left aside"
        )
    planar = int(page.planarconfig) == 2 and stored_samples > 1
    samples = 1 if planar else stored_samples
    orientation = orientation_of(page.tags.valueof(274, 1), notes)
    bits = int(page.bitspersample)
    geometry = Geometry(width, height, channels, bits, photometric == 0, orientation)
    tiled = bool(page.is_tiled)
    segment_width = int(page.tilewidth) if tiled else width
    segment_height = int(page.tilelength) if tiled else min(int(page.rowsperstrip), height)
    if segment_width < 1 or segment_height < 1:
        msg = "its strips or tiles have no size; the file is damaged"
        raise Damaged(msg)
    offsets = tuple(int(offset) for offset in page.dataoffsets)
    counts = tuple(int(count) for count in page.databytecounts)
    segment_bytes = segment_height * segment_width * samples * bits // 8
    down = -(-height // segment_height)
    wanted = -(-width // segment_width) * down * (stored_samples if planar else 1)
    check_segments(master, offsets, counts, wanted, segment_bytes, compression)
    row_bytes = width * samples * bits // 8
    plain = (
        compression == "none"
        and not tiled
        and not planar
        and int(page.predictor) == 1
        and page.fillorder == 1
    )
    if plain:
        for index in range(wanted):
            rows = min(segment_height, height - index * segment_height)
            if counts[index] < rows * row_bytes:
                msg = f"strip {index + 1} of {wanted} is shorter than its rows; copy or scan it again"
                raise Damaged(msg)
            plain = plain and offsets[index] == offsets[0] + index * segment_height * row_bytes
    if not plain and wanted == 1 and geometry.nbytes > 64 << 20:
        notes.append(
            "compressed in one single strip: every look into it decodes the whole of it, slowly and in memory"
        )
    tables = page.jpegtables if compression == "jpeg" else None
    decode, header = page.decode, page.jpegheader if compression == "jpeg" else None

    def decode_segment(data: bytes, index: int) -> Pixels:
        options: dict[str, Any] = {}
        if compression == "jpeg":
            options = {"jpegtables": tables, "jpegheader": header}
        pixels, _, _ = decode(data, index, **options)
        if pixels is None:
            raise ValueError
        found: Pixels = pixels[0]
        return found

    return TiffPicture(
        geometry=geometry,
        compression=compression,
        pages=pages,
        told=told_by(master, page, tuple(notes)),
        decode=decode_segment,
        offsets=offsets,
        counts=counts,
        tiled=tiled,
        segment_width=segment_width,
        segment_height=segment_height,
        samples=samples,
        planar=planar,
        big_endian=tif.byteorder == ">",
        jpeg_tables=(tables or b"") if compression == "jpeg" else None,
        plain=plain,
    )


def check_segments(
    master: Master,
    offsets: tuple[int, ...],
    counts: tuple[int, ...],
    wanted: int,
    segment_bytes: int,
    compression: str,
) -> None:
    """Refuse, as Damaged, a picture of which a segment is missing, outside the file, or impossibly small."""
    named = min(len(offsets), len(counts))
    if named < wanted:
        msg = f"it names {named} of the {wanted} pieces of its picture; copy or scan it again"
        raise Damaged(msg)
    for index in range(wanted):
        if offsets[index] <= 0 or counts[index] <= 0:
            msg = f"piece {index + 1} of {wanted} of its picture is missing; copy or scan it again"
            raise Damaged(msg)
        if offsets[index] + counts[index] > master.size:
            msg = (
                f"it is cut short: piece {index + 1} of {wanted} of its picture lies beyond the end of the "
                "file; copy or scan it again"
            )
            raise Damaged(msg)
    # pieces may lie over each other: together they hold no more than the file does
    stored = min(sum(counts[:wanted]), master.size)
    check_growth(compression, stored, wanted * segment_bytes)
    if compression != "none":
        check_whole(segment_bytes, "a strip or tile")


def told_by(master: Master, page: Any, notes: tuple[str, ...]) -> Told:
    """Gather what a directory's tags tell."""
    values: dict[str, object] = {}
    for code, name in (
        (270, "ImageDescription"),
        (269, "DocumentName"),
        (285, "PageName"),
        (271, "Make"),
        (272, "Model"),
        (305, "Software"),
        (306, "DateTime"),
        (282, "XResolution"),
        (283, "YResolution"),
        (296, "ResolutionUnit"),
        (40091, "XPTitle"),
        (40095, "XPSubject"),
        (40092, "XPComment"),
    ):
        values[name] = _value(page, code)
    transfer = _value(page, 301)
    if isinstance(transfer, np.ndarray) and transfer.ndim == 2:
        # three tables of the light of every code, of which the second is green's
        values["TransferFunction"] = transfer[len(transfer) // 2].tolist()
    for name, value in _exif(master, page).items():
        values.setdefault(name, value)
    xmp, icc = _value(page, 700, COLOUR_BYTES), _value(page, 34675, COLOUR_BYTES)
    return Told(
        values=values,
        xmp=xmp.encode("utf-8", "replace")
        if isinstance(xmp, str)
        else xmp
        if isinstance(xmp, bytes)
        else b"",
        icc=icc if isinstance(icc, bytes) else b"",
        notes=notes,
    )


def _exif(master: Master, page: Any) -> dict[str, object]:
    """Read the Exif directory that a page names; nothing where there is none, or it is broken."""
    tag = page.tags.get(EXIF_DIRECTORY)
    if tag is None or tag.count != 1 or int(tag.dtype) not in {4, 13, 16, 18}:
        return {}
    file = page.parent
    form = file.byteorder + ("Q" if int(tag.dtype) in {16, 18} else "I")
    try:
        # read here: the library would follow it, whatever it names
        at = tag.offset + (12 if file.is_bigtiff else 8)
        (start,) = struct.unpack(form, master.read(struct.calcsize(form), at))
        return exif_directory(master.read, file.byteorder, start, big=file.is_bigtiff)
    except (Damaged, struct.error, OverflowError):
        return {}


def _value(page: Any, code: int, longest: int = TOLD_BYTES) -> Any:
    """Read a tag's value; None where there is none, or more of it than a tag of its kind has."""
    tag = page.tags.get(code)
    return tag.value if tag is not None and tag.valuebytecount <= longest else None
