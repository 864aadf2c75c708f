"""What goes in: a season of sheets in numbers, and what is known of films, lenses and tests beforehand."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from negcat.sensitometry import TargetCurve

__all__ = ["Bound", "Film", "FilmTest", "Law", "Lens", "Reading", "Season", "Sheet"]

Bound: TypeAlias = Literal["clearer", "denser"]
Law: TypeAlias = Literal["none", "power", "table"]


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading of a sheet: where the record says it was exposed, and what is there.

    Parameters
    ----------
    zone : exposure zone given, by the sheet's record as it is believed now: every recorded correction in it.
    net_density : density above base+fog; None where only a bound is known.
    sd : its standard deviation, base+fog's in it; None with a bound.
    name : what was metered.
    bound : ``clearer`` or ``denser`` than `bound_density`, where the density couldn't be had.
    bound_density : net density of that bound.

    Notes
    -----
    A net density under 0.03 is no figure but a shadow lost: it is taken as ``clearer`` than 0.03. Readings given
    more than zone IX tell nothing, as in :mod:`negcat.judgement`.
    """

    zone: float
    net_density: float | None = None
    sd: float | None = None
    name: str = ""
    bound: Bound | None = None
    bound_density: float | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet that was exposed, developed and measured.

    Parameters
    ----------
    sheet : its id.
    film, lens, cell : names; `cell` is one of the lens's cells.
    shutter : name of the lens's shutter, or the lens's where none is named: what its times belong to.
    marked_time : the time as marked, in words: one word for one mark.
    time_s : seconds that the shutter gives for it, as recorded (measured where it was timed).
    by_hand : the time was counted by hand, as from 1 s on.
    exposure_index : the index that the readings' zones were reckoned with.
    planned_n : the tag, as the number after N.
    effective_s : `time_s` less the film's reciprocity failure as believed, the time in the readings' zones.
    developer, dilution, batch : None where not recorded.
    development_s, temperature_c : None where not recorded.
    readings : at least one for the sheet to tell anything.
    """

    sheet: str
    film: str
    lens: str
    cell: str
    shutter: str
    marked_time: str
    time_s: float
    by_hand: bool
    exposure_index: float
    planned_n: float
    effective_s: float
    readings: Sequence[Reading]
    developer: str | None = None
    dilution: str | None = None
    batch: str | None = None
    development_s: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Film:
    """What is on record about a film.

    Parameters
    ----------
    film : its name.
    exposure_index : the index in use: the advice stands against it.
    law : its reciprocity law on record.
    exponent : of a power law.
    from_s : seconds from which it loses: of a power law, or the first point of a table.
    """

    film: str
    exposure_index: float
    law: Law = "none"
    exponent: float | None = None
    from_s: float = 1.0


@dataclass(frozen=True, slots=True)
class Lens:
    """A lens and its cells.

    Parameters
    ----------
    lens : its name.
    cells : their names.
    whole : the cell that is the whole lens, where there is one.
    """

    lens: str
    cells: Sequence[str]
    whole: str | None = None


@dataclass(frozen=True, slots=True)
class FilmTest:
    """A step tablet exposed on film, measured.

    Parameters
    ----------
    test, film, developer, dilution : names.
    development_s, temperature_c : how it was developed.
    log_exposure : log10 of each step's exposure: in lux·s where `absolute`, else against any one exposure.
    net_density : above base+fog, one for each step.
    absolute : the exposures are lux·s at the film.
    """

    test: str
    film: str
    log_exposure: Sequence[float]
    net_density: Sequence[float]
    absolute: bool = False
    developer: str | None = None
    dilution: str | None = None
    development_s: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Season:
    """All that is learnt from.

    Parameters
    ----------
    sheets : in any order; their ids differ. Films, lenses and cells they name must be among the next two.
    films, lenses : what is known of them.
    tests : film tests.
    target : the default print target, the shape from which an unknown film's curve starts.
    """

    sheets: Sequence[Sheet]
    films: Sequence[Film]
    lenses: Sequence[Lens]
    target: TargetCurve
    tests: Sequence[FilmTest] = ()
