"""Half a picture is never taken, and whatever is refused is refused in one readable sentence."""

import io
import os
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from negcat.errors import QuantityError, ScanError
from negcat.scans import identify, read_header, read_patch, read_reduced, sha256_of, take
from negcat.scans import reading as reading_room

HEIGHT, WIDTH = 300, 200


def grey(bits=16):
    random = np.random.default_rng(8)
    ramp = np.linspace(20, 200, WIDTH)[None, :] + np.linspace(0, 30, HEIGHT)[:, None]
    noisy = ramp + random.normal(0, 4, ramp.shape)
    return (noisy * 257).astype(np.uint16) if bits == 16 else noisy.astype(np.uint8)


def tiff(**options):
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, grey(8 if options.get("compression") == "jpeg" else 16), **options)
    return buffer.getvalue()


def jpeg(**options):
    buffer = io.BytesIO()
    Image.fromarray(grey(8)).save(buffer, "JPEG", quality=90, **options)
    return buffer.getvalue()


WHOLE = {
    "raw tiff": lambda: tiff(),
    "raw tiff in strips": lambda: tiff(rowsperstrip=10),
    "raw tiff in tiles": lambda: tiff(tile=(64, 64)),
    "lzw": lambda: tiff(compression="lzw", rowsperstrip=20, predictor=True),
    "lzw in one strip": lambda: tiff(compression="lzw", rowsperstrip=HEIGHT),
    "deflate": lambda: tiff(compression="zlib", rowsperstrip=20),
    "deflate in tiles": lambda: tiff(compression="zlib", tile=(64, 64)),
    "packbits": lambda: tiff(compression="packbits", rowsperstrip=20),
    "zstd": lambda: tiff(compression="zstd", rowsperstrip=20),
    "lzma": lambda: tiff(compression="lzma", rowsperstrip=20),
    "jpeg in strips": lambda: tiff(compression="jpeg", rowsperstrip=64),
    "jpeg in tiles": lambda: tiff(compression="jpeg", tile=(64, 64)),
    "png": lambda: imagecodecs.png_encode(grey()),
    "jpeg": lambda: jpeg(),
    "progressive jpeg": lambda: jpeg(progressive=True),
    "jpeg with restarts": lambda: jpeg(restart_marker_rows=1),
}


def refused(path, *, whole=True):
    """Assert one readable sentence that names the file and ends like one; give it back."""
    with pytest.raises(ScanError) as caught:
        take(path) if whole else identify(path)
    text = str(caught.value)
    assert text.startswith(f"{path}: ")
    assert text.endswith(".")
    assert "\n" not in text
    for word in ("Traceback", "Error", "None", "0x", "returned", "b'"):
        assert word not in text
    return text


@pytest.mark.parametrize("kind", WHOLE)
def test_whole_it_is_taken(tmp_path, kind):
    path = tmp_path / "a"
    path.write_bytes(WHOLE[kind]())
    take(path)


@pytest.mark.parametrize("kind", WHOLE)
@pytest.mark.parametrize("fraction", [0.02, 0.3, 0.5, 0.9, 0.999])
def test_cut_short(tmp_path, kind, fraction):
    whole = WHOLE[kind]()
    path = tmp_path / "a"
    path.write_bytes(whole[: int(len(whole) * fraction)])
    refused(path)


@pytest.mark.parametrize("kind", WHOLE)
def test_last_byte_of_the_picture_missing(tmp_path, kind):
    path = tmp_path / "a"
    path.write_bytes(WHOLE[kind]()[:-1])
    refused(path)


COMPRESSED = [kind for kind in WHOLE if not kind.startswith("raw")]


@pytest.mark.parametrize("kind", COMPRESSED)
@pytest.mark.parametrize("fraction", [0.4, 0.7])
def test_rest_of_the_file_never_written(tmp_path, kind, fraction):
    whole = WHOLE[kind]()
    keep = int(len(whole) * fraction)
    path = tmp_path / "a"
    path.write_bytes(whole[:keep] + bytes(len(whole) - keep))
    refused(path)


