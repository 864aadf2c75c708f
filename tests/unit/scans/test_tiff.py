"""Every kind of TIFF gives back the code values that were written into it."""

from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from negcat.scans import identify, read_header, read_patch, read_patches, read_reduced, take
from negcat.scans.picture import Geometry


def picture(height=131, width=97, channels=1, bits=16, seed=5):
    """Neither side a multiple of anything, no two rows or columns alike."""
    random = np.random.default_rng(seed)
    shape = (height, width) if channels == 1 else (height, width, channels)
    return random.integers(0, 1 << bits, shape).astype(np.uint16 if bits == 16 else np.uint8)


def codes(written):
    """What negcat must make of it: 16-bit codes, three axes."""
    found = written.astype(np.uint16) * (257 if written.dtype == np.uint8 else 1)
    return found if found.ndim == 3 else found[..., None]


def block_means(found, factor):
    """Plainly, block by block: the reference for the streamed sums."""
    height, width, channels = found.shape
    means = np.empty((-(-height // factor), -(-width // factor), channels))
    for row in range(means.shape[0]):
        for column in range(means.shape[1]):
            block = found[row * factor : (row + 1) * factor, column * factor : (column + 1) * factor]
            means[row, column] = block.reshape(-1, channels).mean(axis=0)
    return means


def assert_reads(path, expected, max_side=23):
    """The whole, the reduced and a few parts are what was written."""
    info = identify(path)
    height, width, channels = expected.shape
    assert (info.height, info.width, info.channels) == (height, width, channels)
    np.testing.assert_array_equal(read_patch(info, 0, 0, width, height), expected)
    reduced = read_reduced(info, max_side)
    assert max(reduced.codes.shape) <= max_side
    assert reduced.codes.dtype == np.float32
    np.testing.assert_allclose(reduced.codes, block_means(expected, reduced.factor), rtol=1e-6, atol=1e-2)
    assert reduced.sampled == height * width
    for channel in range(channels):
        np.testing.assert_array_equal(
            reduced.histogram[channel], np.bincount(expected[..., channel].ravel(), minlength=65536)
        )
    boxes = [(0, 0, 1, 1), (width - 3, height - 2, width, height), (11, 7, 60, 90), (40, 0, 41, height)]
    for box, patch in zip(boxes, read_patches(info, boxes), strict=True):
        x0, y0, x1, y1 = box
        np.testing.assert_array_equal(patch, expected[y0:y1, x0:x1])
        np.testing.assert_array_equal(read_patch(path, *box), patch)
    return info


@pytest.mark.parametrize(("byteorder", "bigtiff"), [("<", False), (">", True)])
@pytest.mark.parametrize("compression", [None, "lzw", "zlib", "packbits", "zstd", "lzma"])
@pytest.mark.parametrize(("bits", "channels"), [(16, 1), (8, 1), (16, 3), (8, 3)])
@pytest.mark.parametrize(
    "layout", [{"rowsperstrip": 1}, {"rowsperstrip": 40}, {"rowsperstrip": 200}, {"tile": (32, 48)}]
)
def test_what_was_written_is_read(tmp_path, byteorder, bigtiff, compression, bits, channels, layout):
    written = picture(channels=channels, bits=bits)
    path = tmp_path / "a.tif"
    photometric = "rgb" if channels == 3 else "minisblack"
    predictor = compression in {"lzw", "zlib"}
    tifffile.imwrite(
        path,
        written,
        byteorder=byteorder,
        bigtiff=bigtiff,
        compression=compression,
        predictor=predictor,
        photometric=photometric,
        **layout,
    )
    info = assert_reads(path, codes(written))
    assert info.file_format == "TIFF"
    assert info.bits == bits
    assert info.mode == ("rgb" if channels == 3 else "grey")
    assert info.compression == {None: "none", "zlib": "deflate"}.get(compression, compression)
    assert not info.lossy
    assert info.notes == ()


@pytest.mark.parametrize(("byteorder", "bigtiff"), [(">", False), ("<", True)])
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_the_other_byte_orders(tmp_path, byteorder, bigtiff, compression):
    written = picture()
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path, written, byteorder=byteorder, bigtiff=bigtiff, compression=compression, rowsperstrip=30
    )
    assert_reads(path, codes(written))


@pytest.mark.parametrize("compression", [None, "lzw"])
@pytest.mark.parametrize("layout", [{"rowsperstrip": 17}, {"tile": (16, 64)}])
@pytest.mark.parametrize("channels", [3, 4])
def test_planes_of_their_own(tmp_path, compression, layout, channels):
    written = picture(channels=channels)
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path,
        np.moveaxis(written, 2, 0),
        photometric="rgb",
        planarconfig="separate",
        compression=compression,
        extrasamples=["unassalpha"] * (channels - 3),
        **layout,
    )
    info = assert_reads(path, codes(written)[..., :3])
    assert ("alpha" in " ".join(info.notes)) == (channels == 4)


@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize(("channels", "kept"), [(2, 1), (4, 3)])
def test_alpha_is_dropped(tmp_path, compression, channels, kept):
    written = picture(channels=channels, bits=8)
    path = tmp_path / "a.tif"
    photometric = "rgb" if kept == 3 else "minisblack"
    tifffile.imwrite(
        path,
        written,
        photometric=photometric,
        planarconfig="contig",
        extrasamples=["unassalpha"],
        compression=compression,
    )
    info = assert_reads(path, codes(written)[..., :kept])
    assert any("alpha" in note for note in info.notes)


@pytest.mark.parametrize("compression", [None, "lzw"])
@pytest.mark.parametrize("bits", [8, 16])
def test_white_is_zero_is_turned_round(tmp_path, compression, bits):
    written = picture(bits=bits)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written, photometric="miniswhite", compression=compression)
    assert_reads(path, 65535 - codes(written))


