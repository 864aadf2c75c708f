"""What comes out: estimates, how well each is known, what it can't be told from, and what to change."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

__all__ = [
    "ContrastCurve",
    "DevelopmentEstimate",
    "Factor",
    "FactorEstimate",
    "FittedCurve",
    "IndexEstimate",
    "Learned",
    "LooksLike",
    "NoiseLevel",
    "ReciprocityEstimate",
    "Settling",
    "SheetEffect",
    "Spoiled",
]

Factor: TypeAlias = Literal["film", "lens", "cell", "shutter_time", "tag", "batch"]
LooksLike: TypeAlias = Literal["fog", "double exposure", "mistaken reading", "wrong film", "stands apart"]


@dataclass(frozen=True, slots=True)
class FactorEstimate:
    """What one factor does to the exposure, beyond what the record already corrects.

    Parameters
    ----------
    factor : ``film``, ``lens`` (all cells of a further lens with several cells, against the lens with most
        sheets), ``cell`` (against its lens's reference cell; a further lens with one cell against the lens
        with most sheets), ``shutter_time``, ``tag`` (shift of the exposure that comes with this
        development, beyond its contrast, against N), ``batch``.
    level : which: film · lens · ``LENS / CELL`` · ``SHUTTER / TIME`` · tag (with several developers
        ``DEVELOPER DILUTION / TAG``) · batch.
    names : the same in parts, to be looked up: (film,) · (lens,) · (lens, cell) · (shutter, marked time) ·
        (developer, dilution, tag) · (batch,).
    sheets : ids of the sheets it rests on.
    error_stops : more exposure than the record says (denser) is positive; a film's is its speed beyond the
        index in use.
    sd : standard deviation.
    low, high : 90 % interval.
    entangled_with : ``factor: level`` (or ``reciprocity: FILM``) of all that it can't be told from, posterior
        correlation beyond 0.7 in size; said of both.
    is_reference : 0 by the gauge, not by measurement: others are held against it.
    advised : the interval excludes zero, and there is something to act on (not of tags and batches).
    reason : why there is no advice, else empty.
    """

    factor: Factor
    level: str
    names: tuple[str, ...]
    sheets: tuple[str, ...]
    error_stops: float
    sd: float
    low: float
    high: float
    entangled_with: tuple[str, ...]
    is_reference: bool
    advised: bool
    reason: str


@dataclass(frozen=True, slots=True)
class IndexEstimate:
    """A film's personal exposure index: with this meter, lens and shutter.

    Parameters
    ----------
    film : its name.
    used : the index in use.
    indicated : the index that the sheets ask for, with its 90 % interval `low` to `high`; given even where
        there is no advice.
    sd_stops : standard deviation of log2(indicated).
    sheets : ids of those it rests on.
    entangled_with, advised, reason : as :class:`FactorEstimate`.
    """

    film: str
    used: float
    indicated: float
    low: float
    high: float
    sd_stops: float
    sheets: tuple[str, ...]
    entangled_with: tuple[str, ...]
    advised: bool
    reason: str


@dataclass(frozen=True, slots=True)
class ReciprocityEstimate:
    """A film's reciprocity exponent, given = from_s·(metered/from_s)^exponent.

    Parameters
    ----------
    film : its name.
    exponent_used : of the power law on record; None for a table; 1 where no law is on record.
    exponent_indicated : with its 90 % interval `low` to `high`. For a table, that of the power law that
        the table amounts to at the times used, corrected by what the sheets say.
    sd : standard deviation.
    sheets : ids of the sheets with times that lose; without any there is no estimate.
    entangled_with, advised, reason : as :class:`FactorEstimate`.
    """

    film: str
    exponent_used: float | None
    exponent_indicated: float
    low: float
    high: float
    sd: float
    sheets: tuple[str, ...]
    entangled_with: tuple[str, ...]
    advised: bool
    reason: str


@dataclass(frozen=True, slots=True)
class DevelopmentEstimate:
    """What a tag's development came to, and the time that would make it what its name says.

    Parameters
    ----------
    film, developer, dilution, tag, planned_n : which.
    sheets : ids.
    found_n, sd, low_n, high_n : development reached with the time in use; 90 % interval.
    time_s, temperature_c : in use (the median over its sheets); None where not recorded.
    advised_time_s, advised_low_s, advised_high_s : time for the tag's contrast at that temperature, and
        its 90 % interval; None where it can't be had (`reason` says why); given even where not `advised`.
    outside_tried : the advised time lies outside all times tried with this film and developer.
    advised : the interval of the advised time excludes the time in use.
    reason : why there is no time or no advice, else empty.
    """

    film: str
    developer: str | None
    dilution: str | None
    tag: str
    planned_n: float
    sheets: tuple[str, ...]
    found_n: float
    sd: float
    low_n: float
    high_n: float
    time_s: float | None
    temperature_c: float | None
    advised_time_s: float | None
    advised_low_s: float | None
    advised_high_s: float | None
    outside_tried: bool
    advised: bool
    reason: str


@dataclass(frozen=True, slots=True)
class Spoiled:
    """A sheet, or one reading of it, that doesn't belong with the others.

    Parameters
    ----------
    sheet : its id.
    looks_like : the likeliest accident.
    reading : name of the mistaken reading, else None.
    amount : by how much: `unit` is ``stops`` of exposure or ``density``; found minus expected (of a wrong
        film, its speed against the recorded one's index).
    unit : ``stops`` or ``density``.
    other_film : the film that it looks like, for a wrong film.
    probability : that the sheet doesn't belong, by the model.
    """

    sheet: str
    looks_like: LooksLike
    reading: str | None
    amount: float
    unit: Literal["stops", "density"]
    other_film: str | None
    probability: float


@dataclass(frozen=True, slots=True)
class Settling:
    """The one sheet that would settle an open question best.

    Parameters
    ----------
    settles : ``factor: level`` (or ``reciprocity: FILM``) of what is open.
    film, lens, cell, shutter, marked_time, developer, dilution, tag : what to expose, and how to develop it.
    sd_before, sd_after : standard deviation of the estimate now, and expected with that sheet.
    """

    settles: str
    film: str
    lens: str
    cell: str
    shutter: str
    marked_time: str
    developer: str | None
    dilution: str | None
    tag: str
    sd_before: float
    sd_after: float


@dataclass(frozen=True, slots=True)
class NoiseLevel:
    """A variance component, as standard deviation.

    Parameters
    ----------
    name : ``reading`` (the metering of one reading), ``sheet`` (common to a sheet's readings), ``batch``
        (common to a batch's sheets), all in stops; ``batch contrast`` (of a batch's contrast, as a ratio).
    sd, low, high : estimate and 90 % interval.
    """

    name: Literal["reading", "sheet", "batch", "batch contrast"]
    sd: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class FittedCurve:
    """A film's curve at N: net density against exposure zone at the exposure index in use.

    Parameters
    ----------
    film, developer, dilution : which.
    zones, densities, sds : points along it, 0 to 10.
    tests : names of the film tests in it.
    """

    film: str
    developer: str | None
    dilution: str | None
    zones: tuple[float, ...]
    densities: tuple[float, ...]
    sds: tuple[float, ...]
    tests: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ContrastCurve:
    """Development reached against time, at the temperature in use.

    Parameters
    ----------
    film, developer, dilution, temperature_c : which.
    times_s, found_n, sds : points along it, over the times tried.
    """

    film: str
    developer: str | None
    dilution: str | None
    temperature_c: float | None
    times_s: tuple[float, ...]
    found_n: tuple[float, ...]
    sds: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SheetEffect:
    """What was learnt about one sheet, for moving its points.

    Parameters
    ----------
    sheet : its id.
    factors_stops : sum of what film, lens, cell, time, reciprocity, tag and batch did to its exposure, beyond
        its record and against its film's index in use.
    own_stops, own_sd : what remains of its own (metering), and how well it is known.
    contrast : contrast that its development reached.
    belongs : probability that it belongs with the others.
    """

    sheet: str
    factors_stops: float
    own_stops: float
    own_sd: float
    contrast: float
    belongs: float


@dataclass(frozen=True, slots=True)
class Learned:
    """All that a season taught.

    Parameters
    ----------
    sheets, measured : ids given, and of them those with at least one density or bound.
    factors : in the order film, lens, cell, shutter time, tag, batch; by name within.
    exposure_index, reciprocity, development : one for each film; film; film, process and tag.
    spoiled : likeliest first.
    settling : for each open question the best sheet.
    noise : variance components.
    curves, contrast : one for each film and process.
    effects : one for each measured sheet.
    why : sentences about what could not be done.
    version : of the method.
    """

    sheets: tuple[str, ...]
    measured: tuple[str, ...]
    factors: tuple[FactorEstimate, ...]
    exposure_index: tuple[IndexEstimate, ...]
    reciprocity: tuple[ReciprocityEstimate, ...]
    development: tuple[DevelopmentEstimate, ...]
    spoiled: tuple[Spoiled, ...]
    settling: tuple[Settling, ...]
    noise: tuple[NoiseLevel, ...]
    curves: tuple[FittedCurve, ...]
    contrast: tuple[ContrastCurve, ...]
    effects: tuple[SheetEffect, ...]
    why: tuple[str, ...]
    version: int
