"""Records written to record files, from which the same archive can be made again."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO

from negcat.catalogue import records_leaving
from negcat.errors import NegcatError
from negcat.records import RecordText
from negcat.work.archive import Archive
from negcat.work.writing_files import refuse_existing, written_file

__all__ = ["RecordsLeft", "export_records"]

HEAD = """\
# The records of a negative archive. This is YAML in UTF-8; stops, times, zones and tags stand as they were written.
# Each list is a kind of record: films, shutters, lenses, holders, scanners, tablets, print_targets (also those built
# in), sheets, developments (batches), film_tests; dated_changes and advised_times are what was accepted of reviews.
#
# A new archive that takes this file has the same records:  negcat init DIR;  negcat record --archive DIR FILE
#
# Not in here, and made anew there: the scans and what was measured on them ('negcat ingest', and 'negcat match' where
# the file's name doesn't name its sheet), and the scanners' profiles ('negcat calibrate'). Not in here at all: what
# records said before they were changed, and sheets that were removed. The catalogue, its backups and bags hold those.

"""

_FURTHER = "# This is part {} of several files, to be taken by one command: negcat record FILE FILE …\n"


@dataclass
class RecordsLeft:
    """What was written.

    Parameters
    ----------
    files : the record files, to be taken by one command.
    counts : list → how many records.
    """

    files: list[Path] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat export records --json`` prints."""
        return {"files": [str(file) for file in self.files], "records": self.counts}


def export_records(archive: Archive, file: Path, *, overwrite: bool = False) -> RecordsLeft:
    """Write all records to a record file, as they are at one moment.

    Parameters
    ----------
    archive : the archive, which is only read.
    file : where to; ends in .yaml, .yml or .json. What is too much for one record file goes on in further ones beside
        it: records.yaml, records-2.yaml …
    overwrite : files that are there may be replaced.

    Returns
    -------
    RecordsLeft

    Raises
    ------
    FileThereError : a file is there already.
    NegcatError : the file's name doesn't say which format is wanted.
    """
    ending = file.suffix.casefold().removeprefix(".")
    if ending not in ("yaml", "yml", "json"):
        raise NegcatError(f"{file} doesn't say what it is to hold; name it with .yaml or .json at its end")
    refuse_existing(file, overwrite=overwrite)
    left = RecordsLeft()
    with contextlib.ExitStack() as unfinished, archive.catalogue.at_once():
        text, writing = _begin(unfinished, left, file, ending, overwrite)
        for name, records in records_leaving(archive.catalogue):
            for record in records:
                if text.is_full:
                    writing.write(text.end())
                    text, writing = _begin(unfinished, left, file, ending, overwrite)
                writing.write(text.add(name, record))
                left.counts[name] = left.counts.get(name, 0) + 1
        writing.write(text.end())
    return left


def _begin(
    unfinished: contextlib.ExitStack, left: RecordsLeft, file: Path, ending: str, overwrite: bool
) -> tuple[RecordText, TextIO]:
    """Begin the first or a further file. They get their names in the end, the first one last."""
    part = len(left.files) + 1
    target = file if part == 1 else file.with_name(f"{file.stem}-{part}{file.suffix}")
    path = unfinished.enter_context(written_file(target, overwrite=overwrite))
    writing = unfinished.enter_context(path.open("w", encoding="utf-8", newline="\n"))
    left.files.append(target)
    return RecordText(ending, HEAD if part == 1 else _FURTHER.format(part) + HEAD), writing
