"""The pyramid: the whole scan as JPEG tiles, made while it is taken, and the way back from tones to codes."""

import io
import json
import zlib

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from negcat import scans
from negcat.errors import QuantityError, ScanError
from negcat.scans import NewPyramid, open_pyramid, pyramid_path, srgb_encoded, take, tone_curve
from negcat.scans.levels import TILE, halved, level_sizes

HEIGHT, WIDTH = 1201, 1403
"""Neither side a multiple of anything; four tiles by three, three levels."""

# How an upright picture lies in the file, by the orientation tag (Exif 2.32, table 6)
STORED = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1),
    6: lambda a: a.swapaxes(0, 1)[::-1],
    7: lambda a: a.swapaxes(0, 1)[::-1, ::-1],
    8: lambda a: a.swapaxes(0, 1)[:, ::-1],
}


def scene(channels=1, bits=16, height=HEIGHT, width=WIDTH):
    """A picture smooth enough for JPEG, with no two places alike; (height, width) or (height, width, 3)."""
    y, x = np.mgrid[:height, :width] / np.array([height, width])[:, None, None]
    light = 0.05 + 0.6 * x * (0.4 + 0.6 * y) + 0.2 * np.exp(-(((x - 0.2) ** 2 + (y - 0.7) ** 2) * 60))
    full = (1 << bits) - 1
    planes = [light, 0.3 + 0.5 * y, 0.8 - 0.6 * x][:channels]
    codes = np.stack([np.rint(full * plane) for plane in planes], axis=-1)
    return codes.astype(np.uint16 if bits == 16 else np.uint8).squeeze()


def write(path, codes, orientation=1, **options):
    tifffile.imwrite(
        path,
        np.ascontiguousarray(STORED[orientation](codes)),
        photometric=options.pop("photometric", "rgb" if codes.ndim == 3 else "minisblack"),
        extratags=[(274, "H", 1, orientation, True)] if orientation != 1 else [],
        metadata=None,
        **options,
    )
    return path


def made(path, previews, **options):
    """Take a scan with its pyramid."""
    job = NewPyramid(previews, **options)
    info, _ = take(path, pyramid=job)
    assert job.fault is None
    assert job.path == pyramid_path(previews, info.scan) == previews / info.scan[:2] / f"{info.scan}.tif"
    return open_pyramid(job.path)


