"""Commands that take scans and measure them."""

from __future__ import annotations

import sys
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from negcat.cli.options import (
    PlaceType,
    archive_option,
    json_option,
    open_archive,
    workers_named,
    workers_options,
)
from negcat.cli.output import figure, print_json, progress, signed, table, warn
from negcat.errors import CalibrationError, NegcatError
from negcat.places import Place
from negcat.work.workers import executor

if TYPE_CHECKING:
    from negcat.work.calibrate import Calibration


@click.command()
@click.argument("scan", type=PlaceType())
@click.option("--scanner", required=True, metavar="NAME", help="The scanner, as its record names it.")
@click.option("--tablet", required=True, metavar="NAME", help="The step tablet, as its record names it.")
@click.option(
    "--region",
    metavar="X0,Y0,X1,Y1",
    help="Where the tablet lies, as fractions of the scan from its top left, where the steps aren't found.",
)
@click.option(
    "--plot",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where the plot of the fit goes, as .svg or .png; without it, into the archive's previews.",
)
@archive_option
@json_option
def calibrate(
    scan: Place,
    scanner: str,
    tablet: str,
    region: str | None,
    plot: Path | None,
    archive_dir: Path | None,
    as_json: bool,
) -> None:
    """Fit the scanner's profile from SCAN, a scan of a step tablet of known densities.

    Scan the tablet with the settings that the negatives are scanned with: 16 bits, every automatic correction
    off. The steps are found without help. The profile holds for scans from that of the tablet on, until there is a
    newer one; what it now holds for is measured again.

    \b
    Examples:
      negcat calibrate tablet.tif --scanner "Bench scanner" --tablet "21 steps"
      negcat calibrate tablet.tif --scanner "Bench scanner" --tablet "21 steps" --plot fit.png
    """
    from negcat.work.calibrate import calibrate_scanner, plot_fit
    from negcat.work.fit_chart import PLOT_SUFFIXES
    from negcat.work.reading_apart import reading_apart

    box = _region(region) if region is not None else None
    if plot is not None and plot.suffix.lower() not in PLOT_SUFFIXES:
        raise click.BadParameter(
            f"'{plot}' is no plot's name: let it end in .svg or .png", param_hint="--plot"
        )
    with reading_apart(), open_archive(archive_dir) as archive:
        outcome = calibrate_scanner(archive, scan, scanner=scanner, tablet=tablet, region=box)
        unplotted = None
        try:
            outcome = plot_fit(archive, outcome, plot)
        except CalibrationError as error:
            unplotted = str(error)
            warn(unplotted)
    if as_json:
        print_json(outcome.as_json())
    else:
        _print_fit(outcome)
    if unplotted is not None:
        sys.exit(1)


def _print_fit(outcome: Calibration) -> None:
    """Print a fit as text."""
    from negcat.work.calibrate import code_seen

    profile = outcome.profile
    low, high = profile.density_range
    click.echo(
        f"{outcome.scanner}: {sum(s.used for s in profile.steps)} of {len(profile.steps)} steps of {outcome.tablet}, "
        f"scanned {outcome.scanned_at[:10]}, {profile.bits} bits {profile.mode}"
        + (f"; {outcome.lost}." if outcome.lost else ".")
    )
    click.echo(
        table(
            ["step", "density", "code", "residual"],
            [
                [str(number), figure(s.density), figure(code_seen(s), 1), signed(s.residual, 3)]
                for number, s in enumerate(profile.steps, start=1)
            ],
            right=(0, 1, 2, 3),
        )
    )
    click.echo(
        f"Densities from {figure(low)} to {figure(high)} can be measured; "
        f"the fit's standard deviation is {figure(profile.residual_sd, 3)}."
    )
    for note in outcome.notes:
        click.echo(note)
    if outcome.plot:
        click.echo(f"Plot: {outcome.plot}")
    if outcome.measured:
        click.echo(f"Measured again: {outcome.measured} sheet{'s' if outcome.measured != 1 else ''}.")


@click.command()
@click.argument("paths", metavar="PATH...", nargs=-1, required=True, type=PlaceType())
@click.option("--scanner", metavar="NAME", help="The scanner; without it, told from the scan's own tags.")
@workers_options("the scans")
@archive_option
@json_option
def ingest(
    paths: tuple[Place, ...],
    scanner: str | None,
    jobs: int | None,
    cluster: str | None,
    archive_dir: Path | None,
    as_json: bool,
) -> None:
    """Take scans: files, or folders with all they hold.

    Each is identified by its content, joined to the sheet that its file name, a side file or its own tags name,
    and measured. One that names no sheet waits (see 'negcat pending'). The masters are only ever read.

    A file that crashes its decoder, or keeps it for more than two minutes and a second for each megabyte, is refused
    and the others are taken. Stopped half-way and run again, it goes on where it was: a file of the same place,
    size and time as before isn't read again ('negcat verify' does).

    A PATH may be an address, as s3://bucket/prefix, or any other that fsspec reaches (pip install 'negcat[cloud]'); its
    endpoint and your credentials are set in the environment or in fsspec's configuration.

    \b
    Examples:
      negcat ingest scans/
      negcat ingest --jobs 2 --scanner "Bench scanner" /media/card/*.tif
      negcat ingest --workers dask://desk:8786 /net/scans
      negcat ingest s3://negatives/2026
    """
    # They start while the rest is imported.
    with executor(workers_named(jobs, cluster), seconds=attrgetter("seconds")) as workers:
        from negcat.work.ingest import Item, ingest_scans

        with open_archive(archive_dir) as archive:
            run = ingest_scans(archive, paths, scanner=scanner, workers=workers)
            taken: list[Item] = []
            stopped = False
            try:
                with progress(run, run.length, "Taking scans", rate=True) as items:
                    for item in items:
                        taken.append(item)
            except KeyboardInterrupt:
                stopped = True
            taken = run.finish(taken)
    counts = {
        word: sum(item.status == word for item in taken)
        for word in ("added", "unchanged", "unmatched", "refused")
    }
    if as_json:
        print_json({**counts, "items": [item.as_json() for item in taken]})
    else:
        if taken:
            click.echo(
                table(
                    ["scan", "status", "sheet", "measured", "reason"],
                    [
                        [Path(i.path).name, i.status, i.sheet, "yes" if i.measured else "no", i.reason]
                        for i in taken
                    ],
                )
            )
        click.echo(", ".join(f"{number} {word}" for word, number in counts.items()) + ".")
    if stopped:
        warn(
            f"stopped after {len(taken)} of {run.length} scans, which are kept; run it again to take the others: those "
            "taken aren't read again"
        )
        sys.exit(130)
    if not taken:
        warn("no scans are there: name image files, or folders that hold some")
        sys.exit(2)
    if counts["refused"]:
        sys.exit(2 if counts["refused"] == len(taken) else 1)


