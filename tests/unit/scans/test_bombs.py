"""Few bytes that would cost much: refused by what they declare, or passed over; and nothing is ever printed."""

import io
import struct
import tracemalloc
import zlib

import numpy as np
import pytest
import tifffile
from PIL import Image

from negcat.errors import ScanError
from negcat.scans import bounds, read_header, read_patch, take
from negcat.scans.exif import exif_values
from negcat.scans.files import Damaged
from negcat.scans.strictness import check_jpeg
from tests.simulation.small_files import exif_block, png_chunk, small_file

SIDE = 64
RAW = np.random.default_rng(3).integers(0, 256, (SIDE, SIDE)).astype(np.uint8)


def as_jpeg(pixels, **options):
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=90, **options)
    return buffer.getvalue()


def as_png(*more, idat=None, head=None):
    """Make a grey PNG of 8 bits; chunks in `more` stand before its picture."""
    rows = b"".join(b"\0" + row.tobytes() for row in RAW)
    head = head or struct.pack(">IIBBBBB", SIDE, SIDE, 8, 0, 0, 0, 0)
    body = [(b"IHDR", head), *more, (b"IDAT", idat or zlib.compress(rows)), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(png_chunk(*chunk) for chunk in body)


def as_tiff(strip, *, rows=SIDE, height=SIDE, width=SIDE, compression=1, more=()):
    """Make a grey TIFF whose strips all lie over each other; `more` are (code, type, count, value or bytes)."""
    strips = -(-height // rows)
    tags = sorted(
        [
            (256, 4, 1, width),
            (257, 4, 1, height),
            (258, 3, 1, 8),
            (259, 3, 1, compression),
            (262, 3, 1, 1),
            (273, 4, strips, struct.pack("<I", 8) * strips),
            (277, 3, 1, 1),
            (278, 4, 1, rows),
            (279, 4, strips, struct.pack("<I", len(strip)) * strips),
            *more,
        ]
    )
    at = 8 + len(strip)
    entries, body = b"", b""
    for code, kind, count, value in tags:
        raw = struct.pack("<I", value) if isinstance(value, int) else value
        if len(raw) > 4:
            body += raw
            raw = struct.pack("<I", at + 6 + 12 * len(tags) + len(body) - len(raw))
        entries += struct.pack("<HHI", code, kind, count) + raw.ljust(4, b"\0")
    directory = struct.pack("<H", len(tags)) + entries + bytes(4)
    return b"II*\0" + struct.pack("<I", at) + strip + directory + body


def written(tmp_path, raw):
    path = tmp_path / "a"
    path.write_bytes(raw)
    return path


def refusal(path):
    with pytest.raises(ScanError) as caught:
        take(path)
    return str(caught.value)


def test_these_makers_make_what_is_taken(tmp_path):
    for raw in (as_png(), as_tiff(RAW.tobytes()), as_jpeg(RAW)):
        assert take(written(tmp_path, raw))[1].codes.shape == (SIDE, SIDE, 1)


# -- growth --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("compression", "stored", "decoded", "fits"),
    [
        ("none", 100_000_000, 100_000_000, True),
        ("none", 100_000, 4_000_000_000, False),
        ("deflate", 1 << 20, 1 << 28, True),  # a blank one of 256 MB
        ("deflate", 1 << 20, (1 << 28) + 1, False),
        ("lzw", 10_000_000, 1_900_000_000, True),
        ("packbits", 100_000, 100_000 * 64, True),
        ("packbits", 100_000, 100_000 * 80, False),
        ("jpeg", 100_000, 100_000 * 2500, False),
    ],
)
def test_growth(compression, stored, decoded, fits):
    if fits:
        bounds.check_growth(compression, stored, decoded)
    else:
        with pytest.raises(Damaged, match="far too short"):
            bounds.check_growth(compression, stored, decoded)


def test_large_scans_are_within_bounds():
    """24 × 20 inches at 2,800 dpi in 16 bits grey, 8 × 10 at 4,000 dpi as a PNG in 16 bits grey."""
    bounds.check_size(67_200, 56_000)
    bounds.check_whole(32_000 * 40_000 * 2, "a PNG")
    with pytest.raises(Damaged, match="decoded at once"):
        bounds.check_whole(32_000 * 40_000 * 6, "a PNG")


def test_picture_wider_than_any_scan(tmp_path):
    assert "longer than" in refusal(
        written(tmp_path, as_tiff(RAW.tobytes(), width=400_000, height=16, rows=16))
    )


def test_strips_that_lie_over_each_other(tmp_path):
    """Ten bytes of directory for each strip, and all of them name the same bytes."""
    raw = as_tiff(bytes(range(256)) * 80, width=2048, height=40_000, rows=10)
    assert "far too short" in refusal(written(tmp_path, raw))


def test_jpeg_larger_than_its_strip(tmp_path):
    raw = as_tiff(as_jpeg(np.tile(RAW, (4, 4))), compression=7)
    assert "damaged" in refusal(written(tmp_path, raw))


def test_png_that_holds_more_than_its_picture(tmp_path, capfd):
    path = written(tmp_path, as_png(idat=zlib.compress(bytes(4_000_000))))
    assert "damaged" in refusal(path)
    assert capfd.readouterr() == ("", "")


def test_interlaced_png_is_counted_in_its_passes(tmp_path):
    """Of 17 columns and 19 rows, with a filter for each row of a pass: 12 + 9 + 12 + 25 + 50 + 90 + 162 bytes."""
    head = struct.pack(">IIBBBBB", 17, 19, 8, 0, 0, 0, 1)
    assert take(written(tmp_path, as_png(idat=zlib.compress(bytes(360)), head=head)))[0].width == 17
    for size in (359, 361):
        assert "damaged" in refusal(written(tmp_path, as_png(idat=zlib.compress(bytes(size)), head=head)))


def test_progressive_jpeg_with_passes_without_end():
    raw = as_jpeg(RAW, progressive=True)
    check_jpeg(raw, SIDE, SIDE)
    last = raw.rindex(b"\xff\xda")
    with pytest.raises(ValueError, match="too many scans"):
        check_jpeg(raw[:last] + raw[last:-2] * 100 + raw[-2:], SIDE, SIDE)


# -- walking without end -------------------------------------------------------------------------------------


@pytest.mark.parametrize("chunk", [(b"ruNs", b""), (b"IDAT", b""), (b"tEXt", b"Title\0BW-07")])
def test_png_of_many_chunks(tmp_path, chunk):
    assert "chunks" in refusal(written(tmp_path, as_png(*[chunk] * 10_000)))


@pytest.mark.parametrize("filler", [b"\xff", b"\xff\xd0", b"\xff\xfe\0\2"])
def test_jpeg_of_many_segments(tmp_path, filler):
    raw = as_jpeg(RAW)
    assert "segments" in refusal(written(tmp_path, raw[:2] + filler * 10_000 + raw[2:]))


@pytest.mark.parametrize(("code", "kind"), [(324, 4), (273, 16), (330, 13)])
def test_tiff_that_names_more_than_a_scan_has(tmp_path, code, kind):
    """The numbers aren't even there: the count alone is enough."""
    raw = as_tiff(RAW.tobytes(), more=[(code, kind, 2_000_000, 8)])
    assert "more than any scan has" in refusal(written(tmp_path, raw))


def test_directories_that_name_each_other(tmp_path):
    raw = bytearray(as_tiff(RAW.tobytes(), more=[(330, 4, 1, 8 + SIDE * SIDE)]))
    (count,) = struct.unpack_from("<H", raw, 8 + SIDE * SIDE)
    struct.pack_into("<I", raw, 8 + SIDE * SIDE + 2 + 12 * count, 8 + SIDE * SIDE)
    assert take(written(tmp_path, raw))[0].width == SIDE


# -- headers -------------------------------------------------------------------------------------------------


def test_planes_that_are_taken_for_pixels(tmp_path):
    """One word changed, and each tile has one channel where three are due: two of them stayed black."""
    raw = bytearray(small_file("tiff planes in tiles"))
    at = raw.index(struct.pack("<HHIH", 284, 3, 1, 2))
    raw[at + 8] = 0
    assert "less than it should" in refusal(written(tmp_path, bytes(raw)))


def test_png_with_two_headers(tmp_path):
    head = (b"IHDR", struct.pack(">IIBBBBB", 4000, 4000, 8, 0, 0, 0, 0))
    assert "header" in refusal(written(tmp_path, as_png(head)))


def test_png_with_a_chunk_that_cant_be_left_aside(tmp_path):
    assert "isn't known" in refusal(written(tmp_path, as_png((b"IMGX", b"1"))))


@pytest.mark.parametrize("method", [10, 11, 12])
def test_png_packed_in_an_unknown_way(tmp_path, capfd, method):
    head = bytearray(struct.pack(">IIBBBBB", SIDE, SIDE, 8, 0, 0, 0, 0))
    head[method] = 3
    assert "isn't known" in refusal(written(tmp_path, as_png(head=bytes(head))))
    assert capfd.readouterr() == ("", "")


def test_jpeg_with_two_headers(tmp_path):
    raw = as_jpeg(RAW)
    at = raw.index(b"\xff\xc0")
    length = 2 + int.from_bytes(raw[at + 2 : at + 4], "big")
    assert "two headers" in refusal(written(tmp_path, raw[:at] + raw[at : at + length] + raw[at:]))


# -- what tags tell ------------------------------------------------------------------------------------------


def test_odd_colour_profile_is_no_news(tmp_path, capfd):
    path = written(tmp_path, small_file("png 16 bits"))
    take(path)
    assert capfd.readouterr() == ("", "")


def test_texts_and_profiles_that_unfold(tmp_path):
    vast = zlib.compress(bytes(30_000_000))
    more = [(b"iCCP", b"x\0\0" + vast), *[(b"zTXt", b"Title\0\0" + vast)] * 10]
    path = written(tmp_path, as_png(*more))
    tracemalloc.start()
    try:
        assert read_header(path).description == ()
        assert tracemalloc.get_traced_memory()[1] < 20_000_000
    finally:
        tracemalloc.stop()


def test_number_where_a_packet_should_be(tmp_path):
    """As many bytes as the number says were made of it."""
    path = written(tmp_path, as_tiff(RAW.tobytes(), more=[(700, 4, 1, 60_000_000)]))
    tracemalloc.start()
    try:
        read_header(path)
        assert tracemalloc.get_traced_memory()[1] < 20_000_000
    finally:
        tracemalloc.stop()


def test_orientation_of_many_numbers(tmp_path):
    path = written(tmp_path, as_tiff(RAW.tobytes(), more=[(274, 3, 3000, bytes(6000))]))
    (note,) = read_header(path).notes
    assert note == "orientation means nothing; taken as it lies"


DC = 'xmlns:d="http://purl.org/dc/elements/1.1/"'


def described(tmp_path, packet):
    return read_header(
        written(tmp_path, as_tiff(RAW.tobytes(), more=[(700, 1, len(packet), packet)]))
    ).description


def test_entities_are_not_unfolded_however_they_are_coded(tmp_path):
    packet = f'<!DOCTYPE l [<!ENTITY a "BW-07">]><a {DC}><d:title>&a;</d:title></a>'
    for coding in ("utf-8", "utf-16", "utf-16-le", "utf-16-be"):
        assert described(tmp_path, packet.encode(coding)) == ()


def test_titles_within_titles(tmp_path):
    """Each was searched to its depths for items: half a megabyte took minutes."""
    li = '<r:li xmlns:r="http://www.w3.org/1999/02/22-rdf-syntax-ns#">BW-07</r:li>'
    depth = 40
    packet = f"<a {DC}>" + "<d:title>" * depth + f"<b>{li}</b>" + "</d:title>" * depth + "</a>"
    assert described(tmp_path, packet.encode()) == ("BW-07",)
    packet = f"<a {DC}>" + "<d:title>BW-07</d:title>" * 5000 + "</a>"
    assert described(tmp_path, packet.encode()) == ("BW-07",)


def test_long_description_is_cut(tmp_path):
    text = b"BW-07 " + b"x" * 300_000
    (found,) = read_header(
        written(tmp_path, as_tiff(RAW.tobytes(), more=[(270, 2, len(text), text)]))
    ).description
    assert len(found) == 4000


# -- Exif ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("order", ["<", ">"])
def test_exif_is_read(order):
    notes = []
    values = exif_values(exif_block(order), notes)
    assert values["Make"] == "Tidescan"
    assert values["Orientation"] == 6
    assert values["DateTimeOriginal"] == "2026:05:03 07:40:00"
    assert not notes


def test_maker_note_of_any_length_costs_nothing():
    block = exif_block()
    at = block.index(struct.pack("<HH", 37500, 7))
    block = block[: at + 4] + struct.pack("<I", 0xFFFFFFF0) + block[at + 8 :]
    assert exif_values(block, [])["UserComment"].endswith(b"BW-07 again")


def test_entries_that_all_name_the_same_bytes():
    many = b"".join(struct.pack("<HHII", 270 + number % 2, 2, 60_000, 8) for number in range(999))
    block = (b"II*\0" + struct.pack("<IH", 8, 999) + many).ljust(70_000, b"x")
    tracemalloc.start()
    try:
        notes = []
        assert exif_values(block, notes) == {}
        assert notes == ["its Exif data are damaged; not used"]
        assert tracemalloc.get_traced_memory()[1] < 1_000_000
    finally:
        tracemalloc.stop()


def test_directories_that_name_each_other_cost_nothing():
    """Each entry names all places again; ExifRead would follow every one of them."""
    entries = b"".join(struct.pack("<HHII", 34853, 4, 900, 8) for _ in range(900))
    block = (b"II*\0" + struct.pack("<IH", 8, 900) + entries).ljust(60_000, b"\x08")
    notes = []
    assert exif_values(block, notes) == {}
    assert notes == ["its Exif data are damaged; not used"]
    loop = b"II*\0" + struct.pack("<IH", 8, 1) + struct.pack("<HHII", 34665, 4, 1, 8) + struct.pack("<I", 8)
    assert exif_values(loop, []) == {"ExifOffset": 8}


@pytest.mark.parametrize("at", [4, 9, 18, 20, 30])
def test_broken_exif_is_no_reason_to_refuse(at):
    block = exif_block()
    block = block[:at] + b"\xff\xff\xff\x7f" + block[at + 4 :]
    notes = []
    values = exif_values(block, notes)
    assert values or notes == ["its Exif data are damaged; not used"]


def test_exif_directory_of_a_tiff_within_bounds(tmp_path):
    """Its Exif tags are read; those that claim to be as long as the file are not made texts of."""
    path = written(tmp_path, small_file("tiff with exif"))
    assert read_header(path).description == ("BW-07, kiln door", "BW-07 again")
    raw = bytearray(path.read_bytes())
    at = raw.index(struct.pack("<HH", 37510, 7))
    struct.pack_into("<I", raw, at + 4, 4_000_000_000)
    assert read_header(written(tmp_path, bytes(raw))).description == ("BW-07, kiln door",)


def test_bigtiff_with_an_exif_directory(tmp_path):
    text = b"ASCII\0\0\0BW-07 in Exif"
    path = tmp_path / "a"
    tifffile.imwrite(path, RAW, bigtiff=True, extratags=[(315, 16, 1, 0, True)], metadata=None)
    raw = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as tif:
        at = tif.pages[0].tags[315].offset
    struct.pack_into("<H", raw, at, 34665)
    struct.pack_into("<Q", raw, at + 12, len(raw))
    entry = struct.pack("<HHQQ", 37510, 7, len(text), len(raw) + 8 + 20 + 8)
    path.write_bytes(raw + struct.pack("<Q", 1) + entry + bytes(8) + text)
    assert read_header(path).description == ("BW-07 in Exif",)
    assert read_patch(path, 0, 0, SIDE, SIDE).shape == (SIDE, SIDE, 1)
