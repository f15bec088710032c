-- The derived store: what the engine put out, for replay, exports and seeks. It is disposable: it is computed
-- again from the inputs whenever its version (PRAGMA user_version) is not the program's.
-- Times: t_ns is station time, nanoseconds; UTC of a row is t_ns + utc_offset_ns.

-- One output of the engine. `seq` counts every output, also those that are not kept (see `kept.rs`
-- in server/station/src/store: before liftoff the bulky kinds are kept once a second).
CREATE TABLE output (
    seq            INTEGER PRIMARY KEY,
    input          INTEGER NOT NULL,  -- number of the input that led to it
    t_ns           INTEGER NOT NULL,  -- station time at which it came about
    t_receive_ns   INTEGER NOT NULL,  -- station time of receipt of the newest packet used
    utc_offset_ns  INTEGER NOT NULL,
    flight         INTEGER NOT NULL,  -- 0: none open
    kind           TEXT    NOT NULL,  -- frame, reading, estimate, prediction, cue, path, landing, event, heads_up, radio, silence, flight, smoothed
    body           INTEGER,           -- body index, where there is one
    data           TEXT    NOT NULL   -- JSON: {"<kind>": ...}, SI units
) STRICT;
CREATE INDEX output_by_time ON output (flight, t_ns);
CREATE INDEX output_by_kind ON output (flight, kind, t_ns);
-- The newest of each before an instant: a seek reads about forty rows, however long the flight.
CREATE INDEX output_of_body ON output (flight, kind, body, t_ns) WHERE body IS NOT NULL;
CREATE INDEX output_of_layout ON output (flight, body, json_extract(data, '$.reading.layout'), t_ns) WHERE kind = 'reading';
CREATE INDEX output_of_cue ON output (flight, json_extract(data, '$.cue.cue'), t_ns) WHERE kind = 'cue';
CREATE INDEX output_of_case ON output (flight, body, json_extract(data, '$.landing.case'), t_ns) WHERE kind = 'landing';

-- One row a flight, kept up to date.
CREATE TABLE flight (
    number          INTEGER PRIMARY KEY,
    name            TEXT    NOT NULL,
    vehicle         TEXT    NOT NULL,
    site            TEXT    NOT NULL,
    opened_ns       INTEGER NOT NULL,  -- station time
    liftoff_ns      INTEGER,
    ended_ns        INTEGER,
    apogee_m        REAL,              -- newest median of the vehicle's apogee height above the pad, once past apogee
    apogee_s        REAL,              -- when that was, seconds on the axis of the times inside outputs
    utc_offset_ns   INTEGER NOT NULL,  -- UTC = station time + this
    first_input     INTEGER NOT NULL,
    last_input      INTEGER NOT NULL,
    setup           TEXT    NOT NULL   -- the setup in force, as meant, JSON
) STRICT;

-- The engine, frozen: restart and recomputation begin at one.
CREATE TABLE snapshot (
    input           INTEGER PRIMARY KEY,  -- the last input taken
    t_ns            INTEGER NOT NULL,     -- station time up to which its deadlines have fired
    next_seq        INTEGER NOT NULL,     -- the next output's `seq`
    engine_version  INTEGER NOT NULL,
    setup_hash      INTEGER NOT NULL,     -- FNV-1a 64 of the setup's JSON
    state           BLOB    NOT NULL      -- postcard
) STRICT;

-- Outputs that could not be kept at the time and are to be computed again: from `from_seq` to before `to_seq`.
CREATE TABLE hole (
    from_seq  INTEGER PRIMARY KEY,
    to_seq    INTEGER NOT NULL
) STRICT;

-- The path of an ended flight with hindsight, computed once it is asked for or the flight has ended.
CREATE TABLE smoothed (
    flight  INTEGER NOT NULL,
    body    INTEGER NOT NULL,
    t_s     REAL    NOT NULL,  -- seconds on the axis of the times inside outputs
    data    TEXT    NOT NULL,  -- JSON: an estimate, SI units
    PRIMARY KEY (flight, body, t_s)
) STRICT, WITHOUT ROWID;

-- Which flights' paths are in `smoothed`, whole.
CREATE TABLE hindsight (
    flight     INTEGER PRIMARY KEY,
    states     INTEGER NOT NULL,
    took_s     REAL    NOT NULL
) STRICT;

-- For people who open this file with plain SQL.
CREATE VIEW estimates AS
SELECT flight, body,
       datetime((t_ns + utc_offset_ns) / 1000000000, 'unixepoch') AS utc,
       t_ns / 1e9 AS t_s,
       json_extract(data, '$.estimate.estimate.phase') AS phase,
       json_extract(data, '$.estimate.estimate.height_m.p50') AS height_m,
       json_extract(data, '$.estimate.estimate.height_m.p05') AS height_m_p05,
       json_extract(data, '$.estimate.estimate.height_m.p95') AS height_m_p95,
       json_extract(data, '$.estimate.estimate.climb_mps.p50') AS climb_mps,
       json_extract(data, '$.estimate.estimate.airspeed_mps.p50') AS airspeed_mps
FROM output WHERE kind = 'estimate';

CREATE VIEW predictions AS
SELECT flight, body,
       datetime((t_ns + utc_offset_ns) / 1000000000, 'unixepoch') AS utc,
       t_ns / 1e9 AS t_s,
       json_extract(data, '$.prediction.prediction.apogee_height_m.p50') AS apogee_height_m,
       json_extract(data, '$.prediction.prediction.apogee_height_m.p05') AS apogee_height_m_p05,
       json_extract(data, '$.prediction.prediction.apogee_height_m.p95') AS apogee_height_m_p95
FROM output WHERE kind = 'prediction';

CREATE VIEW events AS
SELECT flight, body,
       datetime((t_ns + utc_offset_ns) / 1000000000, 'unixepoch') AS utc_noticed,
       json_extract(data, '$.event.label') AS label,
       json_extract(data, '$.event.event.kind') AS kind,
       json_extract(data, '$.event.event.origin') AS origin,
       json_extract(data, '$.event.event.t_s') AS t_s_since_epoch,
       json_extract(data, '$.event.event.revision') AS revision,
       json_extract(data, '$.event.event.withdrawn') AS withdrawn
FROM output WHERE kind = 'event';

CREATE VIEW readings AS
SELECT flight, body,
       datetime((t_ns + utc_offset_ns) / 1000000000, 'unixepoch') AS utc,
       t_ns / 1e9 AS t_s,
       json_extract(data, '$.reading.link') AS link,
       json_extract(data, '$.reading.receiver') AS receiver,
       json_extract(data, '$.reading.layout') AS layout,
       json_extract(data, '$.reading.sequence') AS sequence,
       json_extract(data, '$.reading."values"') AS "values"
FROM output WHERE kind = 'reading';
