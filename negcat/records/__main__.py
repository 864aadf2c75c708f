"""Write the schemas of the record files: ``python -m negcat.records [FOLDER]``."""

import sys
from pathlib import Path

from negcat.records.schema import schema_documents, schema_text


def main(folder: Path) -> None:
    """Write every schema into a folder, and take away those of records that are no more."""
    folder.mkdir(parents=True, exist_ok=True)
    documents = schema_documents()
    for stale in folder.glob("*.schema.json"):
        if stale.name not in documents:
            stale.unlink()
    for name, document in documents.items():
        (folder / name).write_text(schema_text(document), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "schemas"))
