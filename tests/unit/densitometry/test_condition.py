"""What a scan's codes show to be wrong with it."""

import io
from functools import cache

import numpy as np
import pytest
from PIL import Image

from negcat.densitometry import NoRebate, assess, find_rebate, fit_profile
from negcat.densitometry.tonality import blocks_seen
from tests.simulation import scanbench as bench

STEPS = bench.tablet(21)


@cache
def drawn(kind, seed):
    density, _ = SHEETS[kind].draw(5.0, np.random.default_rng(seed))
    return density


SHEETS = {}


def scan(sheet, bed=None, seed=9):
    # A sheet is drawn once and scanned by as many scanners as want it.
    SHEETS.setdefault(repr(sheet), sheet)
    density = drawn(repr(sheet), seed)
    return density, (bed or bench.Bed()).codes(10.0**-density, np.random.default_rng(seed))


def judged(image, profile=None):
    return assess(image, find_rebate(image, 5.0, profile), profile)


def linear_profile():
    bed = bench.Bed()
    codes = bed.toned((10.0**-STEPS + bed.flare) * bed.exposure).astype(float)
    return fit_profile(codes, STEPS, channel="grey", bits=16, mode="grey")


@pytest.mark.parametrize("surround", ["glass", "mask"])
def test_a_plain_negative_is_a_negative_and_nothing_is_wrong(surround):
    _, image = scan(bench.Sheet(surround=surround))
    condition = judged(image)
    assert condition.positive is False
    assert condition.notes == ()
    assert condition.clipped_low == condition.clipped_high == 0.0


@pytest.mark.parametrize("surround", ["glass", "mask"])
@pytest.mark.parametrize("gamma", [1.0, 2.2])
def test_an_inverted_scan_is_a_positive(surround, gamma):
    _, image = scan(bench.Sheet(surround=surround), bench.Bed(gamma=gamma))
    condition = judged(65535 - image)
    assert condition.positive is True
    assert any("positive" in note for note in condition.notes)


def test_a_scan_lighter_than_glass_is_a_positive_even_when_cropped():
    _, image = scan(bench.Sheet(margin_mm=(-5, -5, -5, -5)))
    assert judged(65535 - image, linear_profile()).positive is True
    assert judged(image, linear_profile()).positive is None


def test_cropped_it_cant_be_told_without_a_profile():
    _, image = scan(bench.Sheet(margin_mm=(-5, -5, -5, -5)))
    assert judged(image).positive is None
    assert judged(65535 - image).positive is None


def test_automatic_levels_are_recognised():
    density, _ = scan(bench.Sheet(margin_mm=(-1, -1, -1, -1)))
    low, high = np.percentile(10.0**-density, [0.5, 99.5])
    image = (np.clip((10.0**-density - low) / (high - low), 0, 1) * 65535).astype(np.uint16)
    condition = judged(image)
    assert condition.stretched
    assert any("automatic levels" in note for note in condition.notes)


def test_clipping_at_either_end_is_counted():
    image = np.full((200, 200), 20000, np.uint16)
    image[:20], image[190:] = 0, 65535
    condition = assess(image, NoRebate("cropped away"))
    assert condition.clipped_low == pytest.approx(0.1)
    assert condition.clipped_high == pytest.approx(0.05)
    assert len(condition.notes) >= 2


def test_levels_tell_eight_bits_in_a_file_of_sixteen():
    _, image = scan(bench.Sheet(), bench.Bed(gamma=2.2, bits=8))
    assert judged(image).levels <= 256
    _, image = scan(bench.Sheet())
    assert judged(image).levels > 5000


def histogram_of(image):
    return np.bincount(image.ravel(), minlength=65536)


def full(image, **more):
    """A condition with all that work can give."""
    profile = linear_profile()
    return assess(
        image, find_rebate(image, 5.0, profile), profile, px_per_mm=5.0, histogram=histogram_of(image), **more
    )


@pytest.mark.parametrize("surround", ["glass", "mask"])
def test_a_plain_scan_can_be_measured(surround):
    _, image = scan(bench.Sheet(surround=surround, tilt_deg=0.8))
    condition = full(image, bits=16, patch=image[200:400, 200:400])
    assert condition.measurable
    assert condition.reason == ""
    assert condition.notes == ()
    assert condition.other_curve is False
    assert condition.lossy is False
    assert condition.sheets == 1


def test_a_positive_and_automatic_levels_cant_be_measured():
    density, image = scan(bench.Sheet())
    assert full(65535 - image).reason.startswith("it is a positive")
    low, high = np.percentile(10.0 ** -density[40:-40, 40:-40], [0.5, 99.5])
    levelled = (np.clip((10.0**-density - low) / (high - low), 0, 1) * 65535).astype(np.uint16)
    assert "automatic correction" in full(levelled[40:-40, 40:-40]).reason


