-- What a remote receiver passed on: rows of kind bytes, and others of kind relayed, whose data is JSON text.
ALTER TABLE input ADD COLUMN far_store  INTEGER;  -- of the far end's store: station time of its first input, ns of its clock
ALTER TABLE input ADD COLUMN far_number INTEGER;  -- number of the input there
ALTER TABLE input ADD COLUMN far_ns     INTEGER;  -- its station time there, ns of the far end's clock
ALTER TABLE input ADD COLUMN heard_ns   INTEGER;  -- the same instant on this station's clock, ns
CREATE INDEX input_relayed ON input (link, far_store, far_number) WHERE far_number IS NOT NULL;

-- For people who open this file with plain SQL.
CREATE VIEW relayed AS
SELECT number, link, far_store, far_number, far_ns / 1e9 AS far_s, heard_ns / 1e9 AS heard_s, (t_ns - heard_ns) / 1e9 AS late_s,
       kind, length(data) AS bytes
FROM input WHERE far_number IS NOT NULL;
