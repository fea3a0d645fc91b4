"""What ``hilum check`` looks for in a database."""

import sqlite3

_TOGETHER = "max(a.from_ms, b.from_ms) < min(ifnull(a.to_ms, 9e18), ifnull(b.to_ms, 9e18))"

# Each query gives the sentences about the problems it finds.
_QUESTIONS = (
    """
    SELECT 'A row of table ' || "table" || ' refers to a ' || parent || ' that is not there.'
    FROM pragma_foreign_key_check
    """,
    """
    SELECT 'Sensor ' || name || ' should have ' || readings || ' readings but has ' || found || '.'
    FROM (SELECT name, readings,
          (SELECT count(*) FROM reading WHERE sensor_id = sensor.id) AS found FROM sensor)
    WHERE found <> readings
    """,
    """
    SELECT 'Sensor ' || name || ' has ' || count(*) || ' readings that say nothing.'
    FROM reading JOIN sensor ON sensor.id = sensor_id
    WHERE temp_c IS NULL AND rh_pct IS NULL GROUP BY name
    """,
    """
    SELECT 'Sensor ' || a.sensor || ' is in two places at the same time (placements '
        || a.id || ' and ' || b.id || ').'
    FROM placement a JOIN placement b ON a.sensor = b.sensor AND a.id < b.id WHERE {together}
    """,
    """
    SELECT 'Box ' || a.box || ' has two inside sensors at the same time (placements '
        || a.id || ' and ' || b.id || ').'
    FROM placement a JOIN placement b ON a.box = b.box AND a.id < b.id
    WHERE a.role = 'inside' AND b.role = 'inside' AND {together}
    """,
    """
    SELECT 'Lot ' || a.lot || ' is in two boxes at the same time (stays '
        || a.id || ' and ' || b.id || ').'
    FROM stay a JOIN stay b ON a.lot = b.lot AND a.id < b.id WHERE {together}
    """,
    """
    SELECT 'The ledger of box ' || box || ' has rows in which the loss shrinks.' FROM curve
    WHERE id IN (SELECT curve_id FROM (SELECT curve_id, loss_probit, lag(loss_probit)
                 OVER (PARTITION BY curve_id ORDER BY hour) AS earlier FROM ledger)
                 WHERE loss_probit < earlier)
    """,
)


def problems(conn: sqlite3.Connection) -> list[str]:
    """Say what is wrong with a database, a sentence each; empty when all is well."""
    try:
        damage = [text for (text,) in conn.execute("PRAGMA integrity_check") if text != "ok"]
    except sqlite3.DatabaseError as error:
        damage = [str(error)]
    if damage:  # nothing else can be trusted then
        return [f"The file is damaged: {text}" for text in damage]
    asked = (question.format(together=_TOGETHER) for question in _QUESTIONS)
    return [text for question in asked for (text,) in conn.execute(question)]
