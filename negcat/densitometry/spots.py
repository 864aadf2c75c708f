"""One spot on the film: its density, and how well it is known.

Light is averaged, not density: over grain the mean of densities reads high by 1.15 times their variance
(Jensen's inequality, to second order).
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry.profile import FULL_SCALE, ScannerProfile
from negcat.errors import QuantityError

__all__ = ["NetDensity", "SpotDensity", "measure_spot", "net_density"]

_Floats = NDArray[np.float64]

_CLIPPED_SHARE = 0.001
_FEWEST_PIXELS = 12
_LN10 = float(np.log(10.0))


@dataclass(frozen=True)
class SpotDensity:
    """A spot's density with one standard deviation, or why there is none.

    Parameters
    ----------
    density : transmission density of the aperture's mean transmittance; None outside the profile's range.
    sd : one standard deviation in density, grain and texture and the profile's own; None where density is.
    bound : ``denser`` or ``clearer`` than `limit` where the spot is outside the range, else None.
    limit : the end of the profile's range that the spot lies beyond.
    cells : how many independent pieces of grain and texture the aperture holds.
    clipped : share of the aperture's pixels at 0 or full scale, 0 to 1.
    grain_sd : the part of `sd` that grain and texture make.
    reason : a sentence where there is no density, else empty.
    """

    density: float | None
    sd: float | None
    bound: Literal["denser", "clearer"] | None
    limit: float | None
    cells: float
    clipped: float
    grain_sd: float | None = None
    reason: str = ""


def measure_spot(
    image: NDArray[Any], centre: tuple[float, float], radius: float, profile: ScannerProfile
) -> SpotDensity:
    """Measure a round spot of a scan.

    Parameters
    ----------
    image : array (h, w), 16-bit-scaled codes of one channel; a patch that holds the spot is enough.
    centre : x and y of the spot in pixels from the top left corner of `image`; a pixel's own centre is at ½.
    radius : of the aperture, in pixels, above 0.
    profile : the profile of that channel.

    Returns
    -------
    The spot's density, or a bound where it lies outside the profile's range or holds clipped pixels.

    Raises
    ------
    QuantityError
        A radius that is not above 0, an image that is not two-dimensional.

    Examples
    --------
    >>> from negcat.densitometry import fit_profile
    >>> steps = [0.05 + 0.15 * k for k in range(21)]
    >>> profile = fit_profile([60000 * 10**-d for d in steps], steps, channel="grey", bits=16, mode="grey")
    >>> spot = measure_spot(np.full((40, 40), 6000, np.uint16), (20, 20), 10, profile)
    >>> round(spot.density, 3), spot.bound
    (1.0, None)
    >>> measure_spot(np.full((40, 40), 12, np.uint16), (20, 20), 10, profile).bound
    'denser'
    """
    if image.ndim != 2:
        raise QuantityError(
            f"a spot is measured in one channel, height by width, not in {image.ndim} dimensions"
        )
    if not radius > 0:
        raise QuantityError(f"a spot's radius must be above 0 pixels, not {radius}")
    height, width = image.shape
    x, y = centre
    left, right = int(np.floor(x - radius - 0.5)), int(np.ceil(x + radius + 0.5))
    top, bottom = int(np.floor(y - radius - 0.5)), int(np.ceil(y + radius + 0.5))
    columns = np.arange(max(left, 0), min(right, width))
    rows = np.arange(max(top, 0), min(bottom, height))
    if x - radius < -0.5 or y - radius < -0.5 or x + radius > width + 0.5 or y + radius > height + 0.5:
        return _nothing("the spot reaches beyond the scan's edge: move it inside the picture")
    dx = columns[None, :] + 0.5 - x
    dy = rows[:, None] + 0.5 - y
    weights = np.clip(radius + 0.5 - np.hypot(dx, dy), 0.0, 1.0)
    if weights.sum() < _FEWEST_PIXELS:
        return _nothing(
            f"the spot covers only {weights.sum():.0f} pixels, {_FEWEST_PIXELS} are needed: widen it or "
            "scan finer"
        )
    patch = image[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    return _measure(patch, weights, profile)


@dataclass(frozen=True)
class NetDensity:
    """A density above base+fog.

    Parameters
    ----------
    density : the difference; may be below 0 by its error.
    sd : one standard deviation of it.
    """

    density: float
    sd: float


def net_density(
    density: float,
    sd: float,
    base_fog: float,
    base_fog_sd: float,
    profile: ScannerProfile | None,
) -> NetDensity:
    """Return a density above base+fog, with what both have in common taken into account.

    Parameters
    ----------
    density, sd : of the spot, as `measure_spot` gives them.
    base_fog, base_fog_sd : of the film's base.
    profile : the profile that *both* were measured with; None where base+fog comes from elsewhere (a
        densitometer, a record, another profile).

    Returns
    -------
    The net density.

    Notes
    -----
    var(a − b) = var(a) + var(b) − 2 cov(a, b): the error of the profile that shifts spot and base+fog alike
    goes out of the difference.

    Examples
    --------
    >>> net_density(1.25, 0.03, 0.25, 0.04, None)
    NetDensity(density=1.0, sd=0.05)
    """
    common = 0.0 if profile is None else profile.covariance(density, base_fog)
    # What each has of its own is never negative, whatever was rounded in storage.
    common = min(common, 0.98 * sd * base_fog_sd)
    return NetDensity(density - base_fog, float(np.sqrt(sd**2 + base_fog_sd**2 - 2.0 * common)))


def _nothing(reason: str) -> SpotDensity:
    return SpotDensity(None, None, None, None, 0.0, 0.0, None, reason)


def _measure(patch: NDArray[Any], weights: _Floats, profile: ScannerProfile) -> SpotDensity:
    least, greatest = profile.density_range
    inside = weights > 0.5
    dark = float(np.mean(patch[inside] <= 0))
    bright = float(np.mean(patch[inside] >= FULL_SCALE))
    light = profile.transmittance(patch)
    mean = float(np.sum(weights * light) / weights.sum())
    sd_light, cells = _sd_of_mean(light, weights)
    clipped = dark + bright
    if clipped > _CLIPPED_SHARE:
        denser = dark >= bright
        reason = (
            f"{clipped:.0%} of the spot's pixels are clipped at "
            f"{'zero' if denser else 'full scale'}: the scan holds no density here"
        )
        limit = greatest if denser else least
        return SpotDensity(None, None, "denser" if denser else "clearer", limit, cells, clipped, None, reason)
    if mean > 10.0**-least:
        return SpotDensity(
            None,
            None,
            "clearer",
            least,
            cells,
            clipped,
            None,
            f"clearer than {least:.2f}, where the profile begins",
        )
    if mean < 10.0**-greatest:
        return SpotDensity(
            None,
            None,
            "denser",
            greatest,
            cells,
            clipped,
            None,
            f"denser than {greatest:.2f}, where the profile ends",
        )
    density = -float(np.log10(mean))
    grain = sd_light / (mean * _LN10)
    sd = float(np.hypot(grain, float(profile.sd(density))))
    return SpotDensity(density, sd, None, None, cells, clipped, grain)


def _sd_of_mean(light: _Floats, weights: _Floats) -> tuple[float, float]:
    """Return one standard deviation of the aperture's mean, and how many independent cells it rests on.

    A scanner smears grain over neighbouring pixels, so raw pixels are not independent. Their covariance at
    every small lag is added up; the sum over the variance is the area of one independent cell in pixels. A
    slope across the aperture does not move the mean of a round spot and is taken off first.
    """
    total = weights.sum()
    rows, columns = np.indices(light.shape, dtype=np.float64)
    terms = np.stack([np.ones(light.size), columns.ravel(), rows.ravel()], axis=1)
    root = np.sqrt(weights).ravel()
    solved, *_ = np.linalg.lstsq(terms * root[:, None], light.ravel() * root, rcond=None)
    rest = (light - (terms @ solved).reshape(light.shape)) * weights
    variance = float(np.sum(rest**2) / np.sum(weights**2))
    if variance <= 0.0 or np.sqrt(variance) < 1e-7 * abs(float(np.sum(weights * light) / total)):
        return 0.0, float(total)
    reach = _reach(rest, weights, variance)
    area, lags = 1.0, 1
    for down in range(reach + 1):
        for across in range(-reach, reach + 1):
            if (down == 0 and across <= 0) or down**2 + across**2 > (reach + 0.5) ** 2:
                continue
            area += 2.0 * _correlation(rest, weights, variance, down, across)
            lags += 2
    # Three terms were taken off, so every lag's covariance lost about three times the variance of the mean
    # itself, and that many are added up here: the sum gets back what it lost.
    lost = min(3.0 * lags / float(total), 0.65)
    area = float(np.clip(max(area, 1.0) / (1.0 - lost), 1.0, total / 3.0))
    cells = float(total) / area
    # A deviation known from few cells is itself uncertain: the variance of Student's t.
    spare = max(cells - 3.0, 4.0)
    sd = np.sqrt(variance * area * float(np.sum(weights**2)) / total**2 * spare / (spare - 2.0))
    return float(sd), float(cells)


def _reach(rest: _Floats, weights: _Floats, variance: float) -> int:
    """Return the lag in pixels up to which neighbours still go together."""
    farthest = max(2, int(np.sqrt(weights.sum()) / 5.0))
    for lag in range(1, farthest + 1):
        along = _correlation(rest, weights, variance, 0, lag) + _correlation(rest, weights, variance, lag, 0)
        if along / 2.0 < 0.06:
            return max(lag, 1)
    return farthest


def _correlation(rest: _Floats, weights: _Floats, variance: float, down: int, across: int) -> float:
    height, width = rest.shape
    here = (slice(0, height - down), slice(max(0, -across), width - max(0, across)))
    there = (slice(down, height), slice(max(0, across), width - max(0, -across)))
    together = float(np.sum(weights[here] * weights[there]))
    if together <= 0:
        return 0.0
    return float(np.sum(rest[here] * rest[there])) / together / variance