UPRIGHT = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: np.rot90(a, 2),
    4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1),
    6: lambda a: np.rot90(a, -1),
    7: lambda a: np.rot90(a, 2).swapaxes(0, 1),
    8: lambda a: np.rot90(a, 1),
}


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    ("compression", "layout"), [(None, {}), ("lzw", {"rowsperstrip": 9}), ("zlib", {"tile": (32, 32)})]
)
def test_orientation_is_honoured_everywhere(tmp_path, orientation, compression, layout):
    written = picture(channels=3, bits=8)
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path,
        written,
        photometric="rgb",
        compression=compression,
        extratags=[(274, 3, 1, orientation, True)],
        **layout,
    )
    info = assert_reads(path, UPRIGHT[orientation](codes(written)))
    assert info.orientation == orientation


def test_meaningless_orientation_is_named(tmp_path):
    written = picture()
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written, extratags=[(274, 3, 1, 9, True)])
    info = assert_reads(path, codes(written))
    assert info.orientation == 1
    assert any("orientation 9" in note for note in info.notes)


@pytest.mark.parametrize("layout", [{"rowsperstrip": 16}, {"tile": (64, 64)}])
@pytest.mark.parametrize("channels", [1, 3])
def test_jpeg_inside_is_read_and_called_lossy(tmp_path, layout, channels):
    ramp = np.linspace(20, 220, 97)[None, :] + np.linspace(0, 30, 131)[:, None]
    written = np.repeat(ramp[..., None], channels, 2).astype(np.uint8)
    if channels == 3:
        written[..., 2] //= 2
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path,
        written if channels == 3 else written[..., 0],
        photometric="rgb" if channels == 3 else "minisblack",
        compression="jpeg",
        compressionargs={"level": 95},
        **layout,
    )
    info = identify(path)
    assert info.lossy
    assert info.compression == "jpeg"
    assert info.mode == ("rgb" if channels == 3 else "grey")
    found = read_patch(info, 0, 0, info.width, info.height).astype(float)
    with Image.open(path) as opened:
        other = np.asarray(opened.convert("RGB" if channels == 3 else "L")).reshape(found.shape)
    assert np.abs(found / 257 - other).max() <= 3
    assert np.abs(found - codes(written)).mean() < 2.5 * 257
    reduced = read_reduced(info, 20)
    np.testing.assert_allclose(reduced.codes, block_means(found, reduced.factor), rtol=1e-6, atol=1e-2)


def test_first_full_size_page_is_taken_and_the_rest_named(tmp_path):
    small, full, second = picture(30, 20), picture(), picture(seed=6)
    path = tmp_path / "a.tif"
    with tifffile.TiffWriter(path) as writer:
        writer.write(small, subfiletype=1)
        writer.write(full, description="the scan")
        writer.write(second)
    info = assert_reads(path, codes(full))
    assert info.pages == 3
    assert info.description == ("the scan",)
    assert any("page 2 of 3" in note for note in info.notes)


def test_a_mask_is_passed_over(tmp_path):
    path = tmp_path / "a.tif"
    full = picture()
    with tifffile.TiffWriter(path) as writer:
        writer.write(picture(140, 100) > 30000, subfiletype=4)
        writer.write(full)
    assert_reads(path, codes(full))


