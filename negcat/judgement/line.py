"""The line on which a sheet's readings lie: what was given, shifted by r, stretched by n.

Sources
-------
Bishop : C. M. Bishop, Pattern Recognition and Machine Learning (2006), 3.3: linear estimate under a prior.
Björck : Å. Björck, Numerical Methods for Least Squares Problems (1996), 9.2: Gauss–Newton.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from negcat.exposure import contrast, print_zone_of

__all__ = ["METERING_SD", "ZONE_FLOOR_SD", "Line", "Point", "fit_line", "furthest_off"]

METERING_SD = 0.1
"""Deviation of one meter reading in stops."""

ZONE_FLOOR_SD = 0.03
"""No print zone is known better than this."""

_RESIDUAL_PRIOR_SD = 1.0  # stops
_N_PRIOR_SD = 0.5
_MOST_OF_IT_PRIOR = 0.5  # share of the prior in an estimate up to which the readings have settled it
_N_LIMITS = (-7.0, 5.5)  # contrast 0.5 to 4.7: beyond any tag, well under n = 7
_RESIDUAL_LIMIT = 8.0  # stops


@dataclass(frozen=True)
class Point:
    """A reading that bears on the line.

    Parameters
    ----------
    name : what was metered.
    zone : its exposure zone: given, or planned where no given zone is known.
    found : zone found on the curve the line is taken against.
    density_variance : variance of `found` by its density and the floor, zone².
    """

    name: str
    zone: float
    found: float
    density_variance: float


@dataclass(frozen=True)
class Line:
    """The sheet's line, and how well it is known.

    Parameters
    ----------
    r : shift in stops.
    n : development.
    r_variance, n_variance : with everything in them.
    r_density_variance, n_density_variance, rn_density_covariance : without the metering's part.
    n_settled : whether the readings, metering errors and all, say more about n than the prior.
    """

    r: float
    n: float
    r_variance: float
    n_variance: float
    r_density_variance: float
    n_density_variance: float
    rn_density_covariance: float
    n_settled: bool


def fit_line(points: Sequence[Point], planned_n: float, metering_sd: float) -> Line:
    """Estimate r and n of a sheet from the readings that bear on it.

    Parameters
    ----------
    points : at least one.
    planned_n : development of the tag, less than 7.
    metering_sd : deviation of one meter reading in stops, not negative.

    Returns
    -------
    The line, r between −8 and 8 stops, n between −7 and 5.5.

    Notes
    -----
    Gauss–Newton (Björck) to the mode under the prior (Bishop), readings weighed against each other by
    w = 1/(density² + floor² + (metering·dP/dz)²). Against the prior they count with k·w,
    k = Σw / Σw²(density² + floor²), which is what the densities alone tell: the line sought is this
    negative's, as its plan is recorded, and the prior must not draw it towards the tag where only the
    metering is in doubt. (A single reading, or readings equally well known, count 1/(density² + floor²).)

    At the mode the estimate is linear in its three sources of error, so its covariance falls apart
    exactly, with H the information and X the derivatives by r and n: H⁻¹·(k²XᵀwΣwX)·H⁻¹ for the
    readings, Σ split into density and metering, and H⁻¹·(prior precision)·H⁻¹ for what the prior keeps back.
    """
    prior_r = 1.0 / _RESIDUAL_PRIOR_SD**2
    prior_n = 1.0 / _N_PRIOR_SD**2
    metering_variance = metering_sd**2
    r, n = 0.0, planned_n
    for turn in range(60):
        c = contrast(n)
        dc_dn = c * c / 7.0
        a_rr = a_rn = a_nn = 0.0  # XᵀwX, which is XᵀwΣwX with everything in Σ
        d_rr = d_rn = d_nn = 0.0  # XᵀwΣwX with the density's part alone
        b_r = b_n = 0.0
        sum_w = sum_d = 0.0
        for point in points:
            zone = point.zone + r
            # Zone I and what lies under it don't move with development.
            by_r, by_n = (c, (zone - 1.0) * dc_dn) if zone >= 1.0 else (1.0, 0.0)
            weight = 1.0 / (point.density_variance + metering_variance * by_r * by_r)
            density_weight = weight * weight * point.density_variance
            sum_w += weight
            sum_d += density_weight
            a_rr += weight * by_r * by_r
            a_rn += weight * by_r * by_n
            a_nn += weight * by_n * by_n
            d_rr += density_weight * by_r * by_r
            d_rn += density_weight * by_r * by_n
            d_nn += density_weight * by_n * by_n
            miss = weight * (point.found - print_zone_of(zone, n))
            b_r += miss * by_r
            b_n += miss * by_n
        k = sum_w / sum_d
        h_rr, h_rn, h_nn = prior_r + k * a_rr, k * a_rn, prior_n + k * a_nn
        determinant = h_rr * h_nn - h_rn * h_rn
        v_rr, v_rn, v_nn = h_nn / determinant, -h_rn / determinant, h_rr / determinant
        g_r, g_n = k * b_r - prior_r * r, k * b_n + prior_n * (planned_n - n)
        step_r = v_rr * g_r + v_rn * g_n
        step_n = v_rn * g_r + v_nn * g_n
        if abs(step_r) < 1e-7 and abs(step_n) < 1e-7:
            break
        # Far off the way is not straight, and at zone I the line has a corner: short steps, then shorter.
        share = min(1.0, 2.0 / max(abs(step_r), 1e-9), 1.0 / max(abs(step_n), 1e-9))
        if turn >= 10:
            share *= 0.7 ** (turn - 9)
        r = min(max(r + share * step_r, -_RESIDUAL_LIMIT), _RESIDUAL_LIMIT)
        n = min(max(n + share * step_n, _N_LIMITS[0]), _N_LIMITS[1])
    prior_part_r = v_rr * v_rr * prior_r + v_rn * v_rn * prior_n
    prior_part_n = v_nn * v_nn * prior_n + v_rn * v_rn * prior_r
    k2 = k * k
    # What the readings would leave open if they were given no more credit than their metering deserves.
    open_rr, open_nn = prior_r + a_rr, prior_n + a_nn
    open_determinant = open_rr * open_nn - a_rn * a_rn
    return Line(
        r=r,
        n=n,
        r_variance=prior_part_r + k2 * _spread((v_rr, v_rn), (v_rr, v_rn), a_rr, a_rn, a_nn),
        n_variance=prior_part_n + k2 * _spread((v_rn, v_nn), (v_rn, v_nn), a_rr, a_rn, a_nn),
        r_density_variance=prior_part_r + k2 * _spread((v_rr, v_rn), (v_rr, v_rn), d_rr, d_rn, d_nn),
        n_density_variance=prior_part_n + k2 * _spread((v_rn, v_nn), (v_rn, v_nn), d_rr, d_rn, d_nn),
        rn_density_covariance=v_rr * v_rn * prior_r
        + v_rn * v_nn * prior_n
        + k2 * _spread((v_rr, v_rn), (v_rn, v_nn), d_rr, d_rn, d_nn),
        n_settled=open_rr / open_determinant <= _MOST_OF_IT_PRIOR / prior_n,
    )


def _spread(a: tuple[float, float], b: tuple[float, float], rr: float, rn: float, nn: float) -> float:
    """Return a·M·b for the symmetric matrix M = [[rr, rn], [rn, nn]]."""
    return a[0] * b[0] * rr + (a[0] * b[1] + a[1] * b[0]) * rn + a[1] * b[1] * nn


def furthest_off(
    points: Sequence[Point], line: Line, metering_sd: float
) -> tuple[Point, float, float] | None:
    """Find the point that lies furthest off the line, measured by its own errors.

    Parameters
    ----------
    points : the points the line was taken through.
    line : their line.
    metering_sd : deviation of one meter reading in stops.

    Returns
    -------
    The point, its distance in zones (found minus line), and the same in deviations; None for fewer than
    three points, which a line meets anyhow.
    """
    if len(points) < 3:
        return None
    c = contrast(line.n)
    furthest: tuple[Point, float, float] | None = None
    for point in points:
        zone = point.zone + line.r
        miss = point.found - print_zone_of(zone, line.n)
        sd = sqrt(point.density_variance + (metering_sd * (c if zone >= 1.0 else 1.0)) ** 2)
        if furthest is None or abs(miss) / sd > furthest[2]:
            furthest = point, miss, abs(miss) / sd
    return furthest
