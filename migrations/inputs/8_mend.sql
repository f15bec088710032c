-- A setup mended afterwards: rows of kind mend_setup, whose data is JSON text {"mend_setup": {"setup": ..., "of": [numbers]}}.
-- Whenever inputs are computed again it stands in place of the setups told in these rows; of several the newest holds. The rows
-- themselves stay as they were written.
CREATE VIEW mended AS
SELECT input.number, datetime(utc_ns / 1000000000, 'unixepoch') AS utc, told.value AS instead_of
FROM input, json_each(CAST(data AS TEXT), '$.mend_setup.of') AS told
WHERE kind = 'mend_setup';
