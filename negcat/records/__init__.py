"""Record files (YAML, JSON, CSV) → validated records, and back.

:func:`load_files` is the way in; :class:`Records` holds what it found. ``python -m negcat.records`` writes
the schemas.
"""

from negcat.records.checking import collecting_later, load_data, load_file, load_files
from negcat.records.csv_text import COLUMNS, READING_COLUMNS
from negcat.records.film_formats import film_size_mm
from negcat.records.known import KnownNames
from negcat.records.models import (
    KEYS,
    AcceptedChange,
    AcceptedTime,
    Cell,
    Development,
    Film,
    FilmTest,
    Holder,
    HolderSide,
    Indicated,
    Lens,
    Movements,
    PrintTarget,
    Reading,
    Reciprocity,
    Record,
    Records,
    Scanner,
    Sheet,
    Shutter,
    Spot,
    Tablet,
)
from negcat.records.nearest import nearest_name
from negcat.records.schema import schema_documents
from negcat.records.writing import RecordText, dump_yaml

__all__ = [
    "COLUMNS",
    "KEYS",
    "READING_COLUMNS",
    "AcceptedChange",
    "AcceptedTime",
    "Cell",
    "Development",
    "Film",
    "FilmTest",
    "Holder",
    "HolderSide",
    "Indicated",
    "KnownNames",
    "Lens",
    "Movements",
    "PrintTarget",
    "Reading",
    "Reciprocity",
    "Record",
    "RecordText",
    "Records",
    "Scanner",
    "Sheet",
    "Shutter",
    "Spot",
    "Tablet",
    "collecting_later",
    "dump_yaml",
    "film_size_mm",
    "load_data",
    "load_file",
    "load_files",
    "nearest_name",
    "schema_documents",
]
