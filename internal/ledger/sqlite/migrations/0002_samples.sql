-- The values of points are found by their time: a day of them, or the minutes about
-- a reading, costs the same however long values are kept.
CREATE INDEX entry_sample ON entry (place, at) WHERE kind IN ('sample', 'retract');
