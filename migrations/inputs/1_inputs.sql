-- The inputs: everything that was received, pressed or told, exactly and in order. Append-only.
CREATE TABLE input (
    number  INTEGER PRIMARY KEY,  -- from 1; the order. A number that is missing never reached the disk
    t_ns    INTEGER NOT NULL,     -- station time, nanoseconds: near UTC, never steps, also across restarts
    utc_ns  INTEGER NOT NULL,     -- wall clock, UTC nanoseconds since 1970; may step
    kind    TEXT    NOT NULL,     -- bytes, link_state, setup_change, mark, name_flight, end_flight, started, lost
    link    TEXT,                 -- name of the link, where there is one
    data    BLOB    NOT NULL      -- bytes: as received; all others: JSON text
) STRICT;
CREATE INDEX input_other ON input (kind, number) WHERE kind <> 'bytes';

-- For people who open this file with plain SQL.
CREATE VIEW received AS
SELECT number, datetime(utc_ns / 1000000000, 'unixepoch') AS utc, t_ns / 1e9 AS t_s, link, length(data) AS bytes, hex(data) AS hex
FROM input WHERE kind = 'bytes';

CREATE VIEW told AS
SELECT number, datetime(utc_ns / 1000000000, 'unixepoch') AS utc, t_ns / 1e9 AS t_s, kind, link, CAST(data AS TEXT) AS json
FROM input WHERE kind <> 'bytes';
