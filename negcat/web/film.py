"""The page of a film: its record, its law of reciprocity, the times used for each N, how it answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from negcat.web import film_tests
from negcat.web.film_charts import Failing, Panel, draw_panels, draw_reciprocity
from negcat.web.summed import Summed, duration, number, set_summary
from negcat.web.typesetting import deviation, fixed, stops

__all__ = ["Behaviour", "Developed", "Developer", "Given", "Page", "Tagged", "Test", "set_page"]

Story = Mapping[str, Any]


@dataclass(frozen=True)
class Given:
    """A metered time, what has to be given for it in seconds and as one counts it, and the stops between."""

    metered: str
    given: str
    counted: str
    stops: str
    extrapolated: bool


@dataclass(frozen=True)
class Tagged:
    """What the sheets of a tag say."""

    tag: str
    sheets: int
    planned: str
    found: Summed
    residual: Summed
    only_the_tag: int


@dataclass(frozen=True)
class Developed:
    """Sheets of one tag developed for one time; the newest of their batches are named."""

    tag: str
    time: str
    sheets: int
    planned: str
    found: Summed
    batches: tuple[str, ...]
    more_batches: int


@dataclass(frozen=True)
class Developer:
    """A developer, as it was mixed and warmed, and the times it was used for."""

    developer: str
    how: str
    rows: tuple[Developed, ...]


@dataclass(frozen=True)
class Test:
    """A film test on record."""

    test: str
    developer: str
    time: str
    tablet: str
    read: str


@dataclass(frozen=True)
class Behaviour:
    """The readings of a tag: chart, table, and what isn't in them."""

    tag: str
    panel: Panel
    rows: tuple[tuple[str, str, str, str, str], ...]
    sheets: int
    measured: int
    target: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Page:
    """All that the template writes down."""

    film: str
    sheets: int
    record: tuple[tuple[str, str], ...]
    indexes: tuple[tuple[str, int], ...]
    law: str
    times: tuple[Given, ...]
    failing: Failing | None
    tags: tuple[Tagged, ...]
    developers: tuple[Developer, ...]
    tests: tuple[Test, ...]
    curves: tuple[film_tests.Process, ...]
    behaviour: tuple[Behaviour, ...]
    unshown: bool
    lenses: tuple[tuple[str, int], ...]
    films: tuple[tuple[str, int], ...]


def set_page(story: Story) -> Page:
    """Set a film's story for reading."""
    reciprocity = story["reciprocity"]
    behaviour = _behaviour(story["behaviour"]["tags"])
    return Page(
        film=str(story["film"]),
        sheets=int(story["sheets"]),
        record=_record(story),
        indexes=tuple(
            (number(one["exposure_index"]), int(one["sheets"])) for one in story["exposure_indexes"]
        ),
        law=_law(reciprocity),
        times=tuple(
            Given(
                metered=fixed(one["metered_s"], 0),
                given=fixed(one["given_s"], 1),
                counted=duration(one["given_s"]),
                stops=stops(one["stops"]),
                extrapolated=bool(one["extrapolated"]),
            )
            for one in reciprocity["times"]
        ),
        failing=draw_reciprocity(reciprocity["times"], reciprocity["line"]),
        tags=tuple(
            Tagged(
                tag=str(one["tag"]),
                sheets=int(one["sheets"]),
                planned=fixed(one["planned_n"], signed=True),
                found=set_summary(one["found_n"]),
                residual=set_summary(one["residual_stops"]),
                only_the_tag=int(one["only_the_tag"]),
            )
            for one in story["tags"]
        ),
        developers=_developers(story["developments"]),
        tests=tuple(_test(test) for test in story["film_tests"]),
        curves=film_tests.set_curves(story["curves"]),
        behaviour=behaviour,
        unshown=any(one.measured > one.sheets for one in behaviour),
        lenses=tuple((str(one["lens"]), int(one["sheets"])) for one in story["lenses"]),
        films=tuple((str(one["film"]), int(one["sheets"])) for one in story["films"]),
    )


