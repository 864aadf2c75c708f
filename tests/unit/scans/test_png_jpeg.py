"""PNG and JPEG: all their bits, upright, with the tags they carry."""

import io
import struct
import zlib

import imagecodecs
import numpy as np
import pytest
from PIL import Image, ImageOps
from PIL.PngImagePlugin import PngInfo

from negcat.errors import ScanError
from negcat.scans import identify, read_patch, read_patches, read_reduced, take


def picture(channels, bits, height=61, width=83):
    random = np.random.default_rng(3)
    shape = (height, width, channels) if channels > 1 else (height, width)
    return random.integers(0, 1 << bits, shape).astype(np.uint16 if bits == 16 else np.uint8)


def with_chunk(png, kind, body):
    """Put a chunk behind the header of a PNG."""
    chunk = struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
    return png[:33] + chunk + png[33:]


@pytest.mark.parametrize(("channels", "kept"), [(1, 1), (2, 1), (3, 3), (4, 3)])
@pytest.mark.parametrize("bits", [8, 16])
def test_png_keeps_all_its_bits(tmp_path, channels, kept, bits):
    written = picture(channels, bits)
    path = tmp_path / "a.png"
    path.write_bytes(imagecodecs.png_encode(written))
    info, reduced = take(path, 1000)
    expected = written.astype(np.uint16).reshape(61, 83, channels)[..., :kept] * (257 if bits == 8 else 1)
    assert (info.file_format, info.bits, info.channels, info.width, info.height) == (
        "PNG",
        bits,
        kept,
        83,
        61,
    )
    assert (info.compression, info.lossy, info.pages) == ("deflate", False, 1)
    np.testing.assert_array_equal(read_patch(info, 0, 0, 83, 61), expected)
    np.testing.assert_array_equal(reduced.codes, expected.astype(np.float32))
    assert any("alpha" in note for note in info.notes) == (channels != kept)


def test_interlaced_png(tmp_path):
    # eight passes' worth of filter bytes made by hand: Adam7 of a picture of 16 × 16
    written = picture(1, 8, 16, 16)
    raw = b""
    for x0, y0, dx, dy in [
        (0, 0, 8, 8),
        (4, 0, 8, 8),
        (0, 4, 4, 8),
        (2, 0, 4, 4),
        (0, 2, 2, 4),
        (1, 0, 2, 2),
        (0, 1, 1, 2),
    ]:
        raw += b"".join(b"\0" + row.tobytes() for row in written[y0::dy, x0::dx])
    png = b"\x89PNG\r\n\x1a\n"
    for kind, body in [
        (b"IHDR", struct.pack(">IIBBBBB", 16, 16, 8, 0, 0, 0, 1)),
        (b"IDAT", zlib.compress(raw)),
        (b"IEND", b""),
    ]:
        png += struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
    path = tmp_path / "a.png"
    path.write_bytes(png)
    np.testing.assert_array_equal(read_patch(path, 0, 0, 16, 16)[..., 0], written.astype(np.uint16) * 257)


def test_png_in_many_pieces(tmp_path):
    written = picture(3, 16)
    png = imagecodecs.png_encode(written)
    start = png.index(b"IDAT") - 4
    (length,) = struct.unpack(">I", png[start : start + 4])
    body, rest = png[start + 8 : start + 8 + length], png[start + 12 + length :]
    pieces = b""
    for at in range(0, len(body), 1000):
        piece = body[at : at + 1000]
        check = zlib.crc32(b"IDAT" + piece)
        pieces += struct.pack(">I", len(piece)) + b"IDAT" + piece + struct.pack(">I", check)
    path = tmp_path / "a.png"
    path.write_bytes(png[:start] + pieces + rest)
    np.testing.assert_array_equal(read_patch(path, 0, 0, 83, 61), written)


def test_png_tags(tmp_path):
    path = tmp_path / "a.png"
    told = PngInfo()
    told.add_text("Title", "BW-07")
    told.add_text("Description", "kiln mouth", zip=True)
    told.add_itxt("Comment", "Brennöfen, Südseite", zip=True)
    told.add_text("Software", "Tidescan 2")
    told.add_text("Creation Time", "2024-03-05T10:11:12+01:00")
    Image.fromarray(picture(1, 8)).save(path, pnginfo=told, dpi=(1200, 1200))
    info = identify(path)
    assert info.description == ("BW-07", "kiln mouth", "Brennöfen, Südseite")
    assert info.software == "Tidescan 2"
    assert info.taken_at == "2024-03-05T10:11:12+01:00"
    assert info.dpi == pytest.approx(1200, abs=0.02)
    assert info.px_per_mm == pytest.approx(47.244, abs=0.001)


