BEGIN TRANSACTION;
CREATE TABLE decisions (
	id INTEGER NOT NULL, 
	tag INTEGER NOT NULL, 
	at VARCHAR(40) NOT NULL, 
	who VARCHAR(200) NOT NULL, 
	deed VARCHAR(30) NOT NULL, 
	text VARCHAR NOT NULL, 
	evidence JSON NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(tag) REFERENCES tags (id)
);
INSERT INTO "decisions" VALUES(1,1,'2026-01-02T03:04:05+00:00','elbowroom 0.1.0','found','','{"start_s": 8, "end_s": 11, "t_s": 10, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(2,2,'2026-01-02T03:04:05+00:00','elbowroom 0.1.0','found','','{"start_s": 28, "end_s": 31, "t_s": 30, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(3,3,'2026-01-02T03:04:05+00:00','elbowroom 0.1.0','found','','{"start_s": 48, "end_s": 51, "t_s": 50, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(4,4,'2026-01-02T03:04:05+00:00','elbowroom 0.1.0','found','','{"start_s": 68, "end_s": 71, "t_s": 70, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(5,5,'2026-01-02T03:04:05+00:00','elbowroom 0.1.0','found','','{"start_s": 88, "end_s": 91, "t_s": 90, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(6,1,'2026-01-02T03:05:05+00:00','Kim','confirmed','clear','{"start_s": 8.0, "end_s": 11.0, "t_s": 10.0, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(7,1,'2026-01-02T03:06:05+00:00','Ann','rejected','','{"start_s": 8.0, "end_s": 11.0, "t_s": 10.0, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(8,3,'2026-01-02T03:07:05+00:00','Kim','confirmed','','{"start_s": 48.0, "end_s": 51.0, "t_s": 50.0, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(9,1,'2026-01-02T04:04:05+00:00','elbowroom 0.1.0','found again','','{"start_s": 8, "end_s": 11, "t_s": 10, "score": 0.6, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(10,4,'2026-01-02T04:04:05+00:00','elbowroom 0.1.0','not found again','','{"start_s": 68.0, "end_s": 71.0, "t_s": 70.0, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(11,5,'2026-01-02T04:04:05+00:00','elbowroom 0.1.0','not found again','','{"start_s": 88.0, "end_s": 91.0, "t_s": 90.0, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
INSERT INTO "decisions" VALUES(12,6,'2026-01-02T03:04:05+00:00','elbowroom 0.1.0','found','','{"start_s": 8, "end_s": 11, "t_s": 10, "score": 0.8, "actors": [["handler", 3], ["screener", 8]], "measures": {"count": 5.0}}');
CREATE TABLE elbowroom_schema (
	version INTEGER NOT NULL, 
	PRIMARY KEY (version)
);
INSERT INTO "elbowroom_schema" VALUES(1);
CREATE TABLE tags (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	game VARCHAR(200) NOT NULL, 
	kind VARCHAR(100) NOT NULL, 
	state VARCHAR(20) NOT NULL, 
	shot INTEGER NOT NULL, 
	start_s DOUBLE NOT NULL, 
	end_s DOUBLE NOT NULL, 
	t_s DOUBLE NOT NULL, 
	score DOUBLE NOT NULL, 
	severity VARCHAR(20) NOT NULL, 
	sentence VARCHAR NOT NULL, 
	actors JSON NOT NULL, 
	measures JSON NOT NULL, 
	CHECK (end_s >= start_s)
);
INSERT INTO "tags" VALUES(1,'game-a','crowded_paint','rejected',0,8.0,11.0,10.0,0.6,'fault','A crowded_paint of O''Neil''s "five", Müller.','[["handler", 3], ["screener", 8]]','{"count": 5.0}');
INSERT INTO "tags" VALUES(2,'game-a','twins','candidate',0,28.0,31.0,30.0,0.8,'note','A twins of O''Neil''s "five", Müller.','[["handler", 3], ["screener", 8]]','{"count": 5.0}');
INSERT INTO "tags" VALUES(3,'game-a','horns','confirmed',0,48.0,51.0,50.0,0.8,'note','A horns of O''Neil''s "five", Müller.','[["handler", 3], ["screener", 8]]','{"count": 5.0}');
INSERT INTO "tags" VALUES(4,'game-a','house_rule','candidate',0,68.0,71.0,70.0,0.8,'severe','A house_rule of O''Neil''s "five", Müller.','[["handler", 3], ["screener", 8]]','{"count": 5.0}');
INSERT INTO "tags" VALUES(5,'game-a','stalled_ball','withdrawn',0,88.0,91.0,90.0,0.8,'fault','A stalled_ball of O''Neil''s "five", Müller.','[["handler", 3], ["screener", 8]]','{"count": 5.0}');
INSERT INTO "tags" VALUES(6,'game-b','crowded_paint','candidate',0,8.0,11.0,10.0,0.8,'severe','A crowded_paint of O''Neil''s "five", Müller.','[["handler", 3], ["screener", 8]]','{"count": 5.0}');
CREATE INDEX ix_tags_game ON tags (game);
CREATE INDEX ix_tags_kind ON tags (kind);
CREATE INDEX ix_tags_state ON tags (state);
CREATE INDEX ix_decisions_tag ON decisions (tag);
CREATE TRIGGER decisions_no_update BEFORE UPDATE ON decisions BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER decisions_no_delete BEFORE DELETE ON decisions BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('tags',6);
COMMIT;
