"""Linear raw DNG: codes between black and white level, upright, with its tags; mosaics and damage refused."""

import numpy as np
import pytest
import tifffile

from negcat.errors import ScanError
from negcat.scans import identify, read_patch, read_patches, take

HEIGHT, WIDTH = 61, 83
BLACK, WHITE = (512, 600, 700), (60000, 61000, 62000)


def dng(path, *, orientation=1, channels=3, black=BLACK, white=WHITE, more=(), **options):
    """Write a DNG; give the values as stored. A grey one is written as light and its kind put in after."""
    random = np.random.default_rng(4)
    shape = (HEIGHT, WIDTH, 3) if channels == 3 else (HEIGHT, WIDTH)
    stored = random.integers(0, 65536, shape).astype(np.uint16)
    name = b"Tidescan Raw One\0"
    tags = [
        (50706, 1, 4, bytes([1, 4, 0, 0]), True),
        (50708, 2, len(name), name, True),
        (50721, 10, 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),
        (271, 2, 0, "Tidescan", True),
        (272, 2, 0, "Raw One", True),
        (274, 3, 1, orientation, True),
        *([(50714, 3, channels, black[:channels], True)] if black else []),
        *([(50717, 3, channels, white[:channels], True)] if white else []),
        *more,
    ]
    tifffile.imwrite(
        path,
        stored,
        **{"photometric": 34892 if channels == 3 else 1} | options,
        extratags=tags,
        metadata=None,
        software="Tidescan 2",
        description="BW-07",
        resolution=(2000, 2000),
        resolutionunit=2,
    )
    if channels == 1 and "photometric" not in options:
        patch(path, 262, 34892)
    return stored.reshape(HEIGHT, WIDTH, channels)


def patch(path, code, value):
    """Put another short into a tag."""
    raw = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as tif:
        at, order = tif.pages[0].tags[code].valueoffset, "big" if tif.byteorder == ">" else "little"
    raw[at : at + 2] = value.to_bytes(2, order)
    path.write_bytes(raw)


def as_codes(stored, black=BLACK, white=WHITE):
    low, high = (np.array(level[: stored.shape[2]], float) for level in (black, white))
    return np.clip(np.rint((stored - low) * 65535 / (high - low)), 0, 65535).astype(np.uint16)


@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("options", [{}, {"rowsperstrip": 7}, {"tile": (32, 32)}, {"byteorder": ">"}])
def test_codes_run_from_black_to_white(tmp_path, channels, options):
    path = tmp_path / "a.dng"
    expected = as_codes(dng(path, channels=channels, **options))
    info, reduced = take(path, 1000)
    assert (info.file_format, info.bits, info.channels) == ("DNG", 16, channels)
    assert (info.width, info.height) == (WIDTH, HEIGHT)
    assert (info.compression, info.lossy, info.exponent) == ("none", False, 1)
    assert info.notes[0] == "raw, linear"
    assert "memory" in info.notes[1]
    np.testing.assert_array_equal(read_patch(info, 0, 0, WIDTH, HEIGHT), expected)
    np.testing.assert_array_equal(read_patches(info, [(5, 6, 40, 50)])[0], expected[6:50, 5:40])
    np.testing.assert_array_equal(reduced.codes, expected.astype(np.float32))


def test_without_levels_the_codes_are_those_stored(tmp_path):
    path = tmp_path / "a.dng"
    stored = dng(path, black=None, white=None)
    np.testing.assert_array_equal(read_patch(path, 0, 0, WIDTH, HEIGHT), stored)


