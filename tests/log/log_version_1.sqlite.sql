-- A log as schema version 1 made it in SQLite, with invented records. Frozen: migrations are tried on it; never change it.
BEGIN TRANSACTION;
CREATE TABLE corrections (
    correction BIGINT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    "table" TEXT NOT NULL,
    "key" TEXT NOT NULL,
    "column" TEXT NOT NULL,
    "before" TEXT,
    "after" TEXT,
    reason TEXT NOT NULL,
    key1 TEXT NOT NULL,
    revision BIGINT,
    step BIGINT NOT NULL,
    PRIMARY KEY (correction),
    FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "corrections" VALUES(1,'2026-11-05T10:00:00+00:00','op2','hatches','H-1','cysts_g','1.602','1.6','scale misread','H-1',NULL,4);
CREATE TABLE hatches (
    hatch TEXT NOT NULL,
    lot TEXT NOT NULL,
    purpose TEXT NOT NULL,
    cone TEXT NOT NULL,
    started TEXT NOT NULL,
    cysts_g DOUBLE NOT NULL,
    volume_ml DOUBLE NOT NULL,
    temperature_c DOUBLE,
    salinity_ppt DOUBLE,
    ph DOUBLE,
    oxygen_mg_l DOUBLE,
    light_lux DOUBLE,
    aeration TEXT,
    decapsulated BOOLEAN,
    operator TEXT,
    notes TEXT,
    started_utc TEXT NOT NULL,
    step BIGINT NOT NULL,
    PRIMARY KEY (hatch),
    FOREIGN KEY(lot) REFERENCES lots (lot),
    FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "hatches" VALUES('H-1','L-1','standard test','A','2026-10-31T23:30:00+00:00',1.602,800.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-10-31T23:30:00.000000Z',1);
INSERT INTO "hatches" VALUES('H-2','L-2','production','B','2026-11-03T09:00:00+00:00',40.0,20000.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-03T09:00:00.000000Z',1);
CREATE TABLE lots (
    lot TEXT NOT NULL,
    origin TEXT,
    harvested TEXT,
    received TEXT,
    opened TEXT,
    best_before TEXT,
    claimed_hatch_pct DOUBLE,
    claimed_nauplii_per_g DOUBLE,
    pack_g DOUBLE,
    price DOUBLE,
    currency TEXT,
    moisture_pct DOUBLE,
    dry_weight_ug DOUBLE,
    storage_c DOUBLE,
    notes TEXT,
    step BIGINT NOT NULL,
    PRIMARY KEY (lot),
    FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "lots" VALUES('L-1',NULL,NULL,NULL,NULL,NULL,85.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,1);
INSERT INTO "lots" VALUES('L-2',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,1);
CREATE TABLE meta (
    name TEXT NOT NULL,
    value TEXT,
    PRIMARY KEY (name)
);
INSERT INTO "meta" VALUES('schema_version','1');
INSERT INTO "meta" VALUES('log_id','00000000000000000000000000000001');
INSERT INTO "meta" VALUES('created_at','2026-10-01T08:00:00+00:00');
CREATE TABLE objects (
    photo TEXT NOT NULL,
    object_id BIGINT NOT NULL,
    stage TEXT,
    p_nauplius DOUBLE,
    p_umbrella DOUBLE,
    p_cyst DOUBLE,
    p_shell DOUBLE,
    p_debris DOUBLE,
    x_px DOUBLE,
    y_px DOUBLE,
    length_um DOUBLE,
    width_um DOUBLE,
    area_um2 DOUBLE,
    on_edge BOOLEAN,
    counted BOOLEAN,
    source TEXT,
    revision BIGINT NOT NULL,
    PRIMARY KEY (photo, object_id, revision),
    FOREIGN KEY(photo, revision) REFERENCES photos (photo, revision)
) WITHOUT ROWID;
INSERT INTO "objects" VALUES('a.jpg',1,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',2,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',3,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',4,'umbrella',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',5,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',6,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',7,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',1,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',2,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',3,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',4,'umbrella',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',5,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',6,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',7,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
CREATE TABLE photos (
    photo TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    sample TEXT,
    um_per_px DOUBLE,
    scale_source TEXT,
    taken TEXT,
    width_px BIGINT,
    height_px BIGINT,
    flags TEXT,
    counter_version TEXT,
    revision BIGINT NOT NULL,
    sample_revision BIGINT,
    step BIGINT NOT NULL,
    PRIMARY KEY (photo, revision),
    FOREIGN KEY(sample, sample_revision) REFERENCES samples (sample, revision),
    FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "photos" VALUES('a.jpg','509b0d4641a7c3ba088ffa28559d1f57207ea980447bc1773b1d406d788386ee','S-2',5.0,NULL,NULL,NULL,NULL,NULL,'t-1',0,1,2);
INSERT INTO "photos" VALUES('b.jpg','7a11ab94584454526cb0479a2e3b96aa5e1c9659290fd7d4cb5dbd28dce7d318','S-2',5.0,NULL,NULL,NULL,NULL,NULL,'t-1',0,1,2);
CREATE TABLE readings (
    hatch TEXT NOT NULL,
    taken TEXT NOT NULL,
    quantity TEXT NOT NULL,
    value DOUBLE NOT NULL,
    unit TEXT NOT NULL,
    taken_utc TEXT NOT NULL,
    step BIGINT NOT NULL,
    PRIMARY KEY (hatch, taken, quantity),
    FOREIGN KEY(hatch) REFERENCES hatches (hatch),
    FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "readings" VALUES('H-1','2026-11-01T09:00:00+00:00','temperature',27.8,'°C','2026-11-01T09:00:00.000000Z',3);
CREATE TABLE samples (
    sample TEXT NOT NULL,
    hatch TEXT NOT NULL,
    taken TEXT NOT NULL,
    hours DOUBLE,
    kind TEXT NOT NULL,
    volume_ul DOUBLE,
    mass_g DOUBLE,
    chamber_depth_mm DOUBLE,
    dilution DOUBLE,
    nauplii BIGINT,
    umbrella BIGINT,
    cysts BIGINT,
    embryos BIGINT,
    shells BIGINT,
    counted_by TEXT NOT NULL,
    counter TEXT,
    photos TEXT,
    revision BIGINT NOT NULL,
    taken_utc TEXT NOT NULL,
    step BIGINT NOT NULL,
    PRIMARY KEY (sample, revision),
    FOREIGN KEY(hatch) REFERENCES hatches (hatch),
    FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "samples" VALUES('S-1','H-1','2026-11-01T23:30:00+00:00',NULL,'subsample',250.0,NULL,NULL,NULL,100,NULL,20,NULL,NULL,'person',NULL,NULL,0,'2026-11-01T23:30:00.000000Z',1);
INSERT INTO "samples" VALUES('S-2','H-1','2026-11-01T23:32:00+00:00',NULL,'subsample',NULL,NULL,1.0,NULL,NULL,NULL,NULL,NULL,NULL,'photo',NULL,'a.jpg; b.jpg',0,'2026-11-01T23:32:00.000000Z',1);
INSERT INTO "samples" VALUES('S-3','H-2','2026-11-04T09:00:00+00:00',NULL,'subsample',250.0,NULL,NULL,NULL,90,NULL,30,NULL,NULL,'person',NULL,NULL,0,'2026-11-04T09:00:00.000000Z',1);
INSERT INTO "samples" VALUES('S-2','H-1','2026-11-01T23:32:00+00:00',NULL,'subsample',200.0,NULL,1.0,NULL,6,2,2,NULL,4,'photo','t-1','a.jpg; b.jpg',1,'2026-11-01T23:32:00.000000Z',2);
INSERT INTO "samples" VALUES('S-1','H-1','2026-11-01T23:30:00+00:00',NULL,'subsample',250.0,NULL,NULL,NULL,99,NULL,NULL,NULL,NULL,'person','op3',NULL,1,'2026-11-01T23:30:00.000000Z',5);
CREATE TABLE steps (
    step BIGINT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    action TEXT NOT NULL,
    source TEXT,
    source_sha256 TEXT,
    software TEXT NOT NULL,
    n_rows BIGINT NOT NULL,
    PRIMARY KEY (step)
);
INSERT INTO "steps" VALUES(1,'2026-11-05T10:00:00+00:00','op1','import','november.csv',NULL,'qckit 0.1.0',7);
INSERT INTO "steps" VALUES(2,'2026-11-05T10:00:00+00:00','op2','count','photos',NULL,'qckit 0.1.0',17);
INSERT INTO "steps" VALUES(3,'2026-11-05T10:00:00+00:00','op1','import','',NULL,'qckit 0.1.0',1);
INSERT INTO "steps" VALUES(4,'2026-11-05T10:00:00+00:00','op2','correct','hatches',NULL,'qckit 0.1.0',1);
INSERT INTO "steps" VALUES(5,'2026-11-05T10:00:00+00:00','op3','recount','again',NULL,'qckit 0.1.0',1);
CREATE INDEX ix_corrections_table_key1 ON corrections ("table", key1);
CREATE INDEX ix_corrections_table_column ON corrections ("table", "column");
CREATE INDEX ix_hatches_started_utc ON hatches (started_utc);
CREATE INDEX ix_hatches_lot ON hatches (lot, started_utc);
CREATE INDEX ix_samples_hatch ON samples (hatch);
CREATE INDEX ix_photos_sha256 ON photos (sha256);
CREATE INDEX ix_photos_sample ON photos (sample);
CREATE TRIGGER guard_lots_update BEFORE UPDATE ON lots BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_lots_delete BEFORE DELETE ON lots BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_hatches_update BEFORE UPDATE ON hatches BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_hatches_delete BEFORE DELETE ON hatches BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_readings_update BEFORE UPDATE ON readings BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_readings_delete BEFORE DELETE ON readings BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_samples_update BEFORE UPDATE ON samples BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_samples_delete BEFORE DELETE ON samples BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_photos_update BEFORE UPDATE ON photos BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_photos_delete BEFORE DELETE ON photos BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_objects_update BEFORE UPDATE ON objects BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_objects_delete BEFORE DELETE ON objects BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_corrections_update BEFORE UPDATE ON corrections BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_corrections_delete BEFORE DELETE ON corrections BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_steps_update BEFORE UPDATE ON steps BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_steps_delete BEFORE DELETE ON steps BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
COMMIT;