def _record(story: Story) -> tuple[tuple[str, str], ...]:
    index = number(story["exposure_index"])
    found = set_summary(story["base_fog_found"], 3, signed=False)
    if not found.count:
        measured = "not measured: no sheet has shown its clear rebate yet"
    else:
        span = story["base_fog_found"]
        measured = f"{found.median}, the median of {found.count} {_sheets(found.count)}"
        if found.count > 1:
            measured += f", {fixed(span['least'], 3)} to {fixed(span['greatest'], 3)}"
    return (
        ("Box speed", f"ISO {number(story['box_speed'])}"),
        (
            "Exposure index",
            index if story["exposure_index_recorded"] else f"{index}, the box speed: no other on record",
        ),
        ("Lot", str(story["lot"] or "not recorded")),
        ("Measured in", f"the {story['channel']} channel"),
        (
            "Base+fog, recorded",
            fixed(story["base_fog"], 3) if story["base_fog"] is not None else "not recorded",
        ),
        ("Base+fog, measured", measured),
    )


def _sheets(count: int) -> str:
    return "sheet" if count == 1 else "sheets"


def _law(reciprocity: Story) -> str:
    if reciprocity["reason"]:
        return f"The law on record can’t be used: {reciprocity['reason']}"
    law = reciprocity["law"]
    if law is None:
        return "Not recorded: every time is taken to stand for itself, which few films bear beyond a second."
    if law == "none":
        return "On record as needing no correction: every time stands for itself."
    if law == "power":
        return (
            f"Above {number(reciprocity['from_s'])} s the time to give rises by the exponent "
            f"{number(reciprocity['exponent'])}: given = {number(reciprocity['from_s'])} s × "
            f"(metered ÷ {number(reciprocity['from_s'])} s) to that power."
        )
    count = len(reciprocity["points"])
    return f"A table of {count} points on record, with a smooth curve between them."


def _developers(rows: Sequence[Story]) -> tuple[Developer, ...]:
    def key(row: Story) -> tuple[Any, ...]:
        return row["developer"], row["dilution"], row["temperature_c"]

    developers = []
    for (developer, dilution, temperature), group in groupby(rows, key=key):
        how = [str(dilution or "dilution not recorded")]
        how.append(f"{number(temperature)} °C" if temperature is not None else "temperature not recorded")
        developers.append(
            Developer(
                developer=str(developer),
                how=", ".join(how),
                rows=tuple(
                    Developed(
                        tag=str(row["tag"]),
                        time=duration(row["time_s"]),
                        sheets=int(row["sheets"]),
                        planned=fixed(row["planned_n"], signed=True),
                        found=set_summary(row["found_n"]),
                        batches=tuple(row["batches"]),
                        more_batches=int(row["batch_count"]) - len(row["batches"]),
                    )
                    for row in group
                ),
            )
        )
    return tuple(developers)


def _test(test: Story) -> Test:
    how = [str(test["developer"]), str(test["dilution"] or "")]
    if test["temperature_c"] is not None:
        how.append(f"{number(test['temperature_c'])} °C")
    typed = test["densities"]
    read = f"{len(typed)} densities, typed in" if typed else f"from the scan {test['scan']}"
    return Test(
        test=str(test["test"]),
        developer=", ".join(part for part in how if part),
        time=duration(test["time_s"]),
        tablet=str(test["tablet"]),
        read=read,
    )


def _behaviour(tags: Sequence[Story]) -> tuple[Behaviour, ...]:
    panels = {panel.tag: panel for panel in draw_panels(tags)}
    return tuple(
        Behaviour(
            tag=str(tag["tag"]),
            panel=panels[tag["tag"]],
            rows=tuple(
                (
                    str(point["sheet"]),
                    str(point["name"]),
                    fixed(point["given_zone"]),
                    fixed(point["net_density"]),
                    deviation(point["sd"]),
                )
                for point in sorted(tag["points"], key=lambda point: point["given_zone"])
            ),
            sheets=int(tag["sheets"]),
            measured=int(tag["measured"]),
            target=str(tag["target"]),
            notes=_notes(tag),
        )
        for tag in tags
        if tag["tag"] in panels
    )


def _notes(tag: Story) -> tuple[str, ...]:
    notes = []
    if tag["without_figures"]:
        notes.append(
            f"{tag['without_figures']} of the readings have no net density, or it isn’t known what they were given."
        )
    if tag["other_targets"]:
        notes.append(f"{tag['other_targets']} of the sheets are held against another print target.")
    return tuple(notes)
