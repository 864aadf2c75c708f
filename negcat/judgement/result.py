"""What goes into a judgement and what comes out of it."""

from dataclasses import dataclass
from typing import Literal

__all__ = [
    "DevelopmentVerdict",
    "ExposureVerdict",
    "FoundReading",
    "JudgedReading",
    "Judgement",
    "PaperNeed",
]

ExposureVerdict = Literal["thin", "as planned", "dense", "unsure", "not measured"]
DevelopmentVerdict = Literal["flat", "as planned", "contrasty", "unsure", "not measured"]


@dataclass(frozen=True)
class FoundReading:
    """One reading of a sheet: what it was given and what the negative measures there.

    Parameters
    ----------
    name : what was metered.
    placed : whether it is the reading that was placed.
    given_zone : exposure zone it was really given; None where that can't be known.
    planned_print_zone : zone it was meant to print as.
    density : transmission density of its spot, base+fog included.
    sd : one standard deviation of `net_density`.
    net_density : density above base+fog.
    bound : ``denser`` or ``clearer`` where the spot lies outside the scanner profile's range.
    planned_zone : exposure zone planned for it; used where `given_zone` is known of no reading.
    """

    name: str
    placed: bool
    given_zone: float | None
    planned_print_zone: float | None
    density: float | None
    sd: float | None
    net_density: float | None
    bound: Literal["denser", "clearer"] | None = None
    planned_zone: float | None = None


@dataclass(frozen=True)
class JudgedReading:
    """One reading, held against the print target.

    Parameters
    ----------
    name : what was metered.
    target_density : net density the target asks for at the zone the reading was meant to print as.
    print_zone : zone as which it will print, with one standard deviation `print_zone_sd`; None where there
        is no net density or it is lost.
    lost : less than 0.03 above base+fog, which prints as black.
    error_density : net density minus `target_density`.
    error_zones : `print_zone` minus the planned one.
    weight_used : whether it bears on the sheet's line.
    note : why it doesn't; empty where it does.
    """

    name: str
    target_density: float | None
    print_zone: float | None
    print_zone_sd: float | None
    lost: bool
    error_density: float | None
    error_zones: float | None
    weight_used: bool
    note: str


@dataclass(frozen=True)
class PaperNeed:
    """The printing side: what paper the negative asks for.

    Parameters
    ----------
    shadow, highlight : names of the two readings it was taken from.
    density_range : the highlight's density minus the shadow's.
    iso_r : exposure scale the paper needs, ISO range R (100 × log10), from textured black to textured white.
    grade, word : the nearest grade, 0 (very soft) to 5 (extra hard).
    """

    shadow: str
    highlight: str
    density_range: float
    iso_r: float
    grade: int
    word: str


@dataclass(frozen=True)
class Judgement:
    """What came of a sheet. Whatever couldn't be had is None, and `why` says why.

    Parameters
    ----------
    exposure_error_stops : distance of the placed reading's exposure from plan, more exposure positive.
    exposure_error_sd, exposure_error_density_sd : its deviation with everything in it, and without the
        metering's part; the verdict uses the second.
    residual_stops : the part of it that wasn't decided: film, cell, shutter, meter, batch.
    found_n, found_n_sd, found_n_density_sd : development reached, and its two deviations.
    planned_n : the tag's.
    exposure_verdict : ``thin``, ``as planned``, ``dense``, ``unsure`` or ``not measured``.
    development_verdict : ``flat``, ``as planned``, ``contrasty``, ``unsure`` or ``not measured``.
    verdict : both in one: every departure, else ``unsure``, else ``as planned``.
    why : sentences that say what the verdict rests on.
    readings : every reading, in the order given.
    target : name of the print target.
    version : the version of the code that judged.
    response : name of the film's own curve, where one was used for `residual_stops` and `found_n`.
    paper : what paper the negative asks for; None without a textured shadow and highlight.
    """

    exposure_error_stops: float | None
    exposure_error_sd: float | None
    exposure_error_density_sd: float | None
    residual_stops: float | None
    found_n: float | None
    found_n_sd: float | None
    found_n_density_sd: float | None
    planned_n: float
    exposure_verdict: ExposureVerdict
    development_verdict: DevelopmentVerdict
    verdict: str
    why: tuple[str, ...]
    readings: tuple[JudgedReading, ...]
    target: str
    version: int
    response: str | None = None
    paper: PaperNeed | None = None