def test_png_density_without_unit_says_nothing(tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(with_chunk(imagecodecs.png_encode(picture(1, 8)), b"pHYs", struct.pack(">IIB", 1, 1, 0)))
    assert identify(path).dpi is None


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", ["png", "jpg"])
def test_exif_orientation(tmp_path, orientation, suffix):
    path = tmp_path / f"a.{suffix}"
    image = Image.fromarray(picture(1, 8))
    exif = image.getexif()
    exif[0x0112] = orientation
    image.save(path, exif=exif)
    with Image.open(path) as opened:
        expected = np.asarray(ImageOps.exif_transpose(opened)).astype(np.uint16) * 257
    info = identify(path)
    assert info.orientation == orientation
    assert (info.height, info.width) == expected.shape
    np.testing.assert_array_equal(read_patch(info, 0, 0, info.width, info.height)[..., 0], expected)
    np.testing.assert_array_equal(read_reduced(info, 1000).codes[..., 0], expected.astype(np.float32))


@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize(
    "options", [{}, {"progressive": True}, {"subsampling": 0}, {"restart_marker_rows": 1}]
)
def test_jpeg(tmp_path, channels, options):
    ramp = np.linspace(10, 240, 83)[None, :] * np.linspace(0.4, 1, 61)[:, None]
    written = ramp.astype(np.uint8)
    if channels == 3:
        written = np.dstack([written, written // 2, 255 - written])
    path = tmp_path / "a.jpg"
    Image.fromarray(written).save(path, quality=92, dpi=(1200, 1200), comment="BW-11", **options)
    info, reduced = take(path, 1000)
    assert (info.file_format, info.bits, info.compression, info.lossy) == ("JPEG", 8, "jpeg", True)
    assert info.mode == ("rgb" if channels == 3 else "grey")
    assert info.dpi == 1200
    assert info.description == ("BW-11",)
    with Image.open(path) as opened:
        other = np.asarray(opened).reshape(61, 83, channels).astype(float)
    assert np.abs(reduced.codes / 257 - other).max() <= 2
    patch = read_patches(info, [(5, 6, 40, 50)])[0]
    np.testing.assert_array_equal(patch, reduced.codes[6:50, 5:40].astype(np.uint16))


def test_jpeg_that_stores_red_green_and_blue(tmp_path):
    written = np.dstack([np.full((40, 50), level, np.uint8) for level in (200, 30, 90)])
    path = tmp_path / "a.jpg"
    Image.fromarray(written).save(path, quality=95, keep_rgb=True)
    assert np.abs(take(path)[1].codes / 257 - written).max() <= 2


def test_things_behind_a_jpeg_are_left_aside(tmp_path):
    path = tmp_path / "a.jpg"
    Image.fromarray(picture(1, 8)).save(path)
    path.write_bytes(path.read_bytes() + b"something else" * 10_000)
    take(path)


@pytest.mark.parametrize(
    ("mode", "suffix", "word"),
    [
        ("P", "png", "palette"),
        ("1", "png", "1 bits"),
        ("CMYK", "jpg", "CMYK"),
        ("P", "gif", "GIF"),
        ("RGB", "bmp", "bitmap"),
    ],
)
def test_kinds_that_cannot_be_measured(tmp_path, mode, suffix, word):
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(picture(3, 8)).convert(mode).save(path)
    with pytest.raises(ScanError, match=word) as caught:
        identify(path)
    assert str(path) in str(caught.value)


def test_kind_is_told_from_the_bytes_not_the_name(tmp_path):
    path = tmp_path / "a.tif"
    buffer = io.BytesIO()
    Image.fromarray(picture(1, 8)).save(buffer, "PNG")
    path.write_bytes(buffer.getvalue())
    assert identify(path).file_format == "PNG"


def test_changed_file_is_not_answered_from_memory(tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(imagecodecs.png_encode(np.full((20, 20), 100, np.uint8)))
    assert read_patch(path, 0, 0, 1, 1)[0, 0, 0] == 100 * 257
    path.write_bytes(imagecodecs.png_encode(np.full((21, 20), 7, np.uint8)))
    assert read_patch(path, 0, 0, 1, 1)[0, 0, 0] == 7 * 257
