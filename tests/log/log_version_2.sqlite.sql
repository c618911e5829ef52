-- A log as schema version 2 made it in SQLite, with invented records. Frozen: migrations are tried on it; never change it.
BEGIN TRANSACTION;
CREATE TABLE baselines (
	baseline TEXT NOT NULL, 
	chart TEXT NOT NULL, 
	lot TEXT, 
	cone TEXT, 
	first TEXT, 
	last TEXT, 
	n_points BIGINT, 
	limits TEXT NOT NULL, 
	set_aside TEXT, 
	set_by TEXT NOT NULL, 
	set_at TEXT NOT NULL, 
	notes TEXT, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (baseline), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "baselines" VALUES('b-1','hatch_pct','L-1',NULL,'2026-10-31T23:30:00+00:00','2026-11-03T09:00:00+00:00',20,'{"center": 80.0}',NULL,'op1','2026-11-05T13:00:00+00:00',NULL,6);
CREATE TABLE certificates (
	certificate TEXT NOT NULL, 
	camera TEXT NOT NULL, 
	magnification TEXT, 
	kind TEXT, 
	made_at TEXT NOT NULL, 
	made_by TEXT NOT NULL, 
	counter_version TEXT, 
	n_photos BIGINT, 
	detection TEXT, 
	confusion TEXT, 
	details TEXT, 
	valid_until TEXT, 
	notes TEXT, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (certificate), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "certificates" VALUES('c-1','cam',NULL,NULL,'2026-11-05T13:00:00+00:00','op1',NULL,NULL,NULL,NULL,NULL,NULL,NULL,6);
CREATE TABLE checks (
	hatch TEXT NOT NULL, 
	"check" TEXT NOT NULL, 
	planned_at TEXT NOT NULL, 
	cause TEXT, 
	outcome TEXT, 
	done_at TEXT, 
	"by" TEXT NOT NULL, 
	notes TEXT, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (hatch, "check", planned_at), 
	FOREIGN KEY(hatch) REFERENCES hatches (hatch), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "checks" VALUES('H-1','weigh again','2026-11-05T13:00:00+00:00',NULL,NULL,NULL,'op1',NULL,6);
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
INSERT INTO "corrections" VALUES(1,'2026-11-05T11:00:00+00:00','op2','hatches','H-1','cysts_g','1.602','1.6','scale misread','H-1',NULL,4);
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
INSERT INTO "meta" VALUES('schema_version','2');
INSERT INTO "meta" VALUES('log_id','feab30169ebb4f7fa660529db851c5a4');
INSERT INTO "meta" VALUES('created_at','2026-11-26T19:21:55+00:00');
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
)
 WITHOUT ROWID

;
INSERT INTO "objects" VALUES('a.jpg',1,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',2,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',3,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',4,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',5,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',6,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',7,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',1,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',2,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',3,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',4,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',5,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
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
	frame_mm2 DOUBLE, 
	revision BIGINT NOT NULL, 
	sample_revision BIGINT, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (photo, revision), 
	FOREIGN KEY(sample, sample_revision) REFERENCES samples (sample, revision), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "photos" VALUES('a.jpg','509b0d4641a7c3ba088ffa28559d1f57207ea980447bc1773b1d406d788386ee','S-2',5.0,NULL,NULL,NULL,NULL,NULL,'t-1',100.0,0,1,3);
INSERT INTO "photos" VALUES('b.jpg','7a11ab94584454526cb0479a2e3b96aa5e1c9659290fd7d4cb5dbd28dce7d318','S-2',5.0,NULL,NULL,NULL,NULL,NULL,'t-1',100.0,0,1,3);
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
INSERT INTO "readings" VALUES('H-1','2026-11-01T09:00:00+00:00','temperature',27.8,'°C','2026-11-01T09:00:00.000000Z',2);
CREATE TABLE reports (
	report TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	subject TEXT NOT NULL, 
	made_at TEXT NOT NULL, 
	figures TEXT, 
	hatches TEXT, 
	software TEXT, 
	path TEXT, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (report), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "reports" VALUES('r-1','month','2026-10','2026-11-05T13:00:00+00:00',NULL,NULL,NULL,NULL,6);
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
	um_per_px DOUBLE, 
	revision BIGINT NOT NULL, 
	taken_utc TEXT NOT NULL, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (sample, revision), 
	FOREIGN KEY(hatch) REFERENCES hatches (hatch), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "samples" VALUES('S-1','H-1','2026-11-01T23:30:00+00:00',NULL,'subsample',250.0,NULL,NULL,NULL,100,NULL,20,NULL,NULL,'person',NULL,NULL,NULL,0,'2026-11-01T23:30:00.000000Z',1);
INSERT INTO "samples" VALUES('S-2','H-1','2026-11-01T23:32:00+00:00',NULL,'subsample',NULL,NULL,1.0,NULL,NULL,NULL,NULL,NULL,NULL,'photo',NULL,'a.jpg; b.jpg',NULL,0,'2026-11-01T23:32:00.000000Z',1);
INSERT INTO "samples" VALUES('S-3','H-2','2026-11-04T09:00:00+00:00',NULL,'subsample',250.0,NULL,NULL,NULL,90,NULL,30,NULL,NULL,'person',NULL,NULL,NULL,0,'2026-11-04T09:00:00.000000Z',1);
INSERT INTO "samples" VALUES('S-2','H-1','2026-11-01T23:32:00+00:00',NULL,'subsample',200.0,NULL,1.0,NULL,6,0,2,NULL,6,'photo','t-1','a.jpg; b.jpg',NULL,1,'2026-11-01T23:32:00.000000Z',3);
INSERT INTO "samples" VALUES('S-1','H-1','2026-11-01T23:30:00+00:00',NULL,'subsample',250.0,NULL,NULL,NULL,99,NULL,20,NULL,NULL,'person','op2',NULL,NULL,1,'2026-11-01T23:30:00.000000Z',5);
CREATE TABLE scales (
	camera TEXT NOT NULL, 
	magnification TEXT NOT NULL, 
	set_at TEXT NOT NULL, 
	um_per_px DOUBLE NOT NULL, 
	u_um_per_px DOUBLE, 
	method TEXT NOT NULL, 
	photo TEXT, 
	set_by TEXT NOT NULL, 
	notes TEXT, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (camera, magnification, set_at), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "scales" VALUES('cam','2x','2026-11-05T13:00:00+00:00',5.0,NULL,'stage micrometer',NULL,'op1',NULL,6);
CREATE TABLE signals (
	signal TEXT NOT NULL, 
	chart TEXT NOT NULL, 
	lot TEXT, 
	hatch TEXT, 
	at TEXT NOT NULL, 
	rule TEXT NOT NULL, 
	value DOUBLE, 
	state TEXT NOT NULL, 
	found_at TEXT NOT NULL, 
	"by" TEXT, 
	note TEXT, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (signal), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "signals" VALUES('s-1','hatch_pct',NULL,'H-1','2026-11-01T23:30:00+00:00','beyond limits',61.5,'open','2026-11-05T13:00:00+00:00',NULL,NULL,6);
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
INSERT INTO "steps" VALUES(1,'2026-11-05T08:00:00+00:00','op1','import','sheet',NULL,'qckit 0.1.0',7);
INSERT INTO "steps" VALUES(2,'2026-11-05T09:00:00+00:00','op1','import','sheet',NULL,'qckit 0.1.0',1);
INSERT INTO "steps" VALUES(3,'2026-11-05T10:00:00+00:00','op1','count','photos',NULL,'qckit 0.1.0',17);
INSERT INTO "steps" VALUES(4,'2026-11-05T11:00:00+00:00','op2','correct','hatches',NULL,'qckit 0.1.0',1);
INSERT INTO "steps" VALUES(5,'2026-11-05T12:00:00+00:00','op2','recount','slip',NULL,'qckit 0.1.0',1);
INSERT INTO "steps" VALUES(6,'2026-11-05T13:00:00+00:00','op1','import','',NULL,'qckit 0.1.0',6);
CREATE INDEX ix_signals_chart ON signals (chart, lot);
CREATE INDEX ix_corrections_table_key1 ON corrections ("table", key1);
CREATE INDEX ix_corrections_table_column ON corrections ("table", "column");
CREATE INDEX ix_hatches_lot ON hatches (lot, started_utc);
CREATE INDEX ix_hatches_started_utc ON hatches (started_utc);
CREATE INDEX ix_samples_hatch ON samples (hatch);
CREATE INDEX ix_photos_sample ON photos (sample);
CREATE INDEX ix_photos_sha256 ON photos (sha256);
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
CREATE TRIGGER guard_baselines_update BEFORE UPDATE ON baselines BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_baselines_delete BEFORE DELETE ON baselines BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_signals_update BEFORE UPDATE ON signals BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_signals_delete BEFORE DELETE ON signals BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_scales_update BEFORE UPDATE ON scales BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_scales_delete BEFORE DELETE ON scales BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_certificates_update BEFORE UPDATE ON certificates BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_certificates_delete BEFORE DELETE ON certificates BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_checks_update BEFORE UPDATE ON checks BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_checks_delete BEFORE DELETE ON checks BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_reports_update BEFORE UPDATE ON reports BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_reports_delete BEFORE DELETE ON reports BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_corrections_update BEFORE UPDATE ON corrections BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_corrections_delete BEFORE DELETE ON corrections BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_steps_update BEFORE UPDATE ON steps BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_steps_delete BEFORE DELETE ON steps BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
COMMIT;
