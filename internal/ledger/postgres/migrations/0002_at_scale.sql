-- Entries are only ever appended, so that they lie on disk in the order of their
-- receipt, month after month. Block ranges tell the months apart as partitions
-- would, at a thousandth of an index's size, and the source key stays unique over
-- all time, which it would not be across partitions.
CREATE INDEX entry_at ON entry USING brin (at) WITH (pages_per_range = 32, autosummarize = on);
CREATE INDEX entry_received ON entry USING brin (received) WITH (pages_per_range = 32, autosummarize = on);

-- A share of a table that only grows is ever longer in coming: count rows instead.
ALTER TABLE entry SET (
	autovacuum_vacuum_insert_scale_factor = 0, autovacuum_vacuum_insert_threshold = 500000,
	autovacuum_analyze_scale_factor = 0, autovacuum_analyze_threshold = 500000
);
