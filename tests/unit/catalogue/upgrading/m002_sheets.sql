pragma application_id = 1852269409;
begin;
CREATE TABLE "_sqlite_migrations" (
   "id" INTEGER PRIMARY KEY,
   "migration_set" TEXT,
   "name" TEXT,
   "applied_at" TEXT
);
CREATE TABLE "films" (
   "name" TEXT PRIMARY KEY NOT NULL,
   "box_speed" REAL NOT NULL,
   "exposure_index" REAL,
   "lot" TEXT,
   "base_fog" REAL,
   "channel" TEXT NOT NULL,
   "reciprocity" TEXT,
   "recorded_at" TEXT,
   "recorded_via" TEXT
);
CREATE TABLE "shutters" (
   "name" TEXT PRIMARY KEY NOT NULL,
   "measured" TEXT NOT NULL,
   "recorded_at" TEXT,
   "recorded_via" TEXT
);
CREATE TABLE "lenses" (
   "name" TEXT PRIMARY KEY NOT NULL,
   "shutter" TEXT REFERENCES "shutters"("name") ON UPDATE CASCADE,
   "recorded_at" TEXT,
   "recorded_via" TEXT
);
CREATE TABLE "cells" (
   "lens" TEXT NOT NULL REFERENCES "lenses"("name") ON UPDATE CASCADE ON DELETE CASCADE,
   "cell" TEXT NOT NULL,
   "position" INTEGER NOT NULL,
   "focal_mm" REAL NOT NULL,
   "widest_stop" TEXT,
   "widest_f_number" REAL,
   "mounted" TEXT,
   "own_scale" INTEGER NOT NULL,
   "cell_to_stop_mm" REAL,
   "pupil_ratio" REAL,
   "scale_error_stops" REAL,
   PRIMARY KEY ("lens", "cell")
);
CREATE TABLE "scanners" (
   "name" TEXT PRIMARY KEY NOT NULL,
   "make" TEXT,
   "model" TEXT,
   "software" TEXT,
   "recorded_at" TEXT,
   "recorded_via" TEXT
);
CREATE TABLE "tablets" (
   "name" TEXT PRIMARY KEY NOT NULL,
   "densities" TEXT NOT NULL,
   "recorded_at" TEXT,
   "recorded_via" TEXT
);
CREATE TABLE "print_targets" (
   "name" TEXT PRIMARY KEY NOT NULL,
   "densities" TEXT NOT NULL,
   "source" TEXT,
   "recorded_at" TEXT,
   "recorded_via" TEXT
);
CREATE TABLE "sheets" (
   "sheet" TEXT PRIMARY KEY NOT NULL,
   "film" TEXT NOT NULL REFERENCES "films"("name") ON UPDATE CASCADE,
   "exposure_index" REAL,
   "format" TEXT,
   "holder" TEXT,
   "side" TEXT,
   "exposed_at" TEXT,
   "place" TEXT,
   "subject" TEXT,
   "lens" TEXT NOT NULL REFERENCES "lenses"("name") ON UPDATE CASCADE,
   "cell" TEXT,
   "stop" TEXT NOT NULL,
   "f_number" REAL NOT NULL,
   "stop_scale" TEXT,
   "time" TEXT NOT NULL,
   "time_s" REAL NOT NULL,
   "bellows_mm" REAL,
   "filter" TEXT,
   "filter_factor" REAL,
   "movements" TEXT,
   "weather" TEXT,
   "tag" TEXT NOT NULL,
   "tag_n" REAL NOT NULL,
   "meter_iso" REAL NOT NULL,
   "indicated_stop" TEXT,
   "indicated_f_number" REAL,
   "indicated_time" TEXT,
   "indicated_time_s" REAL,
   "print_target" TEXT REFERENCES "print_targets"("name") ON UPDATE CASCADE,
   "base_fog_spot_x" REAL,
   "base_fog_spot_y" REAL,
   "base_fog_spot_diameter_mm" REAL,
   "base_fog_spot_scan" TEXT,
   "location" TEXT,
   "notes" TEXT,
   "recorded_at" TEXT,
   "recorded_via" TEXT,
   FOREIGN KEY ("lens", "cell") REFERENCES "cells"("lens", "cell") ON UPDATE CASCADE,
   FOREIGN KEY ("lens", "stop_scale") REFERENCES "cells"("lens", "cell") ON UPDATE CASCADE
);
CREATE TABLE "readings" (
   "sheet" TEXT NOT NULL REFERENCES "sheets"("sheet") ON UPDATE CASCADE ON DELETE CASCADE,
   "position" INTEGER NOT NULL,
   "name" TEXT NOT NULL,
   "role" TEXT,
   "ev" REAL,
   "stops_from_placed" REAL,
   "zone" TEXT,
   "zone_value" REAL,
   "placed" INTEGER,
   "spot_x" REAL,
   "spot_y" REAL,
   "spot_diameter_mm" REAL,
   "spot_scan" TEXT,
   PRIMARY KEY ("sheet", "position")
);
CREATE TABLE "developments" (
   "batch" TEXT PRIMARY KEY NOT NULL,
   "date" TEXT,
   "developer" TEXT NOT NULL,
   "dilution" TEXT,
   "temperature_c" REAL,
   "time" TEXT NOT NULL,
   "time_s" REAL NOT NULL,
   "method" TEXT,
   "agitation" TEXT,
   "tag" TEXT,
   "tag_n" REAL,
   "base_fog" REAL,
   "notes" TEXT,
   "recorded_at" TEXT,
   "recorded_via" TEXT
);
CREATE TABLE "development_sheets" (
   "batch" TEXT NOT NULL REFERENCES "developments"("batch") ON UPDATE CASCADE ON DELETE CASCADE,
   "sheet" TEXT NOT NULL REFERENCES "sheets"("sheet") ON UPDATE CASCADE ON DELETE CASCADE,
   "position" INTEGER NOT NULL,
   PRIMARY KEY ("batch", "sheet")
);
CREATE TABLE "film_tests" (
   "test" TEXT PRIMARY KEY NOT NULL,
   "film" TEXT NOT NULL REFERENCES "films"("name") ON UPDATE CASCADE,
   "tablet" TEXT NOT NULL REFERENCES "tablets"("name") ON UPDATE CASCADE,
   "developer" TEXT NOT NULL,
   "dilution" TEXT,
   "temperature_c" REAL,
   "time" TEXT NOT NULL,
   "time_s" REAL NOT NULL,
   "log_exposure" REAL,
   "scan" TEXT,
   "densities" TEXT,
   "recorded_at" TEXT,
   "recorded_via" TEXT
);
CREATE TABLE "history" (
   "id" INTEGER PRIMARY KEY,
   "kind" TEXT NOT NULL,
   "name" TEXT NOT NULL,
   "at" TEXT NOT NULL,
   "via" TEXT NOT NULL,
   "old" TEXT NOT NULL,
   "new" TEXT NOT NULL
);
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (1, 'sheets', 'OT-01', '2026-11-30T21:33:45Z', 'record changed.json', '{"sheet": "OT-01", "film": "Brickdust 100", "holder": "A7", "side": "1", "place": "Östra tegelbruket, ugn 3", "subject": "Kiln mouth", "lens": "Tressick", "cell": "rear", "stop": "22½", "stop_scale": "whole", "time": "1/15", "tag": "N+1", "meter_iso": 100.0, "readings": [], "print_target": "salt", "notes": "mist lifting; ''soot'' everywhere"}', '{"sheet": "OT-01", "film": "Brickdust 100", "holder": "A7", "side": "1", "place": "Östra tegelbruket, ugn 3", "subject": "Kiln mouth", "lens": "Tressick", "cell": "rear", "stop": "22½", "stop_scale": "whole", "time": "1/15", "tag": "N+1", "meter_iso": 100.0, "readings": [], "print_target": "salt", "notes": "mist gone"}');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (2, 'scans', '98f9742d923d', '2026-11-30T21:33:55Z', 'ingest', '{}', '{"joined_by": "its file name", "sheet": "BW-01"}');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (3, 'scans', 'db6a2af27f58', '2026-11-30T21:33:55Z', 'ingest', '{}', '{"joined_by": "its file name", "sheet": "BW-03"}');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (4, 'scans', 'db6a2af27f58', '2026-11-30T21:33:57Z', 'remove', '{"joined_by": "its file name", "sheet": "BW-03"}', '{}');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (5, 'sheets', 'BW-03', '2026-11-30T21:33:57Z', 'remove', '{"sheet": "BW-03", "film": "Brickdust 100", "format": "4x5", "exposed_at": "2026-05-03", "place": "Old kilns", "lens": "Aldwater", "cell": "whole", "stop": "22", "time": "1/4", "tag": "N", "meter_iso": 100.0, "readings": [{"name": "soot", "role": "shadow", "ev": 9.5, "zone": "III", "spot": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0}}, {"name": "sky", "role": "highlight", "ev": 13.5, "spot": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0}}]}', 'null');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (6, 'developments', 'B1', '2026-11-30T21:33:57Z', 'remove', '{"batch": "B1", "date": "2026-05-10", "developer": "Slip", "time": "9m", "sheets": ["BW-01", "BW-02", "BW-03", "BW-04"]}', '{"batch": "B1", "date": "2026-05-10", "developer": "Slip", "time": "9m", "sheets": ["BW-01", "BW-02", "BW-04"]}');
insert into "film_tests" ("test", "film", "tablet", "developer", "dilution", "temperature_c", "time", "time_s", "log_exposure", "scan", "densities", "recorded_at", "recorded_via") values ('T-01', 'Brickdust 100', 'T5', 'Slip', NULL, NULL, '9m', 540.0, NULL, NULL, '[1.8, 1.2, 0.9, 0.4, 0.2]', '2026-11-30T21:33:45Z', 'record more.json');
insert into "developments" ("batch", "date", "developer", "dilution", "temperature_c", "time", "time_s", "method", "agitation", "tag", "tag_n", "base_fog", "notes", "recorded_at", "recorded_via") values ('B1', '2026-05-10', 'Slip', NULL, NULL, '9m', 540.0, NULL, NULL, NULL, NULL, NULL, NULL, '2026-11-30T21:33:45Z', 'record sheets.yaml');
insert into "sheets" ("sheet", "film", "exposure_index", "format", "holder", "side", "exposed_at", "place", "subject", "lens", "cell", "stop", "f_number", "stop_scale", "time", "time_s", "bellows_mm", "filter", "filter_factor", "movements", "weather", "tag", "tag_n", "meter_iso", "indicated_stop", "indicated_f_number", "indicated_time", "indicated_time_s", "print_target", "base_fog_spot_x", "base_fog_spot_y", "base_fog_spot_diameter_mm", "base_fog_spot_scan", "location", "notes", "recorded_at", "recorded_via") values ('BW-01', 'Brickdust 100', NULL, '4x5', NULL, NULL, '2026-05-01', 'Old kilns', NULL, 'Aldwater', 'whole', '22', 2.26274169979695223271e+01, NULL, '1/4', 0.25, NULL, NULL, NULL, NULL, NULL, 'N', 0.0, 100.0, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '2026-11-30T21:33:45Z', 'record sheets.yaml');
insert into "sheets" ("sheet", "film", "exposure_index", "format", "holder", "side", "exposed_at", "place", "subject", "lens", "cell", "stop", "f_number", "stop_scale", "time", "time_s", "bellows_mm", "filter", "filter_factor", "movements", "weather", "tag", "tag_n", "meter_iso", "indicated_stop", "indicated_f_number", "indicated_time", "indicated_time_s", "print_target", "base_fog_spot_x", "base_fog_spot_y", "base_fog_spot_diameter_mm", "base_fog_spot_scan", "location", "notes", "recorded_at", "recorded_via") values ('BW-02', 'Brickdust 100', NULL, '4x5', NULL, NULL, '2026-05-02', 'Old kilns', NULL, 'Aldwater', 'whole', '22', 2.26274169979695223271e+01, NULL, '1/4', 0.25, NULL, NULL, NULL, NULL, NULL, 'N', 0.0, 100.0, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '2026-11-30T21:33:45Z', 'record sheets.yaml');
insert into "sheets" ("sheet", "film", "exposure_index", "format", "holder", "side", "exposed_at", "place", "subject", "lens", "cell", "stop", "f_number", "stop_scale", "time", "time_s", "bellows_mm", "filter", "filter_factor", "movements", "weather", "tag", "tag_n", "meter_iso", "indicated_stop", "indicated_f_number", "indicated_time", "indicated_time_s", "print_target", "base_fog_spot_x", "base_fog_spot_y", "base_fog_spot_diameter_mm", "base_fog_spot_scan", "location", "notes", "recorded_at", "recorded_via") values ('BW-04', 'Brickdust 100', NULL, '4x5', NULL, NULL, '2026-05-04', 'Old kilns', NULL, 'Aldwater', 'whole', '22', 2.26274169979695223271e+01, NULL, '1/4', 0.25, NULL, NULL, NULL, NULL, NULL, 'N', 0.0, 100.0, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '2026-11-30T21:33:45Z', 'record sheets.yaml');
insert into "sheets" ("sheet", "film", "exposure_index", "format", "holder", "side", "exposed_at", "place", "subject", "lens", "cell", "stop", "f_number", "stop_scale", "time", "time_s", "bellows_mm", "filter", "filter_factor", "movements", "weather", "tag", "tag_n", "meter_iso", "indicated_stop", "indicated_f_number", "indicated_time", "indicated_time_s", "print_target", "base_fog_spot_x", "base_fog_spot_y", "base_fog_spot_diameter_mm", "base_fog_spot_scan", "location", "notes", "recorded_at", "recorded_via") values ('OT-01', 'Brickdust 100', NULL, NULL, 'A7', '1', NULL, 'Östra tegelbruket, ugn 3', 'Kiln mouth', 'Tressick', 'rear', '22½', 2.69086852881188676178e+01, 'whole', '1/15', 0.0625, NULL, NULL, NULL, NULL, NULL, 'N+1', 1.0, 100.0, NULL, NULL, NULL, NULL, 'salt', NULL, NULL, NULL, NULL, NULL, 'mist gone', '2026-11-30T21:33:45Z', 'record more.json');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (1, 'negcat', 'm001_equipment', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (2, 'negcat', 'm002_sheets', '2026-05-03 07:40:00+00:00');
insert into "films" ("name", "box_speed", "exposure_index", "lot", "base_fog", "channel", "reciprocity", "recorded_at", "recorded_via") values ('Brickdust 100', 100.0, NULL, NULL, NULL, 'grey', NULL, '2026-11-30T21:33:45Z', 'record equipment.yaml');
insert into "development_sheets" ("batch", "sheet", "position") values ('B1', 'BW-01', 0);
insert into "development_sheets" ("batch", "sheet", "position") values ('B1', 'BW-02', 1);
insert into "development_sheets" ("batch", "sheet", "position") values ('B1', 'BW-04', 3);
insert into "shutters" ("name", "measured", "recorded_at", "recorded_via") values ('No. 3', '{"1/15": 0.071, "1": 1.1}', '2026-11-30T21:33:45Z', 'record more.json');
insert into "cells" ("lens", "cell", "position", "focal_mm", "widest_stop", "widest_f_number", "mounted", "own_scale", "cell_to_stop_mm", "pupil_ratio", "scale_error_stops") values ('Aldwater', 'whole', 0, 180.0, NULL, NULL, NULL, 1, NULL, NULL, 0.0);
insert into "cells" ("lens", "cell", "position", "focal_mm", "widest_stop", "widest_f_number", "mounted", "own_scale", "cell_to_stop_mm", "pupil_ratio", "scale_error_stops") values ('Tressick', 'whole', 0, 150.0, '6.8', 6.8, 'whole', 1, NULL, NULL, 0.0);
insert into "cells" ("lens", "cell", "position", "focal_mm", "widest_stop", "widest_f_number", "mounted", "own_scale", "cell_to_stop_mm", "pupil_ratio", "scale_error_stops") values ('Tressick', 'rear', 1, 290.0, NULL, NULL, 'behind', 1, NULL, NULL, -0.5);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-01', 0, 'soot', 'shadow', 9.5, NULL, 'III', 3.0, NULL, 0.3, 0.4, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-01', 1, 'sky', 'highlight', 13.5, NULL, NULL, NULL, NULL, 0.7, 0.6, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-02', 0, 'soot', 'shadow', 9.5, NULL, 'III', 3.0, NULL, 0.3, 0.4, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-02', 1, 'sky', 'highlight', 13.5, NULL, NULL, NULL, NULL, 0.7, 0.6, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-04', 0, 'soot', 'shadow', 9.5, NULL, 'III', 3.0, NULL, 0.3, 0.4, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-04', 1, 'sky', 'highlight', 13.5, NULL, NULL, NULL, NULL, 0.7, 0.6, 2.0, NULL);
insert into "scanners" ("name", "make", "model", "software", "recorded_at", "recorded_via") values ('bench scanner', 'Marl', 'Flatbed 4', NULL, '2026-11-30T21:33:45Z', 'record equipment.yaml');
insert into "tablets" ("name", "densities", "recorded_at", "recorded_via") values ('tablet 21', '[0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95, 1.1, 1.25, 1.4, 1.55, 1.7, 1.85, 2.0, 2.15, 2.3, 2.45, 2.6, 2.75, 2.9, 3.05]', '2026-11-30T21:33:45Z', 'record equipment.yaml');
insert into "tablets" ("name", "densities", "recorded_at", "recorded_via") values ('T5', '[0.05, 0.5, 1.0, 1.5, 2.0]', '2026-11-30T21:33:45Z', 'record more.json');
insert into "lenses" ("name", "shutter", "recorded_at", "recorded_via") values ('Aldwater', NULL, '2026-11-30T21:33:45Z', 'record equipment.yaml');
insert into "lenses" ("name", "shutter", "recorded_at", "recorded_via") values ('Tressick', 'No. 3', '2026-11-30T21:33:45Z', 'record more.json');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('silver, diffusion', '{"0": 0.02, "I": 0.1, "II": 0.21, "III": 0.35, "IV": 0.51, "V": 0.7, "VI": 0.89, "VII": 1.09, "VIII": 1.3, "IX": 1.46, "X": 1.6}', 'Silver paper under diffused enlarger light: zones I and VIII after Adams, The Negative; the shape between from published measured zones.', '2026-11-30T21:33:45Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('silver, condenser', '{"0": 0.02, "I": 0.1, "II": 0.199, "III": 0.325, "IV": 0.469, "V": 0.64, "VI": 0.817, "VII": 1.004, "VIII": 1.2, "IX": 1.349, "X": 1.48}', 'Silver paper under condenser light: I 0.10 · V 0.64 · VIII 1.20 after Adams, The Negative; between them the shape of the diffusion target.', '2026-11-30T21:33:45Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('silver contact', '{"0": 0.02, "I": 0.1, "II": 0.214, "III": 0.358, "IV": 0.524, "V": 0.72, "VI": 0.919, "VII": 1.13, "VIII": 1.35, "IX": 1.518, "X": 1.665}', 'Silver paper in contact: I 0.10 · V 0.72 · VIII 1.35; between them the shape of the diffusion target.', '2026-11-30T21:33:45Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('long-scale', '{"0": 0.024, "I": 0.12, "II": 0.267, "III": 0.453, "IV": 0.667, "V": 0.92, "VI": 1.183, "VII": 1.46, "VIII": 1.75, "IX": 1.971, "X": 2.165}', 'Platinum, palladium and other long-scale papers in contact: I 0.12 · V 0.92 · VIII 1.75; between them the shape of the diffusion target.', '2026-11-30T21:33:45Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('salt', '{"I": 0.15, "V": 1.0, "VIII½": 2.0}', NULL, '2026-11-30T21:33:45Z', 'record more.json');
CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name");
CREATE INDEX "idx_lenses_shutter"
    ON "lenses" ("shutter");
CREATE INDEX "idx_sheets_film"
    ON "sheets" ("film");
CREATE INDEX "idx_sheets_lens_cell"
    ON "sheets" ("lens", "cell");
CREATE INDEX "idx_sheets_lens_stop_scale"
    ON "sheets" ("lens", "stop_scale");
CREATE INDEX "idx_sheets_print_target"
    ON "sheets" ("print_target");
CREATE INDEX "idx_sheets_sheet_nocase" on "sheets" ("sheet" collate nocase);
CREATE INDEX "idx_developments_developer"
    ON "developments" ("developer");
CREATE INDEX "idx_development_sheets_sheet"
    ON "development_sheets" ("sheet");
CREATE INDEX "idx_film_tests_film"
    ON "film_tests" ("film");
CREATE INDEX "idx_film_tests_tablet"
    ON "film_tests" ("tablet");
CREATE INDEX "idx_history_kind_name"
    ON "history" ("kind", "name");
commit;
