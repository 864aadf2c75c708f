"""One spot: its mean, its deviation, its bounds."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from negcat.densitometry import fit_profile, measure_spot
from negcat.errors import QuantityError

STEPS = 0.05 + 0.15 * np.arange(19)
FULL = 58000.0


@pytest.fixture(scope="module")
def profile():
    return fit_profile(FULL * 10.0**-STEPS, STEPS, channel="grey", bits=16, mode="grey")


def film(density, shape=(60, 60), sd=0.0, blur=0.8, seed=1):
    noise = gaussian_filter(np.random.default_rng(seed).normal(size=shape), blur)
    density = density + sd * noise / noise.std()
    return np.round(FULL * 10.0**-density).astype(np.uint16)


def test_light_is_averaged_not_density(profile):
    codes = np.empty((60, 60), np.uint16)
    codes[::2], codes[1::2] = FULL * 10**-0.5, FULL * 10**-1.5
    spot = measure_spot(codes, (30, 30), 15, profile)
    assert spot.density == pytest.approx(-np.log10((10**-0.5 + 10**-1.5) / 2), abs=0.01)


def test_a_slope_does_not_move_it_nor_widen_it(profile):
    slope = (np.arange(60) - 29.5) * 0.001 + np.zeros((60, 1))
    even = measure_spot(film(1.0), (30, 30), 12, profile)
    sloping = measure_spot(film(1.0 + slope), (30, 30), 12, profile)
    assert sloping.density == pytest.approx(even.density, abs=0.001)
    assert sloping.grain_sd < 0.0005


@pytest.mark.parametrize("radius", [4.5, 7, 20])
@pytest.mark.parametrize("blur", [0.5, 0.8, 1.2])
def test_the_deviation_is_that_of_the_mean(profile, radius, blur):
    size = int(2 * radius) + 9
    spots = [
        measure_spot(film(1.2, (size, size), 0.04, blur, seed), (size / 2, size / 2), radius, profile)
        for seed in range(150)
    ]
    found = np.array([spot.density for spot in spots])
    stated = np.sqrt(np.mean([spot.grain_sd**2 for spot in spots]))
    assert found.std() / stated == pytest.approx(1.0, abs=0.3)


def test_raw_pixels_are_not_taken_for_independent(profile):
    spot = measure_spot(film(1.0, sd=0.05, blur=1.5), (30, 30), 20, profile)
    assert spot.cells < 0.2 * np.pi * 20**2


@pytest.mark.parametrize(
    ("density", "bound"), [(0.0, "clearer"), (0.03, "clearer"), (2.85, "denser"), (3.5, "denser")]
)
def test_outside_the_range_there_is_a_bound_and_no_density(profile, density, bound):
    spot = measure_spot(film(density), (30, 30), 10, profile)
    assert spot.density is None
    assert spot.sd is None
    assert spot.bound == bound
    assert spot.limit == pytest.approx(profile.density_range[0 if bound == "clearer" else 1])
    assert spot.reason


@pytest.mark.parametrize(("code", "bound"), [(0, "denser"), (65535, "clearer")])
def test_clipped_pixels_leave_a_bound(profile, code, bound):
    codes = film(1.0)
    codes[28:32, 28:32] = code
    spot = measure_spot(codes, (30, 30), 10, profile)
    assert spot.density is None
    assert spot.bound == bound
    assert spot.clipped > 0.03


def test_floating_codes_of_a_reduced_scan_serve(profile):
    whole = measure_spot(film(1.3), (30, 30), 10, profile)
    floating = measure_spot(film(1.3).astype(np.float32), (30, 30), 10, profile)
    assert floating.density == pytest.approx(whole.density, abs=1e-4)


def test_a_pixels_own_centre_is_at_a_half(profile):
    codes = film(0.5)
    codes[:, 30:] = FULL * 10**-1.5
    left = measure_spot(codes, (20, 30), 9.4, profile)
    assert left.density == pytest.approx(0.5, abs=0.01)


def test_beyond_the_edge_there_is_nothing(profile):
    spot = measure_spot(film(1.0), (5, 30), 10, profile)
    assert spot.density is None
    assert "edge" in spot.reason


def test_a_spot_of_few_pixels_is_none(profile):
    spot = measure_spot(film(1.0), (30, 30), 1.2, profile)
    assert spot.density is None
    assert "pixels" in spot.reason


@pytest.mark.parametrize("radius", [0, -1, float("nan")])
def test_a_radius_must_be_above_nought(profile, radius):
    with pytest.raises(QuantityError, match="radius"):
        measure_spot(film(1.0), (30, 30), radius, profile)


def test_one_channel_only(profile):
    with pytest.raises(QuantityError, match="one channel"):
        measure_spot(np.zeros((9, 9, 3), np.uint16), (4, 4), 2, profile)
