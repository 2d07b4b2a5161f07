"""The tables, as numbered migrations. A landed migration is never edited; add the next one."""

from __future__ import annotations

from sqlite_utils import Database, Migrations

MIGRATIONS = Migrations("pourside")

_FIRST = """
CREATE TABLE nodes (
  id INTEGER PRIMARY KEY,
  site TEXT NOT NULL,
  node TEXT NOT NULL,
  status TEXT NOT NULL DEFAULT 'unknown',
  heard_ms INTEGER,
  UNIQUE (site, node)
) STRICT;
CREATE TABLE sensors (
  id INTEGER PRIMARY KEY,
  node_id INTEGER NOT NULL REFERENCES nodes (id),
  key TEXT NOT NULL UNIQUE,
  name TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE TABLE readings (
  sensor_id INTEGER NOT NULL REFERENCES sensors (id),
  taken_ms INTEGER NOT NULL,
  temp_centi_c INTEGER NOT NULL,
  humidity_deci_pct INTEGER,
  received_ms INTEGER NOT NULL,
  flags INTEGER NOT NULL DEFAULT 0,
  PRIMARY KEY (sensor_id, taken_ms)
) STRICT, WITHOUT ROWID;
CREATE TABLE rollups (
  sensor_id INTEGER NOT NULL,
  step_s INTEGER NOT NULL,
  start_s INTEGER NOT NULL,
  count INTEGER NOT NULL,
  temp_min_centi_c INTEGER NOT NULL,
  temp_mean_centi_c REAL NOT NULL,
  temp_max_centi_c INTEGER NOT NULL,
  humidity_min_deci_pct INTEGER,
  humidity_mean_deci_pct REAL,
  humidity_max_deci_pct INTEGER,
  PRIMARY KEY (sensor_id, step_s, start_s)
) STRICT, WITHOUT ROWID;
-- 'committed through N' of one boot of one node, and what came ahead of a gap.
CREATE TABLE progress (
  node_id INTEGER NOT NULL REFERENCES nodes (id),
  boot TEXT NOT NULL,
  through INTEGER NOT NULL,
  touched_ms INTEGER NOT NULL,
  PRIMARY KEY (node_id, boot)
) STRICT, WITHOUT ROWID;
CREATE TABLE arrived (
  node_id INTEGER NOT NULL,
  boot TEXT NOT NULL,
  seq INTEGER NOT NULL,
  PRIMARY KEY (node_id, boot, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE refusals (
  reason TEXT PRIMARY KEY,
  count INTEGER NOT NULL,
  last_ms INTEGER NOT NULL,
  example TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE corrections (
  id INTEGER PRIMARY KEY,
  sensor_id INTEGER NOT NULL REFERENCES sensors (id),
  from_ms INTEGER NOT NULL,
  temp_offset_c REAL NOT NULL,
  humidity_offset_pct REAL NOT NULL,
  note TEXT NOT NULL
) STRICT;
CREATE TABLE resins (
  key TEXT PRIMARY KEY,
  origin TEXT NOT NULL,
  profile TEXT NOT NULL,
  saved_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE pieces (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL,
  note TEXT NOT NULL DEFAULT '',
  created_ms INTEGER NOT NULL,
  ended_ms INTEGER,
  outcome TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE TABLE layers (
  id INTEGER PRIMARY KEY,
  piece_id INTEGER NOT NULL REFERENCES pieces (id) ON DELETE CASCADE,
  name TEXT NOT NULL,
  resin TEXT NOT NULL,
  poured_ms INTEGER NOT NULL,
  depth_mm REAL,
  area_cm2 REAL,
  volume_ml REAL,
  base TEXT NOT NULL DEFAULT 'wood',
  pour_temp_c REAL,
  hardener_ratio REAL NOT NULL DEFAULT 1.0,
  sensor TEXT,
  ended_ms INTEGER,
  batch TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX layers_by_piece ON layers (piece_id, poured_ms);
CREATE TABLE marks (
  id INTEGER PRIMARY KEY,
  layer_id INTEGER NOT NULL REFERENCES layers (id) ON DELETE CASCADE,
  kind TEXT NOT NULL,
  at_ms INTEGER NOT NULL,
  verdict TEXT,
  note TEXT NOT NULL DEFAULT '',
  set_aside INTEGER NOT NULL DEFAULT 0,
  removed_ms INTEGER
) STRICT;
CREATE INDEX marks_by_layer ON marks (layer_id, at_ms);
CREATE TABLE changes (
  id INTEGER PRIMARY KEY,
  piece_id INTEGER NOT NULL REFERENCES pieces (id) ON DELETE CASCADE,
  at_ms INTEGER NOT NULL,
  of_table TEXT NOT NULL,
  row_id INTEGER NOT NULL,
  field TEXT NOT NULL,
  before TEXT,
  after TEXT
) STRICT;
CREATE TABLE outlooks (
  layer_id INTEGER PRIMARY KEY REFERENCES layers (id) ON DELETE CASCADE,
  as_of_ms INTEGER NOT NULL,
  outlook TEXT NOT NULL
) STRICT;
CREATE TABLE outlook_history (
  layer_id INTEGER NOT NULL REFERENCES layers (id) ON DELETE CASCADE,
  as_of_ms INTEGER NOT NULL,
  outlook TEXT NOT NULL,
  PRIMARY KEY (layer_id, as_of_ms)
) STRICT, WITHOUT ROWID;
CREATE TABLE forecasts (
  sensor_key TEXT PRIMARY KEY,
  as_of_ms INTEGER NOT NULL,
  bands TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE alarm_states (
  id INTEGER PRIMARY KEY,
  key TEXT NOT NULL,
  subject TEXT NOT NULL,
  state TEXT NOT NULL,
  UNIQUE (key, subject)
) STRICT;
CREATE TABLE alarm_changes (
  id INTEGER PRIMARY KEY,
  key TEXT NOT NULL,
  subject TEXT NOT NULL,
  at_ms INTEGER NOT NULL,
  change TEXT NOT NULL
) STRICT;
CREATE INDEX alarm_changes_by_time ON alarm_changes (at_ms);
CREATE INDEX alarm_changes_by_subject ON alarm_changes (subject, at_ms);
CREATE TABLE alarm_asks (
  id INTEGER PRIMARY KEY,
  key TEXT NOT NULL,
  subject TEXT NOT NULL,
  act TEXT NOT NULL,
  at_ms INTEGER NOT NULL,
  until_ms INTEGER,
  by TEXT NOT NULL,
  answered INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE notices (
  id INTEGER PRIMARY KEY,
  change_id INTEGER NOT NULL REFERENCES alarm_changes (id) ON DELETE CASCADE,
  channel TEXT NOT NULL,
  created_ms INTEGER NOT NULL,
  due_ms INTEGER,
  tries INTEGER NOT NULL DEFAULT 0,
  sent_ms INTEGER,
  error TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX notices_due ON notices (due_ms) WHERE sent_ms IS NULL;
CREATE TABLE settings (
  key TEXT PRIMARY KEY,
  value TEXT NOT NULL,
  saved_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE beats (
  role TEXT PRIMARY KEY,
  at_ms INTEGER NOT NULL,
  facts TEXT NOT NULL
) STRICT, WITHOUT ROWID;
"""

