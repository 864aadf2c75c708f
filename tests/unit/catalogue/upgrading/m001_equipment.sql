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
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('silver, diffusion', '{"0": 0.02, "I": 0.1, "II": 0.21, "III": 0.35, "IV": 0.51, "V": 0.7, "VI": 0.89, "VII": 1.09, "VIII": 1.3, "IX": 1.46, "X": 1.6}', 'Silver paper under diffused enlarger light: zones I and VIII after Adams, The Negative; the shape between from published measured zones.', '2026-11-30T21:33:45Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('silver, condenser', '{"0": 0.02, "I": 0.1, "II": 0.199, "III": 0.325, "IV": 0.469, "V": 0.64, "VI": 0.817, "VII": 1.004, "VIII": 1.2, "IX": 1.349, "X": 1.48}', 'Silver paper under condenser light: I 0.10 · V 0.64 · VIII 1.20 after Adams, The Negative; between them the shape of the diffusion target.', '2026-11-30T21:33:45Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('silver contact', '{"0": 0.02, "I": 0.1, "II": 0.214, "III": 0.358, "IV": 0.524, "V": 0.72, "VI": 0.919, "VII": 1.13, "VIII": 1.35, "IX": 1.518, "X": 1.665}', 'Silver paper in contact: I 0.10 · V 0.72 · VIII 1.35; between them the shape of the diffusion target.', '2026-11-30T21:33:45Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('long-scale', '{"0": 0.024, "I": 0.12, "II": 0.267, "III": 0.453, "IV": 0.667, "V": 0.92, "VI": 1.183, "VII": 1.46, "VIII": 1.75, "IX": 1.971, "X": 2.165}', 'Platinum, palladium and other long-scale papers in contact: I 0.12 · V 0.92 · VIII 1.75; between them the shape of the diffusion target.', '2026-11-30T21:33:45Z', 'built in');
insert into "print_targets" ("name", "densities", "source", "recorded_at", "recorded_via") values ('salt', '{"I": 0.15, "V": 1.0, "VIII½": 2.0}', NULL, '2026-11-30T21:33:45Z', 'record more.json');
insert into "tablets" ("name", "densities", "recorded_at", "recorded_via") values ('tablet 21', '[0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95, 1.1, 1.25, 1.4, 1.55, 1.7, 1.85, 2.0, 2.15, 2.3, 2.45, 2.6, 2.75, 2.9, 3.05]', '2026-11-30T21:33:45Z', 'record equipment.yaml');
insert into "tablets" ("name", "densities", "recorded_at", "recorded_via") values ('T5', '[0.05, 0.5, 1.0, 1.5, 2.0]', '2026-11-30T21:33:45Z', 'record more.json');
insert into "scanners" ("name", "make", "model", "software", "recorded_at", "recorded_via") values ('bench scanner', 'Marl', 'Flatbed 4', NULL, '2026-11-30T21:33:45Z', 'record equipment.yaml');
insert into "cells" ("lens", "cell", "position", "focal_mm", "widest_stop", "widest_f_number", "mounted", "own_scale", "cell_to_stop_mm", "pupil_ratio", "scale_error_stops") values ('Aldwater', 'whole', 0, 180.0, NULL, NULL, NULL, 1, NULL, NULL, 0.0);
insert into "cells" ("lens", "cell", "position", "focal_mm", "widest_stop", "widest_f_number", "mounted", "own_scale", "cell_to_stop_mm", "pupil_ratio", "scale_error_stops") values ('Tressick', 'whole', 0, 150.0, '6.8', 6.8, 'whole', 1, NULL, NULL, 0.0);
insert into "cells" ("lens", "cell", "position", "focal_mm", "widest_stop", "widest_f_number", "mounted", "own_scale", "cell_to_stop_mm", "pupil_ratio", "scale_error_stops") values ('Tressick', 'rear', 1, 290.0, NULL, NULL, 'behind', 1, NULL, NULL, -0.5);
insert into "lenses" ("name", "shutter", "recorded_at", "recorded_via") values ('Aldwater', NULL, '2026-11-30T21:33:45Z', 'record equipment.yaml');
insert into "lenses" ("name", "shutter", "recorded_at", "recorded_via") values ('Tressick', 'No. 3', '2026-11-30T21:33:45Z', 'record more.json');
insert into "shutters" ("name", "measured", "recorded_at", "recorded_via") values ('No. 3', '{"1/15": 0.071, "1": 1.1}', '2026-11-30T21:33:45Z', 'record more.json');
insert into "films" ("name", "box_speed", "exposure_index", "lot", "base_fog", "channel", "reciprocity", "recorded_at", "recorded_via") values ('Brickdust 100', 100.0, NULL, NULL, NULL, 'grey', NULL, '2026-11-30T21:33:45Z', 'record equipment.yaml');
insert into "_sqlite_migrations" ("id", "migration_set", "name", "applied_at") values (1, 'negcat', 'm001_equipment', '2026-05-03 07:40:00+00:00');
CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name");
CREATE INDEX "idx_lenses_shutter"
    ON "lenses" ("shutter");
commit;
