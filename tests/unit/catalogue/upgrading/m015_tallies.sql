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
, region text);
CREATE TABLE "history" (
   "id" INTEGER PRIMARY KEY,
   "kind" TEXT NOT NULL,
   "name" TEXT NOT NULL,
   "at" TEXT NOT NULL,
   "via" TEXT NOT NULL,
   "old" TEXT NOT NULL,
   "new" TEXT NOT NULL
);
CREATE TABLE "profiles" (
   "id" INTEGER PRIMARY KEY,
   "scanner" TEXT NOT NULL REFERENCES "scanners"("name") ON UPDATE CASCADE,
   "tablet" TEXT NOT NULL REFERENCES "tablets"("name") ON UPDATE CASCADE,
   "channel" TEXT NOT NULL,
   "bits" INTEGER NOT NULL,
   "mode" TEXT NOT NULL,
   "made_at" TEXT NOT NULL,
   "scanned_at" TEXT NOT NULL,
   "scanned_at_source" TEXT,
   "densities_sha256" TEXT,
   "settings" TEXT,
   "scan" TEXT,
   "scan_sha256" TEXT,
   "scan_path" TEXT,
   "residual_sd" REAL,
   "density_min" REAL,
   "density_max" REAL,
   "profile" TEXT NOT NULL
);
CREATE TABLE "scans" (
   "scan" TEXT PRIMARY KEY NOT NULL,
   "taken_order" INTEGER NOT NULL,
   "sha256" TEXT NOT NULL,
   "path" TEXT NOT NULL,
   "size_bytes" INTEGER NOT NULL,
   "modified_ns" INTEGER NOT NULL,
   "file_format" TEXT,
   "width" INTEGER NOT NULL,
   "height" INTEGER NOT NULL,
   "bits" INTEGER NOT NULL,
   "mode" TEXT,
   "dpi" REAL,
   "make" TEXT,
   "model" TEXT,
   "software" TEXT,
   "description" TEXT,
   "taken_at" TEXT,
   "orientation" INTEGER,
   "compression" TEXT,
   "lossy" INTEGER,
   "pages" INTEGER,
   "notes" TEXT,
   "scanner" TEXT REFERENCES "scanners"("name") ON UPDATE CASCADE,
   "sheet" TEXT REFERENCES "sheets"("sheet") ON UPDATE CASCADE,
   "joined_by" TEXT,
   "reason" TEXT,
   "unmeasured" TEXT,
   "calibrated" INTEGER,
   "profile" INTEGER REFERENCES "profiles"("id") ON UPDATE CASCADE,
   "channel" TEXT,
   "rebate_density" REAL,
   "rebate_sd" REAL,
   "rebate" TEXT,
   "condition" TEXT,
   "added_at" TEXT NOT NULL,
   "checked_at" TEXT
);
CREATE TABLE "scan_paths" (
   "path" TEXT PRIMARY KEY NOT NULL,
   "scan" TEXT NOT NULL REFERENCES "scans"("scan") ON UPDATE CASCADE ON DELETE CASCADE,
   "size_bytes" INTEGER NOT NULL,
   "modified_ns" INTEGER NOT NULL,
   "seen_at" TEXT NOT NULL
);
CREATE TABLE "findings" (
   "sheet" TEXT PRIMARY KEY NOT NULL REFERENCES "sheets"("sheet") ON UPDATE CASCADE ON DELETE CASCADE,
   "scan" TEXT REFERENCES "scans"("scan") ON UPDATE CASCADE ON DELETE SET NULL,
   "base_fog" REAL,
   "base_fog_sd" REAL,
   "base_fog_source" TEXT,
   "base_fog_more" TEXT,
   "measured_readings" INTEGER NOT NULL,
   "provenance" TEXT NOT NULL,
   "computed_at" TEXT NOT NULL
);
CREATE TABLE "exposures" (
   "sheet" TEXT PRIMARY KEY NOT NULL REFERENCES "sheets"("sheet") ON UPDATE CASCADE ON DELETE CASCADE,
   "marked_stop" TEXT,
   "f_number" REAL,
   "effective_f_number" REAL,
   "time_s" REAL,
   "shutter_time_s" REAL,
   "effective_time_s" REAL,
   "setting_stops" REAL,
   "filter_stops" REAL,
   "bellows_stops" REAL,
   "cell_stops" REAL,
   "shutter_stops" REAL,
   "reciprocity_stops" REAL,
   "decision_stops" REAL,
   "more" TEXT
);
CREATE TABLE "found_readings" (
   "sheet" TEXT NOT NULL REFERENCES "sheets"("sheet") ON UPDATE CASCADE ON DELETE CASCADE,
   "position" INTEGER NOT NULL,
   "name" TEXT NOT NULL,
   "role" TEXT,
   "placed" INTEGER,
   "ev" REAL,
   "planned_zone" REAL,
   "given_zone" REAL,
   "planned_print_zone" REAL,
   "target_density" REAL,
   "density" REAL,
   "sd" REAL,
   "net_density" REAL,
   "print_zone" REAL,
   "print_zone_sd" REAL,
   "error_density" REAL,
   "error_zones" REAL,
   "more" TEXT,
   PRIMARY KEY ("sheet", "position")
);
CREATE TABLE "results" (
   "sheet" TEXT PRIMARY KEY NOT NULL REFERENCES "sheets"("sheet") ON UPDATE CASCADE ON DELETE CASCADE,
   "exposure_error_stops" REAL,
   "exposure_error_sd" REAL,
   "exposure_error_density_sd" REAL,
   "residual_stops" REAL,
   "found_n" REAL,
   "found_n_sd" REAL,
   "found_n_density_sd" REAL,
   "planned_n" REAL,
   "exposure_verdict" TEXT,
   "development_verdict" TEXT,
   "verdict" TEXT NOT NULL,
   "why" TEXT NOT NULL,
   "more" TEXT
, printing_range real);
CREATE TABLE "out_of_date" (
   "sheet" TEXT PRIMARY KEY NOT NULL REFERENCES "sheets"("sheet") ON UPDATE CASCADE ON DELETE CASCADE,
   "since" TEXT NOT NULL
);
CREATE TABLE "spot_scans" (
   "sheet" TEXT PRIMARY KEY NOT NULL REFERENCES "sheets"("sheet") ON UPDATE CASCADE ON DELETE CASCADE,
   "scan" TEXT NOT NULL REFERENCES "scans"("scan") ON UPDATE CASCADE ON DELETE CASCADE
);
CREATE TABLE "registrations" (
   "scan" TEXT NOT NULL REFERENCES "scans"("scan") ON UPDATE CASCADE ON DELETE CASCADE,
   "from_scan" TEXT NOT NULL REFERENCES "scans"("scan") ON UPDATE CASCADE ON DELETE CASCADE,
   "correlation" REAL,
   "registration" TEXT NOT NULL,
   "made_at" TEXT NOT NULL,
   PRIMARY KEY ("scan", "from_scan")
);
CREATE TABLE "sheet_search" (
   "id" INTEGER PRIMARY KEY,
   "sheet" TEXT NOT NULL,
   "film" TEXT NOT NULL,
   "lens" TEXT NOT NULL,
   "cell" TEXT NOT NULL,
   "tag" TEXT NOT NULL,
   "developer" TEXT NOT NULL,
   "batch" TEXT NOT NULL,
   "place" TEXT NOT NULL,
   "exposed_at" TEXT NOT NULL,
   "verdict" TEXT NOT NULL,
   "stage" TEXT NOT NULL,
   "subject" TEXT NOT NULL,
   "notes" TEXT NOT NULL,
   "reading_names" TEXT NOT NULL
, printing_range real);
CREATE TABLE "sheet_counts" (
   "film" TEXT NOT NULL,
   "lens" TEXT NOT NULL,
   "cell" TEXT NOT NULL,
   "tag" TEXT NOT NULL,
   "developer" TEXT NOT NULL,
   "verdict" TEXT NOT NULL,
   "stage" TEXT NOT NULL,
   "sheets" INTEGER NOT NULL,
   PRIMARY KEY ("film", "lens", "cell", "tag", "developer", "verdict", "stage")
);
CREATE TABLE "places" (
   "id" INTEGER PRIMARY KEY,
   "place" TEXT NOT NULL,
   "sheets" INTEGER NOT NULL
);
CREATE VIRTUAL TABLE sheet_search_fts using fts5 (sheet, place, subject, notes, reading_names, developer, lens, film, content=sheet_search, content_rowid=id, tokenize='unicode61 remove_diacritics 2');
CREATE VIRTUAL TABLE places_fts using fts5 (place, content=places, content_rowid=id, tokenize=trigram);
CREATE TABLE "sheet_changes" (
   "id" INTEGER PRIMARY KEY NOT NULL,
   "change" INTEGER NOT NULL
);
CREATE TABLE "dated_changes" (
   "id" INTEGER PRIMARY KEY,
   "film" TEXT REFERENCES "films"("name") ON UPDATE CASCADE ON DELETE CASCADE,
   "lens" TEXT REFERENCES "lenses"("name") ON UPDATE CASCADE ON DELETE CASCADE,
   "cell" TEXT,
   "shutter" TEXT REFERENCES "shutters"("name") ON UPDATE CASCADE ON DELETE CASCADE,
   "marked_time" TEXT,
   "field" TEXT NOT NULL,
   "before" TEXT,
   "after" TEXT,
   "effective_from" TEXT NOT NULL,
   "advice" TEXT NOT NULL,
   "sentence" TEXT NOT NULL,
   "accepted_at" TEXT NOT NULL,
   "accepted_via" TEXT NOT NULL
);
CREATE TABLE "advised_times" (
   "id" INTEGER PRIMARY KEY,
   "film" TEXT NOT NULL REFERENCES "films"("name") ON UPDATE CASCADE ON DELETE CASCADE,
   "developer" TEXT,
   "dilution" TEXT,
   "temperature_c" REAL,
   "tag" TEXT NOT NULL,
   "tag_n" REAL NOT NULL,
   "time_s" REAL NOT NULL,
   "low_s" REAL NOT NULL,
   "high_s" REAL NOT NULL,
   "sheets" INTEGER NOT NULL,
   "effective_from" TEXT NOT NULL,
   "advice" TEXT NOT NULL,
   "sentence" TEXT NOT NULL,
   "accepted_at" TEXT NOT NULL,
   "accepted_via" TEXT NOT NULL
);
CREATE TABLE "holders" (
   "holder" TEXT PRIMARY KEY NOT NULL,
   "format" TEXT,
   "notes" TEXT,
   "recorded_at" TEXT,
   "recorded_via" TEXT
);
CREATE TABLE "holder_sides" (
   "holder" TEXT NOT NULL REFERENCES "holders"("holder") ON UPDATE CASCADE ON DELETE CASCADE,
   "side" TEXT NOT NULL,
   "position" INTEGER NOT NULL,
   "film" TEXT REFERENCES "films"("name") ON UPDATE CASCADE,
   "loaded_at" TEXT,
   PRIMARY KEY ("holder", "side")
);
CREATE TABLE "removed_sheets" (
   "sheet" TEXT PRIMARY KEY NOT NULL,
   "removed_at" TEXT NOT NULL,
   "removed_via" TEXT NOT NULL,
   "record" TEXT NOT NULL,
   "scans" TEXT NOT NULL,
   "rows" TEXT NOT NULL,
   "state" TEXT NOT NULL
);
CREATE TABLE "removed_sheet_scans" (
   "sheet" TEXT NOT NULL REFERENCES "removed_sheets"("sheet") ON UPDATE CASCADE ON DELETE CASCADE,
   "scan" TEXT NOT NULL REFERENCES "scans"("scan") ON UPDATE CASCADE ON DELETE CASCADE,
   PRIMARY KEY ("sheet", "scan")
);
CREATE TABLE "door_log" (
   "id" INTEGER PRIMARY KEY NOT NULL,
   "at" TEXT NOT NULL,
   "address" TEXT NOT NULL,
   "session" TEXT,
   "what" TEXT NOT NULL,
   "led_to" TEXT,
   "outcome" TEXT
);
CREATE TABLE "check_runs" (
   "id" INTEGER PRIMARY KEY NOT NULL,
   "began_at" TEXT NOT NULL,
   "ended_at" TEXT,
   "way" TEXT NOT NULL,
   "masters" INTEGER,
   "unchanged" INTEGER
);
CREATE TABLE "checks" (
   "run" INTEGER NOT NULL REFERENCES "check_runs"("id") ON UPDATE CASCADE ON DELETE CASCADE,
   "scan" TEXT NOT NULL REFERENCES "scans"("scan") ON UPDATE CASCADE ON DELETE CASCADE,
   "at" TEXT NOT NULL,
   "status" TEXT NOT NULL,
   "path" TEXT NOT NULL,
   "found_sha256" TEXT,
   "reason" TEXT,
   PRIMARY KEY ("run", "scan")
);
CREATE TABLE "sheet_tallies" (
   "name" TEXT PRIMARY KEY NOT NULL,
   "meaning" TEXT NOT NULL
);
CREATE TABLE "sheet_tally_bytes" (
   "name" TEXT NOT NULL,
   "part" INTEGER NOT NULL,
   "bytes" BLOB NOT NULL,
   PRIMARY KEY ("name", "part")
);
insert into "sheet_tally_bytes" ("name", "part", "bytes") values ('2026-05-03', 1, '2026-05-03');
insert into "sheet_tallies" ("name", "meaning") values ('2026-05-03', '2026-05-03');
insert into "check_runs" ("id", "began_at", "ended_at", "way", "masters", "unchanged") values (1, '2026-05-03', '2026-05-03', '2026-05-03', 1, 1);
insert into "door_log" ("id", "at", "address", "session", "what", "led_to", "outcome") values (1, '2026-05-03', '2026-05-03', '2026-05-03', '2026-05-03', '2026-05-03', '2026-05-03');
insert into "holder_sides" ("holder", "side", "position", "film", "loaded_at") values ('A7', '1', 0, 'Brickdust 100', NULL);
insert into "checks" ("run", "scan", "at", "status", "path", "found_sha256", "reason") values (1, '98f9742d923d', '2026-05-03', '2026-05-03', '2026-05-03', '2026-05-03', '2026-05-03');
insert into "holders" ("holder", "format", "notes", "recorded_at", "recorded_via") values ('A7', '4x5', NULL, '2026-12-01T01:40:50Z', 'record more.json');
insert into "removed_sheet_scans" ("sheet", "scan") values ('BW-03', 'db6a2af27f58');
insert into "advised_times" ("id", "film", "developer", "dilution", "temperature_c", "tag", "tag_n", "time_s", "low_s", "high_s", "sheets", "effective_from", "advice", "sentence", "accepted_at", "accepted_via") values (1, 'Brickdust 100', 'Slip', NULL, NULL, 'N', 0.0, 600.0, 540.0, 660.0, 9, '2026-05-20', 'a', 'Made up for a test.', '2026-12-01T01:40:55Z', 'a test');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('silver, diffusion', '{"0": 0.02, "I": 0.1, "II": 0.21, "III": 0.35, "IV": 0.51, "V": 0.7, "VI": 0.89, "VII": 1.09, "VIII": 1.3, "IX": 1.46, "X": 1.6}', 'Silver paper under diffused enlarger light: zones I and VIII after Adams, The Negative; the shape between from published measured zones.', '2026-12-01T01:40:50Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('silver, condenser', '{"0": 0.02, "I": 0.1, "II": 0.199, "III": 0.325, "IV": 0.469, "V": 0.64, "VI": 0.817, "VII": 1.004, "VIII": 1.2, "IX": 1.349, "X": 1.48}', 'Silver paper under condenser light: I 0.10 · V 0.64 · VIII 1.20 after Adams, The Negative; between them the shape of the diffusion target.', '2026-12-01T01:40:50Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('silver contact', '{"0": 0.02, "I": 0.1, "II": 0.214, "III": 0.358, "IV": 0.524, "V": 0.72, "VI": 0.919, "VII": 1.13, "VIII": 1.35, "IX": 1.518, "X": 1.665}', 'Silver paper in contact: I 0.10 · V 0.72 · VIII 1.35; between them the shape of the diffusion target.', '2026-12-01T01:40:50Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('long-scale', '{"0": 0.024, "I": 0.12, "II": 0.267, "III": 0.453, "IV": 0.667, "V": 0.92, "VI": 1.183, "VII": 1.46, "VIII": 1.75, "IX": 1.971, "X": 2.165}', 'Platinum, palladium and other long-scale papers in contact: I 0.12 · V 0.92 · VIII 1.75; between them the shape of the diffusion target.', '2026-12-01T01:40:50Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('salt', '{"I": 0.15, "V": 1.0, "VIII½": 2.0}', NULL, '2026-12-01T01:40:50Z', 'record more.json');
insert into "tablets" ("name", "densities", "recorded_at", "recorded_via") values ('tablet 21', '[0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95, 1.1, 1.25, 1.4, 1.55, 1.7, 1.85, 2.0, 2.15, 2.3, 2.45, 2.6, 2.75, 2.9, 3.05]', '2026-12-01T01:40:50Z', 'record equipment.yaml');
insert into "tablets" ("name", "densities", "recorded_at", "recorded_via") values ('T5', '[0.05, 0.5, 1.0, 1.5, 2.0]', '2026-12-01T01:40:50Z', 'record more.json');
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-01', 0, 'soot', 'shadow', 9.5, NULL, 'III', 3.0, NULL, 0.3, 0.4, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-01', 1, 'sky', 'highlight', 13.5, NULL, NULL, NULL, NULL, 0.7, 0.6, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-02', 0, 'soot', 'shadow', 9.5, NULL, 'III', 3.0, NULL, 0.3, 0.4, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-02', 1, 'sky', 'highlight', 13.5, NULL, NULL, NULL, NULL, 0.7, 0.6, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-04', 0, 'soot', 'shadow', 9.5, NULL, 'III', 3.0, NULL, 0.3, 0.4, 2.0, NULL);
insert into "readings" ("sheet", "position", "name", "role", "ev", "stops_from_placed", "zone", "zone_value", "placed", "spot_x", "spot_y", "spot_diameter_mm", "spot_scan") values ('BW-04', 1, 'sky', 'highlight', 13.5, NULL, NULL, NULL, NULL, 0.7, 0.6, 2.0, NULL);
insert into "out_of_date" ("sheet", "since") values ('BW-01', '2026-05-03');
insert into "cells" ("lens", "cell", "position", "focal_mm", "widest_stop", "widest_f_number", "mounted", "own_scale", "cell_to_stop_mm", "pupil_ratio", "scale_error_stops") values ('Aldwater', 'whole', 0, 180.0, NULL, NULL, NULL, 1, NULL, NULL, 0.0);
insert into "cells" ("lens", "cell", "position", "focal_mm", "widest_stop", "widest_f_number", "mounted", "own_scale", "cell_to_stop_mm", "pupil_ratio", "scale_error_stops") values ('Tressick', 'whole', 0, 150.0, '6.8', 6.8, 'whole', 1, NULL, NULL, 0.0);
insert into "cells" ("lens", "cell", "position", "focal_mm", "widest_stop", "widest_f_number", "mounted", "own_scale", "cell_to_stop_mm", "pupil_ratio", "scale_error_stops") values ('Tressick', 'rear', 1, 290.0, NULL, NULL, 'behind', 1, NULL, NULL, -0.5);
insert into "shutters" ("name", "measured", "recorded_at", "recorded_via") values ('No. 3', '{"1/15": 0.071, "1": 1.1}', '2026-12-01T01:40:50Z', 'record more.json');
insert into "results" ("sheet", "exposure_error_stops", "exposure_error_sd", "exposure_error_density_sd", "residual_stops", "found_n", "found_n_sd", "found_n_density_sd", "planned_n", "exposure_verdict", "development_verdict", "verdict", "why", "more", "printing_range") values ('BW-01', 3.77926700941496651608e+00, 0.281853746657651, 2.28727327568204297225e-01, 3.27926700941496651608e+00, -4.50086216461779287101e+00, 3.88378238003868947458e-01, 0.316342041200549, 0.0, 'dense', 'unsure', 'dense', '["The negative is dense: it got 3.78 ± 0.23 stop more exposure than planned, beyond a third of a stop.", "Development is unsure: the readings that count span only 4.0 zones; it takes a shadow and a highlight to tell contrast.", "Of the distance from plan, +0.50 stop was set (stop, time and corrections), and +3.28 ± 0.28 stop is what film, cell, shutter, meter and batch did.", "Both are held against the print target (silver, diffusion), as no curve of this film is known: a film with a long toe meets it thin and contrasty even when all is right."]', '{"target": "silver, diffusion", "response": null, "paper": {"shadow": "soot", "highlight": "sky", "density_range": 0.32023854894726833, "iso_r": 49.135700781605074, "grade": 5, "word": "extra hard"}}', 4.71702727503408691944e-01);
insert into "results" ("sheet", "exposure_error_stops", "exposure_error_sd", "exposure_error_density_sd", "residual_stops", "found_n", "found_n_sd", "found_n_density_sd", "planned_n", "exposure_verdict", "development_verdict", "verdict", "why", "more", "printing_range") values ('BW-02', NULL, NULL, NULL, NULL, NULL, NULL, NULL, 0.0, 'not measured', 'not measured', 'not measured', '["Not measured: no reading has a density.", "No scan is joined to this sheet."]', '{"target": "silver, diffusion", "response": null, "paper": null}', NULL);
insert into "results" ("sheet", "exposure_error_stops", "exposure_error_sd", "exposure_error_density_sd", "residual_stops", "found_n", "found_n_sd", "found_n_density_sd", "planned_n", "exposure_verdict", "development_verdict", "verdict", "why", "more", "printing_range") values ('BW-04', NULL, NULL, NULL, NULL, NULL, NULL, NULL, 0.0, 'not measured', 'not measured', 'not measured', '["Not measured: no reading has a density.", "No scan is joined to this sheet."]', '{"target": "silver, diffusion", "response": null, "paper": null}', NULL);
insert into "results" ("sheet", "exposure_error_stops", "exposure_error_sd", "exposure_error_density_sd", "residual_stops", "found_n", "found_n_sd", "found_n_density_sd", "planned_n", "exposure_verdict", "development_verdict", "verdict", "why", "more", "printing_range") values ('OT-01', NULL, NULL, NULL, NULL, NULL, NULL, NULL, 1.0, 'not measured', 'not measured', 'not measured', '["Not measured: the sheet has no readings.", "No scan is joined to this sheet.", "How far the front cell of Tressick stands from the diaphragm (cell_to_stop_mm) is not recorded: up to half a stop may hide there.", "No reading was placed on a zone, so there is no plan to compare with."]', '{"target": "salt", "response": null, "paper": null}', NULL);
insert into "findings" ("sheet", "scan", "base_fog", "base_fog_sd", "base_fog_source", "base_fog_more", "measured_readings", "provenance", "computed_at") values ('BW-01', '98f9742d923d', 1.9984641095079289097e-01, 1.3642288554828292061e-03, 'rebate', '{"detail": "the scan''s rebate"}', 2, '{"profile": 1, "scanner": "bench scanner", "channel": "grey", "print_target": "silver, diffusion", "exposure_index": 100.0, "judgement_version": 2}', '2026-12-01T01:40:55Z');
insert into "findings" ("sheet", "scan", "base_fog", "base_fog_sd", "base_fog_source", "base_fog_more", "measured_readings", "provenance", "computed_at") values ('BW-02', NULL, NULL, NULL, NULL, NULL, 0, '{"profile": null, "scanner": null, "channel": null, "print_target": "silver, diffusion", "exposure_index": 100.0, "judgement_version": 2}', '2026-12-01T01:40:50Z');
insert into "findings" ("sheet", "scan", "base_fog", "base_fog_sd", "base_fog_source", "base_fog_more", "measured_readings", "provenance", "computed_at") values ('BW-04', NULL, NULL, NULL, NULL, NULL, 0, '{"profile": null, "scanner": null, "channel": null, "print_target": "silver, diffusion", "exposure_index": 100.0, "judgement_version": 2}', '2026-12-01T01:40:50Z');
insert into "findings" ("sheet", "scan", "base_fog", "base_fog_sd", "base_fog_source", "base_fog_more", "measured_readings", "provenance", "computed_at") values ('OT-01', NULL, NULL, NULL, NULL, NULL, 0, '{"profile": null, "scanner": null, "channel": null, "print_target": "salt", "exposure_index": 100.0, "judgement_version": 2}', '2026-12-01T01:40:50Z');
insert into "development_sheets" ("batch", "sheet", "position") values ('B1', 'BW-01', 0);
insert into "development_sheets" ("batch", "sheet", "position") values ('B1', 'BW-02', 1);
insert into "development_sheets" ("batch", "sheet", "position") values ('B1', 'BW-04', 3);
insert into "exposures" ("sheet", "marked_stop", "f_number", "effective_f_number", "time_s", "shutter_time_s", "effective_time_s", "setting_stops", "filter_stops", "bellows_stops", "cell_stops", "shutter_stops", "reciprocity_stops", "decision_stops", "more") values ('BW-02', '22', 2.26274169979695223271e+01, 2.26274169979695223271e+01, 0.25, 0.25, 0.25, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, '{"marked_time": "1/4", "ledger": [{"item": "setting", "stops": 0.5, "text": "soot, EV 9.5 at index 100, placed on III asks for 0.177 s at f/22; f/22 and 1/4 s were set"}, {"item": "filter", "stops": 0.0, "text": "no filter"}, {"item": "bellows", "stops": 0.0, "text": "no extension recorded: counted as focused far away"}, {"item": "cell_scale", "stops": 0.0, "text": "whole: no error of its stop scale on record"}, {"item": "cell_pupil", "stops": 0.0, "text": "whole: the stop was read from its own scale"}, {"item": "shutter", "stops": 0.0, "text": "1/4 s as marked, the shutter not measured"}, {"item": "reciprocity", "stops": 0.0, "text": "no reciprocity law on record"}, {"item": "decision", "stops": 0.5, "text": "soot, planned on III, was given III½"}]}');
insert into "exposures" ("sheet", "marked_stop", "f_number", "effective_f_number", "time_s", "shutter_time_s", "effective_time_s", "setting_stops", "filter_stops", "bellows_stops", "cell_stops", "shutter_stops", "reciprocity_stops", "decision_stops", "more") values ('BW-04', '22', 2.26274169979695223271e+01, 2.26274169979695223271e+01, 0.25, 0.25, 0.25, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, '{"marked_time": "1/4", "ledger": [{"item": "setting", "stops": 0.5, "text": "soot, EV 9.5 at index 100, placed on III asks for 0.177 s at f/22; f/22 and 1/4 s were set"}, {"item": "filter", "stops": 0.0, "text": "no filter"}, {"item": "bellows", "stops": 0.0, "text": "no extension recorded: counted as focused far away"}, {"item": "cell_scale", "stops": 0.0, "text": "whole: no error of its stop scale on record"}, {"item": "cell_pupil", "stops": 0.0, "text": "whole: the stop was read from its own scale"}, {"item": "shutter", "stops": 0.0, "text": "1/4 s as marked, the shutter not measured"}, {"item": "reciprocity", "stops": 0.0, "text": "no reciprocity law on record"}, {"item": "decision", "stops": 0.5, "text": "soot, planned on III, was given III½"}]}');
insert into "exposures" ("sheet", "marked_stop", "f_number", "effective_f_number", "time_s", "shutter_time_s", "effective_time_s", "setting_stops", "filter_stops", "bellows_stops", "cell_stops", "shutter_stops", "reciprocity_stops", "decision_stops", "more") values ('OT-01', '22½', 2.69086852881188676178e+01, 6.18666666666666742457e+01, 0.0625, 0.071, 0.071, NULL, 0.0, 0.0, -2.40218079903810721731e+00, 1.83962834842594902262e-01, 0.0, NULL, '{"marked_time": "1/15", "ledger": [{"item": "setting", "stops": null, "text": "f/22½ and 1/15 s were set; what the placement asks is not known"}, {"item": "filter", "stops": 0.0, "text": "no filter"}, {"item": "bellows", "stops": 0.0, "text": "no extension recorded: counted as focused far away"}, {"item": "cell_scale", "stops": -0.5, "text": "rear: the known error of its stop scale"}, {"item": "cell_pupil", "stops": -1.9021807990381072, "text": "rear: f/22½ read from the scale of whole is f/52 here"}, {"item": "shutter", "stops": 0.1839628348425949, "text": "1/15 s as marked is 0.071 s as measured"}, {"item": "reciprocity", "stops": 0.0, "text": "no reciprocity law on record"}, {"item": "decision", "stops": null, "text": "not known: something above is missing"}]}');
insert into "exposures" ("sheet", "marked_stop", "f_number", "effective_f_number", "time_s", "shutter_time_s", "effective_time_s", "setting_stops", "filter_stops", "bellows_stops", "cell_stops", "shutter_stops", "reciprocity_stops", "decision_stops", "more") values ('BW-01', '22', 2.26274169979695223271e+01, 2.26274169979695223271e+01, 0.25, 0.25, 0.25, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, '{"marked_time": "1/4", "ledger": [{"item": "setting", "stops": 0.5, "text": "soot, EV 9.5 at index 100, placed on III asks for 0.177 s at f/22; f/22 and 1/4 s were set"}, {"item": "filter", "stops": 0.0, "text": "no filter"}, {"item": "bellows", "stops": 0.0, "text": "no extension recorded: counted as focused far away"}, {"item": "cell_scale", "stops": 0.0, "text": "whole: no error of its stop scale on record"}, {"item": "cell_pupil", "stops": 0.0, "text": "whole: the stop was read from its own scale"}, {"item": "shutter", "stops": 0.0, "text": "1/4 s as marked, the shutter not measured"}, {"item": "reciprocity", "stops": 0.0, "text": "no reciprocity law on record"}, {"item": "decision", "stops": 0.5, "text": "soot, planned on III, was given III½"}]}');
insert into "films" ("name", "box_speed", "exposure_index", "lot", "base_fog", "channel", "reciprocity", "recorded_at", "recorded_via") values ('Brickdust 100', 100.0, NULL, NULL, NULL, 'grey', NULL, '2026-12-01T01:40:50Z', 'record equipment.yaml');
insert into "removed_sheets" ("sheet", "removed_at", "removed_via", "record", "scans", "rows", "state") values ('BW-03', '2026-12-01T01:40:55Z', 'remove', '{"sheet": "BW-03", "film": "Brickdust 100", "format": "4x5", "exposed_at": "2026-05-03", "place": "Old kilns", "lens": "Aldwater", "cell": "whole", "stop": "22", "time": "1/4", "tag": "N", "meter_iso": 100.0, "readings": [{"name": "soot", "role": "shadow", "ev": 9.5, "zone": "III", "spot": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0}}, {"name": "sky", "role": "highlight", "ev": 13.5, "spot": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0}}]}', '[{"scan": "db6a2af27f58", "joined_by": "its file name", "reason": null}]', '{"place": 3, "tables": {"sheets": [{"rowid": 3, "sheet": "BW-03", "film": "Brickdust 100", "exposure_index": null, "format": "4x5", "holder": null, "side": null, "exposed_at": "2026-05-03", "place": "Old kilns", "subject": null, "lens": "Aldwater", "cell": "whole", "stop": "22", "f_number": 22.627416997969522, "stop_scale": null, "time": "1/4", "time_s": 0.25, "bellows_mm": null, "filter": null, "filter_factor": null, "movements": null, "weather": null, "tag": "N", "tag_n": 0.0, "meter_iso": 100.0, "indicated_stop": null, "indicated_f_number": null, "indicated_time": null, "indicated_time_s": null, "print_target": null, "base_fog_spot_x": null, "base_fog_spot_y": null, "base_fog_spot_diameter_mm": null, "base_fog_spot_scan": null, "location": null, "notes": null, "recorded_at": "2026-12-01T01:40:50Z", "recorded_via": "record sheets.yaml"}], "spot_scans": [{"rowid": 2, "sheet": "BW-03", "scan": "db6a2af27f58"}], "results": [{"rowid": 3, "sheet": "BW-03", "exposure_error_stops": 7.007428387653624, "exposure_error_sd": 0.39552319076012826, "exposure_error_density_sd": 0.3606492009232626, "residual_stops": 6.507428387653624, "found_n": -5.786243388581156, "found_n_sd": 0.4144833236600433, "found_n_density_sd": 0.3658152026685592, "planned_n": 0.0, "exposure_verdict": "dense", "development_verdict": "unsure", "verdict": "dense", "why": "[\"The negative is dense: it got 7.01 ± 0.36 stop more exposure than planned, beyond a third of a stop.\", \"Development is unsure: the readings that count span only 4.0 zones; it takes a shadow and a highlight to tell contrast.\", \"Of the distance from plan, +0.50 stop was set (stop, time and corrections), and +6.51 ± 0.40 stop is what film, cell, shutter, meter and batch did.\", \"Both are held against the print target (silver, diffusion), as no curve of this film is known: a film with a long toe meets it thin and contrasty even when all is right.\"]", "more": "{\"target\": \"silver, diffusion\", \"response\": null, \"paper\": null}", "printing_range": null}], "readings": [{"rowid": 5, "sheet": "BW-03", "position": 0, "name": "soot", "role": "shadow", "ev": 9.5, "stops_from_placed": null, "zone": "III", "zone_value": 3.0, "placed": null, "spot_x": 0.3, "spot_y": 0.4, "spot_diameter_mm": 2.0, "spot_scan": null}, {"rowid": 6, "sheet": "BW-03", "position": 1, "name": "sky", "role": "highlight", "ev": 13.5, "stops_from_placed": null, "zone": null, "zone_value": null, "placed": null, "spot_x": 0.7, "spot_y": 0.6, "spot_diameter_mm": 2.0, "spot_scan": null}], "found_readings": [{"rowid": 11, "sheet": "BW-03", "position": 0, "name": "soot", "role": "shadow", "placed": 1, "ev": 9.5, "planned_zone": 3.0, "given_zone": 3.5, "planned_print_zone": 3.0, "target_density": 0.35, "density": 1.2799002123292393, "sd": 0.018463608046936784, "net_density": 1.0800370744406353, "print_zone": 6.951317759997799, "print_zone_sd": 0.09031941701442002, "error_density": 0.7300370744406354, "error_zones": 3.9513177599977993, "more": "{\"wanted\": false, \"lost\": false, \"bound\": null, \"limit\": null, \"note\": null, \"spot\": {\"x\": 0.3, \"y\": 0.4, \"diameter_mm\": 2.0, \"scan\": \"db6a2af27f58\"}, \"spot_status\": \"set\", \"spot_set\": {\"x\": 0.3, \"y\": 0.4, \"diameter_mm\": 2.0, \"scan\": null}, \"measured\": {\"spot\": {\"x\": 0.3, \"y\": 0.4, \"diameter_mm\": 2.0, \"scan\": null}, \"density\": {\"density\": 1.2799002123292393, \"sd\": 0.01850594970830949, \"bound\": null, \"limit\": null, \"cells\": 7.00469162091599, \"clipped\": 0.0, \"grain_sd\": 0.018432507500841834, \"reason\": \"\"}}}"}, {"rowid": 12, "sheet": "BW-03", "position": 1, "name": "sky", "role": "highlight", "placed": 0, "ev": 13.5, "planned_zone": 7.0, "given_zone": 7.5, "planned_print_zone": 7.0, "target_density": 1.09, "density": 1.448958127501386, "sd": 0.00635601851507895, "net_density": 1.249094989612782, "print_zone": 7.739569172709119, "print_zone_sd": 0.03070014333506839, "error_density": 0.159094989612782, "error_zones": 0.7395691727091194, "more": "{\"wanted\": false, \"lost\": false, \"bound\": null, \"limit\": null, \"note\": null, \"spot\": {\"x\": 0.7, \"y\": 0.6, \"diameter_mm\": 2.0, \"scan\": \"db6a2af27f58\"}, \"spot_status\": \"set\", \"spot_set\": {\"x\": 0.7, \"y\": 0.6, \"diameter_mm\": 2.0, \"scan\": null}, \"measured\": {\"spot\": {\"x\": 0.7, \"y\": 0.6, \"diameter_mm\": 2.0, \"scan\": null}, \"density\": {\"density\": 1.448958127501386, \"sd\": 0.0064764547270212205, \"bound\": null, \"limit\": null, \"cells\": 7.004691620915987, \"clipped\": 0.0, \"grain_sd\": 0.006173450885900603, \"reason\": \"\"}}}"}], "findings": [{"rowid": 3, "sheet": "BW-03", "scan": "db6a2af27f58", "base_fog": 0.19986313788860408, "base_fog_sd": 0.0013645717466667937, "base_fog_source": "rebate", "base_fog_more": "{\"detail\": \"the scan''s rebate\"}", "measured_readings": 2, "provenance": "{\"profile\": 1, \"scanner\": \"bench scanner\", \"channel\": \"grey\", \"print_target\": \"silver, diffusion\", \"exposure_index\": 100.0, \"judgement_version\": 2}", "computed_at": "2026-12-01T01:40:55Z"}], "exposures": [{"rowid": 7, "sheet": "BW-03", "marked_stop": "22", "f_number": 22.627416997969522, "effective_f_number": 22.627416997969522, "time_s": 0.25, "shutter_time_s": 0.25, "effective_time_s": 0.25, "setting_stops": 0.5, "filter_stops": 0.0, "bellows_stops": 0.0, "cell_stops": 0.0, "shutter_stops": 0.0, "reciprocity_stops": 0.0, "decision_stops": 0.5, "more": "{\"marked_time\": \"1/4\", \"ledger\": [{\"item\": \"setting\", \"stops\": 0.5, \"text\": \"soot, EV 9.5 at index 100, placed on III asks for 0.177 s at f/22; f/22 and 1/4 s were set\"}, {\"item\": \"filter\", \"stops\": 0.0, \"text\": \"no filter\"}, {\"item\": \"bellows\", \"stops\": 0.0, \"text\": \"no extension recorded: counted as focused far away\"}, {\"item\": \"cell_scale\", \"stops\": 0.0, \"text\": \"whole: no error of its stop scale on record\"}, {\"item\": \"cell_pupil\", \"stops\": 0.0, \"text\": \"whole: the stop was read from its own scale\"}, {\"item\": \"shutter\", \"stops\": 0.0, \"text\": \"1/4 s as marked, the shutter not measured\"}, {\"item\": \"reciprocity\", \"stops\": 0.0, \"text\": \"no reciprocity law on record\"}, {\"item\": \"decision\", \"stops\": 0.5, \"text\": \"soot, planned on III, was given III½\"}]}"}], "development_sheets": [{"rowid": 3, "batch": "B1", "sheet": "BW-03", "position": 2}]}}', '[6, 1, null, 2]');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (1, 'negcat', 'm001_equipment', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (2, 'negcat', 'm002_sheets', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (3, 'negcat', 'm003_scans', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (4, 'negcat', 'm004_findings', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (5, 'negcat', 'm005_carrying', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (6, 'negcat', 'm006_searching', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (7, 'negcat', 'm007_changes', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (8, 'negcat', 'm008_reviewing', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (9, 'negcat', 'm009_holders', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (10, 'negcat', 'm010_printing', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (11, 'negcat', 'm011_film_test_regions', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (12, 'negcat', 'm012_removing', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (13, 'negcat', 'm013_door_log', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (14, 'negcat', 'm014_checks', '2026-05-03 07:40:00+00:00');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (15, 'negcat', 'm015_tallies', '2026-05-03 07:40:00+00:00');
insert into "scanners" ("name", "make", "model", "software", "recorded_at", "recorded_via") values ('bench scanner', 'Marl', 'Flatbed 4', NULL, '2026-12-01T01:40:50Z', 'record equipment.yaml');
insert into "spot_scans" ("sheet", "scan") values ('BW-01', '98f9742d923d');
insert into "sheets" ("sheet", "film", "exposure_index", "format", "holder", "side", "exposed_at", "place", "subject", "lens", "cell", "stop", "f_number", "stop_scale", "time", "time_s", "bellows_mm", "filter", "filter_factor", "movements", "weather", "tag", "tag_n", "meter_iso", "indicated_stop", "indicated_f_number", "indicated_time", "indicated_time_s", "print_target", "base_fog_spot_x", "base_fog_spot_y", "base_fog_spot_diameter_mm", "base_fog_spot_scan", "location", "notes", "recorded_at", "recorded_via") values ('BW-01', 'Brickdust 100', NULL, '4x5', NULL, NULL, '2026-05-01', 'Old kilns', NULL, 'Aldwater', 'whole', '22', 2.26274169979695223271e+01, NULL, '1/4', 0.25, NULL, NULL, NULL, NULL, NULL, 'N', 0.0, 100.0, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '2026-12-01T01:40:50Z', 'record sheets.yaml');
insert into "sheets" ("sheet", "film", "exposure_index", "format", "holder", "side", "exposed_at", "place", "subject", "lens", "cell", "stop", "f_number", "stop_scale", "time", "time_s", "bellows_mm", "filter", "filter_factor", "movements", "weather", "tag", "tag_n", "meter_iso", "indicated_stop", "indicated_f_number", "indicated_time", "indicated_time_s", "print_target", "base_fog_spot_x", "base_fog_spot_y", "base_fog_spot_diameter_mm", "base_fog_spot_scan", "location", "notes", "recorded_at", "recorded_via") values ('BW-02', 'Brickdust 100', NULL, '4x5', NULL, NULL, '2026-05-02', 'Old kilns', NULL, 'Aldwater', 'whole', '22', 2.26274169979695223271e+01, NULL, '1/4', 0.25, NULL, NULL, NULL, NULL, NULL, 'N', 0.0, 100.0, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '2026-12-01T01:40:50Z', 'record sheets.yaml');
insert into "sheets" ("sheet", "film", "exposure_index", "format", "holder", "side", "exposed_at", "place", "subject", "lens", "cell", "stop", "f_number", "stop_scale", "time", "time_s", "bellows_mm", "filter", "filter_factor", "movements", "weather", "tag", "tag_n", "meter_iso", "indicated_stop", "indicated_f_number", "indicated_time", "indicated_time_s", "print_target", "base_fog_spot_x", "base_fog_spot_y", "base_fog_spot_diameter_mm", "base_fog_spot_scan", "location", "notes", "recorded_at", "recorded_via") values ('BW-04', 'Brickdust 100', NULL, '4x5', NULL, NULL, '2026-05-04', 'Old kilns', NULL, 'Aldwater', 'whole', '22', 2.26274169979695223271e+01, NULL, '1/4', 0.25, NULL, NULL, NULL, NULL, NULL, 'N', 0.0, 100.0, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '2026-12-01T01:40:50Z', 'record sheets.yaml');
insert into "sheets" ("sheet", "film", "exposure_index", "format", "holder", "side", "exposed_at", "place", "subject", "lens", "cell", "stop", "f_number", "stop_scale", "time", "time_s", "bellows_mm", "filter", "filter_factor", "movements", "weather", "tag", "tag_n", "meter_iso", "indicated_stop", "indicated_f_number", "indicated_time", "indicated_time_s", "print_target", "base_fog_spot_x", "base_fog_spot_y", "base_fog_spot_diameter_mm", "base_fog_spot_scan", "location", "notes", "recorded_at", "recorded_via") values ('OT-01', 'Brickdust 100', NULL, NULL, 'A7', '1', NULL, 'Östra tegelbruket, ugn 3', 'Kiln mouth', 'Tressick', 'rear', '22½', 2.69086852881188676178e+01, 'whole', '1/15', 0.0625, NULL, NULL, NULL, NULL, NULL, 'N+1', 1.0, 100.0, NULL, NULL, NULL, NULL, 'salt', NULL, NULL, NULL, NULL, NULL, 'mist gone', '2026-12-01T01:40:50Z', 'record more.json');
insert into "developments" ("batch", "date", "developer", "dilution", "temperature_c", "time", "time_s", "method", "agitation", "tag", "tag_n", "base_fog", "notes", "recorded_at", "recorded_via") values ('B1', '2026-05-10', 'Slip', NULL, NULL, '9m', 540.0, NULL, NULL, NULL, NULL, NULL, NULL, '2026-12-01T01:40:50Z', 'record sheets.yaml');
insert into "registrations" ("scan", "from_scan", "correlation", "registration", "made_at") values ('98f9742d923d', '98f9742d923d', 0.5, '2026-05-03', '2026-05-03');
insert into "dated_changes" ("id", "film", "lens", "cell", "shutter", "marked_time", "field", "before", "after", "effective_from", "advice", "sentence", "accepted_at", "accepted_via") values (1, 'Brickdust 100', NULL, NULL, NULL, NULL, 'exposure_index', NULL, '80.0', '2026-05-20', 'a', 'Made up for a test.', '2026-12-01T01:40:55Z', 'a test');
insert into "lenses" ("name", "shutter", "recorded_at", "recorded_via") values ('Aldwater', NULL, '2026-12-01T01:40:50Z', 'record equipment.yaml');
insert into "lenses" ("name", "shutter", "recorded_at", "recorded_via") values ('Tressick', 'No. 3', '2026-12-01T01:40:50Z', 'record more.json');
insert into "film_tests" ("test", "film", "tablet", "developer", "dilution", "temperature_c", "time", "time_s", "log_exposure", "scan", "densities", "recorded_at", "recorded_via", "region") values ('T-01', 'Brickdust 100', 'T5', 'Slip', NULL, NULL, '9m', 540.0, NULL, NULL, '[1.8, 1.2, 0.9, 0.4, 0.2]', '2026-12-01T01:40:50Z', 'record more.json', NULL);
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (1, 'sheets', 'OT-01', '2026-12-01T01:40:50Z', 'record changed.json', '{"sheet": "OT-01", "film": "Brickdust 100", "holder": "A7", "side": "1", "place": "Östra tegelbruket, ugn 3", "subject": "Kiln mouth", "lens": "Tressick", "cell": "rear", "stop": "22½", "stop_scale": "whole", "time": "1/15", "tag": "N+1", "meter_iso": 100.0, "readings": [], "print_target": "salt", "notes": "mist lifting; ''soot'' everywhere"}', '{"sheet": "OT-01", "film": "Brickdust 100", "holder": "A7", "side": "1", "place": "Östra tegelbruket, ugn 3", "subject": "Kiln mouth", "lens": "Tressick", "cell": "rear", "stop": "22½", "stop_scale": "whole", "time": "1/15", "tag": "N+1", "meter_iso": 100.0, "readings": [], "print_target": "salt", "notes": "mist gone"}');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (2, 'scans', '98f9742d923d', '2026-12-01T01:40:55Z', 'ingest', '{}', '{"joined_by": "its file name", "sheet": "BW-01"}');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (3, 'scans', 'db6a2af27f58', '2026-12-01T01:40:55Z', 'ingest', '{}', '{"joined_by": "its file name", "sheet": "BW-03"}');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (4, 'scans', 'db6a2af27f58', '2026-12-01T01:40:55Z', 'remove', '{"joined_by": "its file name", "sheet": "BW-03"}', '{}');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (5, 'sheets', 'BW-03', '2026-12-01T01:40:55Z', 'remove', '{"sheet": "BW-03", "film": "Brickdust 100", "format": "4x5", "exposed_at": "2026-05-03", "place": "Old kilns", "lens": "Aldwater", "cell": "whole", "stop": "22", "time": "1/4", "tag": "N", "meter_iso": 100.0, "readings": [{"name": "soot", "role": "shadow", "ev": 9.5, "zone": "III", "spot": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0}}, {"name": "sky", "role": "highlight", "ev": 13.5, "spot": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0}}]}', 'null');
insert into "history" ("id", "kind", "name", "at", "via", "old", "new") values (6, 'developments', 'B1', '2026-12-01T01:40:55Z', 'remove', '{"batch": "B1", "date": "2026-05-10", "developer": "Slip", "time": "9m", "sheets": ["BW-01", "BW-02", "BW-03", "BW-04"]}', '{"batch": "B1", "date": "2026-05-10", "developer": "Slip", "time": "9m", "sheets": ["BW-01", "BW-02", "BW-04"]}');
insert into "scans" ("scan", "taken_order", "sha256", "path", "size_bytes", "modified_ns", "file_format", "width", "height", "bits", "mode", "dpi", "make", "model", "software", "description", "taken_at", "orientation", "compression", "lossy", "pages", "notes", "scanner", "sheet", "joined_by", "reason", "unmeasured", "calibrated", "profile", "channel", "rebate_density", "rebate_sd", "rebate", "condition", "added_at", "checked_at") values ('98f9742d923d', 1, '98f9742d923dd5b8d006b9897993f4f3b0fa14279c6ef2fc392dce4429e0266b', 'scans/BW-01.tif', 157933, 1796089249609062897, 'TIFF', 342, 280, 16, 'grey', 63.5, 'Marl', 'Flatbed 4', 'tifffile.py', '[]', '2026-05-12T10:00:00', 1, 'deflate', 0, 1, '[]', 'bench scanner', 'BW-01', 'its file name', NULL, NULL, 1, 1, 'grey', 1.9984641095079289097e-01, 1.3642288554828292061e-03, '{"found": true, "code": 36396.663802083334, "density": 0.1998464109507929, "sd": 0.0013642288554828292, "boxes": [[0.048422279496430576, 0.11071428571428571, 0.062203539858474745, 0.16428571428571428], [0.04842201806904622, 0.16428571428571428, 0.06215380065073961, 0.21785714285714286], [0.04842175664166185, 0.21785714285714286, 0.062104061443004475, 0.2714285714285714], [0.04842149521427748, 0.2714285714285714, 0.06205432223526934, 0.325], [0.04842123378689312, 0.325, 0.0620045830275342, 0.37857142857142856], [0.04842097235950876, 0.37857142857142856, 0.06195484381979906, 0.43214285714285716], [0.04842071093212439, 0.43214285714285716, 0.06190510461206392, 0.4857142857142857], [0.048420449504740025, 0.4857142857142857, 0.06185536540432878, 0.5392857142857143], [0.048420188077355666, 0.5392857142857143, 0.06180562619659365, 0.5928571428571429], [0.04841992664997131, 0.5928571428571429, 0.06175588698885851, 0.6464285714285715], [0.048419665222586936, 0.6464285714285715, 0.06170614778112338, 0.7], [0.04841940379520257, 0.7, 0.06165640857338824, 0.7535714285714286], [0.048419142367818205, 0.7535714285714286, 0.06160666936565311, 0.8071428571428572], [0.048418880940433846, 0.8071428571428572, 0.06155693015791797, 0.8607142857142858], [0.9390514478969787, 0.11071428571428571, 0.9529199058538946, 0.16428571428571428], [0.9390695448043586, 0.16428571428571428, 0.9529203287688306, 0.21785714285714286], [0.9390876417117384, 0.21785714285714286, 0.9529207516837666, 0.2714285714285714], [0.9391057386191184, 0.2714285714285714, 0.9529211745987025, 0.325], [0.9391238355264983, 0.325, 0.9529215975136385, 0.37857142857142856], [0.9391419324338781, 0.37857142857142856, 0.9529220204285744, 0.43214285714285716], [0.939160029341258, 0.43214285714285716, 0.9529224433435104, 0.4857142857142857], [0.9391781262486378, 0.4857142857142857, 0.9529228662584464, 0.5392857142857143], [0.9391962231560177, 0.5392857142857143, 0.9529232891733823, 0.5928571428571429], [0.9392143200633976, 0.5928571428571429, 0.9529237120883183, 0.6464285714285715], [0.9392324169707775, 0.6464285714285715, 0.9529241350032542, 0.7], [0.9392505138781574, 0.7, 0.9529245579181902, 0.7535714285714286], [0.9392686107855373, 0.7535714285714286, 0.9529249808331263, 0.8071428571428572], [0.9392867076929171, 0.8071428571428572, 0.9529254037480622, 0.8607142857142858], [0.10526315789473684, 0.059142138609842146, 0.14912280701754385, 0.07571210320524527], [0.14912280701754385, 0.059141771439684784, 0.19298245614035087, 0.07569738731541627], [0.19298245614035087, 0.059141404269527416, 0.23684210526315788, 0.07568267142558725], [0.23684210526315788, 0.059141037099370054, 0.2807017543859649, 0.07566795553575825], [0.2807017543859649, 0.05914066992921268, 0.32456140350877194, 0.07565323964592924], [0.32456140350877194, 0.059140302759055303, 0.3684210526315789, 0.07563852375610022], [0.3684210526315789, 0.059139935588897935, 0.41228070175438597, 0.07562380786627121], [0.41228070175438597, 0.05913956841874057, 0.45614035087719296, 0.07560909197644221], [0.45614035087719296, 0.05913920124858321, 0.5, 0.0755943760866132], [0.5, 0.05913883407842583, 0.543859649122807, 0.07557966019678419], [0.543859649122807, 0.059138466908268454, 0.5877192982456141, 0.07556494430695519], [0.5877192982456141, 0.05913809973811109, 0.631578947368421, 0.07555022841712618], [0.631578947368421, 0.05913773256795373, 0.6754385964912281, 0.07553551252729716], [0.6754385964912281, 0.05913736539779636, 0.7192982456140351, 0.07552079663746815], [0.7192982456140351, 0.05913699822763899, 0.7631578947368421, 0.07550608074763915], [0.7631578947368421, 0.05913663105748161, 0.8070175438596491, 0.07549136485781013], [0.8070175438596491, 0.05913626388732425, 0.8508771929824561, 0.07547664896798113], [0.8508771929824561, 0.05913589671716688, 0.8947368421052632, 0.07546193307815212], [0.10526315789473684, 0.9241147307200975, 0.14912280701754385, 0.9408559162216521], [0.14912280701754385, 0.9241667254599271, 0.19298245614035087, 0.9408561729365864], [0.19298245614035087, 0.9242187201997565, 0.23684210526315788, 0.9408564296515206], [0.23684210526315788, 0.924270714939586, 0.2807017543859649, 0.9408566863664549], [0.2807017543859649, 0.9243227096794155, 0.32456140350877194, 0.9408569430813892], [0.32456140350877194, 0.924374704419245, 0.3684210526315789, 0.9408571997963235], [0.3684210526315789, 0.9244266991590744, 0.41228070175438597, 0.9408574565112577], [0.41228070175438597, 0.9244786938989039, 0.45614035087719296, 0.940857713226192], [0.45614035087719296, 0.9245306886387334, 0.5, 0.9408579699411264], [0.5, 0.9245826833785629, 0.543859649122807, 0.9408582266560607], [0.543859649122807, 0.9246346781183924, 0.5877192982456141, 0.940858483370995], [0.5877192982456141, 0.9246866728582218, 0.631578947368421, 0.9408587400859292], [0.631578947368421, 0.9247386675980513, 0.6754385964912281, 0.9408589968008635], [0.6754385964912281, 0.9247906623378808, 0.7192982456140351, 0.9408592535157978], [0.7192982456140351, 0.9248426570777103, 0.7631578947368421, 0.9408595102307321], [0.7631578947368421, 0.9248946518175397, 0.8070175438596491, 0.9408597669456664], [0.8070175438596491, 0.9249466465573692, 0.8508771929824561, 0.9408600236606006], [0.8508771929824561, 0.9249986412971987, 0.8947368421052632, 0.9408602803755349]], "picture_frame": [0.06627780573561526, 0.08095151894375606, 0.9347788902709453, 0.9191735457815905], "film_edge": [0.04403441487849016, 0.05378169122128298, 0.9573089439480433, 0.9462153695132035], "tilt_deg": 0.019935251988421835, "edges": ["left", "right", "top", "bottom"], "surround": "glass", "code_sd": 2.8999521847750365, "reason": "", "outside_code": 57691.392857142855}', '{"positive": false, "stretched": false, "clipped_low": 0.0, "clipped_high": 0.0, "notes": [], "levels": 20371, "measurable": true, "reason": "", "eight_bit": false, "lossy": null, "other_curve": false, "sheets": 1, "mirrored": null, "looked_over_with": {"profile": 1, "channel": 0, "px_per_mm": 2.5}}', '2026-12-01T01:40:55Z', NULL);
insert into "scans" ("scan", "taken_order", "sha256", "path", "size_bytes", "modified_ns", "file_format", "width", "height", "bits", "mode", "dpi", "make", "model", "software", "description", "taken_at", "orientation", "compression", "lossy", "pages", "notes", "scanner", "sheet", "joined_by", "reason", "unmeasured", "calibrated", "profile", "channel", "rebate_density", "rebate_sd", "rebate", "condition", "added_at", "checked_at") values ('db6a2af27f58', 2, 'db6a2af27f58bcb6ab4c4e0e15fded36b5cbb23eb84ee2904bf1939bb1267e3d', 'scans/BW-03.tif', 157356, 1796089249731075294, 'TIFF', 342, 280, 16, 'grey', 63.5, 'Marl', 'Flatbed 4', 'tifffile.py', '[]', '2026-05-12T10:00:00', 1, 'deflate', 0, 1, '[]', 'bench scanner', NULL, NULL, 'its sheet BW-03 was removed', NULL, 1, 1, 'grey', 1.99863137888604075476e-01, 1.36457174666679368485e-03, '{"found": true, "code": 36395.26328125, "density": 0.19986313788860408, "sd": 0.0013645717466667937, "boxes": [[0.04842285876195356, 0.11071428571428571, 0.06217248499891365, 0.16428571428571428], [0.04842251164045783, 0.16428571428571428, 0.06213300125793674, 0.21785714285714286], [0.0484221645189621, 0.21785714285714286, 0.062093517516959816, 0.2714285714285714], [0.048421817397466364, 0.2714285714285714, 0.0620540337759829, 0.325], [0.04842147027597063, 0.325, 0.06201455003500598, 0.37857142857142856], [0.0484211231544749, 0.37857142857142856, 0.06197506629402907, 0.43214285714285716], [0.04842077603297917, 0.43214285714285716, 0.06193558255305215, 0.4857142857142857], [0.048420428911483446, 0.4857142857142857, 0.06189609881207524, 0.5392857142857143], [0.048420081789987704, 0.5392857142857143, 0.06185661507109831, 0.5928571428571429], [0.04841973466849198, 0.5928571428571429, 0.06181713133012139, 0.6464285714285715], [0.04841938754699624, 0.6464285714285715, 0.061777647589144474, 0.7], [0.04841904042550052, 0.7, 0.06173816384816756, 0.7535714285714286], [0.04841869330400478, 0.7535714285714286, 0.061698680107190644, 0.8071428571428572], [0.04841834618250906, 0.8071428571428572, 0.06165919636621373, 0.8607142857142858], [0.9390231686915678, 0.11071428571428571, 0.9529267509759529, 0.16428571428571428], [0.9390791102967341, 0.16428571428571428, 0.9529263919540369, 0.21785714285714286], [0.9391350519019004, 0.21785714285714286, 0.952926032932121, 0.2714285714285714], [0.9391909935070667, 0.2714285714285714, 0.952925673910205, 0.325], [0.9392469351122331, 0.325, 0.9529253148882889, 0.37857142857142856], [0.9393028767173994, 0.37857142857142856, 0.9529249558663729, 0.43214285714285716], [0.9393588183225657, 0.43214285714285716, 0.952924596844457, 0.4857142857142857], [0.939414759927732, 0.4857142857142857, 0.952924237822541, 0.5392857142857143], [0.9394707015328985, 0.5392857142857143, 0.952923878800625, 0.5928571428571429], [0.9395266431380648, 0.5928571428571429, 0.9529235197787089, 0.6464285714285715], [0.9395825847432311, 0.6464285714285715, 0.952923160756793, 0.7], [0.9396385263483974, 0.7, 0.952922801734877, 0.7535714285714286], [0.9396944679535638, 0.7535714285714286, 0.952922442712961, 0.8071428571428572], [0.9397504095587301, 0.8071428571428572, 0.952922083691045, 0.8607142857142858], [0.10526315789473684, 0.05914424498790586, 0.14912280701754385, 0.07549932975730382], [0.14912280701754385, 0.05914422799647345, 0.19298245614035087, 0.07549327543394992], [0.19298245614035087, 0.059144211005041025, 0.23684210526315788, 0.07548722111059603], [0.23684210526315788, 0.05914419401360861, 0.2807017543859649, 0.07548116678724213], [0.2807017543859649, 0.059144177022176184, 0.32456140350877194, 0.07547511246388824], [0.32456140350877194, 0.05914416003074377, 0.3684210526315789, 0.07546905814053434], [0.3684210526315789, 0.059144143039311356, 0.41228070175438597, 0.07546300381718045], [0.41228070175438597, 0.05914412604787894, 0.45614035087719296, 0.07545694949382656], [0.45614035087719296, 0.05914410905644653, 0.5, 0.07545089517047265], [0.5, 0.05914409206501411, 0.543859649122807, 0.07544484084711876], [0.543859649122807, 0.05914407507358168, 0.5877192982456141, 0.07543878652376487], [0.5877192982456141, 0.059144058082149266, 0.631578947368421, 0.07543273220041098], [0.631578947368421, 0.05914404109071685, 0.6754385964912281, 0.07542667787705708], [0.6754385964912281, 0.05914402409928444, 0.7192982456140351, 0.07542062355370319], [0.7192982456140351, 0.059144007107852024, 0.7631578947368421, 0.0754145692303493], [0.7631578947368421, 0.0591439901164196, 0.8070175438596491, 0.0754085149069954], [0.8070175438596491, 0.05914397312498718, 0.8508771929824561, 0.0754024605836415], [0.8508771929824561, 0.059143956133554755, 0.8947368421052632, 0.07539640626028761], [0.10526315789473684, 0.9241030422239855, 0.14912280701754385, 0.9408620030254644], [0.14912280701754385, 0.9241182819990842, 0.19298245614035087, 0.9408616958716113], [0.19298245614035087, 0.9241335217741828, 0.23684210526315788, 0.9408613887177582], [0.23684210526315788, 0.9241487615492815, 0.2807017543859649, 0.9408610815639051], [0.2807017543859649, 0.9241640013243801, 0.32456140350877194, 0.940860774410052], [0.32456140350877194, 0.9241792410994788, 0.3684210526315789, 0.940860467256199], [0.3684210526315789, 0.9241944808745775, 0.41228070175438597, 0.9408601601023459], [0.41228070175438597, 0.9242097206496761, 0.45614035087719296, 0.9408598529484928], [0.45614035087719296, 0.9242249604247748, 0.5, 0.9408595457946397], [0.5, 0.9242402001998734, 0.543859649122807, 0.9408592386407866], [0.543859649122807, 0.9242554399749721, 0.5877192982456141, 0.9408589314869336], [0.5877192982456141, 0.9242706797500707, 0.631578947368421, 0.9408586243330805], [0.631578947368421, 0.9242859195251694, 0.6754385964912281, 0.9408583171792274], [0.6754385964912281, 0.924301159300268, 0.7192982456140351, 0.9408580100253743], [0.7192982456140351, 0.9243163990753667, 0.7631578947368421, 0.9408577028715213], [0.7631578947368421, 0.9243316388504653, 0.8070175438596491, 0.9408573957176681], [0.8070175438596491, 0.924346878625564, 0.8508771929824561, 0.9408570885638151], [0.8508771929824561, 0.9243621184006626, 0.8947368421052632, 0.940856781409962]], "picture_frame": [0.066311018467739, 0.08080803802761552, 0.9349877711716628, 0.9188678175676319], "film_edge": [0.04403437143347055, 0.05378694920787125, 0.9573104660175601, 0.9462166886517825], "tilt_deg": 0.004912017560967905, "edges": ["left", "right", "top", "bottom"], "surround": "glass", "code_sd": 2.9523379010684274, "reason": "", "outside_code": 57692.10141509434}', '{"positive": false, "stretched": false, "clipped_low": 0.0, "clipped_high": 0.0, "notes": [], "levels": 19714, "measurable": true, "reason": "", "eight_bit": false, "lossy": null, "other_curve": false, "sheets": 1, "mirrored": null, "looked_over_with": {"profile": 1, "channel": 0, "px_per_mm": 2.5}}', '2026-12-01T01:40:55Z', NULL);
insert into "found_readings" ("sheet", "position", "name", "role", "placed", "ev", "planned_zone", "given_zone", "planned_print_zone", "target_density", "density", "sd", "net_density", "print_zone", "print_zone_sd", "error_density", "error_zones", "more") values ('BW-02', 0, 'soot', 'shadow', 1, 9.5, 3.0, 3.5, 3.0, 0.35, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '{"wanted": false, "lost": false, "bound": null, "limit": null, "note": "it has no density", "spot": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0, "scan": null}, "spot_status": "set", "spot_set": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0, "scan": null}, "measured": null}');
insert into "found_readings" ("sheet", "position", "name", "role", "placed", "ev", "planned_zone", "given_zone", "planned_print_zone", "target_density", "density", "sd", "net_density", "print_zone", "print_zone_sd", "error_density", "error_zones", "more") values ('BW-02', 1, 'sky', 'highlight', 0, 13.5, 7.0, 7.5, 7.0, 1.09, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '{"wanted": false, "lost": false, "bound": null, "limit": null, "note": "it has no density", "spot": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0, "scan": null}, "spot_status": "set", "spot_set": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0, "scan": null}, "measured": null}');
insert into "found_readings" ("sheet", "position", "name", "role", "placed", "ev", "planned_zone", "given_zone", "planned_print_zone", "target_density", "density", "sd", "net_density", "print_zone", "print_zone_sd", "error_density", "error_zones", "more") values ('BW-04', 0, 'soot', 'shadow', 1, 9.5, 3.0, 3.5, 3.0, 0.35, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '{"wanted": false, "lost": false, "bound": null, "limit": null, "note": "it has no density", "spot": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0, "scan": null}, "spot_status": "set", "spot_set": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0, "scan": null}, "measured": null}');
insert into "found_readings" ("sheet", "position", "name", "role", "placed", "ev", "planned_zone", "given_zone", "planned_print_zone", "target_density", "density", "sd", "net_density", "print_zone", "print_zone_sd", "error_density", "error_zones", "more") values ('BW-04', 1, 'sky', 'highlight', 0, 13.5, 7.0, 7.5, 7.0, 1.09, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '{"wanted": false, "lost": false, "bound": null, "limit": null, "note": "it has no density", "spot": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0, "scan": null}, "spot_status": "set", "spot_set": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0, "scan": null}, "measured": null}');
insert into "found_readings" ("sheet", "position", "name", "role", "placed", "ev", "planned_zone", "given_zone", "planned_print_zone", "target_density", "density", "sd", "net_density", "print_zone", "print_zone_sd", "error_density", "error_zones", "more") values ('BW-01', 0, 'soot', 'shadow', 1, 9.5, 3.0, 3.5, 3.0, 0.35, 8.86345908729120557367e-01, 1.12550384711559790101e-02, 6.86499497778327638641e-01, 4.9293424168484811787e+00, 0.0586024420015749, 3.36499497778327660846e-01, 1.9293424168484811787e+00, '{"wanted": false, "lost": false, "bound": null, "limit": null, "note": null, "spot": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0, "scan": "98f9742d923d"}, "spot_status": "set", "spot_set": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0, "scan": null}, "measured": {"spot": {"x": 0.3, "y": 0.4, "diameter_mm": 2.0, "scan": null}, "density": {"density": 0.8863459087291206, "sd": 0.011326799796339106, "bound": null, "limit": null, "cells": 7.00469162091599, "clipped": 0.0, "grain_sd": 0.011241597160414398, "reason": ""}}}');
insert into "found_readings" ("sheet", "position", "name", "role", "placed", "ev", "planned_zone", "given_zone", "planned_print_zone", "target_density", "density", "sd", "net_density", "print_zone", "print_zone_sd", "error_density", "error_zones", "more") values ('BW-01', 1, 'sky', 'highlight', 0, 13.5, 7.0, 7.5, 7.0, 1.09, 1.20658445767638888845e+00, 1.07869188150376878881e-02, 1.00673804672559596973e+00, 6.58971564359288741741e+00, 5.36784896668543662356e-02, -8.32619532744041102034e-02, -4.10284356407112582587e-01, '{"wanted": false, "lost": false, "bound": null, "limit": null, "note": null, "spot": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0, "scan": "98f9742d923d"}, "spot_status": "set", "spot_set": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0, "scan": null}, "measured": {"spot": {"x": 0.7, "y": 0.6, "diameter_mm": 2.0, "scan": null}, "density": {"density": 1.2065844576763889, "sd": 0.01085973956875963, "bound": null, "limit": null, "cells": 7.004691620915987, "clipped": 0.0, "grain_sd": 0.010746826485381613, "reason": ""}}}');
insert into "places" ("id", "place", "sheets") values (1, 'Old kilns', 3);
insert into "places" ("id", "place", "sheets") values (2, 'Östra tegelbruket, ugn 3', 1);
insert into "scan_paths" ("path", "scan", "size_bytes", "modified_ns", "seen_at") values ('scans/BW-01.tif', '98f9742d923d', 157933, 1796089249609062897, '2026-12-01T01:40:55Z');
insert into "scan_paths" ("path", "scan", "size_bytes", "modified_ns", "seen_at") values ('scans/BW-03.tif', 'db6a2af27f58', 157356, 1796089249731075294, '2026-12-01T01:40:55Z');
insert into "profiles" ("id", "scanner", "tablet", "channel", "bits", "mode", "made_at", "scanned_at", "scanned_at_source", "densities_sha256", "settings", "scan", "scan_sha256", "scan_path", "residual_sd", "density_min", "density_max", "profile") values (1, 'bench scanner', 'tablet 21', 'grey', 16, 'grey', '2026-12-01T01:40:51Z', '2026-05-12T10:00:00', 'its tags', '9bcb8c6f3071c82e35130058d4af972fcb9c1c4b993b10d4ceba54e6d8ef0bdc', '{"bits": 16, "mode": "grey", "dpi": 101.6, "make": "Marl", "model": "Flatbed 4", "software": "tifffile.py", "file_format": "TIFF", "compression": "deflate"}', '6e15b299a8ae', '6e15b299a8ae205a99608f35381ced9731593800b20fb5d23d997929f01204ac', 'tablet.tif', 8.23293154014728494581e-04, 4.97276487046505524802e-02, 3.05047650356969102247e+00, '{"channel": "grey", "bits": 16, "mode": "grey", "log_codes": [1.8354074405860528, 1.8583763536398687, 1.8817259064118987, 1.9054421076934012, 1.9295106687632717, 1.9539175107486142, 1.9786484180290616, 2.0036894883435012, 2.0290268349485037, 2.0546469028728156, 2.080536376223728, 2.1066822783259247, 2.1330719003916974, 2.159692979802719, 2.1865335743190824, 2.2135822166274153, 2.240827765875388, 2.268259570495469, 2.2958673792962645, 2.3236413792217787, 2.3515721731049757, 2.37965080894641, 2.407868737645099, 2.4362178115864532, 2.4646902880214703, 2.4932788351507797, 2.521976479027379, 2.5507766153579152, 2.579672997220469, 2.6086597222338272, 2.63773121218278, 2.6668821899886446, 2.696107705842637, 2.725403067642706, 2.7547638703805757, 2.7841859684940236, 2.813665461766091, 2.843198683218311, 2.872782187234422, 2.9024127379781133, 2.93208729815306, 2.9618030185297797, 2.9915572333306595, 3.021347430293173, 3.0511712665101003, 3.081026540865178, 3.110911195393452, 3.1408232990948823, 3.1707610513413, 3.200722758592689, 3.230706841791398, 3.2607118247273745, 3.2907363223342836, 3.3207790422564334, 3.3508387762331653, 3.3809143960842385, 3.4110048447547205, 3.441109135757491, 3.4712263475015286, 3.5013556190167434, 3.531496146064031, 3.5616471774817984, 3.5918080117564037, 3.621977993804357, 3.6521565119545603, 3.682342995119319, 3.7125369101433146, 3.742737759320221, 3.7729450780671088, 3.803158432747256, 3.833377418632465, 3.863601657996419, 3.893830798331083, 3.9240645106785585, 3.9543024880712467, 3.9845444440735482, 4.014790111418731, 4.045039240734964, 4.075291599354853, 4.105546970203165, 4.135805150757741, 4.166065952078888, 4.19632919792393, 4.226594723928101, 4.2568623765931015, 4.287132012824569, 4.31740349913959, 4.347676711023297, 4.377951532328248, 4.408227854713781, 4.438505577122724, 4.468784605293733, 4.499064851375683, 4.529346233278293, 4.55962867451032, 4.589912103726981, 4.6201964543843195, 4.6504816644166915, 4.680767675935853, 4.711054434950204], "densities": [3.050476503569691, 3.0201658617516682, 2.9898553062666755, 2.959544682138269, 2.9292341246128264, 2.898923501442459, 2.868612933525481, 2.838302310127605, 2.8079917218289983, 2.7776811340741028, 2.747370551528394, 2.7170599429362694, 2.6867493600012, 2.656438760976098, 2.6261281796236933, 2.595817567853079, 2.56550697662776, 2.53519638212713, 2.504885790582614, 2.474575197803296, 2.4442646121082583, 2.4139540184050277, 2.3836434177705756, 2.353332820364871, 2.323022231897071, 2.292711636263052, 2.2624010398801557, 2.232090446016081, 2.2017798542867815, 2.1714692602834207, 2.1411586627669905, 2.1108480733518635, 2.0805374751048262, 2.0502268807247632, 2.019916288027615, 1.9896056949673089, 1.9592951008353676, 1.9289845057462867, 1.898673910274746, 1.8683633152059713, 1.8380527213696178, 1.8077421291381495, 1.7774315324182854, 1.747120938890456, 1.7168103440665312, 1.686499750018998, 1.656189155114267, 1.6258785620178817, 1.5955679662546425, 1.5652573722316316, 1.5349467785870845, 1.504636183208962, 1.4743255886729725, 1.444014994633396, 1.4137044008486683, 1.3833938058870248, 1.3530832111229198, 1.322772616565382, 1.2924620221256828, 1.262151427743958, 1.2318408333813413, 1.2015302390140055, 1.1712196446286915, 1.140909050219377, 1.1105984557848219, 1.0802878613267843, 1.0499772668487464, 1.019666672355018, 0.9893560778501289, 0.9590454833384341, 0.9287348888238667, 0.8984242943098081, 0.8681136997990289, 0.8378031052936883, 0.8074925107953639, 0.7771819163051038, 0.7468713218234924, 0.7165607273507156, 0.6862501328866305, 0.6559395384308327, 0.6256289439827125, 0.5953183495415092, 0.5650077550852474, 0.5346971605432451, 0.5043865660173549, 0.4740759715059397, 0.4437653770073694, 0.41345478252004897, 0.38314418804244077, 0.3528335935730821, 0.32252299911059873, 0.2922124046529698, 0.2619018101272564, 0.23159121561382418, 0.20128062111094974, 0.17097002661705835, 0.14065943213071547, 0.11034883765062409, 0.08003824317561646, 0.04972764870465055], "sds": [0.05740480431101553, 0.053536965853415594, 0.04993004950955517, 0.046566459246459094, 0.043429818509389775, 0.04050482781226757, 0.037777244528558664, 0.035233766148243736, 0.03286200503903212, 0.03065039948551571, 0.028588171457436275, 0.026665268490276513, 0.02487232224954497, 0.023200591773066603, 0.02164193108998222, 0.020188740848624327, 0.018833940451688843, 0.017570924980525208, 0.016393538051867138, 0.015296039950575832, 0.01427308051529736, 0.01331967179615598, 0.012431165084559586, 0.011603227845624434, 0.01083182213176049, 0.010113184484620185, 0.009443808630482954, 0.008820427593066229, 0.0082399976611511, 0.007699683418204052, 0.007196843873888918, 0.0067290194886521085, 0.006293919273341358, 0.005889410196915192, 0.005513505728130617, 0.005164355940574516, 0.004840237979660911, 0.004539547043361523, 0.004260787852134846, 0.00400256656053297, 0.0037635830683407988, 0.003542623693947407, 0.0033385541514577553, 0.0031503130236759285, 0.002976905237438063, 0.0028173961631533387, 0.002670905871823512, 0.0025366038726704295, 0.0024137041762631703, 0.0023014609498400737, 0.0021991645637255775, 0.0021061382943671028, 0.0020217356237364347, 0.001945338119537273, 0.00187635396058539, 0.001814217018423932, 0.0017583864494543455, 0.0017083466732246422, 0.0016636076521374242, 0.0016237053336416692, 0.0015882021358503593, 0.0015566873668106326, 0.0015287774880439595, 0.001504116157189735, 0.0014823740122289863, 0.0014632481848234112, 0.0014464615524460833, 0.0014317617561279657, 0.0014189200218035132, 0.0014077298297342517, 0.0013980054778698068, 0.0013895805833278852, 0.0013823065617268916, 0.001376051118408318, 0.001370696779200314, 0.001366139481958099, 0.0013622872442918689, 0.001359058917527343, 0.0013563830326709984, 0.0013541967404339062, 0.0013524448446912674, 0.0013510789265854422, 0.0013500565550847545, 0.0013493405786862789, 0.0013488984926739013, 0.001348701875621052, 0.001348725889336822, 0.0013489488360937014, 0.001349351767635463, 0.0013499181405127645, 0.0013506335128221105, 0.0013514852777974714, 0.001352462430096627, 0.0013535553609615864, 0.0013547556789544365, 0.0013560560531317664, 0.0013574500760312376, 0.001358932144006437, 0.0013604973527833043, 0.0013621414063894224], "residual_sd": 0.0008232931540147285, "density_range": [0.04972764870465055, 3.050476503569691], "steps": [{"density": 0.05, "code": 51410.80864197531, "residual": -0.00027235129534945723, "left_out": -0.000355919681781624, "used": true, "note": ""}, {"density": 0.2, "code": 36400.99074074074, "residual": -0.00020526320859956537, "left_out": -0.0002534924881144714, "used": true, "note": ""}, {"density": 0.35, "code": 25772.50925925926, "residual": -9.84966780938068e-05, "left_out": -0.00011622891772551991, "used": true, "note": ""}, {"density": 0.5, "code": 18254.64814814815, "residual": -0.00013075259494055302, "left_out": -0.00014887089875195836, "used": true, "note": ""}, {"density": 0.65, "code": 12933.796296296296, "residual": -0.00025043706029792556, "left_out": -0.0002775164411954608, "used": true, "note": ""}, {"density": 0.8, "code": 9154.746913580248, "residual": 0.00013162772270569612, "left_out": 0.00014307591177919096, "used": true, "note": ""}, {"density": 0.95, "code": 6487.16049382716, "residual": 0.00012172959218914592, "left_out": 0.00013073018121646977, "used": true, "note": ""}, {"density": 1.1, "code": 4596.972222222223, "residual": 0.0002397977552628383, "left_out": 0.00025611294263456536, "used": true, "note": ""}, {"density": 1.25, "code": 3260.8024691358023, "residual": 0.00011370232235674571, "left_out": 0.00012150123006062864, "used": true, "note": ""}, {"density": 1.4, "code": 2312.901234567901, "residual": 0.00028011876778677447, "left_out": 0.00030103590927085106, "used": true, "note": ""}, {"density": 1.55, "code": 1642.5864197530864, "residual": 0.00028794439493240453, "left_out": 0.0003125330948250241, "used": true, "note": ""}, {"density": 1.7, "code": 1168.283950617284, "residual": 0.0001796237891722452, "left_out": 0.00019745656666793414, "used": true, "note": ""}, {"density": 1.85, "code": 830.9228395061729, "residual": 0.0008425361519635022, "left_out": 0.0009389501223614656, "used": true, "note": ""}, {"density": 2.0, "code": 594.2253086419753, "residual": 0.00014272902349299343, "left_out": 0.00016091572015620797, "used": true, "note": ""}, {"density": 2.15, "code": 426.1220238095238, "residual": -0.00030325838980660436, "left_out": -0.00034458700510175445, "used": true, "note": ""}, {"density": 2.3, "code": 306.10714285714283, "residual": 0.0005518033013585111, "left_out": 0.0006269788651941325, "used": true, "note": ""}, {"density": 2.45, "code": 221.96130952380952, "residual": -1.791159013997401e-06, "left_out": -2.1967467173256524e-06, "used": true, "note": ""}, {"density": 2.6, "code": 162.5029761904762, "residual": -0.0011434057167263312, "left_out": -0.0012884856760211917, "used": true, "note": ""}, {"density": 2.75, "code": 120.26785714285714, "residual": -0.002178788134722609, "left_out": -0.002524677653125839, "used": true, "note": ""}, {"density": 2.9, "code": 89.55059523809524, "residual": 0.0012057643375755767, "left_out": 0.0016211104286428509, "used": true, "note": ""}, {"density": 3.05, "code": 68.45535714285714, "residual": 0.0004765035696912001, "left_out": 0.0012262353564350362, "used": true, "note": ""}], "notes": [], "shared": [[-0.001304, -4.688e-05, 0.0005519, -3.055e-15, -2.202e-20, 1.36e-19, -2.936e-21, -6.769e-23], [-0.001305, -6.364e-05, 0.0004975, -2.409e-15, 1.488e-19, -3.273e-20, -2.494e-20, 2.664e-20], [-0.001306, -7.887e-05, 0.000447, -1.821e-15, -1.939e-19, -4.482e-20, -1.599e-20, 1.622e-20], [-0.001306, -9.268e-05, 0.0004002, -1.289e-15, -2.459e-21, -8.325e-21, -9.922e-21, -2.161e-20], [-0.001307, -0.0001052, 0.0003567, -8.085e-16, -2.1e-21, -6.063e-21, 4.321e-22, -8.749e-21], [-0.001307, -0.0001164, 0.0003163, -3.766e-16, 4.8e-21, -2.029e-20, 1.299e-20, -1.604e-20], [-0.001307, -0.0001264, 0.0002789, 9.968e-18, 3.691e-20, -5.607e-21, 8.309e-21, -3.242e-21], [-0.001308, -0.0001354, 0.0002443, 3.539e-16, 1.532e-20, -1.654e-20, 9.125e-21, -7.781e-21], [-0.001308, -0.0001433, 0.0002121, 6.579e-16, 2.84e-21, -1.576e-20, 7.954e-21, -6.642e-21], [-0.001308, -0.0001503, 0.0001824, 9.245e-16, 2.106e-20, -2.875e-21, 2.013e-20, -5.108e-21], [-0.001309, -0.0001564, 0.0001549, 1.156e-15, 1.308e-21, -6.612e-21, -5.062e-21, 7.28e-21], [-0.001309, -0.0001616, 0.0001295, 1.355e-15, 2.602e-21, -1.19e-20, 6.821e-21, -6.819e-21], [-0.001309, -0.000166, 0.000106, 1.522e-15, -7.03e-21, -1.48e-20, -8.04e-21, 4.842e-21], [-0.001309, -0.0001697, 8.44e-05, 1.661e-15, 1.116e-20, -1.322e-20, 4.157e-24, 3.913e-21], [-0.00131, -0.0001726, 6.444e-05, 1.773e-15, 1.073e-20, 6.498e-21, 5.455e-21, 2.042e-21], [-0.00131, -0.0001749, 4.607e-05, 1.859e-15, 4.481e-21, -2.35e-21, -9.723e-21, 2.441e-21], [-0.00131, -0.0001767, 2.917e-05, 1.921e-15, -9.902e-21, -5.443e-22, 2.023e-20, -6.047e-21], [-0.00131, -0.0001778, 1.365e-05, 1.961e-15, 1.332e-20, -9.584e-21, 7.069e-21, 9.825e-21], [-0.00131, -0.0001784, -5.737e-07, 1.981e-15, 8.388e-21, 2.213e-21, 3.83e-21, -3.956e-21], [-0.00131, -0.0001785, -1.36e-05, 1.98e-15, -3.651e-21, -6.565e-21, 1.327e-21, 9.091e-21], [-0.001311, -0.0001781, -2.55e-05, 1.961e-15, -2.713e-21, -5.2e-21, 2.05e-20, -2.391e-21], [-0.001311, -0.0001772, -3.636e-05, 1.924e-15, 7.959e-22, 2.649e-21, 6.776e-21, 1.742e-22], [-0.001311, -0.000176, -4.623e-05, 1.872e-15, 3.577e-22, 2.184e-21, 9.038e-21, -3.718e-21], [-0.001311, -0.0001743, -5.519e-05, 1.804e-15, 2.763e-21, -4.754e-21, 6.735e-22, -1.099e-22], [-0.001311, -0.0001723, -6.329e-05, 1.722e-15, -3.583e-24, 3.525e-21, 5.876e-21, 5.042e-21], [-0.001311, -0.0001699, -7.06e-05, 1.626e-15, 1.897e-21, 1.215e-20, 1.967e-21, -7.811e-21], [-0.001311, -0.0001672, -7.717e-05, 1.518e-15, -9.668e-21, 1.406e-20, -3.344e-21, -2.189e-22], [-0.001311, -0.0001642, -8.303e-05, 1.398e-15, -1.523e-20, 1.572e-21, -3.668e-21, 4.183e-21], [-0.001311, -0.000161, -8.825e-05, 1.266e-15, -8.715e-21, 4.058e-22, -1.946e-21, 7.085e-21], [-0.001311, -0.0001574, -9.286e-05, 1.125e-15, -1.365e-21, -6.846e-21, -1.459e-21, 4.338e-21], [-0.001311, -0.0001536, -9.691e-05, 9.737e-16, -3.199e-21, 5.08e-21, -3.027e-21, 5.525e-21], [-0.001311, -0.0001496, -0.0001004, 8.132e-16, 4.875e-21, -4.078e-21, 7.321e-21, -3.046e-21], [-0.001311, -0.0001453, -0.0001034, 6.443e-16, 2.76e-21, -2.466e-21, -2.506e-21, 1.038e-20], [-0.001311, -0.0001409, -0.000106, 4.672e-16, -3.537e-21, -6.545e-22, -2.636e-21, 3.227e-21], [-0.001311, -0.0001362, -0.0001081, 2.826e-16, -8.275e-21, 2.244e-21, -3.8e-22, 7.612e-23], [-0.001311, -0.0001314, -0.0001099, 9.091e-17, 4.732e-21, 7.528e-21, -3.267e-21, 1.049e-21], [-0.001311, -0.0001264, -0.0001112, -1.074e-16, -5.168e-21, 2.423e-21, 6.079e-21, -2.585e-21], [-0.001311, -0.0001212, -0.0001122, -3.12e-16, -5.532e-22, -1.672e-21, 1.083e-20, -6.491e-21], [-0.001311, -0.0001159, -0.0001129, -5.225e-16, 4.629e-21, 6.061e-21, -7.434e-21, -3.75e-22], [-0.001311, -0.0001104, -0.0001133, -7.384e-16, -5.705e-22, 5.017e-21, -5.579e-21, 4.96e-21], [-0.001311, -0.0001048, -0.0001134, -9.595e-16, -4.7e-21, 7.458e-21, -3.016e-21, 3.842e-22], [-0.001311, -9.913e-05, -0.0001132, -1.185e-15, -4.765e-21, -8.854e-22, -7.009e-22, 3.318e-21], [-0.001311, -9.33e-05, -0.0001127, -1.416e-15, 5.853e-21, 2.93e-21, -1.172e-21, 4.663e-21], [-0.001311, -8.736e-05, -0.0001121, -1.65e-15, 3.638e-21, 1.64e-21, 3.426e-21, -4.625e-21], [-0.001311, -8.131e-05, -0.0001112, -1.889e-15, -8.385e-23, 2.026e-21, -3.669e-21, 4.692e-22], [-0.001311, -7.517e-05, -0.0001101, -2.132e-15, -6.812e-21, 5.013e-21, -6.076e-21, 4.511e-21], [-0.001311, -6.894e-05, -0.0001088, -2.377e-15, -1.909e-21, 1.18e-21, -4.578e-21, 3.067e-21], [-0.001311, -6.263e-05, -0.0001074, -2.627e-15, -2.523e-21, -8.272e-22, -7.222e-21, 5.178e-21], [-0.001311, -5.624e-05, -0.0001057, -2.879e-15, 2.434e-21, 2.013e-21, -3.913e-21, -9.348e-23], [-0.001311, -4.977e-05, -0.000104, -3.134e-15, 2.487e-21, 1.225e-21, 7.614e-22, -4.897e-21], [-0.001311, -4.323e-05, -0.0001021, -3.392e-15, 5.351e-21, 1.453e-21, -4.812e-21, 5.612e-21], [-0.001311, -3.663e-05, -0.0001, -3.653e-15, -8.208e-21, 4.247e-21, -6.354e-21, 9.807e-22], [-0.001311, -2.996e-05, -9.783e-05, -3.915e-15, 1.766e-21, 2.558e-21, -6.611e-21, 2.43e-21], [-0.001311, -2.324e-05, -9.553e-05, -4.18e-15, -7.067e-22, 3.836e-21, -2.498e-21, 3.063e-21], [-0.001311, -1.646e-05, -9.313e-05, -4.448e-15, -5.689e-22, 1.563e-21, -3.2e-22, 1.355e-21], [-0.00131, -9.638e-06, -9.062e-05, -4.717e-15, 3.034e-21, 2.657e-21, 5.135e-21, -6.298e-21], [-0.00131, -2.764e-06, -8.802e-05, -4.988e-15, -3.261e-21, 3.67e-21, 5.998e-22, -9.264e-21], [-0.00131, 4.155e-06, -8.532e-05, -5.261e-15, -5.162e-22, 9.808e-22, -7.822e-21, -8.105e-21], [-0.00131, 1.111e-05, -8.255e-05, -5.535e-15, 1.886e-21, -2.854e-21, -2.881e-21, -2.095e-21], [-0.00131, 1.811e-05, -7.969e-05, -5.811e-15, -7.62e-22, -5.55e-22, -1.035e-20, 5.161e-22], [-0.00131, 2.515e-05, -7.677e-05, -6.088e-15, -8.438e-22, 8.014e-21, -1.491e-21, -8.497e-21], [-0.00131, 3.222e-05, -7.377e-05, -6.367e-15, -2.535e-21, 3.977e-22, -6.72e-22, -3.151e-21], [-0.00131, 3.932e-05, -7.071e-05, -6.647e-15, -1.051e-21, 6.084e-22, -4.638e-21, -8.349e-21], [-0.00131, 4.646e-05, -6.76e-05, -6.928e-15, -1.149e-22, 1.544e-21, -4.272e-21, -5.588e-21], [-0.00131, 5.362e-05, -6.442e-05, -7.21e-15, 1.428e-21, -1.6e-21, -3.693e-21, -3.078e-21], [-0.00131, 6.08e-05, -6.12e-05, -7.493e-15, 4.41e-21, 3.833e-21, -6.333e-21, -4.943e-21], [-0.00131, 6.802e-05, -5.793e-05, -7.777e-15, 1.968e-21, -2.784e-21, -2.944e-21, 2.356e-21], [-0.00131, 7.525e-05, -5.461e-05, 9.285e-15, -3.456e-21, 8.678e-21, 2.464e-21, 5.993e-21], [-0.00131, 8.251e-05, -5.125e-05, 8.999e-15, -1.336e-21, 8.284e-21, -1.45e-21, 2.504e-21], [-0.00131, 8.979e-05, -4.785e-05, 8.712e-15, -8.551e-23, 9.554e-21, -5.527e-21, 6.033e-21], [-0.00131, 9.709e-05, -4.441e-05, 8.425e-15, -4.726e-21, 3.771e-21, 3.566e-21, 3.754e-21], [-0.00131, 0.0001044, -4.094e-05, 8.137e-15, -3.531e-21, -6.241e-21, 4.496e-21, 2.947e-21], [-0.001309, 0.0001117, -3.744e-05, 7.848e-15, 3.277e-21, 2.382e-21, -5.226e-21, 1.778e-21], [-0.001309, 0.0001191, -3.391e-05, 7.558e-15, -1.295e-21, 4.192e-21, -3.744e-21, 1.533e-23], [-0.001309, 0.0001264, -3.035e-05, 7.268e-15, 3.228e-21, -1.212e-21, -1.396e-20, -7.236e-21], [-0.001309, 0.0001338, -2.676e-05, 6.978e-15, 4.86e-21, -3.441e-21, -9.435e-21, -7.709e-21], [-0.001309, 0.0001412, -2.315e-05, 6.687e-15, -2.56e-21, -1.874e-21, -8.111e-21, -3.012e-21], [-0.001309, 0.0001486, -1.952e-05, 6.395e-15, 5.762e-22, 4.398e-21, -5.764e-22, -2.31e-21], [-0.001309, 0.000156, -1.586e-05, 6.103e-15, -9.27e-22, -9.659e-22, -4.739e-21, -3.358e-21], [-0.001309, 0.0001635, -1.219e-05, 5.811e-15, -5.724e-21, 6.687e-21, -5.57e-21, -1.724e-21], [-0.001309, 0.0001709, -8.493e-06, 5.518e-15, 3.266e-21, 6.416e-21, -1.047e-20, -3.402e-21], [-0.001309, 0.0001783, -4.782e-06, 5.225e-15, 2.192e-21, -3.449e-21, -3.159e-21, -1.184e-20], [-0.001309, 0.0001858, -1.056e-06, 4.931e-15, -3.057e-21, -4.484e-21, -2.113e-21, -7.336e-21], [-0.001309, 0.0001932, 2.686e-06, 4.637e-15, 8.062e-21, -6.442e-22, -8.384e-21, -1.686e-20], [-0.001309, 0.0002007, 6.442e-06, 4.343e-15, -4.013e-22, 1.197e-20, -3.743e-21, -4.931e-21], [-0.001309, 0.0002082, 1.021e-05, -2.884e-16, -3.664e-21, 2.791e-21, 1.326e-20, 9.996e-21], [-0.001309, 0.0002157, 1.399e-05, -5.831e-16, -2.846e-21, 7.751e-22, 2.576e-21, 8.175e-21], [-0.001308, 0.0002232, 1.779e-05, -8.78e-16, 1.145e-21, -3.405e-21, 1.038e-20, 9.663e-21], [-0.001308, 0.0002307, 2.159e-05, -1.173e-15, -4.098e-21, 6.956e-21, 1.454e-20, 1.574e-20], [-0.001308, 0.0002382, 2.54e-05, -1.469e-15, 2.456e-22, -7.981e-21, 4.46e-21, 7.095e-21], [-0.001308, 0.0002457, 2.922e-05, -1.764e-15, 2.635e-21, -5.567e-21, 2.302e-21, 1.744e-21], [-0.001308, 0.0002532, 3.306e-05, -2.06e-15, -4.266e-21, -2.674e-20, 1.675e-20, 9.813e-22], [-0.001308, 0.0002607, 3.69e-05, -2.356e-15, -1.273e-21, 6.102e-21, 1.399e-20, 1.856e-20], [-0.001308, 0.0002682, 4.074e-05, -2.652e-15, 2.895e-21, -1.11e-20, -4.312e-21, -5.644e-21], [-0.001308, 0.0002757, 4.46e-05, -2.949e-15, -1.136e-22, 3.958e-22, 1.309e-20, 4.495e-21], [-0.001308, 0.0002833, 4.846e-05, -3.245e-15, 5.5e-22, -1.611e-20, 3.751e-22, -1.367e-20], [-0.001308, 0.0002908, 5.233e-05, -3.542e-15, -3.05e-21, 1.617e-20, 1.782e-20, 1.537e-20], [-0.001308, 0.0002983, 5.62e-05, -3.838e-15, 6.562e-22, -2.525e-20, -2.963e-21, -1.554e-20], [-0.001308, 0.0003059, 6.008e-05, -4.135e-15, -4.414e-22, -1.335e-20, 6.849e-21, 4.295e-21], [-0.001308, 0.0003134, 6.396e-05, -4.432e-15, 1.381e-20, 1.762e-20, -8.201e-21, 1e-21]]}');
insert into "sheet_counts" ("film", "lens", "cell", "tag", "developer", "verdict", "stage", "sheets") values ('Brickdust 100', 'Tressick', 'rear', 'N+1', '', 'not measured', 'to develop', 1);
insert into "sheet_counts" ("film", "lens", "cell", "tag", "developer", "verdict", "stage", "sheets") values ('Brickdust 100', 'Aldwater', 'whole', 'N', 'Slip', 'not measured', 'to scan', 2);
insert into "sheet_counts" ("film", "lens", "cell", "tag", "developer", "verdict", "stage", "sheets") values ('Brickdust 100', 'Aldwater', 'whole', 'N', 'Slip', 'dense', 'measured', 1);
insert into "sheet_search" ("id", "sheet", "film", "lens", "cell", "tag", "developer", "batch", "place", "exposed_at", "verdict", "stage", "subject", "notes", "reading_names", "printing_range") values (1, 'BW-01', 'Brickdust 100', 'Aldwater', 'whole', 'N', 'Slip', 'B1', 'Old kilns', '2026-05-01', 'dense', 'measured', '', '', 'soot · sky', 4.71702727503408691944e-01);
insert into "sheet_search" ("id", "sheet", "film", "lens", "cell", "tag", "developer", "batch", "place", "exposed_at", "verdict", "stage", "subject", "notes", "reading_names", "printing_range") values (2, 'BW-02', 'Brickdust 100', 'Aldwater', 'whole', 'N', 'Slip', 'B1', 'Old kilns', '2026-05-02', 'not measured', 'to scan', '', '', 'soot · sky', NULL);
insert into "sheet_search" ("id", "sheet", "film", "lens", "cell", "tag", "developer", "batch", "place", "exposed_at", "verdict", "stage", "subject", "notes", "reading_names", "printing_range") values (3, 'BW-04', 'Brickdust 100', 'Aldwater', 'whole', 'N', 'Slip', 'B1', 'Old kilns', '2026-05-04', 'not measured', 'to scan', '', '', 'soot · sky', NULL);
insert into "sheet_search" ("id", "sheet", "film", "lens", "cell", "tag", "developer", "batch", "place", "exposed_at", "verdict", "stage", "subject", "notes", "reading_names", "printing_range") values (4, 'OT-01', 'Brickdust 100', 'Tressick', 'rear', 'N+1', '', '', 'Östra tegelbruket, ugn 3', '', 'not measured', 'to develop', 'Kiln mouth', 'mist gone', '', NULL);
insert into "sheet_changes" ("id", "change") values (1, 12);
insert into "sheet_changes" ("id", "change") values (2, 8);
insert into "sheet_changes" ("id", "change") values (3, 10);
insert into "sheet_changes" ("id", "change") values (4, 4);
insert into sheet_search_fts (sheet_search_fts) values ('rebuild');
insert into places_fts (places_fts) values ('rebuild');
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
CREATE INDEX "idx_profiles_scanner_bits_mode_channel"
    ON "profiles" ("scanner", "bits", "mode", "channel");
CREATE INDEX "idx_profiles_scan_sha256"
    ON "profiles" ("scan_sha256");
CREATE INDEX "idx_profiles_tablet"
    ON "profiles" ("tablet");
CREATE UNIQUE INDEX "idx_scans_sha256"
    ON "scans" ("sha256");
CREATE UNIQUE INDEX "idx_scans_taken_order"
    ON "scans" ("taken_order");
CREATE INDEX "idx_scans_sheet"
    ON "scans" ("sheet");
CREATE INDEX "idx_scans_path"
    ON "scans" ("path");
CREATE INDEX "idx_scans_scanner"
    ON "scans" ("scanner");
CREATE INDEX "idx_scans_profile"
    ON "scans" ("profile");
CREATE INDEX "idx_scan_paths_scan"
    ON "scan_paths" ("scan");
CREATE INDEX "idx_findings_scan"
    ON "findings" ("scan");
CREATE INDEX "idx_spot_scans_scan"
    ON "spot_scans" ("scan");
CREATE INDEX "idx_registrations_from_scan"
    ON "registrations" ("from_scan");
CREATE UNIQUE INDEX idx_sheet_search_sheet on sheet_search (sheet);
CREATE INDEX idx_sheet_search_exposed_at on sheet_search (exposed_at, id);
CREATE INDEX idx_sheet_search_film on sheet_search (film, exposed_at, id);
CREATE INDEX idx_sheet_search_lens on sheet_search (lens, exposed_at, id);
CREATE INDEX idx_sheet_search_cell on sheet_search (cell, exposed_at, id);
CREATE INDEX idx_sheet_search_tag on sheet_search (tag, exposed_at, id);
CREATE INDEX idx_sheet_search_developer on sheet_search (developer, exposed_at, id);
CREATE INDEX idx_sheet_search_batch on sheet_search (batch, exposed_at, id);
CREATE INDEX idx_sheet_search_place on sheet_search (place, exposed_at, id);
CREATE INDEX idx_sheet_search_verdict on sheet_search (verdict, exposed_at, id);
CREATE INDEX idx_sheet_search_stage on sheet_search (stage, exposed_at, id);
CREATE INDEX idx_sheet_search_cell_tag on sheet_search (cell, tag, exposed_at, id);
CREATE UNIQUE INDEX idx_places_place on places (place);
CREATE TRIGGER sheet_search_inserted after insert on sheet_search begin insert into sheet_search_fts (rowid, sheet, place, subject, notes, reading_names, developer, lens, film) values (new.id, new.sheet, new.place, new.subject, new.notes, new.reading_names, new.developer, new.lens, new.film);insert into sheet_counts (film, lens, cell, tag, developer, verdict, stage, sheets) values (new.film, new.lens, new.cell, new.tag, new.developer, new.verdict, new.stage, 1) on conflict (film, lens, cell, tag, developer, verdict, stage) do update set sheets = sheets + 1;insert into places (place, sheets) select new.place, 1 where new.place <> '' on conflict (place) do update set sheets = sheets + 1; end;
CREATE TRIGGER sheet_search_deleted after delete on sheet_search begin insert into sheet_search_fts (sheet_search_fts, rowid, sheet, place, subject, notes, reading_names, developer, lens, film) values ('delete', old.id, old.sheet, old.place, old.subject, old.notes, old.reading_names, old.developer, old.lens, old.film);update sheet_counts set sheets = sheets - 1 where film = old.film and lens = old.lens and cell = old.cell and tag = old.tag and developer = old.developer and verdict = old.verdict and stage = old.stage;delete from sheet_counts where film = old.film and lens = old.lens and cell = old.cell and tag = old.tag and developer = old.developer and verdict = old.verdict and stage = old.stage and sheets = 0;update places set sheets = sheets - 1 where place = old.place;delete from places where place = old.place and sheets = 0; end;
CREATE TRIGGER sheet_search_text after update of sheet, place, subject, notes, reading_names, developer, lens, film on sheet_search when (old.sheet is not new.sheet or old.place is not new.place or old.subject is not new.subject or old.notes is not new.notes or old.reading_names is not new.reading_names or old.developer is not new.developer or old.lens is not new.lens or old.film is not new.film) begin insert into sheet_search_fts (sheet_search_fts, rowid, sheet, place, subject, notes, reading_names, developer, lens, film) values ('delete', old.id, old.sheet, old.place, old.subject, old.notes, old.reading_names, old.developer, old.lens, old.film);insert into sheet_search_fts (rowid, sheet, place, subject, notes, reading_names, developer, lens, film) values (new.id, new.sheet, new.place, new.subject, new.notes, new.reading_names, new.developer, new.lens, new.film); end;
CREATE TRIGGER sheet_search_counts after update of film, lens, cell, tag, developer, verdict, stage on sheet_search when (old.film is not new.film or old.lens is not new.lens or old.cell is not new.cell or old.tag is not new.tag or old.developer is not new.developer or old.verdict is not new.verdict or old.stage is not new.stage) begin update sheet_counts set sheets = sheets - 1 where film = old.film and lens = old.lens and cell = old.cell and tag = old.tag and developer = old.developer and verdict = old.verdict and stage = old.stage;delete from sheet_counts where film = old.film and lens = old.lens and cell = old.cell and tag = old.tag and developer = old.developer and verdict = old.verdict and stage = old.stage and sheets = 0;insert into sheet_counts (film, lens, cell, tag, developer, verdict, stage, sheets) values (new.film, new.lens, new.cell, new.tag, new.developer, new.verdict, new.stage, 1) on conflict (film, lens, cell, tag, developer, verdict, stage) do update set sheets = sheets + 1; end;
CREATE TRIGGER sheet_search_place after update of place on sheet_search when (old.place is not new.place) begin update places set sheets = sheets - 1 where place = old.place;delete from places where place = old.place and sheets = 0;insert into places (place, sheets) select new.place, 1 where new.place <> '' on conflict (place) do update set sheets = sheets + 1; end;
CREATE TRIGGER places_inserted after insert on places begin insert into places_fts (rowid, place) values (new.id, new.place); end;
CREATE TRIGGER places_deleted after delete on places begin insert into places_fts (places_fts, rowid, place) values ('delete', old.id, old.place); end;
CREATE TRIGGER sheets_deleted after delete on sheets begin delete from sheet_search where sheet = old.sheet; end;
CREATE TRIGGER sheets_renamed after update of sheet on sheets when (old.sheet is not new.sheet) begin update sheet_search set sheet = new.sheet where sheet = old.sheet; end;
CREATE TRIGGER sheets_updated after update of film, lens, cell, tag, place, exposed_at, subject, notes on sheets when (old.film is not new.film or old.lens is not new.lens or old.cell is not new.cell or old.tag is not new.tag or old.place is not new.place or old.exposed_at is not new.exposed_at or old.subject is not new.subject or old.notes is not new.notes) begin update sheet_search set (film, lens, cell, tag, developer, batch, place, exposed_at, verdict, stage, subject, notes, reading_names) = (select v.film, v.lens, v.cell, v.tag, v.developer, v.batch, v.place, v.exposed_at, v.verdict, v.stage, v.subject, v.notes, v.reading_names from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER readings_searched_inserted after insert on readings begin update sheet_search set (reading_names) = (select v.reading_names from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER readings_searched_deleted after delete on readings begin update sheet_search set (reading_names) = (select v.reading_names from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER readings_searched_updated after update of sheet, position, name on readings when (old.sheet is not new.sheet or old.position is not new.position or old.name is not new.name) begin update sheet_search set (reading_names) = (select v.reading_names from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet);update sheet_search set (reading_names) = (select v.reading_names from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER development_sheets_searched_inserted after insert on development_sheets begin update sheet_search set (developer, batch, stage) = (select v.developer, v.batch, v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER development_sheets_searched_deleted after delete on development_sheets begin update sheet_search set (developer, batch, stage) = (select v.developer, v.batch, v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER development_sheets_searched_updated after update of batch, sheet on development_sheets when (old.batch is not new.batch or old.sheet is not new.sheet) begin update sheet_search set (developer, batch, stage) = (select v.developer, v.batch, v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet);update sheet_search set (developer, batch, stage) = (select v.developer, v.batch, v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER developments_searched_inserted after insert on developments begin update sheet_search set (developer, batch, stage) = (select v.developer, v.batch, v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet in (select ds.sheet from development_sheets ds where ds.batch = new.batch) and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER developments_searched_deleted after delete on developments begin update sheet_search set (developer, batch, stage) = (select v.developer, v.batch, v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet in (select ds.sheet from development_sheets ds where ds.batch = old.batch) and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER developments_searched_updated after update of batch, date, developer on developments when (old.batch is not new.batch or old.date is not new.date or old.developer is not new.developer) begin update sheet_search set (developer, batch, stage) = (select v.developer, v.batch, v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet in (select ds.sheet from development_sheets ds where ds.batch = old.batch) and exists (select 1 from sheets s where s.sheet = sheet_search.sheet);update sheet_search set (developer, batch, stage) = (select v.developer, v.batch, v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet in (select ds.sheet from development_sheets ds where ds.batch = new.batch) and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER findings_searched_inserted after insert on findings begin update sheet_search set (stage) = (select v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER findings_searched_deleted after delete on findings begin update sheet_search set (stage) = (select v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER findings_searched_updated after update of sheet, measured_readings on findings when (old.sheet is not new.sheet or old.measured_readings is not new.measured_readings) begin update sheet_search set (stage) = (select v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet);update sheet_search set (stage) = (select v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER scans_searched_inserted after insert on scans begin update sheet_search set (stage) = (select v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER scans_searched_deleted after delete on scans begin update sheet_search set (stage) = (select v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER scans_searched_updated after update of sheet on scans when (old.sheet is not new.sheet) begin update sheet_search set (stage) = (select v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet);update sheet_search set (stage) = (select v.stage from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER cells_searched_inserted after insert on cells begin update sheet_search set (cell) = (select v.cell from sheet_facts v where v.sheet = sheet_search.sheet) where lens = new.lens and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER cells_searched_deleted after delete on cells begin update sheet_search set (cell) = (select v.cell from sheet_facts v where v.sheet = sheet_search.sheet) where lens = old.lens and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER cells_searched_updated after update of lens, cell on cells when (old.lens is not new.lens or old.cell is not new.cell) begin update sheet_search set (cell) = (select v.cell from sheet_facts v where v.sheet = sheet_search.sheet) where lens = old.lens and exists (select 1 from sheets s where s.sheet = sheet_search.sheet);update sheet_search set (cell) = (select v.cell from sheet_facts v where v.sheet = sheet_search.sheet) where lens = new.lens and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE UNIQUE INDEX idx_sheet_changes_change on sheet_changes (change);
CREATE TRIGGER sheet_changes_inserted after insert on sheet_search begin insert into sheet_changes (id, change) values (new.id, (select coalesce(max(change), 0) + 1 from sheet_changes)) on conflict (id) do update set change = excluded.change; end;
CREATE TRIGGER sheet_changes_deleted after delete on sheet_search begin insert into sheet_changes (id, change) values (old.id, (select coalesce(max(change), 0) + 1 from sheet_changes)) on conflict (id) do update set change = excluded.change; end;
CREATE TRIGGER sheet_changes_updated after update on sheet_search when old.id is not new.id or old.sheet is not new.sheet or old.film is not new.film or old.lens is not new.lens or old.cell is not new.cell or old.tag is not new.tag or old.developer is not new.developer or old.batch is not new.batch or old.place is not new.place or old.exposed_at is not new.exposed_at or old.verdict is not new.verdict or old.stage is not new.stage or old.subject is not new.subject or old.notes is not new.notes or old.reading_names is not new.reading_names begin insert into sheet_changes (id, change) values (old.id, (select coalesce(max(change), 0) + 1 from sheet_changes)) on conflict (id) do update set change = excluded.change;insert into sheet_changes (id, change) values (new.id, (select coalesce(max(change), 0) + 1 from sheet_changes)) on conflict (id) do update set change = excluded.change; end;
CREATE TRIGGER sheet_changes_results_inserted after insert on results begin insert into sheet_changes (id, change) select k.id, (select coalesce(max(change), 0) + 1 from sheet_changes) from sheet_search k where k.sheet = new.sheet on conflict (id) do update set change = excluded.change; end;
CREATE TRIGGER sheet_changes_results_deleted after delete on results begin insert into sheet_changes (id, change) select k.id, (select coalesce(max(change), 0) + 1 from sheet_changes) from sheet_search k where k.sheet = old.sheet on conflict (id) do update set change = excluded.change; end;
CREATE TRIGGER sheet_changes_results_updated after update of sheet, residual_stops, found_n, found_n_density_sd on results when old.sheet is not new.sheet or old.residual_stops is not new.residual_stops or old.found_n is not new.found_n or old.found_n_density_sd is not new.found_n_density_sd begin insert into sheet_changes (id, change) select k.id, (select coalesce(max(change), 0) + 1 from sheet_changes) from sheet_search k where k.sheet = old.sheet on conflict (id) do update set change = excluded.change;insert into sheet_changes (id, change) select k.id, (select coalesce(max(change), 0) + 1 from sheet_changes) from sheet_search k where k.sheet = new.sheet on conflict (id) do update set change = excluded.change; end;
CREATE TRIGGER sheet_changes_findings_inserted after insert on findings begin insert into sheet_changes (id, change) select k.id, (select coalesce(max(change), 0) + 1 from sheet_changes) from sheet_search k where k.sheet = new.sheet on conflict (id) do update set change = excluded.change; end;
CREATE TRIGGER sheet_changes_findings_deleted after delete on findings begin insert into sheet_changes (id, change) select k.id, (select coalesce(max(change), 0) + 1 from sheet_changes) from sheet_search k where k.sheet = old.sheet on conflict (id) do update set change = excluded.change; end;
CREATE TRIGGER sheet_changes_findings_updated after update of sheet, base_fog, base_fog_source on findings when old.sheet is not new.sheet or old.base_fog is not new.base_fog or old.base_fog_source is not new.base_fog_source begin insert into sheet_changes (id, change) select k.id, (select coalesce(max(change), 0) + 1 from sheet_changes) from sheet_search k where k.sheet = old.sheet on conflict (id) do update set change = excluded.change;insert into sheet_changes (id, change) select k.id, (select coalesce(max(change), 0) + 1 from sheet_changes) from sheet_search k where k.sheet = new.sheet on conflict (id) do update set change = excluded.change; end;
CREATE TRIGGER sheet_changes_sheets_updated after update of stop, f_number, stop_scale, exposure_index on sheets when old.stop is not new.stop or old.f_number is not new.f_number or old.stop_scale is not new.stop_scale or old.exposure_index is not new.exposure_index begin insert into sheet_changes (id, change) select k.id, (select coalesce(max(change), 0) + 1 from sheet_changes) from sheet_search k where k.sheet = new.sheet on conflict (id) do update set change = excluded.change; end;
CREATE INDEX idx_scans_checked on scans (coalesce(checked_at, added_at), taken_order);
CREATE INDEX idx_developments_date on developments (date);
CREATE VIEW readings_planned_given_found as
select
  f.sheet as sheet,
  f.name as reading,
  f.role as role,
  f.placed as placed,
  f.ev as ev,
  round(f.planned_zone, 2) as planned_zone,
  round(f.given_zone, 2) as given_zone,
  round(f.planned_print_zone, 2) as planned_print_zone,
  round(f.print_zone, 2) as found_print_zone,
  round(f.print_zone_sd, 2) as found_print_zone_sd,
  round(f.error_zones, 2) as error_zones,
  round(f.target_density, 3) as target_density,
  round(f.net_density, 3) as net_density,
  round(f.density, 3) as density,
  round(f.sd, 3) as density_sd,
  round(f.error_density, 3) as error_density
from found_readings f;
CREATE INDEX "idx_dated_changes_film"
    ON "dated_changes" ("film");
CREATE INDEX "idx_dated_changes_lens"
    ON "dated_changes" ("lens");
CREATE INDEX "idx_dated_changes_shutter"
    ON "dated_changes" ("shutter");
CREATE INDEX "idx_advised_times_film"
    ON "advised_times" ("film");
CREATE INDEX "idx_holder_sides_film"
    ON "holder_sides" ("film");
CREATE INDEX idx_sheets_holder on sheets (holder collate nocase) where holder is not null;
CREATE INDEX idx_sheet_search_printing_range on sheet_search (printing_range, exposed_at, id);
CREATE VIEW sheet_facts as
select
  s.sheet as sheet,
  s.film as film,
  s.lens as lens,
  coalesce(
    s.cell, (select case when count(*) = 1 then min(c.cell) end from cells c where c.lens = s.lens), ''
  ) as cell,
  s.tag as tag,
  coalesce(d.developer, '') as developer,
  coalesce(d.batch, '') as batch,
  coalesce(s.place, '') as place,
  coalesce(s.exposed_at, '') as exposed_at,
  coalesce(r.verdict, 'not measured') as verdict,
  case
    when exists (select 1 from scans n where n.sheet = s.sheet)
      then case when f.measured_readings > 0 then 'measured' else 'to measure' end
    when d.batch is null then 'to develop'
    else 'to scan'
  end as stage,
  coalesce(s.subject, '') as subject,
  coalesce(s.notes, '') as notes,
  coalesce((
    select group_concat(name, ' · ')
    from (select g.name from readings g where g.sheet = s.sheet order by g.position)
  ), '') as reading_names,
  r.printing_range as printing_range
from sheets s
left join developments d on d.batch = (
  select ds.batch from development_sheets ds join developments dd on dd.batch = ds.batch
  where ds.sheet = s.sheet order by dd.date desc, dd.rowid desc limit 1
)
left join results r on r.sheet = s.sheet
left join findings f on f.sheet = s.sheet;
CREATE VIEW sheets_at_a_glance as
select
  s.sheet as sheet,
  s.exposed_at as exposed_at,
  s.place as place,
  s.subject as subject,
  s.film as film,
  s.lens as lens,
  nullif(k.cell, '') as cell,
  s.stop as stop,
  s.time as time,
  s.tag as tag,
  nullif(k.batch, '') as batch,
  nullif(k.developer, '') as developer,
  k.verdict as verdict,
  round(r.exposure_error_stops, 2) as exposure_error_stops,
  round(r.exposure_error_sd, 2) as exposure_error_sd,
  round(r.found_n, 2) as found_n,
  round(r.found_n_sd, 2) as found_n_sd,
  k.stage as stage,
  round(k.printing_range, 2) as printing_range
from sheet_search k
join sheets s on s.sheet = k.sheet
left join results r on r.sheet = k.sheet;
CREATE TRIGGER sheets_inserted after insert on sheets begin insert into sheet_search (sheet, film, lens, cell, tag, developer, batch, place, exposed_at, verdict, stage, subject, notes, reading_names, printing_range) select sheet, film, lens, cell, tag, developer, batch, place, exposed_at, verdict, stage, subject, notes, reading_names, printing_range from sheet_facts where sheet = new.sheet; end;
CREATE TRIGGER results_searched_inserted after insert on results begin update sheet_search set (verdict, printing_range) = (select v.verdict, v.printing_range from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER results_searched_deleted after delete on results begin update sheet_search set (verdict, printing_range) = (select v.verdict, v.printing_range from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER results_searched_updated after update of sheet, verdict, printing_range on results when (old.sheet is not new.sheet or old.verdict is not new.verdict or old.printing_range is not new.printing_range) begin update sheet_search set (verdict, printing_range) = (select v.verdict, v.printing_range from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = old.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet);update sheet_search set (verdict, printing_range) = (select v.verdict, v.printing_range from sheet_facts v where v.sheet = sheet_search.sheet) where sheet = new.sheet and exists (select 1 from sheets s where s.sheet = sheet_search.sheet); end;
CREATE TRIGGER sheet_changes_printing_range after update of printing_range on sheet_search when old.printing_range is not new.printing_range begin insert into sheet_changes (id, change) values (new.id, (select coalesce(max(change), 0) + 1 from sheet_changes)) on conflict (id) do update set change = excluded.change; end;
CREATE INDEX "idx_removed_sheets_nocase" on "removed_sheets" ("sheet" collate nocase);
CREATE INDEX "idx_removed_sheet_scans_scan"
    ON "removed_sheet_scans" ("scan");
CREATE INDEX idx_history_scan_from on history (json_extract(old, '$.sheet')) where kind = 'scans';
CREATE INDEX idx_history_scan_to on history (json_extract(new, '$.sheet')) where kind = 'scans';
CREATE INDEX "idx_checks_scan_at"
    ON "checks" ("scan", "at");
commit;