def test_raw_picture_below_a_preview(tmp_path):
    path = tmp_path / "a.dng"
    stored = np.random.default_rng(5).integers(0, 65536, (HEIGHT, WIDTH, 3)).astype(np.uint16)
    tags = [(50706, 1, 4, bytes([1, 4, 0, 0]), True), (272, 2, 0, "Raw One", True), (274, 3, 1, 6, True)]
    levels = [(50714, 3, 3, BLACK, True), (50717, 3, 3, WHITE, True)]
    with tifffile.TiffWriter(path) as file:
        small = np.zeros((20, 27, 3), np.uint8)
        file.write(small, photometric="rgb", subfiletype=1, subifds=1, extratags=tags, metadata=None)
        file.write(
            stored,
            photometric=34892,
            extratags=levels,
            metadata=None,
            resolution=(1200, 1200),
            resolutionunit=2,
        )
    info = identify(path)
    assert (info.model, info.orientation, info.width, info.height) == ("Raw One", 6, HEIGHT, WIDTH)
    assert info.dpi == 1200
    patch_of_it = read_patch(info, 0, 0, info.width, info.height)
    np.testing.assert_array_equal(patch_of_it, np.rot90(as_codes(stored), -1))


def test_eight_bits_are_stretched(tmp_path):
    path = tmp_path / "a.dng"
    stored = np.random.default_rng(6).integers(0, 256, (HEIGHT, WIDTH, 3)).astype(np.uint8)
    tags = [(50706, 1, 4, bytes([1, 4, 0, 0]), True), (50708, 2, 8, b"Raw One\0", True)]
    tifffile.imwrite(path, stored, photometric=34892, extratags=tags, metadata=None)
    assert identify(path).bits == 16
    np.testing.assert_array_equal(read_patch(path, 0, 0, WIDTH, HEIGHT), stored.astype(np.uint16) * 257)


def test_tags(tmp_path):
    path = tmp_path / "a.dng"
    dng(path)
    info = identify(path)
    assert (info.make, info.model, info.software) == ("Tidescan", "Raw One", "Tidescan 2")
    assert (info.description, info.dpi) == (("BW-07",), 2000)


def test_kind_is_told_from_the_bytes_not_the_name(tmp_path):
    path = tmp_path / "a.tif"
    dng(path)
    assert identify(path).file_format == "DNG"


@pytest.mark.parametrize("orientation", range(1, 9))
def test_upright(tmp_path, orientation):
    path = tmp_path / "a.dng"
    stored = as_codes(dng(path, orientation=orientation))
    expected = {
        1: stored,
        2: stored[:, ::-1],
        3: stored[::-1, ::-1],
        4: stored[::-1],
        5: stored.swapaxes(0, 1),
        6: np.rot90(stored, -1),
        7: stored[::-1, ::-1].swapaxes(0, 1),
        8: np.rot90(stored),
    }[orientation]
    info = identify(path)
    assert (info.height, info.width) == expected.shape[:2]
    np.testing.assert_array_equal(read_patch(info, 0, 0, info.width, info.height), expected)


def test_only_the_active_area_is_taken(tmp_path):
    path = tmp_path / "a.dng"
    stored = dng(path, more=[(50829, 4, 4, (2, 4, 58, 80), True)])
    np.testing.assert_array_equal(read_patch(path, 0, 0, 200, 200), as_codes(stored)[2:58, 4:80])


def test_a_mosaic_is_refused(tmp_path):
    path = tmp_path / "a.dng"
    pattern = [(33421, 3, 2, (2, 2), True), (33422, 1, 4, bytes([0, 1, 1, 2]), True)]
    dng(path, channels=1, photometric=32803, more=pattern)
    with pytest.raises(ScanError, match="colour filter mosaic"):
        identify(path)


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ({"compression": "zlib"}, "compressed"),
        ({"black": (9, 9, 9), "white": (9, 9, 9)}, "white level"),
        ({"more": [(50712, 3, 4, (0, 1, 2, 3), True)]}, "more than a black"),
        ({"more": [(50829, 4, 4, (2, 4, 90, 80), True)]}, "active area"),
    ],
)
def test_what_cannot_be_told_is_refused(tmp_path, options, word):
    path = tmp_path / "a.dng"
    dng(path, **options)
    with pytest.raises(ScanError, match=word):
        identify(path)


@pytest.mark.parametrize("kept", [0.05, 0.3, 0.7, 0.999])
def test_cut_short(tmp_path, kept):
    path = tmp_path / "a.dng"
    dng(path)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * kept)])
    with pytest.raises(ScanError) as caught:
        take(path)
    assert str(path) in str(caught.value)
