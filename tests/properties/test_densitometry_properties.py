"""What must hold of densitometry whatever comes in."""

import contextlib

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from negcat.densitometry import (
    NoRebate,
    Rebate,
    ScannerProfile,
    assess,
    find_rebate,
    find_steps,
    fit_profile,
    measure_spot,
)
from negcat.errors import CalibrationError

scanners = st.fixed_dictionaries(
    {
        "gamma": st.floats(0.8, 2.6),
        "flare": st.floats(0.0, 2e-3),
        "full": st.floats(20000, 63000),
        "count": st.integers(9, 31),
        "top": st.floats(2.0, 3.2),
        "error": st.floats(0.0, 0.01),
        "seed": st.integers(0, 1000),
    }
)


def profile_from(scanner):
    steps = np.linspace(0.05, scanner["top"], scanner["count"])
    codes = scanner["full"] * (10.0**-steps + scanner["flare"]) ** (1 / scanner["gamma"])
    known = steps + np.random.default_rng(scanner["seed"]).normal(0, scanner["error"], steps.size)
    return fit_profile(codes, np.sort(known), channel="grey", bits=16, mode="grey")


@settings(deadline=None, max_examples=40)
@given(scanners)
def test_a_profile_falls_and_turns_back(scanner):
    profile = profile_from(scanner)
    codes = np.logspace(profile.log_codes[0], profile.log_codes[-1], 300)
    densities = profile.density(codes)
    assert np.all(np.diff(densities) < 0)
    assert np.allclose(profile.code(densities[1:-1]), codes[1:-1], rtol=2e-3)
    low, high = profile.density_range
    assert np.all((densities >= low - 1e-9) & (densities <= high + 1e-9))
    assert np.all(profile.sd(densities) > 0)


@settings(deadline=None, max_examples=20)
@given(scanners)
def test_a_profile_survives_storage(scanner):
    profile = profile_from(scanner)
    assert ScannerProfile.from_json(profile.to_json()) == profile


@settings(deadline=None, max_examples=40)
@given(scanners, st.integers(0, 65535), st.floats(3, 12))
def test_an_even_patch_has_the_density_of_its_code_or_a_bound(scanner, code, radius):
    profile = profile_from(scanner)
    spot = measure_spot(np.full((30, 30), code, np.uint16), (15, 15), radius, profile)
    expected = float(profile.density(code))
    if np.isnan(expected) or code in (0, 65535):
        assert spot.density is None
        assert spot.bound is not None
    else:
        assert spot.density is not None
        assert abs(spot.density - expected) < 1e-4
        low, high = profile.density_range
        assert low - 1e-6 <= spot.density <= high + 1e-6


images = arrays(
    np.uint16, st.tuples(st.integers(60, 90), st.integers(60, 90)), elements=st.integers(0, 65535)
)


@settings(deadline=None, max_examples=25)
@given(images)
def test_no_image_breaks_the_search_for_a_margin(image):
    found = find_rebate(image, 3.0)
    assert isinstance(found, Rebate | NoRebate)
    if isinstance(found, Rebate):
        assert all(0 <= edge <= 1 for box in found.boxes for edge in box)
    condition = assess(image, found)
    assert 0 <= condition.clipped_low <= 1


@settings(deadline=None, max_examples=25)
@given(images)
def test_no_image_breaks_the_search_for_steps(image):
    with contextlib.suppress(CalibrationError):
        assert len(find_steps(image, np.linspace(0.05, 3.05, 21)).codes) == 21