_WHOLE_PIECE = """
ALTER TABLE pieces ADD COLUMN archived_ms INTEGER;
-- A probe on the surface, beside the room's sensor; and the step of the plan that a layer is.
ALTER TABLE layers ADD COLUMN probe TEXT;
ALTER TABLE layers ADD COLUMN step INTEGER;
CREATE TABLE photos (
  id INTEGER PRIMARY KEY,
  mark_id INTEGER NOT NULL REFERENCES marks (id) ON DELETE CASCADE,
  width INTEGER NOT NULL,
  height INTEGER NOT NULL,
  jpeg BLOB NOT NULL
) STRICT;
CREATE INDEX photos_by_mark ON photos (mark_id);
-- What the room was said to become, kept to be held against what it became.
CREATE TABLE past_forecasts (
  sensor_key TEXT NOT NULL,
  as_of_ms INTEGER NOT NULL,
  bands TEXT NOT NULL,
  PRIMARY KEY (sensor_key, as_of_ms)
) STRICT, WITHOUT ROWID;
CREATE TABLE recipes (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL,
  recipe TEXT NOT NULL,
  saved_ms INTEGER NOT NULL
) STRICT;
CREATE TABLE plans (
  piece_id INTEGER PRIMARY KEY REFERENCES pieces (id) ON DELETE CASCADE,
  recipe TEXT NOT NULL,
  wishes TEXT NOT NULL,
  plan TEXT NOT NULL,
  made_ms INTEGER NOT NULL
) STRICT;
CREATE TABLE bottles (
  id INTEGER PRIMARY KEY,
  resin_key TEXT NOT NULL,
  part TEXT NOT NULL,
  lot TEXT NOT NULL DEFAULT '',
  opened_ms INTEGER,
  held_ml REAL NOT NULL,
  price REAL,
  note TEXT NOT NULL DEFAULT '',
  emptied_ms INTEGER
) STRICT;
CREATE TABLE bottle_uses (
  bottle_id INTEGER NOT NULL REFERENCES bottles (id) ON DELETE CASCADE,
  layer_id INTEGER NOT NULL REFERENCES layers (id) ON DELETE CASCADE,
  ml REAL NOT NULL,
  PRIMARY KEY (bottle_id, layer_id)
) STRICT, WITHOUT ROWID;
"""


def _carry_out(db: Database, script: str) -> None:
    # One statement at a time: executescript would end the migration's transaction.
    for statement in script.split(";\n"):
        if statement.strip():
            db.execute(statement)


@MIGRATIONS()
def m001_first(db: Database) -> None:
    """Every table of the first release."""
    _carry_out(db, _FIRST)


@MIGRATIONS()
def m002_whole_piece(db: Database) -> None:
    """Photos, recipes, plans, bottles, a surface probe, archived pieces, past forecasts."""
    _carry_out(db, _WHOLE_PIECE)


@MIGRATIONS()
def m003_boots_by_time(db: Database) -> None:
    """The latest boots of a node are looked up at every message: by an index, not a sort."""
    _carry_out(
        db, "CREATE INDEX progress_by_time ON progress (node_id, touched_ms DESC, through DESC);\n"
    )
