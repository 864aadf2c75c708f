"""Densities of simulated scans against their truth: from the scanned tablet to spots and base+fog.

Every scanner here has its own tone curve, flare, exposure, noise and blur, every tablet its own small errors.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from negcat.densitometry import Rebate, find_rebate, find_steps, fit_profile, measure_spot
from tests.simulation import scanbench as bench

PATCHES = (0.05, 0.3, 0.6, 0.9, 1.2, 1.6, 2.0)
PX_PER_MM = 5.0


@dataclass
class Found:
    """One spot or margin beside its truth."""

    truth: float
    density: float
    sd: float


def _bed(rng: np.random.Generator, gamma: float) -> bench.Bed:
    return bench.Bed(
        exposure=float(rng.uniform(0.75, 0.93)),
        gamma=gamma,
        flare=float(10 ** rng.uniform(-4.0, -3.2)),
        blur_px=float(rng.uniform(0.4, 1.0)),
        noise=float(rng.uniform(3e-5, 8e-5)),
    )


def _scan(light: np.ndarray, bed: bench.Bed, rng: np.random.Generator) -> np.ndarray:
    return bed.codes(light, rng, PX_PER_MM)


def run(scans: int, gamma: float, seed: int) -> tuple[list[Found], list[Found]]:
    """Spots and margins found over so many scanners, tablets and sheets."""
    rng = np.random.default_rng(seed)
    spots: list[Found] = []
    margins: list[Found] = []
    for number in range(scans):
        bed = _bed(rng, gamma)
        record = np.round(bench.tablet(21, error=0.015, seed=seed * 1000 + number), 2)
        true = record + rng.normal(0, 0.007, record.size)
        strip = bench.Tablet(
            true,
            tilt_deg=float(rng.uniform(-2, 2)),
            along=str(rng.choice(["x", "y"])),
            reversed=bool(rng.random() < 0.5),
            surround=str(rng.choice(["glass", "mask"])),
        )
        drawn = bench.grain(strip.draw(PX_PER_MM, rng), PX_PER_MM, rng, 0.004)
        steps = find_steps(_scan(10.0**-drawn, bed, rng), record)
        profile = fit_profile(
            steps.codes, record, channel="grey", bits=16, mode="grey", clipped=steps.clipped
        )
        sheet = bench.Sheet(
            base=float(rng.uniform(0.12, 0.35)),
            tilt_deg=float(rng.uniform(-1.5, 1.5)),
            surround=str(rng.choice(["glass", "mask"])),
            sky=float(rng.uniform(0.03, 0.1)) if rng.random() < 0.4 else None,
            patches=PATCHES,
            granularity=float(rng.uniform(0.008, 0.02)),
        )
        density, truth = sheet.draw(PX_PER_MM, rng)
        codes = _scan(10.0**-density, bed, rng)
        margin = find_rebate(codes, PX_PER_MM, profile)
        assert isinstance(margin, Rebate), margin
        assert margin.density is not None
        assert margin.sd is not None
        margins.append(Found(sheet.base, margin.density, margin.sd))
        for centre, net in zip(truth["centres"], PATCHES, strict=True):
            spot = measure_spot(codes, centre, 1.0 * PX_PER_MM, profile)
            assert spot.density is not None
            assert spot.sd is not None
            spots.append(Found(sheet.base + net, spot.density, spot.sd))
    return spots, margins


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.fixture(scope="module", params=[1.0, 2.2], ids=["linear", "gamma 2.2"])
def found(request: pytest.FixtureRequest) -> tuple[list[Found], list[Found]]:
    return run(16, request.param, 11)


def test_spots_are_near_the_truth(found):
    spots, _ = found
    errors = np.array([spot.density - spot.truth for spot in spots])
    assert rms(errors) < 0.01
    assert np.abs(errors).max() < 0.04


def test_base_fog_is_near_the_truth(found):
    _, margins = found
    errors = np.array([margin.density - margin.truth for margin in margins])
    assert np.abs(errors).max() < 0.012


@pytest.mark.parametrize("band", [(0.0, 0.8), (0.8, 1.6), (1.6, 2.4)])
def test_the_stated_deviation_is_true(found, band):
    spots, _ = found
    low, high = band
    scaled = [(spot.density - spot.truth) / spot.sd for spot in spots if low <= spot.truth < high]
    assert 0.75 < rms(np.array(scaled)) < 1.3


def test_no_density_outside_the_range():
    rng = np.random.default_rng(4)
    bed = bench.Bed()
    steps = bench.tablet(15)
    ideal = bed.toned((10.0**-steps + bed.flare) * bed.exposure)
    profile = fit_profile(ideal, steps, channel="grey", bits=16, mode="grey")
    for density, bound in ((0.0, "clearer"), (2.6, "denser"), (4.0, "denser")):
        codes = bed.codes(np.full((60, 60), 10.0**-density), rng)
        spot = measure_spot(codes, (30, 30), 10, profile)
        assert spot.density is None
        assert spot.bound == bound
