"""Build an archive from the sample that negcat brings along."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from negcat.catalogue import Query
from negcat.errors import ArchiveError
from negcat.records import load_files
from negcat.whole_files import written_whole
from negcat.work.archive import CATALOGUE_NAME, Archive
from negcat.work.calibrate import calibrate_scanner, plot_fit
from negcat.work.ingest import Item, ingest_scans
from negcat.work.planning import Equipment
from negcat.work.reviewing import review, review_json
from negcat.work.taking import take_record_files

__all__ = ["Demo", "build_demo", "sample_folder"]

SAMPLE = "sample_archive"


@dataclass(frozen=True)
class Demo:
    """The sample, built.

    Parameters
    ----------
    root : the archive's folder.
    sheets : what came of each sheet.
    items : what happened to each scan.
    review : what the sheets taught, as ``negcat review --json`` gives it.
    """

    root: Path
    sheets: list[dict[str, Any]]
    items: list[Item]
    review: dict[str, Any]

    @property
    def verdicts(self) -> dict[str, int]:
        """Verdict → number of sheets, the most frequent first."""
        return dict(Counter(sheet["verdict"] for sheet in self.sheets).most_common())

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat demo --json`` prints."""
        return {
            "archive": str(self.root),
            "sheets": self.sheets,
            "verdicts": self.verdicts,
            "scans": [item.as_json() for item in self.items],
            "review": self.review,
        }


def sample_folder() -> Path:
    """Find the sample: inside the installed package, or beside it in a checkout.

    Raises
    ------
    ArchiveError : it is in neither place.
    """
    package = Path(str(files("negcat")))
    for folder in (package / SAMPLE, package.parent / SAMPLE):
        if (folder / "records").is_dir():
            return folder
    raise ArchiveError(
        f"the sample archive is not beside negcat in {package}; install negcat again, or run it from a checkout"
    )


def build_demo(directory: Path, announce: Callable[[str], object] | None = None) -> Demo:
    """Build an archive from the sample, or bring one that was built before up to date.

    Parameters
    ----------
    directory : where; its scans are copied there, so that the archive is whole by itself.
    announce : called with a sentence at each step.

    Raises
    ------
    ArchiveError : the folder holds an archive of something else.
    """
    say = announce or (lambda _: None)
    sample = sample_folder()
    record_files = sorted((sample / "records").iterdir())
    if (directory / CATALOGUE_NAME).exists():
        archive = Archive.open(directory)
        _refuse_another(archive, record_files)
    else:
        archive = Archive.create(directory)
    with archive:
        say(f"Archive: {archive.root}")
        for part in ("scans", "tablet", "film_tests", "records"):
            shutil.copytree(sample / part, archive.root / part, dirs_exist_ok=True, copy_function=_copy)
        outcome = take_record_files(archive, sorted((archive.root / "records").iterdir()))
        say(f"Records: {sum(outcome.added.values())} taken, {sum(outcome.unchanged.values())} there already.")
        scanner = archive.catalogue.scanners()[0].name
        tablet = archive.catalogue.names("tablets")[0]
        (tablet_scan,) = sorted((archive.root / "tablet").glob("*.tif"))
        calibration = plot_fit(
            archive, calibrate_scanner(archive, tablet_scan, scanner=scanner, tablet=tablet), None
        )
        low, high = calibration.profile.density_range
        say(f"Scanner: densities {low:.2f} to {high:.2f}, ± {calibration.profile.residual_sd:.3f}.")
        run = ingest_scans(archive, [archive.root / "scans"])
        items = run.finish(list(run))
        statuses = Counter(item.status for item in items)
        say("Scans: " + ", ".join(f"{number} {status}" for status, number in statuses.items()) + ".")
        sheets = [_row(archive, sheet) for sheet in sorted(archive.catalogue.sheet_ids())]
        done = review(archive, Query())
        told = review_json(done, done.ring())
    return Demo(archive.root, sheets, items, told)


def _copy(source: str, target: str) -> None:
    """Copy a file whole, unless it is there: another program may be reading it, and a master is never written to."""
    there, wanted = Path(target), Path(source)
    if not there.exists() or there.stat().st_size != wanted.stat().st_size:
        with written_whole(there) as unfinished:
            shutil.copyfile(wanted, unfinished)
            shutil.copystat(wanted, unfinished)


def _refuse_another(archive: Archive, record_files: list[Path]) -> None:
    """Refuse an archive that holds sheets which are not the sample's."""
    sample = {
        sheet.sheet
        for part in load_files(record_files, archive.catalogue.known_names())
        for sheet in part.sheets
    }
    others = set(archive.catalogue.sheet_ids()) - sample
    if others:
        root = archive.root
        archive.close()
        raise ArchiveError(
            f"{root} is an archive of your own, with sheet {sorted(others)[0]}; build the sample in another folder: "
            "'negcat demo DIR'"
        )


def _row(archive: Archive, sheet: str) -> dict[str, Any]:
    record = archive.catalogue.sheet(sheet)
    findings = archive.catalogue.findings(sheet)
    assert record is not None
    result = (findings.result if findings else None) or {}
    return {
        "sheet": sheet,
        "film": record.film,
        "lens": record.lens,
        "cell": Equipment(archive.catalogue).cell_of(record),
        "tag": record.tag.text,
        **{
            name: result.get(name)
            for name in (
                "exposure_error_stops",
                "exposure_error_density_sd",
                "found_n",
                "found_n_density_sd",
            )
        },
        "verdict": result.get("verdict") or "not measured",
    }
