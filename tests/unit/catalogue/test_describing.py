"""Every table and column is described, and in a unit where it has one."""

import pytest

from negcat.catalogue import Catalogue, describe


def tables(catalogue: Catalogue) -> list[str]:
    return [
        name
        for (name,) in catalogue.tuples(
            "select name from sqlite_master where type in ('table', 'view')"
            " and name not like '%\\_fts%' escape '\\' and name not like '\\_%' escape '\\'"
            " and name not like 'sqlite\\_%' escape '\\'"
        )
    ]


def test_nothing_is_left_out_or_made_up(empty: Catalogue) -> None:
    described = describe()
    assert set(described) == set(tables(empty))
    for table, said in described.items():
        columns = {row["name"] for row in empty.rows(f"pragma table_info({table})")}
        assert set(said["columns"]) == columns, table
        assert all(said["columns"].values()), table
        assert set(said["column_units"]) <= columns, table
        assert said["description"].endswith(".")


@pytest.mark.parametrize(
    ("table", "column", "unit"),
    [
        ("sheets", "bellows_mm", "mm"),
        ("sheets", "time_s", "s"),
        ("cells", "scale_error_stops", "stops"),
        ("readings", "spot_diameter_mm", "mm"),
        ("developments", "temperature_c", "°C"),
        ("exposures", "bellows_stops", "stops"),
        ("found_readings", "print_zone_sd", "zone"),
    ],
)
def test_units(table: str, column: str, unit: str) -> None:
    said = describe()[table]
    assert said["column_units"][column] == unit
    assert said["columns"][column].endswith(f", {unit}")


def test_columns_ending_in_a_unit_say_it() -> None:
    endings = {"_mm": "mm", "_s": "s", "_stops": "stops", "_bytes": "bytes", "_c": "°C"}
    for table, said in describe().items():
        for column in said["columns"]:
            for ending, unit in endings.items():
                if column.endswith(ending):
                    assert said["column_units"].get(column) == unit, (table, column)


def test_every_column_that_refers_has_an_index(empty: Catalogue) -> None:
    for table in tables(empty):
        keys: dict[int, list[str]] = {}
        for row in empty.rows(f"pragma foreign_key_list({table})"):
            keys.setdefault(row["id"], []).append(row["from"])
        led = [
            [row["name"] for row in empty.rows(f"pragma index_info({index['name']})")]
            for index in empty.rows(f"pragma index_list({table})")
        ]
        for columns in keys.values():
            assert any(index[: len(columns)] == columns for index in led), (table, columns)
