-- Beside readings, the values of points are what is not rare; they are found by
-- their place.
DROP INDEX entry_rare;
CREATE INDEX entry_rare ON entry (kind, place, seq) WHERE kind NOT IN ('reading', 'sample');
