"""The tables of alerts, and that of when people are told."""

ALERT_TABLES = (
    """
    CREATE TABLE alert (
        id TEXT PRIMARY KEY,
        rule TEXT NOT NULL,
        state TEXT NOT NULL,
        since_ms INTEGER NOT NULL,
        sentence TEXT NOT NULL,
        advice TEXT NOT NULL,
        box TEXT REFERENCES box (slug),
        sensor TEXT REFERENCES sensor (name),
        lot TEXT REFERENCES lot (code),
        value,
        "limit",
        reading_ms INTEGER,
        raised_ms INTEGER,
        seen_ms INTEGER,
        cleared_ms INTEGER,
        told INTEGER NOT NULL,
        told_ms INTEGER,
        until_ms INTEGER
    ) WITHOUT ROWID
    """,
    "CREATE INDEX alert_by_time ON alert (since_ms)",
    "CREATE INDEX alert_open ON alert (rule, box, sensor) WHERE state <> 'cleared'",
    """
    CREATE TABLE notice (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        key TEXT NOT NULL,
        channel TEXT NOT NULL,
        step TEXT NOT NULL,
        made_ms INTEGER NOT NULL,
        due_ms INTEGER NOT NULL,
        subject TEXT NOT NULL,
        text TEXT NOT NULL,
        alert TEXT REFERENCES alert (id),
        urgent INTEGER NOT NULL,
        data TEXT NOT NULL, -- JSON
        state TEXT NOT NULL,
        attempts INTEGER NOT NULL,
        sent_ms INTEGER,
        error TEXT NOT NULL,
        UNIQUE (key, channel)
    )
    """,
    "CREATE INDEX notice_pending ON notice (channel, alert, id) WHERE state = 'pending'",
    """
    CREATE TABLE rule_setting (
        rule TEXT NOT NULL,
        box TEXT NOT NULL, -- empty: all boxes
        "limit",
        release,
        dwell_s INTEGER,
        repeat_s INTEGER,
        "on" INTEGER NOT NULL,
        PRIMARY KEY (rule, box)
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE pace (
        sensor TEXT PRIMARY KEY REFERENCES sensor (name),
        seconds INTEGER NOT NULL
    ) WITHOUT ROWID
    """,
)

TELLING_TABLES = (
    """
    CREATE TABLE telling ( -- one row at most; NULL: as the settings say
        quiet_from TEXT,
        quiet_to TEXT,
        digest INTEGER,
        digest_day INTEGER,
        digest_hour INTEGER,
        digest_set_ms INTEGER
    )
    """,
)