@pytest.mark.parametrize("kind", [kind for kind in WHOLE if "strip" in kind or "tile" in kind])
def test_strip_that_breaks_midway(tmp_path, kind):
    """Only one strip, in the middle: its second half is gone, what is behind it has moved up."""
    path = tmp_path / "a"
    path.write_bytes(WHOLE[kind]())
    with tifffile.TiffFile(path) as tif:
        page = tif.pages[0]
        middle = len(page.dataoffsets) // 2
        offset, count = page.dataoffsets[middle], page.databytecounts[middle]
        entry = page.tags[325 if page.is_tiled else 279]
        width = {3: 2, 4: 4}[int(entry.dtype)]
        where = entry.valueoffset + middle * width
    raw = bytearray(path.read_bytes())
    raw[where : where + width] = (count // 2).to_bytes(width, "little")
    path.write_bytes(raw)
    text = refused(path)
    assert f"{middle + 1} of" in text or "damaged" in text
    assert offset > 0


@pytest.mark.parametrize("kind", ["jpeg", "jpeg with restarts", "progressive jpeg"])
def test_jpeg_that_ends_early_but_properly(tmp_path, kind):
    whole = WHOLE[kind]()
    path = tmp_path / "a.jpg"
    path.write_bytes(whole[: len(whole) // 2].rstrip(b"\xff") + b"\xff\xd9")
    assert "damaged or cut short" in refused(path)


def test_jpeg_with_a_hole(tmp_path):
    whole = WHOLE["jpeg"]()
    half = len(whole) // 2
    path = tmp_path / "a.jpg"
    path.write_bytes(whole[:half] + whole[half + 500 :])
    refused(path)


def test_png_with_a_flipped_bit(tmp_path):
    raw = bytearray(WHOLE["png"]())
    raw[len(raw) // 2] ^= 1
    path = tmp_path / "a.png"
    path.write_bytes(raw)
    refused(path)


def test_png_with_a_flipped_bit_in_a_tag(tmp_path):
    raw = WHOLE["png"]()
    body = struct.pack(">IIB", 47244, 47244, 1)
    chunk = struct.pack(">I", 9) + b"pHYs" + body + struct.pack(">I", zlib.crc32(b"pHYs" + body) ^ 1)
    path = tmp_path / "a.png"
    path.write_bytes(raw[:33] + chunk + raw[33:])
    assert "checksum of its pHYs" in refused(path, whole=False)


def test_png_without_its_end(tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(WHOLE["png"]()[:-12])
    assert "cut short" in refused(path, whole=False)


def test_raw_copy_that_broke_off_at_a_disk_block(tmp_path):
    written = np.random.default_rng(1).integers(1, 65535, (900, 700)).astype(np.uint16)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written)
    whole = path.read_bytes()
    path.write_bytes(whole[: 4096 * 200] + bytes(len(whole) - 4096 * 200))
    assert "never written" in refused(path)


def test_black_at_the_end_of_a_raw_picture_is_only_black(tmp_path):
    written = np.random.default_rng(1).integers(1, 65535, (900, 700)).astype(np.uint16)
    written[600:] = 0
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written)
    _, reduced = take(path)
    assert reduced.clipped_low[0] == pytest.approx(1 / 3)
    tifffile.imwrite(path, np.zeros_like(written))
    take(path)


def test_black_that_begins_with_a_row_and_a_disk_block_is_only_black(tmp_path):
    written = np.random.default_rng(1).integers(1, 65535, (200, 960)).astype(np.uint16)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written)
    with tifffile.TiffFile(path) as tif:
        start = tif.pages[0].dataoffsets[0]
    row = next(row for row in range(1, 150) if (start + row * 1920) % 4096 == 0)
    written[row:] = 0
    tifffile.imwrite(path, written)
    take(path)


def test_pieces_beyond_the_end_are_seen_without_decoding(tmp_path):
    path = tmp_path / "a.tif"
    for kind in ("raw tiff", "raw tiff in strips", "lzw", "deflate in tiles"):
        path.write_bytes(WHOLE[kind]()[:-1])
        assert "lies beyond the end" in refused(path, whole=False)


@pytest.mark.parametrize("kind", ["jpeg", "progressive jpeg", "png"])
def test_no_end_is_seen_without_decoding(tmp_path, kind):
    path = tmp_path / "a"
    whole = WHOLE[kind]()
    for keep in (len(whole) // 2, len(whole) - 1):
        path.write_bytes(whole[:keep])
        assert "cut short" in refused(path, whole=False)


def test_tile_that_was_never_written(tmp_path):
    path = tmp_path / "a.tif"
    path.write_bytes(WHOLE["deflate in tiles"]())
    with tifffile.TiffFile(path) as tif:
        entry = tif.pages[0].tags[325]
        width = {3: 2, 4: 4}[int(entry.dtype)]
    raw = bytearray(path.read_bytes())
    raw[entry.valueoffset : entry.valueoffset + width] = bytes(width)
    path.write_bytes(raw)
    assert "piece 1 of 20 of its picture is missing" in refused(path, whole=False)


@pytest.mark.parametrize(
    ("written", "options", "word"),
    [
        (np.zeros((40, 40), np.float32), {}, "floating point"),
        (np.zeros((40, 40), np.int16), {}, "sign"),
        (np.zeros((40, 40), np.uint32), {}, "32 bits"),
        (np.zeros((40, 40), bool), {}, "1 bits"),
        (np.zeros((40, 40, 4), np.uint8), {"photometric": "separated"}, "CMYK"),
        (
            np.zeros((40, 40), np.uint8),
            {"photometric": "palette", "colormap": np.zeros((3, 256), np.uint16)},
            "palette",
        ),
        (np.zeros((40, 40, 3), np.uint8), {"photometric": "cielab"}, "L\\*a\\*b"),
        (np.zeros((40, 40), np.uint16), {"photometric": "cfa"}, "raw file"),
        (np.zeros((40, 40, 3), np.uint8), {"photometric": "rgb", "compression": "webp"}, "webp"),
        (np.zeros((15, 4000), np.uint16), {}, "only 4000 × 15"),
    ],
)
def test_kinds_that_cannot_be_measured(tmp_path, written, options, word):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written, **options)
    with pytest.raises(ScanError, match=word):
        identify(path)
    refused(path, whole=False)


def test_sizes_no_scan_has_are_refused_before_anything_is_decoded(tmp_path):
    path = tmp_path / "a.png"
    header = struct.pack(">IIBBBBB", 70_000, 70_000, 16, 0, 0, 0, 0)
    png = b"\x89PNG\r\n\x1a\n"
    for kind, body in [(b"IHDR", header), (b"IDAT", zlib.compress(b"")), (b"IEND", b"")]:
        png += struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
    path.write_bytes(png)
    assert "70000 × 70000" in refused(path, whole=False)


@pytest.mark.parametrize("kind", ["png", "jpeg"])
def test_far_too_short_for_what_it_declares(tmp_path, kind):
    whole = bytearray(WHOLE[kind]())
    if kind == "png":
        whole[16:24] = struct.pack(">II", 60_000, 60_000)
        whole[29:33] = struct.pack(">I", zlib.crc32(whole[12:29]))
    else:
        at = whole.index(b"\xff\xc0")
        whole[at + 5 : at + 9] = struct.pack(">HH", 60_000, 60_000)
    path = tmp_path / "a"
    path.write_bytes(whole)
    assert "too short" in refused(path)


def test_tiff_that_would_grow_beyond_measure(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, np.zeros((16, 50_000), np.uint8), compression="zlib")
    raw = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as tif:
        rows, strip = tif.pages[0].tags[257], tif.pages[0].tags[278]
    for entry in (rows, strip):
        width = {3: 2, 4: 4}[int(entry.dtype)]
        raw[entry.valueoffset : entry.valueoffset + width] = (50_000).to_bytes(width, "little")
    path.write_bytes(raw)
    assert "far too short" in refused(path, whole=False)


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "empty"),
        (b"II*\0", "directory"),
        (b"II*\0\x08\0\0\0", "directory"),
        (b"MM\0*\xff\xff\xff\xff", "directory"),
        (b"\x89PNG\r\n\x1a\n", "cut short"),
        (b"\xff\xd8\xff", "cut short"),
        (b"\xff\xd8\xff\xd9", "no picture"),
        (b"hello, this is a letter", "none of TIFF, PNG and JPEG"),
        (b"%PDF-1.7 ....", "a PDF"),
        (b"RIFF\0\0\0\0WEBPVP8 ", "a WebP"),
        (b"\0\0\0\x18ftypheic", "a HEIF"),
    ],
)
def test_beginnings(tmp_path, content, word):
    path = tmp_path / "a.tif"
    path.write_bytes(content)
    assert word in refused(path, whole=False)


