"""Laying one scan of a sheet on another, with scans of known places."""

import itertools

import numpy as np
import pytest
from scipy.ndimage import affine_transform, gaussian_filter

from negcat.densitometry.boxes import Box
from negcat.densitometry.registration import NoRegistration, Registration, View, register
from negcat.errors import QuantityError
from tests.simulation.scanbench import Bed, Sheet

PX = 6.0
FILM = (125.0, 100.0)


def density(seed: int = 1, **fields) -> tuple[np.ndarray, Box]:
    drawn, truth = Sheet(size_mm=FILM, **fields).draw(PX, np.random.default_rng(seed))
    return drawn, Box(*truth["frame"])


def scanned(
    original: np.ndarray,
    *,
    quarter: int = 0,
    mirrored: bool = False,
    angle: float = 0.0,
    factor: float = 1.0,
    move: tuple[float, float] = (0.0, 0.0),
    crop: tuple[int, int, int, int] = (0, 0, 0, 0),
    gamma: float = 1.0,
    seed: int = 7,
):
    """Scan a sheet anew: the picture, and the map of its places from those of the original, fractions."""
    turned = np.rot90(original[:, ::-1] if mirrored else original, -quarter)
    h, w = turned.shape
    height, width = round(h * factor), round(w * factor)
    a = np.radians(angle)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])  # of (x, y), clockwise
    centre, target = np.array([w / 2, h / 2]), np.array([width / 2, height / 2]) + move
    back = turn.T / factor
    offset = centre - back @ (target - 0.5) - 0.5
    light = 10.0 ** -gaussian_filter(turned, 0.4 / min(factor, 1.0))
    seen = affine_transform(
        light, back[::-1, ::-1], offset=offset[::-1], output_shape=(height, width), order=1, mode="nearest"
    )
    left, right, top, bottom = crop
    seen = seen[top : height - bottom, left : width - right]

    def place(x: float, y: float) -> tuple[float, float]:
        x = 1 - x if mirrored else x
        for _ in range(quarter):
            x, y = 1 - y, x
        px = turn @ (np.array([x * w, y * h]) - centre) * factor + target - (left, top)
        return px[0] / seen.shape[1], px[1] / seen.shape[0]

    return Bed(gamma=gamma).codes(seen, np.random.default_rng(seed), PX * factor), place


def off_mm(found: Registration, place, shape: tuple[int, int], px_per_mm: float) -> float:
    worst = 0.0
    for x, y in itertools.product((0.2, 0.5, 0.8), repeat=2):
        wanted, got = place(x, y), found.place(x, y)
        worst = max(
            worst, np.hypot((wanted[0] - got[0]) * shape[1], (wanted[1] - got[1]) * shape[0]) / px_per_mm
        )
    return worst


CASES = {
    "upside down": {"quarter": 2},
    "on its side, finer": {"quarter": 1, "factor": 1.7},
    "on its other side, coarser, askew": {"quarter": 3, "factor": 0.6, "angle": 1.5},
    "mirrored, on its side, moved": {"mirrored": True, "quarter": 1, "move": (25, -18)},
    "cropped, another tone curve": {"crop": (60, 150, 40, 30), "gamma": 2.2, "angle": -1.0},
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_a_rescan_is_laid_on_the_first_scan_without_frames(case) -> None:
    original, _ = density()
    first = Bed().codes(10.0**-original, np.random.default_rng(3), PX)
    second, place = scanned(original, **case)
    factor = case.get("factor", 1.0)
    found = register(View(first, PX), View(second, PX * factor))
    assert isinstance(found, Registration), found
    assert (found.turn_deg, found.mirrored) == (90 * case.get("quarter", 0), case.get("mirrored", False))
    assert off_mm(found, place, second.shape, PX * factor) < 0.15
    assert found.correlation > 0.8


def test_frames_tell_the_scale_where_none_is_stated_and_the_sides() -> None:
    original, frame = density(seed=2, sky=0.3)
    first = Bed().codes(10.0**-original, np.random.default_rng(3), PX)
    second, place = scanned(original, quarter=2, factor=1.4)
    x0, y0, x1, y1 = frame
    turned = Box(1 - x1, 1 - y1, 1 - x0, 1 - y0)
    found = register(View(first, PX, frame, 0.0), View(second, 1.17 * PX, turned, 0.0, sure_scale=False))
    assert isinstance(found, Registration), found
    assert found.turn_deg == 180
    assert off_mm(found, place, second.shape, PX * 1.4) < 0.15


def test_without_frames_a_scale_that_is_not_sure_is_searched_for() -> None:
    original, _ = density(seed=4)
    first = Bed().codes(10.0**-original, np.random.default_rng(3), PX)
    second, place = scanned(original, quarter=2)
    found = register(View(first, PX), View(second, 1.07 * PX, sure_scale=False))
    assert isinstance(found, Registration), found
    assert off_mm(found, place, second.shape, PX) < 0.3


def test_another_sheet_and_a_blank_one_are_not_laid_on_it() -> None:
    first, second, blank = (
        Bed().codes(10.0 ** -density(seed, **fields)[0], np.random.default_rng(seed), PX)
        for seed, fields in ((1, {}), (9, {}), (3, {"low": 0.8, "high": 0.8}))
    )
    for other in (second, blank):
        found = register(View(first, PX), View(other, PX))
        assert isinstance(found, NoRegistration), found
        assert "correlation" in found.reason


def test_a_picture_like_itself_turned_round_is_not_decided() -> None:
    half = density(seed=6, margin_mm=(-4, -4, -4, -4))[0]
    both = (half + half[::-1, ::-1]) / 2
    codes = Bed().codes(10.0**-both, np.random.default_rng(3), PX)
    found = register(View(codes, PX), View(codes, PX))
    assert isinstance(found, NoRegistration)
    assert "which way round" in found.reason


def test_what_is_no_picture_is_refused() -> None:
    fine = View(np.ones((20, 20)), 1.0)
    for wrong in (View(np.ones((20, 20, 3)), 1.0), View(np.ones((4, 20)), 1.0), View(np.ones((20, 20)), 0.0)):
        with pytest.raises(QuantityError, match="one channel"):
            register(fine, wrong)
