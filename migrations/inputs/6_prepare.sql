-- A crew member's acceptance of what is not within limits: kind accept, whose data is JSON text.
DROP VIEW crew;
CREATE VIEW crew AS
SELECT number, datetime(utc_ns / 1000000000, 'unixepoch') AS utc, t_ns / 1e9 AS t_s, kind,
       coalesce(json_extract(CAST(data AS TEXT), '$.mark.who'), json_extract(CAST(data AS TEXT), '$.correct_mark.who'),
                json_extract(CAST(data AS TEXT), '$.withdraw_mark.who'), json_extract(CAST(data AS TEXT), '$.name_flight.who'),
                json_extract(CAST(data AS TEXT), '$.end_flight.who'), json_extract(CAST(data AS TEXT), '$.setup_by_crew.who'),
                json_extract(CAST(data AS TEXT), '$.accept.who')) AS who,
       CASE kind WHEN 'setup_change' THEN NULL ELSE CAST(data AS TEXT) END AS json
-- Told by name: without statistics SQLite would rather look through all bytes in order of their numbers.
FROM input INDEXED BY input_other
WHERE kind <> 'bytes' AND kind IN ('mark', 'correct_mark', 'withdraw_mark', 'name_flight', 'end_flight', 'setup_change', 'accept')
  AND (kind <> 'setup_change' OR json_extract(CAST(data AS TEXT), '$.setup_by_crew.who') IS NOT NULL);
