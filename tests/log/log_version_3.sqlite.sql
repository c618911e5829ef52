-- A log as schema version 3 made it in SQLite, with invented records. Frozen: migrations are tried on it; never change it.
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
CREATE TABLE changes (
	change TEXT NOT NULL, 
	found_at TEXT NOT NULL, 
	found_by TEXT NOT NULL, 
	month TEXT NOT NULL, 
	quantity TEXT NOT NULL, 
	factor TEXT NOT NULL, 
	level TEXT, 
	first TEXT NOT NULL, 
	first_low TEXT, 
	first_high TEXT, 
	effect DOUBLE, 
	effect_low DOUBLE, 
	effect_high DOUBLE, 
	state TEXT NOT NULL, 
	note TEXT, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (change), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
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
INSERT INTO "corrections" VALUES(1,'2026-11-25T12:00:00+00:00','op1','hatches','H-1','cysts_g','1.602','1.6','the scale was read wrongly','H-1',NULL,3);
CREATE TABLE feeds (
	feed TEXT NOT NULL, 
	fed TEXT NOT NULL, 
	hatch TEXT, 
	nauplii DOUBLE, 
	notes TEXT, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (feed), 
	FOREIGN KEY(hatch) REFERENCES hatches (hatch), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
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
INSERT INTO "meta" VALUES('schema_version','3');
INSERT INTO "meta" VALUES('log_id','40dbc01931c94e5fa67220a9b2fb3e78');
INSERT INTO "meta" VALUES('created_at','2026-11-28T22:31:56+00:00');
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
INSERT INTO "objects" VALUES('a.jpg',4,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',5,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',6,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',7,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',8,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',9,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',10,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',11,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',12,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',13,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',14,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',15,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',16,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',17,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',18,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',19,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',20,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',21,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',22,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',23,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',24,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',25,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',26,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',27,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',28,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',29,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',30,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',31,'umbrella',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',32,'umbrella',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',33,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',34,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',35,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',36,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',37,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',38,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',39,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',40,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',41,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',42,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',43,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',44,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',45,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',46,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',47,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',48,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',49,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',50,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',51,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',52,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',53,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',54,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',55,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',56,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('a.jpg',57,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',1,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',2,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',3,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',4,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',5,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',6,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',7,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',8,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',9,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',10,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',11,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',12,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',13,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',14,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',15,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',16,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',17,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',18,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',19,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',20,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',21,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',22,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',23,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',24,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',25,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',26,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',27,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',28,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',29,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',30,'nauplius',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',31,'umbrella',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',32,'umbrella',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',33,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',34,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',35,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',36,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',37,'cyst',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',38,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',39,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',40,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',41,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',42,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',43,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',44,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',45,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',46,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',47,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',48,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',49,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',50,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',51,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',52,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',53,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',54,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',55,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',56,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
INSERT INTO "objects" VALUES('b.jpg',57,'shell',NULL,NULL,NULL,NULL,NULL,1.5,2.5,NULL,NULL,NULL,NULL,1,'found',0);
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
INSERT INTO "photos" VALUES('a.jpg','509b0d4641a7c3ba088ffa28559d1f57207ea980447bc1773b1d406d788386ee','S-2',5.0,NULL,NULL,NULL,NULL,NULL,'t-1',100.0,0,1,2);
INSERT INTO "photos" VALUES('b.jpg','7a11ab94584454526cb0479a2e3b96aa5e1c9659290fd7d4cb5dbd28dce7d318','S-2',5.0,NULL,NULL,NULL,NULL,NULL,'t-1',100.0,0,1,2);
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
	harvest_ml DOUBLE, 
	harvest_g DOUBLE, 
	separation TEXT, 
	lost_nauplii BIGINT, 
	taken_utc TEXT NOT NULL, 
	step BIGINT NOT NULL, 
	PRIMARY KEY (sample, revision), 
	FOREIGN KEY(hatch) REFERENCES hatches (hatch), 
	FOREIGN KEY(step) REFERENCES steps (step)
);
INSERT INTO "samples" VALUES('S-1','H-1','2026-11-01T23:30:00+00:00',NULL,'subsample',250.0,NULL,NULL,NULL,100,NULL,20,NULL,NULL,'person',NULL,NULL,NULL,0,NULL,NULL,NULL,NULL,'2026-11-01T23:30:00.000000Z',1);
INSERT INTO "samples" VALUES('S-2','H-1','2026-11-01T23:32:00+00:00',NULL,'subsample',NULL,NULL,1.0,NULL,NULL,NULL,NULL,NULL,NULL,'photo',NULL,'a.jpg; b.jpg',NULL,0,NULL,NULL,NULL,NULL,'2026-11-01T23:32:00.000000Z',1);
INSERT INTO "samples" VALUES('S-3','H-2','2026-11-04T09:00:00+00:00',NULL,'subsample',250.0,NULL,NULL,NULL,90,NULL,30,NULL,NULL,'person',NULL,NULL,NULL,0,NULL,NULL,NULL,NULL,'2026-11-04T09:00:00.000000Z',1);
INSERT INTO "samples" VALUES('S-2','H-1','2026-11-01T23:32:00+00:00',NULL,'subsample',200.0,NULL,1.0,NULL,60,4,10,NULL,40,'photo','t-1','a.jpg; b.jpg',NULL,1,NULL,NULL,NULL,NULL,'2026-11-01T23:32:00.000000Z',2);
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
INSERT INTO "steps" VALUES(1,'2026-11-25T12:00:00+00:00','op1','import','sheets.csv',NULL,'qckit 0.1.0',7);
INSERT INTO "steps" VALUES(2,'2026-11-25T12:00:00+00:00','op1','count','photos',NULL,'qckit 0.1.0',117);
INSERT INTO "steps" VALUES(3,'2026-11-25T12:00:00+00:00','op1','correct','hatches',NULL,'qckit 0.1.0',1);
CREATE INDEX ix_signals_chart ON signals (chart, lot);
CREATE INDEX ix_corrections_table_column ON corrections ("table", "column");
CREATE INDEX ix_corrections_table_key1 ON corrections ("table", key1);
CREATE INDEX ix_hatches_lot ON hatches (lot, started_utc);
CREATE INDEX ix_hatches_started_utc ON hatches (started_utc);
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
CREATE TRIGGER guard_changes_update BEFORE UPDATE ON changes BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_changes_delete BEFORE DELETE ON changes BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_feeds_update BEFORE UPDATE ON feeds BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_feeds_delete BEFORE DELETE ON feeds BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_corrections_update BEFORE UPDATE ON corrections BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_corrections_delete BEFORE DELETE ON corrections BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_steps_update BEFORE UPDATE ON steps BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
CREATE TRIGGER guard_steps_delete BEFORE DELETE ON steps BEGIN SELECT RAISE(ABORT, 'qckit: records are never changed or deleted; write a correction'); END;
COMMIT;
