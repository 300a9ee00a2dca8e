BEGIN TRANSACTION;
CREATE TABLE adoptions (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	job VARCHAR, 
	rules_sha256 VARCHAR, 
	agreed_by VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE batches (
	number INTEGER NOT NULL, 
	at VARCHAR(32) NOT NULL, 
	kind VARCHAR NOT NULL, 
	subject VARCHAR NOT NULL, 
	source VARCHAR, 
	sha256 VARCHAR(64), 
	"by" VARCHAR, 
	new INTEGER NOT NULL, 
	unchanged INTEGER NOT NULL, 
	corrected INTEGER NOT NULL, 
	left_out INTEGER NOT NULL, 
	digest VARCHAR(64), 
	chained_later BOOLEAN, 
	PRIMARY KEY (number)
);
INSERT INTO "batches" VALUES(1,'2026-03-02T09:00:00.000000+00:00','load','jobs',NULL,NULL,NULL,1,0,0,0,'ed48944a3f1fd6ba99d5e14db386ba5a8349d7647c3a84d5ec634a397fbb32ca',NULL);
INSERT INTO "batches" VALUES(2,'2026-03-03T09:00:00.000000+00:00','load','joints',NULL,NULL,NULL,3,0,0,0,'565ebe62993876be701506cc1835896654cc403f1a060762f7812243bfa6f515',NULL);
INSERT INTO "batches" VALUES(3,'2026-03-04T09:00:00.000000+00:00','load','joints',NULL,NULL,NULL,0,2,1,0,'a626bbb84cc25c258e720b3171f7f8c2d9870c5b4fc0e6e40710ff604e129ef4',NULL);
INSERT INTO "batches" VALUES(4,'2026-03-05T09:00:00.000000+00:00','load','examinations',NULL,NULL,'lead',2,0,0,0,'3ad0363e22ed452806c5af9400271fc540d8e7539ceb583d9c08eaa30a922bc1',NULL);
INSERT INTO "batches" VALUES(5,'2026-03-06T09:00:00.000000+00:00','load','examinations',NULL,NULL,'lead',0,1,1,0,'1dca8f01aa3625405bc1ae1d36a047cbbb76bb78602b2fd5df5269bd4ee081e2',NULL);
INSERT INTO "batches" VALUES(6,'2026-03-07T09:00:00.000000+00:00','plan','H1',NULL,NULL,NULL,0,0,0,0,'25264c5fc47d7abc69d17494a7e21b91d33607f8aeafea877a7ee9f607139549',NULL);
CREATE TABLE beads (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	job VARCHAR, 
	joint VARCHAR, 
	side VARCHAR, 
	from_mm DOUBLE, 
	length_mm DOUBLE, 
	wrapped BOOLEAN, 
	date DATE, 
	inspector VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE confirmations (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	welder VARCHAR, 
	certificate VARCHAR, 
	date DATE, 
	"by" VARCHAR, 
	evidence VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE decisions (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	decision VARCHAR, 
	job VARCHAR, 
	kind VARCHAR, 
	subject VARCHAR, 
	detail VARCHAR, 
	person VARCHAR, 
	reason VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE deposits (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	job VARCHAR, 
	joint VARCHAR, 
	welder VARCHAR, 
	date DATE, 
	pass VARCHAR, 
	side VARCHAR, 
	from_mm DOUBLE, 
	to_mm DOUBLE, 
	process VARCHAR, 
	position VARCHAR, 
	procedure VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE examinations (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	job VARCHAR, 
	joint VARCHAR, 
	method VARCHAR, 
	from_mm DOUBLE, 
	to_mm DOUBLE, 
	round BIGINT, 
	verdict VARCHAR, 
	date DATE, 
	report VARCHAR, 
	exposure VARCHAR, 
	technician VARCHAR, 
	technician_level BIGINT, 
	request VARCHAR, 
	remark VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
INSERT INTO "examinations" VALUES(1,4,NULL,'H1B-1RT0.0300.00R1','H1','B-1','RT',0.0,300.0,0,'accept','2026-02-01','R1',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "examinations" VALUES(2,4,5,'H1B-2RT100.0400.00R''1','H1','B-2','RT',100.0,400.0,0,'reject','2026-02-02','R''1',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "examinations" VALUES(3,5,NULL,'H1B-2RT100.0400.00R''1','H1','B-2','RT',100.0,400.0,0,'reject','2026-02-02','R''1',NULL,NULL,NULL,NULL,NULL);
CREATE TABLE frame_cells (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"plan" VARCHAR, 
	cell BIGINT, 
	job VARCHAR, 
	joint VARCHAR, 
	rule VARCHAR, 
	method VARCHAR, 
	from_mm DOUBLE, 
	to_mm DOUBLE, 
	mandatory VARCHAR, 
	stratum VARCHAR, 
	welder VARCHAR, 
	risk DOUBLE, 
	pi DOUBLE, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE imperfections (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	examination BIGINT, 
	job VARCHAR, 
	joint VARCHAR, 
	imperfection VARCHAR, 
	imp_from_mm DOUBLE, 
	imp_length_mm DOUBLE, 
	imp_height_mm DOUBLE, 
	imp_pass VARCHAR, 
	imp_side VARCHAR, 
	imp_rejectable BOOLEAN, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
INSERT INTO "imperfections" VALUES(1,4,5,2,'H1','B-2','2013',120.0,NULL,NULL,NULL,NULL,0);
INSERT INTO "imperfections" VALUES(2,4,5,2,'H1','B-2','401',180.0,NULL,NULL,NULL,NULL,1);
INSERT INTO "imperfections" VALUES(3,5,NULL,3,'H1','B-2','401',180.0,NULL,NULL,NULL,NULL,1);
CREATE TABLE jobs (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	job VARCHAR, 
	title VARCHAR, 
	started DATE, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
INSERT INTO "jobs" VALUES(1,1,NULL,'H1','H1','invented hull',NULL);
CREATE TABLE joints (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	job VARCHAR, 
	zone VARCHAR, 
	joint VARCHAR, 
	category VARCHAR, 
	joint_type VARCHAR, 
	penetration VARCHAR, 
	length_mm DOUBLE, 
	whole BOOLEAN, 
	thickness_mm DOUBLE, 
	material VARCHAR, 
	process VARCHAR, 
	position VARCHAR, 
	procedure VARCHAR, 
	crossings_mm VARCHAR, 
	bead_length_mm DOUBLE, 
	bead_pitch_mm DOUBLE, 
	bead_pattern VARCHAR, 
	bead_end_mm DOUBLE, 
	ends_wrapped BOOLEAN, 
	drawing VARCHAR, 
	replaces VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
INSERT INTO "joints" VALUES(1,2,NULL,'H1B-1','H1','Z1','B-1','A','butt',NULL,1000.0,1,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "joints" VALUES(2,2,3,'H1B-2','H1','Z1','B-2','A','butt',NULL,2500.5,NULL,NULL,NULL,NULL,NULL,NULL,'100;900',NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "joints" VALUES(3,2,NULL,'H1Ω-3','H1','Z2','Ω-3','B','butt',NULL,800.1,0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "joints" VALUES(4,3,NULL,'H1B-2','H1','Z1','B-2','A','butt',NULL,2600.0,NULL,NULL,NULL,NULL,NULL,NULL,'100;900',NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE plans (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"plan" VARCHAR, 
	job VARCHAR, 
	kind VARCHAR, 
	seed BIGINT, 
	rules_sha256 VARCHAR, 
	frame_sha256 VARCHAR, 
	drawn_at VARCHAR, 
	risk_exponent DOUBLE, 
	budget BIGINT, 
	evidence_days BIGINT, 
	version VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
INSERT INTO "plans" VALUES(1,6,NULL,'P1','H1','draw',7,NULL,'abababababababababababababababababababababababababababababababab','2026-03-02T09:00:00+00:00',NULL,NULL,NULL,'0.1.0');
CREATE TABLE properties (
	name VARCHAR NOT NULL, 
	value VARCHAR NOT NULL, 
	PRIMARY KEY (name)
);
INSERT INTO "properties" VALUES('schema','4');
CREATE TABLE qualifications (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	welder VARCHAR, 
	certificate VARCHAR, 
	standard VARCHAR, 
	process VARCHAR, 
	material VARCHAR, 
	joint_types VARCHAR, 
	positions VARCHAR, 
	thickness_min_mm DOUBLE, 
	thickness_max_mm DOUBLE, 
	qualified_on DATE, 
	confirmed_on DATE, 
	valid_until DATE, 
	route VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE rule_sets (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	sha256 VARCHAR, 
	title VARCHAR, 
	text VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE spots (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	spot VARCHAR, 
	"plan" VARCHAR, 
	job VARCHAR, 
	joint VARCHAR, 
	rule VARCHAR, 
	method VARCHAR, 
	from_mm DOUBLE, 
	to_mm DOUBLE, 
	part VARCHAR, 
	why VARCHAR, 
	stratum VARCHAR, 
	pi DOUBLE, 
	draw_order BIGINT, 
	risk DOUBLE, 
	acceptance VARCHAR, 
	technique VARCHAR, 
	conditions VARCHAR, 
	round BIGINT, 
	because VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
INSERT INTO "spots" VALUES(1,6,NULL,'P1-0001','P1','H1','B-2',NULL,'RT',100.0,400.0,'random',NULL,NULL,3.33333333333333314829e-01,NULL,NULL,NULL,NULL,NULL,0,NULL);
CREATE TABLE tests (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	job VARCHAR, 
	zone VARCHAR, 
	test VARCHAR, 
	date DATE, 
	pressure_bar DOUBLE, 
	verdict VARCHAR, 
	report VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE warnings (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"table" VARCHAR, 
	row_key VARCHAR, 
	job VARCHAR, 
	code VARCHAR, 
	file VARCHAR, 
	sheet VARCHAR, 
	"row" BIGINT, 
	"column" VARCHAR, 
	value VARCHAR, 
	reason VARCHAR, 
	remedy VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE welders (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	welder VARCHAR, 
	name VARCHAR, 
	employer VARCHAR, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE TABLE zones (
	id BIGINT NOT NULL, 
	batch INTEGER NOT NULL, 
	superseded INTEGER, 
	"key" VARCHAR NOT NULL, 
	job VARCHAR, 
	zone VARCHAR, 
	parent VARCHAR, 
	due DATE, 
	milestone VARCHAR, 
	leak_test BOOLEAN, 
	test_pressure_bar DOUBLE, 
	PRIMARY KEY (id), 
	FOREIGN KEY(batch) REFERENCES batches (number), 
	FOREIGN KEY(superseded) REFERENCES batches (number)
);
CREATE INDEX ix_batches_at ON batches (at);
CREATE UNIQUE INDEX jobs_in_force ON jobs ("key") WHERE superseded IS NULL;
CREATE UNIQUE INDEX zones_in_force ON zones ("key") WHERE superseded IS NULL;
CREATE UNIQUE INDEX joints_in_force ON joints ("key") WHERE superseded IS NULL;
CREATE UNIQUE INDEX deposits_in_force ON deposits ("key") WHERE superseded IS NULL;
CREATE UNIQUE INDEX welders_in_force ON welders ("key") WHERE superseded IS NULL;
CREATE UNIQUE INDEX qualifications_in_force ON qualifications ("key") WHERE superseded IS NULL;
CREATE UNIQUE INDEX confirmations_in_force ON confirmations ("key") WHERE superseded IS NULL;
CREATE UNIQUE INDEX examinations_in_force ON examinations ("key") WHERE superseded IS NULL;
CREATE UNIQUE INDEX beads_in_force ON beads ("key") WHERE superseded IS NULL;
CREATE UNIQUE INDEX tests_in_force ON tests ("key") WHERE superseded IS NULL;
CREATE INDEX imperfections_of ON imperfections (examination);
CREATE INDEX frame_cells_by_plan ON frame_cells ("plan");
CREATE INDEX spots_by_name ON spots (spot);
COMMIT;