def test_what_is_no_file(tmp_path):
    assert "folder" in refused(tmp_path, whole=False)
    assert "no such file" in refused(tmp_path / "gone.tif", whole=False)
    pipe = tmp_path / "pipe.tif"
    os.mkfifo(pipe)
    assert "pipe" in refused(pipe, whole=False)
    with pytest.raises(ScanError, match="name of a file"):
        identify("a\0b.tif")
    with pytest.raises(ScanError, match="no such file"):
        sha256_of(tmp_path / "gone.tif")


def test_no_permission(tmp_path, monkeypatch):
    path = tmp_path / "a.tif"
    path.write_bytes(WHOLE["raw tiff"]())

    def denied(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", denied)
    assert "permission to read" in refused(path, whole=False)


def test_failing_disk(tmp_path, monkeypatch):
    path = tmp_path / "a.tif"
    path.write_bytes(WHOLE["raw tiff"]())

    def failing(*_):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "preadv", failing)
    assert "check the disk" in refused(path)


@pytest.mark.parametrize("kind", ["raw tiff", "lzw", "png"])
def test_changed_while_it_was_read(tmp_path, monkeypatch, kind):
    path = tmp_path / "a"
    path.write_bytes(WHOLE[kind]())
    before = reading_room._reduce

    def meddling(*arguments):
        found = before(*arguments)
        os.utime(path, ns=(1, 1))
        return found

    monkeypatch.setattr(reading_room, "_reduce", meddling)
    assert "changed while it was being read" in refused(path)


