"""The command that shows a film's characteristic curves and development times."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from math import log2
from pathlib import Path
from typing import Any

import click

from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import clock, figure, print_json, signed, table, warn, wrapped
from negcat.cli.review_text import CAUTION
from negcat.errors import CalibrationError
from negcat.work.curve_chart import draw_curves
from negcat.work.curves import curves_json, film_curves, times_from_sheets
from negcat.work.fit_chart import PLOT_SUFFIXES, write_plot

Document = Mapping[str, Any]
Row = tuple[str, str, str, str, str]
"""A figure's name, value, deviation, a word more, and a sentence about it."""

BLANK = " "
"""A cell that stays empty; one without any text would show a dash."""


@click.command()
@click.argument("film")
@click.option("--developer", metavar="D", help="Only tests and sheets in this developer.")
@click.option(
    "--temperature",
    "temperature_c",
    metavar="C",
    type=click.FloatRange(5, 45),
    help="Give the times for this temperature, °C; without it, for that of the tests.",
)
@click.option(
    "--plot",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Draw the curves as .svg or .png.",
)
@archive_option
@json_option
def curve(
    film: str,
    developer: str | None,
    temperature_c: float | None,
    plot: Path | None,
    archive_dir: Path | None,
    as_json: bool,
) -> None:
    """Show the characteristic curves of FILM and the development time for each N.

    Curves, speed and contrast come from film tests: a step tablet exposed on the film. Times come from them, and
    from ordinary sheets, each with its 90 % interval.

    \b
    Examples:
      negcat curve "Marl 400"
      negcat curve "Marl 400" --developer pyrocatechin --temperature 22 --plot marl.svg
    """
    if plot is not None and plot.suffix.lower() not in PLOT_SUFFIXES:
        raise click.BadParameter(
            f"'{plot}' is no plot's name: let it end in .svg or .png", param_hint="--plot"
        )
    with open_archive(archive_dir, readonly=True) as archive:
        document = curves_json(film_curves(archive, film, developer=developer, temperature_c=temperature_c))
        document["from_sheets"] = times_from_sheets(archive, document["film"], developer)
    unplotted = None
    if plot is not None:
        try:
            _plot(document, plot)
        except CalibrationError as error:
            unplotted = str(error)
            warn(unplotted)
    if as_json:
        print_json(document)
    else:
        click.echo(_text(document))
    if unplotted is not None:
        sys.exit(1)


def _plot(document: Document, path: Path) -> None:
    chart = draw_curves(document)
    if chart is None:
        raise CalibrationError(f"{path}: nothing to plot, as no test of {document['film']} has a curve")
    write_plot(chart, path)


def _text(document: Document) -> str:
    tests = sum(len(process["tests"]) for process in document["processes"])
    opening = (
        f"{document['film']}: {tests} film {'test' if tests == 1 else 'tests'}. "
        f"Contrast is held against the print target '{document['print_target']}'."
    )
    parts = [opening]
    if not tests:
        parts.append(
            wrapped(
                "No film test is on record: expose a step tablet on the film, and record it under 'film_tests'."
            )
        )
    for process in document["processes"]:
        parts.append(_developer(process["developer"], process["dilution"]))
        parts += [_test_text(test) for test in process["tests"]]
        parts.append(_times_text(process))
    if document["from_sheets"]:
        parts.append(_sheets_text(document["from_sheets"]))
    if any(process["times"] for process in document["processes"]) or document["from_sheets"]:
        parts.append(wrapped(CAUTION, ""))
    return "\n\n".join(part for part in parts if part)


def _developer(developer: str | None, dilution: str | None) -> str:
    return " ".join(part for part in (developer, dilution) if part) or "developer not recorded"


def _test_text(test: Document) -> str:
    how = [f"developed {clock(test['time_s'])}"]
    if test["temperature_c"] is not None:
        how.append(f"{test['temperature_c']:g} °C")
    read = sum(step["density"] is not None for step in test["steps"])
    how.append(
        f"{read} steps of {test['tablet']}, "
        + ("typed in" if test["read_from"] == "densities" else test["scan"])
    )
    lines = [f"  {test['test']}: {', '.join(how)}"]
    if test["figures"] is None:
        return "\n".join([*lines, wrapped(f"No curve: {test['reason']}.", "    ")])
    rows = _figures(test)
    lines.append(
        table(
            ["    figure", "value", "± sd", ""],
            [[name, value, sd, more or BLANK] for name, value, sd, more, _ in rows],
            right=(1, 2),
        )
    )
    # One sentence, whatever the number of figures it is about.
    for said in dict.fromkeys(said for *_, said in rows if said):
        about = ", ".join(name.strip() for name, *_, one in rows if one == said)
        lines.append(wrapped(f"{about}: {said}.", "    "))
    lines += [wrapped(note, "    ") for note in test["notes"]]
    return "\n".join(lines)


