"""The tables of the first version. A column stands for each field of the record it keeps.

Columns of measured and computed numbers carry no type: with the type REAL, SQLite would turn -0.0
into 0.0, and what was measured is kept to the last bit.
"""

_SENSORS = """
CREATE TABLE sensor (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    first_seen_ms INTEGER NOT NULL,
    last_seen_ms INTEGER,
    online INTEGER,
    note TEXT NOT NULL DEFAULT '',
    readings INTEGER NOT NULL DEFAULT 0 -- how many are kept
);
CREATE TABLE reading (
    sensor_id INTEGER NOT NULL REFERENCES sensor (id),
    time_ms INTEGER NOT NULL,
    temp_c,
    rh_pct,
    battery_pct,
    battery_v,
    PRIMARY KEY (sensor_id, time_ms)
) WITHOUT ROWID;
"""

_TIER = """
CREATE TABLE {name} (
    sensor_id INTEGER NOT NULL REFERENCES sensor (id),
    start_ms INTEGER NOT NULL,
    count INTEGER NOT NULL,
    temp_min,
    temp_mean,
    temp_max,
    rh_min,
    rh_mean,
    rh_max,
    PRIMARY KEY (sensor_id, start_ms)
) WITHOUT ROWID;
"""

_KEEPING = """
CREATE TABLE box (
    slug TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    type TEXT NOT NULL,
    target_low_pct REAL NOT NULL,
    target_high_pct REAL NOT NULL,
    gap_limit_s INTEGER NOT NULL,
    volume_l REAL,
    note TEXT NOT NULL,
    archived INTEGER NOT NULL
);
CREATE TABLE placement (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    sensor TEXT NOT NULL REFERENCES sensor (name),
    box TEXT NOT NULL REFERENCES box (slug),
    role TEXT NOT NULL,
    from_ms INTEGER NOT NULL,
    to_ms INTEGER CHECK (to_ms >= from_ms)
);
CREATE INDEX placement_by_box ON placement (box, from_ms);
CREATE INDEX placement_by_sensor ON placement (sensor, from_ms);
CREATE TABLE lot (
    code TEXT PRIMARY KEY,
    kind TEXT NOT NULL,
    variety TEXT NOT NULL,
    source TEXT NOT NULL,
    year INTEGER,
    label_pct REAL,
    label_n INTEGER,
    label_date TEXT,
    minimum_pct REAL,
    prior_temp_c REAL NOT NULL,
    prior_rh_pct REAL NOT NULL,
    seeds REAL,
    grams REAL,
    note TEXT NOT NULL,
    archived INTEGER NOT NULL
);
CREATE TABLE stay (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    lot TEXT NOT NULL REFERENCES lot (code),
    box TEXT NOT NULL REFERENCES box (slug),
    wrap TEXT NOT NULL,
    from_ms INTEGER NOT NULL,
    to_ms INTEGER CHECK (to_ms >= from_ms),
    start_mc_wet_pct REAL
);
CREATE INDEX stay_by_lot ON stay (lot, from_ms);
CREATE INDEX stay_by_box ON stay (box, from_ms);
"""

_JOURNAL = """
CREATE TABLE germination_test (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    lot TEXT NOT NULL REFERENCES lot (code),
    "on" TEXT NOT NULL,
    sown INTEGER NOT NULL,
    germinated INTEGER NOT NULL CHECK (germinated BETWEEN 0 AND sown),
    method TEXT NOT NULL,
    replicates TEXT NOT NULL, -- JSON
    note TEXT NOT NULL
);
CREATE INDEX germination_test_by_lot ON germination_test (lot);
CREATE TABLE event (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    time_ms INTEGER NOT NULL,
    type TEXT NOT NULL,
    box TEXT REFERENCES box (slug),
    lot TEXT REFERENCES lot (code),
    sensor TEXT REFERENCES sensor (name),
    text TEXT NOT NULL,
    data TEXT NOT NULL, -- JSON
    struck INTEGER NOT NULL
);
CREATE INDEX event_by_time ON event (time_ms);
CREATE INDEX event_by_box ON event (box, time_ms);
CREATE INDEX event_by_lot ON event (lot, time_ms);
CREATE TABLE reject (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    received_ms INTEGER NOT NULL,
    topic TEXT NOT NULL,
    reason TEXT NOT NULL,
    detail TEXT NOT NULL,
    payload BLOB NOT NULL,
    sensor TEXT -- may be one that was never registered
);
CREATE INDEX reject_by_sensor ON reject (sensor);
CREATE TABLE reject_count (
    reason TEXT PRIMARY KEY,
    count INTEGER NOT NULL
) WITHOUT ROWID;
"""

_LEDGER = """
CREATE TABLE dirty (
    sensor_id INTEGER PRIMARY KEY REFERENCES sensor (id),
    from_ms INTEGER NOT NULL,
    mark INTEGER NOT NULL
);
-- One row: a mark is never given twice.
CREATE TABLE last_mark (mark INTEGER NOT NULL);
INSERT INTO last_mark VALUES (0);
CREATE TABLE curve (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    box TEXT NOT NULL REFERENCES box (slug),
    model TEXT NOT NULL,
    wrap TEXT NOT NULL,
    start_ms INTEGER,
    start_mc_dry_pct
);
CREATE UNIQUE INDEX curve_key
    ON curve (box, model, wrap, ifnull(start_ms, -1), ifnull(start_mc_dry_pct, -1));
CREATE TABLE ledger (
    curve_id INTEGER NOT NULL REFERENCES curve (id) ON DELETE CASCADE,
    hour INTEGER NOT NULL,
    last_ms INTEGER NOT NULL,
    temp_c,
    rh_pct,
    mc_dry_pct,
    loss_probit,
    covered_s,
    estimated_s,
    wet_s,
    cold_probit,
    dry_probit,
    PRIMARY KEY (curve_id, hour)
) WITHOUT ROWID;
"""


def _statements(*scripts: str) -> tuple[str, ...]:
    """Single statements: SQLite's own script runner would end the transaction around them."""
    parts = ";".join(scripts).split(";\n")
    return tuple(part.strip().strip(";") for part in parts if part.strip().strip(";"))


FIRST = _statements(
    _SENSORS,
    _TIER.format(name="hour"),
    _TIER.format(name="day"),
    _KEEPING,
    _JOURNAL,
    _LEDGER,
)