@pytest.mark.parametrize(
    ("sheet", "bed", "words"),
    [
        (bench.Sheet(), bench.Bed(gamma=2.2), "Open glass has code"),
        (bench.Sheet(), bench.Bed(exposure=0.6), "darker than the tablet's was"),
        (bench.Sheet(), bench.Bed(exposure=0.96), "lighter than the tablet's was"),
        (bench.Sheet(surround="mask"), bench.Bed(gamma=2.2), "The black mask has code"),
        (bench.Sheet(surround="mask"), bench.Bed(gamma=1.8), "The black mask has code"),
    ],
)
def test_another_tone_curve_than_the_profiles_is_told_by_glass_or_mask(sheet, bed, words):
    condition = full(scan(sheet, bed)[1])
    assert condition.other_curve is True
    assert not condition.measurable
    assert "contradict the scanner's profile" in condition.reason
    assert any(words in note for note in condition.notes)


def test_without_glass_mask_or_gaps_nothing_is_claimed_of_the_curve():
    _, image = scan(bench.Sheet(margin_mm=(-5, -5, -5, -5)), bench.Bed(gamma=1.4))
    assert full(image).other_curve is None


def test_gaps_between_codes_tell_a_curve_laid_over_the_scan():
    _, image = scan(bench.Sheet(margin_mm=(-5, -5, -5, -5)))
    image = image // 16 * 16
    assert full(image).other_curve is None
    curved = np.round(65535 * (image / 65535) ** (1 / 2.2)).astype(np.uint16)
    condition = full(curved)
    assert condition.other_curve is True
    assert any("power 2." in note for note in condition.notes)


def test_levels_multiplied_after_the_scan_are_told_by_even_gaps():
    _, image = scan(bench.Sheet(margin_mm=(-5, -5, -5, -5)))
    image = image // 16 * 16
    condition = full(np.round(image / 16 * 20.4).clip(0, 65535).astype(np.uint16))
    assert any("even distances" in note for note in condition.notes)
    assert condition.measurable


@pytest.mark.parametrize(("bits", "words"), [(8, "The scan holds 8 bits"), (16, "in a file of 16")])
def test_eight_bits_are_named(bits, words):
    _, image = scan(bench.Sheet(), bench.Bed(bits=8))
    condition = full(image, bits=bits)
    assert condition.eight_bit
    assert any(words in note for note in condition.notes)
    assert condition.measurable


def test_lossy_files_are_named():
    condition = full(scan(bench.Sheet())[1], lossy=True)
    assert condition.lossy
    assert any("compressed with loss" in note for note in condition.notes)


@pytest.mark.parametrize("quality", [60, 85, 92])
def test_blocks_of_a_lossy_past_are_seen(quality):
    _, image = scan(bench.Sheet(granularity=0.015), bench.Bed(gamma=2.2))
    kept = io.BytesIO()
    Image.fromarray((image // 257).astype(np.uint8)).save(kept, "jpeg", quality=quality)
    again = np.asarray(Image.open(kept)).astype(np.uint16) * 257
    assert blocks_seen(again[150:450, 150:450])
    assert not blocks_seen(image[150:450, 150:450])
    assert not blocks_seen(image[150:450, 150:450] // 257 * 257)


@pytest.mark.parametrize(("surround", "tilt"), [("glass", 1.5), ("mask", 0.0)])
def test_two_sheets_in_one_scan_are_counted(surround, tilt):
    one = scan(bench.Sheet(surround=surround, tilt_deg=tilt), seed=1)[1]
    two = scan(bench.Sheet(surround=surround, tilt_deg=-tilt), seed=2)[1]
    for both in (np.hstack([one, two]), np.vstack([one, two])):
        condition = full(both)
        assert condition.sheets == 2
        assert "crop it to one" in condition.reason


@pytest.mark.parametrize(
    "sheet",
    [
        bench.Sheet(sky=0.03),
        bench.Sheet(surround="mask", high=2.6),
        bench.Sheet(margin_mm=(-1, -1, -1, -1)),
        bench.Sheet(size_mm=(100, 80), margin_mm=(60, 10, 50, 10)),
        bench.Sheet(clips=2, dust=100),
    ],
)
def test_one_sheet_is_one(sheet):
    assert full(scan(sheet)[1]).sheets == 1


@pytest.mark.parametrize(("turns", "tilt"), [(0, 1.0), (1, 0.0), (2, 1.0), (3, 1.0)])
def test_notches_tell_a_reversed_picture(turns, tilt):
    # Held upright with the emulsion towards one, the notches lie in the top edge, towards its right end.
    sheet = bench.Sheet(notch=True, size_mm=(100.0, 125.0), rebate_mm=(4, 4, 4, 4), tilt_deg=tilt)
    emulsion_side = scan(sheet)[1]
    assert full(np.rot90(emulsion_side, turns)).mirrored is True
    assert full(np.rot90(emulsion_side[:, ::-1], turns)).mirrored is False


def test_without_notches_nothing_is_claimed_of_the_side():
    assert full(scan(bench.Sheet())[1]).mirrored is None
    assert full(scan(bench.Sheet(notch=True))[1]).mirrored is None  # in a long edge: no code notches
    assert full(scan(bench.Sheet(clips=2, size_mm=(100.0, 125.0)))[1]).mirrored is None
