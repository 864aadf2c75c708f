"""What a scan's codes show to be wrong with it."""

import numpy as np
import pytest

from negcat.densitometry import NoRebate, assess, find_rebate, fit_profile
from tests.simulation import scanbench as bench

STEPS = bench.tablet(21)


def scan(sheet, bed=None, seed=9):
    rng = np.random.default_rng(seed)
    density, _ = sheet.draw(5.0, rng)
    return density, (bed or bench.Bed()).codes(10.0**-density, rng)


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