def test_small_first_page_without_a_mark_is_passed_over(tmp_path):
    small, full = picture(30, 20), picture()
    path = tmp_path / "a.tif"
    with tifffile.TiffWriter(path) as writer:
        writer.write(small)
        writer.write(full)
    assert_reads(path, codes(full))


def test_strips_that_lie_apart_or_backwards_are_read_in_order(tmp_path):
    written = picture(64, 48)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written, rowsperstrip=16)
    with tifffile.TiffFile(path) as tif:
        offsets, counts = tif.pages[0].dataoffsets, tif.pages[0].databytecounts
        entry = tif.pages[0].tags[273]
        where, kind = entry.valueoffset, {3: "<u2", 4: "<u4"}[int(entry.dtype)]
    raw = bytearray(path.read_bytes())
    strips = [bytes(raw[o : o + c]) for o, c in zip(offsets, counts, strict=True)]
    for offset, strip in zip(offsets, reversed(strips), strict=True):
        raw[offset : offset + len(strip)] = strip
    turned = np.array(offsets[::-1], kind).tobytes()
    raw[where : where + len(turned)] = turned
    path.write_bytes(raw)
    assert_reads(path, codes(written))


def test_large_picture_is_sampled_sparsely_but_truly(tmp_path):
    written = np.full((2400, 2000), 30000, np.uint16)
    written[:1200, :500] = 0
    written[1200:, 1500:] = 65535
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written, compression="zlib", rowsperstrip=7)
    info, reduced = take(path, 400)
    assert reduced.sampled == 600 * 500
    assert reduced.clipped_low == pytest.approx((1 / 8,))
    assert reduced.clipped_high == pytest.approx((1 / 8,))
    assert reduced.factor == 6
    assert info.sha256 == identify(path).sha256


@pytest.mark.parametrize("byteorder", ["<", ">"])
def test_raw_picture_larger_than_one_reading(tmp_path, byteorder):
    written = picture(1900, 1800)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written, byteorder=byteorder)
    assert written.nbytes > 4 << 20
    assert_reads(path, codes(written), max_side=300)


def test_take_is_identify_and_read_reduced_in_one(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, picture(channels=3), photometric="rgb", compression="lzw")
    info, reduced = take(path, 30)
    assert info == identify(path)
    np.testing.assert_array_equal(reduced.codes, read_reduced(info, 30).codes)
    assert info.scan == info.sha256[:12]


def test_a_patch_touches_only_its_own_strips(tmp_path):
    written = picture(200, 60)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written, compression="zlib", rowsperstrip=20)
    with tifffile.TiffFile(path) as tif:
        offset = tif.pages[0].dataoffsets[5]
    raw = bytearray(path.read_bytes())
    raw[offset : offset + 20] = b"\xff" * 20
    path.write_bytes(raw)
    np.testing.assert_array_equal(read_patch(path, 10, 30, 50, 95), codes(written)[30:95, 10:50])


@pytest.mark.parametrize("bits", [8, 16])
def test_blocks_larger_than_the_picture(tmp_path, bits):
    written = picture(bits=bits)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written)
    reduced = read_reduced(read_header(path), 1)
    assert reduced.codes.shape == (1, 1, 1)
    assert reduced.codes[0, 0, 0] == pytest.approx(codes(written).mean(), rel=1e-6)


def test_boxes_are_cut_down_to_the_picture(tmp_path):
    written = picture()
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, written)
    np.testing.assert_array_equal(read_patch(path, -5, -7, 4, 3), codes(written)[:3, :4])


def test_masters_are_left_alone(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, picture(), compression="lzw")
    before, stat = path.read_bytes(), path.stat()
    path.chmod(0o444)
    info, _ = take(path)
    read_patch(info, 0, 0, 20, 20)
    assert path.read_bytes() == before
    assert path.stat().st_mtime_ns == stat.st_mtime_ns
    assert [entry.name for entry in Path(tmp_path).iterdir()] == ["a.tif"]


def test_stored_box_is_the_way_back_of_upright():
    for orientation in range(1, 9):
        geometry = Geometry(7, 5, 1, 8, orientation=orientation)
        numbered = np.arange(35).reshape(5, 7)
        upright = geometry.upright(numbered)
        height, width = upright.shape
        assert geometry.upright_size == (width, height)
        x0, y0, x1, y1 = geometry.stored_box(1, 2, 4, 5)
        np.testing.assert_array_equal(geometry.upright(numbered[y0:y1, x0:x1]), upright[2:5, 1:4])