def expected_levels(tones):
    """Block means of the tones at full size, in floating point."""
    tones = tones.astype(float).reshape(*tones.shape[:2], -1)
    levels = [tones]
    while max(levels[-1].shape[:2]) > TILE:
        last = levels[-1]
        last = np.pad(last, ((0, last.shape[0] % 2), (0, last.shape[1] % 2), (0, 0)), "edge")
        levels.append(last.reshape(last.shape[0] // 2, 2, last.shape[1] // 2, 2, -1).mean(axis=(1, 3)))
    return levels


def assert_shows(pyramid, tones):
    """Every level, tile by tile, shows these tones."""
    levels = expected_levels(tones)
    assert [(level.height, level.width) for level in pyramid.levels] == [level.shape[:2] for level in levels]
    for number, wanted in enumerate(levels):
        level = pyramid.levels[number]
        found = pyramid.read(number, 0, 0, level.width, level.height).astype(float)
        assert found.shape == wanted.shape
        # JPEG at this quality and rounding, but never a row or a tile out of place
        assert np.abs(found - wanted).max() < 8
        assert np.abs(found - wanted).mean() < 1.2
        assert abs((found - wanted).mean()) < 0.35


def linear_tones(codes):
    return np.rint(255 * srgb_encoded(codes / 65535))


STRIPS, TILES = {"rowsperstrip": 7}, {"tile": (208, 336), "compression": "zlib"}


@pytest.mark.parametrize(
    ("orientation", "layout"),
    [
        *[(orientation, STRIPS) for orientation in range(1, 9)],
        *[(orientation, TILES) for orientation in (1, 4, 6)],
        (3, {"rowsperstrip": 5000}),
        (8, {"rowsperstrip": 50, "compression": "lzw", "predictor": True}),
        (7, {"tile": (1600, 1600), "compression": "zstd"}),
    ],
)
def test_every_layout_and_orientation_shows_the_upright_scan(tmp_path, orientation, layout):
    codes = scene()
    path = write(tmp_path / "a.tif", codes, orientation, **layout)
    pyramid = made(path, tmp_path / "previews")
    assert (pyramid.width, pyramid.height, pyramid.channels) == (WIDTH, HEIGHT, 1)
    assert_shows(pyramid, linear_tones(codes))


@pytest.mark.parametrize(
    ("orientation", "layout"),
    [
        (1, {"planarconfig": "separate", "rowsperstrip": 50}),
        (3, {"rowsperstrip": 60}),
        (6, {"tile": (208, 336)}),
    ],
)
def test_colour_stays_colour(tmp_path, orientation, layout):
    codes = scene(channels=3)
    stored = np.ascontiguousarray(STORED[orientation](codes))
    if layout.get("planarconfig"):
        stored = np.moveaxis(stored, 2, 0)
    tifffile.imwrite(
        tmp_path / "a.tif",
        stored,
        photometric="rgb",
        compression="lzw",
        metadata=None,
        extratags=[(274, "H", 1, orientation, True)],
        **layout,
    )
    pyramid = made(tmp_path / "a.tif", tmp_path / "previews")
    assert pyramid.channels == 3
    assert_shows(pyramid, linear_tones(codes))


@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_whole_formats_of_8_bits_stay_as_they_are(tmp_path, channels, kind):
    codes = scene(channels, bits=8)
    path = tmp_path / f"a.{kind.lower()}"
    options = {"quality": 97, "subsampling": 0} if kind == "JPEG" else {}
    Image.fromarray(codes).save(path, kind, **options)
    pyramid = made(path, tmp_path / "previews")
    assert not pyramid.linear
    np.testing.assert_array_equal(pyramid.codes, np.arange(256) * 257)
    assert_shows(pyramid, codes)


def test_white_is_zero_is_turned_round(tmp_path):
    codes = scene()
    path = write(tmp_path / "a.tif", 65535 - codes, photometric="miniswhite")
    assert_shows(made(path, tmp_path / "previews"), linear_tones(codes))


def test_a_small_scan_is_one_tile(tmp_path):
    codes = scene(height=16, width=40)
    pyramid = made(write(tmp_path / "a.tif", codes), tmp_path / "previews")
    assert len(pyramid.levels) == 1
    assert pyramid.tile_size(0, 0, 0) == (40, 16)
    assert_shows(pyramid, linear_tones(codes))


def test_the_file_is_an_ordinary_pyramid(tmp_path):
    """Other readers of TIFF agree on it: libtiff through Pillow, and tifffile."""
    codes = scene(channels=3)
    path = write(tmp_path / "a.tif", codes, resolution=(1200, 1200), resolutionunit="INCH")
    pyramid = made(path, tmp_path / "previews")
    with Image.open(pyramid.path) as picture:
        assert picture.n_frames == len(pyramid.levels) == 3
        assert picture.info["dpi"] == pytest.approx((1200, 1200))
        for number, level in enumerate(pyramid.levels):
            picture.seek(number)
            assert picture.size == (level.width, level.height)
            drawn = np.asarray(picture.convert("RGB")).astype(int)
            ours = pyramid.read(number, 0, 0, level.width, level.height).astype(int)
            assert np.abs(drawn - ours).max() <= 3
    with tifffile.TiffFile(pyramid.path) as tif:
        assert [int(page.subfiletype) for page in tif.pages] == [0, 1, 1]
        assert all(page.is_tiled and page.compression == 7 for page in tif.pages)
        told = json.loads(tif.pages[0].description)
    assert told["sha256"] == pyramid.sha256 == scans.sha256_of(path)
    assert told["codes"] == pyramid.codes.tolist()


def test_tiles_are_handed_on_as_whole_jpegs(tmp_path):
    codes = scene()
    pyramid = made(write(tmp_path / "a.tif", codes), tmp_path / "previews")
    raw = pyramid.path.read_bytes()
    for number, level in enumerate(pyramid.levels):
        for row in range(level.down):
            for column in range(level.across):
                data = pyramid.tile_bytes(number, column, row)
                assert data in raw
                with Image.open(io.BytesIO(data)) as tile:
                    assert (tile.format, tile.size, tile.mode) == ("JPEG", (TILE, TILE), "L")
                width, height = pyramid.tile_size(number, column, row)
                seen = pyramid.read_tile(number, column, row)
                assert seen.shape == (height, width, 1)
    # what fills the last tile up is its picture's edge, not black
    edge = np.asarray(Image.open(io.BytesIO(pyramid.tile_bytes(0, 2, 2)))).astype(int)
    width, height = pyramid.tile_size(0, 2, 2)
    assert np.abs(edge[:height, width:] - edge[:height, width - 1 : width]).max() < 12
    assert np.abs(edge[height:] - edge[height - 1 : height]).max() < 12


@pytest.mark.parametrize(
    ("level", "column", "row"), [(3, 0, 0), (-1, 0, 0), (0, 3, 0), (0, 0, 3), (1, -1, 0)]
)
def test_a_tile_that_is_not_there(tmp_path, level, column, row):
    pyramid = made(write(tmp_path / "a.tif", scene()), tmp_path / "previews")
    with pytest.raises(QuantityError):
        pyramid.tile_bytes(level, column, row)


def test_regions(tmp_path):
    codes = scene()
    pyramid = made(write(tmp_path / "a.tif", codes), tmp_path / "previews")
    whole = pyramid.read(0, 0, 0, WIDTH, HEIGHT)
    for box in [(0, 0, 1, 1), (500, 400, 530, 1100), (1400, 1200, 1403, 1201), (511, 511, 513, 513)]:
        x0, y0, x1, y1 = box
        np.testing.assert_array_equal(pyramid.read(0, *box), whole[y0:y1, x0:x1])
    np.testing.assert_array_equal(pyramid.read(0, -5, -5, 9999, 3), whole[:3])
    np.testing.assert_array_equal(pyramid.draw(200, 100, (300, 500, 500, 600)), whole[500:600, 300:500])
    with pytest.raises(QuantityError):
        pyramid.read(0, WIDTH, 0, WIDTH + 9, 9)
    with pytest.raises(QuantityError):
        pyramid.read(7, 0, 0, 9, 9)
    for box in [(0, 0, 0, 9), (0, 0, WIDTH + 1, 9), (-1, 0, 9, 9)]:
        with pytest.raises(QuantityError):
            pyramid.draw(10, 10, box)


@pytest.mark.parametrize(
    ("size", "box", "level"),
    [
        ((350, 300), None, 2),
        ((701, 600), None, 1),
        ((702, 601), None, 0),
        ((100, 100), (101, 203, 500, 602), 1),
        ((900, 450), (1, 1, 451, 226), 0),
    ],
)
def test_drawn_to_size(tmp_path, size, box, level):
    """From the level that suffices, at the place asked for."""
    codes = scene()
    pyramid = made(write(tmp_path / "a.tif", codes), tmp_path / "previews")
    x0, y0, x1, y1 = box or (0, 0, WIDTH, HEIGHT)
    assert pyramid.level_for(min((x1 - x0) / size[0], (y1 - y0) / size[1])) == level
    drawn = pyramid.draw(*size, box)
    assert drawn.shape == (size[1], size[0], 1)
    wanted = Image.fromarray(linear_tones(codes).astype(np.uint8)).resize(
        size, Image.Resampling.LANCZOS, box=(x0, y0, x1, y1)
    )
    difference = drawn[..., 0].astype(int) - np.asarray(wanted).astype(int)
    assert np.abs(difference).max() < 8
    assert np.abs(difference).mean() < 1.2


def test_made_twice_it_is_the_same_file(tmp_path):
    """However the threads fall, and however the file is laid out."""
    codes = scene(channels=3)
    first = made(write(tmp_path / "a.tif", codes, compression="lzw", tile=(80, 80)), tmp_path / "one")
    data = first.path.read_bytes()
    for index in range(3):
        assert made(tmp_path / "a.tif", tmp_path / f"again{index}").path.read_bytes() == data
    other = made(write(tmp_path / "b.tif", codes, rowsperstrip=3), tmp_path / "other")
    for number, level in enumerate(first.levels):
        for row in range(level.down):
            for column in range(level.across):
                assert first.tile_bytes(number, column, row) == other.tile_bytes(number, column, row)


@pytest.mark.parametrize("missing", [1, 5_000, 1_000_000])
@pytest.mark.parametrize("layout", [{}, {"compression": "lzw", "rowsperstrip": 16}, {"tile": (256, 256)}])
def test_a_scan_cut_short_leaves_nothing(tmp_path, missing, layout):
    path = write(tmp_path / "a.tif", scene(), **layout)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) - min(missing, len(data) // 2)])
    job = NewPyramid(tmp_path / "previews")
    with pytest.raises(ScanError):
        take(path, pyramid=job)
    assert job.path is None
    assert [found for found in (tmp_path / "previews").rglob("*") if found.is_file()] == []


def test_a_scan_damaged_within_leaves_nothing(tmp_path):
    path = write(tmp_path / "a.tif", scene(), compression="zlib", rowsperstrip=16)
    with tifffile.TiffFile(path) as tif:
        offset = tif.pages[0].dataoffsets[60]
    data = bytearray(path.read_bytes())
    data[offset : offset + 40] = bytes(40)
    path.write_bytes(data)
    job = NewPyramid(tmp_path / "previews")
    with pytest.raises(ScanError, match="damaged"):
        take(path, pyramid=job)
    assert job.path is None
    assert [found for found in (tmp_path / "previews").rglob("*") if found.is_file()] == []


def test_a_scan_that_changes_meanwhile_leaves_nothing(tmp_path, monkeypatch):
    path = write(tmp_path / "a.tif", scene())
    begin = NewPyramid.begin

    def begin_and_touch(self, picture, header):
        with path.open("ab") as handle:
            handle.write(b"more")
        return begin(self, picture, header)

    monkeypatch.setattr(NewPyramid, "begin", begin_and_touch)
    job = NewPyramid(tmp_path / "previews")
    with pytest.raises(ScanError, match="changed"):
        take(path, pyramid=job)
    assert job.path is None
    assert [found for found in (tmp_path / "previews").rglob("*") if found.is_file()] == []


def test_a_pyramid_that_cannot_be_written_is_no_reason_to_refuse_the_scan(tmp_path):
    path = write(tmp_path / "a.tif", scene())
    (tmp_path / "previews").write_text("a file where the folder should be")
    job = NewPyramid(tmp_path / "previews")
    info, reduced = take(path, pyramid=job)
    assert job.path is None
    assert "the pyramid can't be written" in job.fault
    assert info.sha256 == scans.sha256_of(path)
    assert reduced.codes.shape[2] == 1


def test_a_disk_that_fills_up_while_it_is_written(tmp_path, monkeypatch):
    path = write(tmp_path / "a.tif", scene())

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("negcat.scans.making.os.pwrite", full)
    job = NewPyramid(tmp_path / "previews")
    take(path, pyramid=job)
    assert job.path is None
    assert "no space left" in job.fault
    assert [found for found in (tmp_path / "previews").rglob("*") if found.is_file()] == []


def test_one_made_again_is_opened_anew(tmp_path):
    path = write(tmp_path / "a.tif", scene())
    first = made(path, tmp_path / "previews")
    assert open_pyramid(first.path) is first
    before = first.tile_bytes(0, 0, 0)
    again = made(path, tmp_path / "previews", linear=False)
    assert again.path == first.path
    assert again is not first
    assert not again.linear
    # whoever has the old one open still reads a whole one
    assert first.tile_bytes(0, 0, 0) == before != again.tile_bytes(0, 0, 0)


@pytest.mark.parametrize("keep", [0, 4, 300, -400])
def test_a_pyramid_that_is_damaged_says_so(tmp_path, keep):
    pyramid = made(write(tmp_path / "a.tif", scene()), tmp_path / "previews")
    data = pyramid.path.read_bytes()
    broken = tmp_path / "broken.tif"
    broken.write_bytes(data[:keep])
    with pytest.raises(ScanError, match="make it again"):
        # the directory may still be whole, with tiles beyond the end
        open_pyramid(broken).tile_bytes(2, 0, 0)


def test_what_is_no_pyramid(tmp_path):
    with pytest.raises(ScanError, match="make it again"):
        open_pyramid(write(tmp_path / "a.tif", scene()))
    with pytest.raises(ScanError, match="no such file"):
        open_pyramid(tmp_path / "nowhere.tif")


# -- tones ---------------------------------------------------------------------------------------------------


def gamma_profile(exponent):
    """An ICC profile whose three tone curves are one power."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = int.from_bytes(profile[128:132], "big")
    curve = b"curv\0\0\0\0\0\0\0\1" + round(exponent * 256).to_bytes(2, "big")
    for index in range(count):
        entry = 132 + 12 * index
        if bytes(profile[entry : entry + 4]) in {b"rTRC", b"gTRC", b"bTRC"}:
            offset = int.from_bytes(profile[entry + 4 : entry + 8], "big")
            profile[offset : offset + len(curve)] = curve
            profile[entry + 8 : entry + 12] = len(curve).to_bytes(4, "big")
    return bytes(profile)


@pytest.mark.parametrize(("exponent", "linear"), [(1.0, True), (1.8, False), (2.2, False)])
@pytest.mark.parametrize("bits", [8, 16])
def test_the_colour_profile_tells(tmp_path, exponent, linear, bits):
    codes = scene(channels=3, bits=bits)
    path = write(tmp_path / "a.tif", codes, iccprofile=gamma_profile(exponent))
    pyramid = made(path, tmp_path / "previews", linear=not linear)
    assert scans.read_header(path).exponent == pytest.approx(exponent, abs=0.01)
    assert pyramid.linear == linear
    codes16 = codes.astype(float) * (257 if bits == 8 else 1)
    assert_shows(pyramid, linear_tones(codes16) if linear else np.rint(codes16 / 257))
    # tones that stay in the profile's colours say so, in the file and in every tile
    assert bool(pyramid.colour_profile) != linear
    with Image.open(io.BytesIO(pyramid.tile_bytes(1, 0, 0))) as tile:
        assert tile.info.get("icc_profile", b"") == pyramid.colour_profile


def test_the_curve_of_srgb_itself_is_known(tmp_path):
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    path = write(tmp_path / "a.tif", scene(channels=3, height=40, width=40), iccprofile=icc)
    assert scans.read_header(path).exponent == pytest.approx(2.2, abs=0.05)


def png_with(path, codes, *chunks):
    Image.fromarray(codes).save(path)
    data = path.read_bytes()
    extra = b"".join(
        len(body).to_bytes(4, "big") + kind + body + zlib.crc32(kind + body).to_bytes(4, "big")
        for kind, body in chunks
    )
    path.write_bytes(data[:33] + extra + data[33:])
    return path


@pytest.mark.parametrize(
    ("chunks", "exponent"),
    [
        ([], None),
        ([(b"gAMA", (100_000).to_bytes(4, "big"))], 1.0),
        ([(b"gAMA", (45_455).to_bytes(4, "big"))], 2.2),
        ([(b"gAMA", (100_000).to_bytes(4, "big")), (b"sRGB", b"\0")], 2.2),
        ([(b"gAMA", bytes(4))], None),
    ],
)
def test_a_png_says_its_gamma(tmp_path, chunks, exponent):
    path = png_with(tmp_path / "a.png", scene(bits=8, height=40, width=40), *chunks)
    found = scans.read_header(path).exponent
    assert found == (None if exponent is None else pytest.approx(exponent, abs=0.001))


def test_a_transfer_function_tells(tmp_path):
    table = np.rint(65535 * (np.arange(256) / 255) ** 2.2).astype(np.uint16)
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path, scene(bits=8, height=40, width=40), extratags=[(301, "H", 768, table.tolist() * 3, True)]
    )
    assert scans.read_header(path).exponent == pytest.approx(2.2, abs=0.02)


@pytest.mark.parametrize(
    ("bits", "found_linear", "linear"),
    [(16, None, True), (8, None, False), (16, False, False), (8, True, True), (16, True, True)],
)
def test_where_the_file_says_nothing(tmp_path, bits, found_linear, linear):
    """The scanner's own tablet goes first; without it 16 bits are linear and 8 bits are for the screen."""
    path = write(tmp_path / "a.tif", scene(bits=bits, height=40, width=40))
    header = scans.read_header(path)
    assert header.exponent is None
    assert tone_curve(header, found_linear).linear == linear
    pyramid = made(path, tmp_path / "previews", linear=found_linear)
    assert pyramid.linear == linear
    assert pyramid.reason == tone_curve(header, found_linear).reason


@pytest.mark.parametrize("linear", [True, False])
def test_tones_lead_back_to_codes(linear):
    curve = scans.ToneCurve(linear, "for this test")
    table, codes = curve.table, curve.codes(16)
    assert np.all(np.diff(table.astype(int)) >= 0)
    assert table[codes].tolist() == list(range(256))
    assert set(table.tolist()) == set(range(256))


def test_dark_codes_keep_their_densities():
    """Up to 2.4 of density a tone is finer than 0.05, where unencoded it would be 0.2 or 0.3."""
    codes = scans.ToneCurve(True, "for this test").codes(16)
    density = -np.log10(codes / 65535)
    steps = -np.diff(density)
    assert steps[(density[1:] < 2.4)].max() < 0.05
    plain = -np.log10(scans.ToneCurve(False, "for this test").codes(16) / 65535)
    assert (-np.diff(plain))[plain[1:] < 2.4].max() > 0.15


def test_densities_drawn_from_tiles(tmp_path):
    """Through the 256 codes of the file, tiles show densities to some hundredths."""
    density = np.tile(np.linspace(0.1, 2.2, 1400), (700, 1))
    path = write(tmp_path / "a.tif", np.rint(65535 * 10**-density).astype(np.uint16))
    pyramid = made(path, tmp_path / "previews")
    for number, level in enumerate(pyramid.levels):
        tones = pyramid.read(number, 0, 0, level.width, level.height)[..., 0]
        found = -np.log10(pyramid.codes[tones] / 65535)
        wanted = np.linspace(0.1, 2.2, 1400).reshape(level.width, -1).mean(axis=1)
        assert np.abs(found - wanted).mean() < 0.02
        assert np.abs(found.mean(axis=0) - wanted)[20:-20].max() < 0.06


@pytest.mark.parametrize("channels", [1, 3])
def test_halving_keeps_the_mean(channels):
    """Halves that always went up would lighten each level by an eighth of a tone."""
    tones = np.random.default_rng(3).integers(0, 256, (512, 512, channels)).astype(np.uint8)
    means = [tones.mean()]
    for level in range(6):
        tones = halved(tones, level)
        means.append(tones.mean())
    assert abs(means[2] - means[0]) < 0.02
    assert abs(means[6] - means[0]) < 0.1


@pytest.mark.parametrize("size", [(1, 1), (512, 512), (513, 512), (40_000, 17), (9600, 12000)])
def test_levels_end_in_one_tile(size):
    sizes = level_sizes(*size)
    assert sizes[0] == size
    assert max(sizes[-1]) <= TILE
    assert all(max(before) > TILE for before in sizes[:-1])
