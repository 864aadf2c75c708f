"""Papers as PDF: the field sheet, the crib for the bag, labels and sleeve sheets, the batch sheet for the sink.

What stands on a paper is handed over ready; here it is drawn, with no knowledge of where it comes from.
"""

from negcat.papers.batch_sheet import BatchSheet, InBatch, UsedBefore, draw_batch_sheet
from negcat.papers.crib import (
    CribCell,
    CribFilm,
    CribLens,
    Developed,
    Extension,
    Given,
    Marked,
    draw_crib,
)
from negcat.papers.field_sheet import RECORDS_A_PAGE, FieldRecord, draw_field_sheet
from negcat.papers.page import PAPERS, Drawn, PaperSize
from negcat.papers.sleeve import SleeveFacts, draw_labels, draw_sleeves, labels_a_page

__all__ = [
    "PAPERS",
    "RECORDS_A_PAGE",
    "BatchSheet",
    "CribCell",
    "CribFilm",
    "CribLens",
    "Developed",
    "Drawn",
    "Extension",
    "FieldRecord",
    "Given",
    "InBatch",
    "Marked",
    "PaperSize",
    "SleeveFacts",
    "UsedBefore",
    "draw_batch_sheet",
    "draw_crib",
    "draw_field_sheet",
    "draw_labels",
    "draw_sleeves",
    "labels_a_page",
]
