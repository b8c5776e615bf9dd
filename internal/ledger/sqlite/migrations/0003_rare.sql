-- The values of points have an index by their place and another by their time:
-- beside readings they are what is not rare.
DROP INDEX entry_rare;
CREATE INDEX entry_rare ON entry (kind, place) WHERE kind NOT IN ('reading', 'sample');