def _figures(test: Document) -> list[Row]:
    of = test["figures"]
    return [
        _row("base+fog", of["base_fog"], 3),
        _speed_row(test),
        _row("speed, Delta-X", of["delta_x_speed"], 0),
        _row("index for a flare-free zone I", of["zone_i_index"], 0),
        _row("log10 H of the speed point", of["log_h_m"], 2, "lux·s" if test["absolute"] else "relative"),
        _row("average gradient over 1.50", of["average_gradient"], 3),
        _row("contrast index", of["contrast_index"], 3),
        _row(
            "useful range, log H",
            of["useful_range"],
            2,
            "" if of["useful_range"]["value"] is None else f"{of['useful_range']['value'] / _STOP:.1f} stops",
        ),
        _row("development reached, N", test["found_n"], 2),
    ]


_STOP = 1.0 / log2(10.0)
"""A stop in log10 exposure."""


def _row(name: str, of: Document, places: int, more: str = "") -> Row:
    value = ("≥ " if of["at_least"] else "") + figure(of["value"], places)
    return f"    {name}", value, figure(of["sd"], places), more, of["note"]


def _speed_row(test: Document) -> Row:
    of = test["figures"]
    condition = of["contrast_condition"]
    if condition is None:
        said = of["rise"]["note"]
    else:
        rise = (
            f"over 1.30 log H the film gains {figure(of['rise']['value'])} ± {figure(of['rise']['sd'])}, for "
            "0.80 ± 0.05"
        )
        said = {
            "holds": f"ISO 6's contrast condition holds: {rise}",
            "does not hold": f"no ISO speed, as the contrast condition of ISO 6 doesn't hold: {rise}",
            "unsure": f"whether the contrast condition of ISO 6 holds is unsure: {rise}",
        }[condition]
    name, value, sd, more, note = _row("speed, 0.8/H at 0.10", of["speed"], 0)
    return name, value, sd, more, "; ".join(part for part in (note, said) if part)


def _times_text(process: Document) -> str:
    law = process["contrast_law"]
    if law is None:
        return wrapped(f"No times: {process['reason']}.")
    at = f" at {process['times_at_c']:g} °C" if process["times_at_c"] is not None else ""
    rows: list[Sequence[str | None]] = [
        [
            f"  {one['tag']}",
            figure(one["contrast"], 2),
            clock(one["time_s"]),
            f"{clock(one['low_s'])} to {clock(one['high_s'])}" if one["time_s"] is not None else "–",
            "; ".join(
                part
                for part in ("outside the times tried" if one["outside_tried"] else "", one["note"])
                if part
            ),
        ]
        for one in process["times"]
    ]
    return "\n".join(
        [
            f"  Times from the tests{at}, min:s",
            table(["  tag", "contrast", "time", "90 % interval", ""], rows, right=(1, 2)),
            *(wrapped(f"{one['tag']}: {one['note']}.") for one in process["times"] if one["note"]),
            wrapped(_law_said(law)),
        ]
    )


def _law_said(law: Document) -> str:
    count = law["tests"]
    if law["form"] == "limit":
        said = (
            f"From {count} tests: contrast rises as {figure(law['limit']['value'])} × (1 − e^(−kt)), "
            f"k {figure(law['rate_per_min']['value'], 3)} ± {figure(law['rate_per_min']['sd'], 3)} a minute."
        )
    else:
        said = f"From {count} tests at two times: contrast is taken as linear in the logarithm of time."
    q10 = f"{figure(law['q10']['value'])} ± {figure(law['q10']['sd'])}"
    told = "as the tests tell" if law["q10_fitted"] else "taken, as the tests don't tell"
    return f"{said} Ten degrees quicken it by {q10}, {told}."


def _sheets_text(rows: Sequence[Document]) -> str:
    cells: list[Sequence[str | None]] = [
        [
            f"  {_developer(one['developer'], one['dilution'])}",
            one["tag"],
            str(one["sheets"]),
            f"{signed(one['found_n'])} ± {figure(one['sd'])}",
            clock(one["time_s"]),
            clock(one["advised_time_s"]),
            f"{clock(one['advised_low_s'])} to {clock(one['advised_high_s'])}"
            if one["advised_time_s"] is not None
            else "–",
        ]
        for one in rows
    ]
    return "Times from the sheets, with what the typed-in tests say in the same developer, min:s\n" + table(
        ["  developer", "tag", "sheets", "found N", "used", "for the tag", "90 % interval"],
        cells,
        right=(2, 3, 4, 5),
    )