def test_changed_since_it_was_identified(tmp_path):
    path = tmp_path / "a.tif"
    path.write_bytes(WHOLE["lzw"]())
    info = identify(path)
    os.utime(path, ns=(1, 1))
    for changed in ("time", "length"):
        if changed == "length":
            path.write_bytes(path.read_bytes() + b"\0")
            os.utime(path, ns=(info.modified_ns, info.modified_ns))
        for read in (lambda: read_reduced(info), lambda: read_patch(info, 0, 0, 9, 9)):
            with pytest.raises(ScanError, match="changed since"):
                read()


def test_boxes_outside(tmp_path):
    path = tmp_path / "a.tif"
    path.write_bytes(WHOLE["lzw"]())
    for box in [(WIDTH, 0, WIDTH + 5, 5), (5, 5, 5, 9), (0, -9, 5, 0)]:
        with pytest.raises(QuantityError, match="box"):
            read_patch(path, *box)
    with pytest.raises(QuantityError, match="reduced"):
        read_reduced(read_header(path), 0)


TAKE_ALL = """
import logging, pathlib, sys
logging.basicConfig(level=logging.DEBUG)
from negcat.errors import ScanError
from negcat.scans import take
for path in sorted(pathlib.Path(sys.argv[1]).iterdir()):
    try:
        take(path)
    except ScanError:
        continue
    raise SystemExit(f"{path} was taken")
"""


def test_nothing_of_it_reaches_the_terminal(tmp_path):
    """In a process of its own, since pytest catches what is logged; with logging switched on as a server does."""
    for number, kind in enumerate(WHOLE):
        whole = WHOLE[kind]()
        for keep in (10, 60, len(whole) // 2, len(whole) - 1):
            (tmp_path / f"{number}-{keep}").write_bytes(whole[:keep])
    (tmp_path / "logged").write_bytes(b"II*\0\x08\0\0\0")  # of which the library logs a warning
    room = str(Path(reading_room.__file__).parents[2])
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", TAKE_ALL, str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
        cwd=room,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