@click.command()
@click.argument("scan")
@click.argument("sheet")
@archive_option
@json_option
def match(scan: str, sheet: str, archive_dir: Path | None, as_json: bool) -> None:
    """Join SCAN (its id, its path or its address) to SHEET, and measure it.

    \b
    Example:
      negcat match 4f1c09aa72d3 BW-11
    """
    from negcat.work.match import match_scan
    from negcat.work.reading_apart import reading_apart

    with reading_apart(), open_archive(archive_dir) as archive:
        item = match_scan(archive, scan, sheet)
    if as_json:
        print_json(item.as_json())
        return
    click.echo(f"{Path(item.path).name} is joined to {item.sheet}.")
    if item.reason:
        click.echo(item.reason)


@click.command()
@click.argument("sheets", metavar="[SHEET]...", nargs=-1)
@click.option(
    "--spot",
    "spots",
    multiple=True,
    metavar="NAME=X,Y[,DIAMETER_MM]",
    help="Where a reading was metered: fractions of the upright scan from its top left, diameter on the film. "
    "The name 'base+fog' sets the spot that base and fog are read from.",
)
@click.option(
    "--confirm",
    is_flag=True,
    help="Take the spots that were carried over from an earlier scan as set where they lie now.",
)
@archive_option
@json_option
def measure(
    sheets: tuple[str, ...], spots: tuple[str, ...], confirm: bool, archive_dir: Path | None, as_json: bool
) -> None:
    """Set the spots of a SHEET's readings and measure again; every sheet that has a scan, when none is named.

    \b
    Examples:
      negcat measure BW-07 --spot "kiln mouth=0.31,0.64" --spot "sky=0.7,0.12,4"
      negcat measure BW-07 --confirm
      negcat measure
    """
    from negcat.work.measure import SpotChange, measure_sheet, measured_sheet_ids
    from negcat.work.reading_apart import reading_apart

    changes = [SpotChange.parse(text) for text in spots]
    if changes and len(sheets) != 1:
        raise click.UsageError("--spot sets the spots of one sheet: name exactly one SHEET with it.")
    if confirm and not sheets:
        raise click.UsageError("--confirm says that somebody has looked: name each SHEET with it.")
    failures: list[tuple[str, str]] = []
    done = []
    with reading_apart(), open_archive(archive_dir) as archive:
        names = list(sheets) or measured_sheet_ids(archive)
        with progress(names, len(names), "Measuring") as items:
            for name in items:
                try:
                    done.append(measure_sheet(archive, name, changes, confirm=confirm))
                except NegcatError as error:
                    failures.append((name, str(error)))
    if as_json:
        print_json(
            {
                "sheets": [outcome.as_json() for outcome in done],
                "failed": [{"sheet": name, "reason": reason} for name, reason in failures],
            }
        )
    else:
        for outcome in done:
            click.echo(f"{outcome.sheet}: {outcome.verdict}")
            for reading in outcome.readings:
                density = reading.get("density")
                if density is not None:
                    click.echo(
                        f"  {reading['name']}: density {figure(density)} ± {figure(reading.get('sd'), 3)}, "
                        f"net {figure(reading.get('net_density'))}"
                        + (" (spot carried over: check it)" if reading["spot_status"] == "carried" else "")
                    )
                elif reading.get("note"):
                    click.echo(f"  {reading['name']}: {reading['note']}")
    for name, reason in failures:
        warn(f"{name}: {reason}" if not reason.startswith(name) else reason)
    if failures:
        sys.exit(1 if done else 2)


def _region(text: str) -> tuple[float, float, float, float]:
    """Read ``X0,Y0,X1,Y1``."""
    try:
        x0, y0, x1, y1 = (float(part) for part in text.split(","))
    except ValueError:
        x0 = y0 = x1 = y1 = float("nan")
    if not (0 <= x0 < x1 <= 1 and 0 <= y0 < y1 <= 1):
        raise click.BadParameter(
            f"'{text}' is no region: write four fractions from 0 to 1, left,top,right,bottom, as 0.1,0.2,0.9,0.8",
            param_hint="--region",
        )
    return x0, y0, x1, y1
