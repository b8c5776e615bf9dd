-- Times are nanoseconds since 1970 UTC; the lowest integer stands for "no time".

CREATE TABLE entry (
	seq      INTEGER PRIMARY KEY, -- counts from 1 without gaps
	source   TEXT    NOT NULL,    -- once-only key
	kind     TEXT    NOT NULL,
	place    TEXT    NOT NULL,    -- "site/ahu/bank", "site/ahu", "site", or empty
	at       INTEGER NOT NULL,
	received INTEGER NOT NULL,
	reporter TEXT    NOT NULL,
	line     TEXT    NOT NULL,
	body     TEXT    NOT NULL     -- JSON
) STRICT;

CREATE UNIQUE INDEX entry_source ON entry (source);
CREATE INDEX entry_place ON entry (place); -- and seq, which every index ends with
-- Readings are nearly everything; the rest is found without wading through them.
CREATE INDEX entry_rare ON entry (kind, place) WHERE kind <> 'reading';

CREATE TABLE tally (
	kind  TEXT PRIMARY KEY,
	count INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- One row for each bank ever touched: the newest entry that concerns it, the
-- newest one its projection covers, and the first one it does not cover.
CREATE TABLE head (
	bank  TEXT PRIMARY KEY,
	head  INTEGER NOT NULL,
	done  INTEGER NOT NULL,
	since INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE INDEX head_lagging ON head (since) WHERE head > done;

CREATE TABLE projection (
	bank TEXT PRIMARY KEY,
	upto INTEGER NOT NULL,
	at   INTEGER NOT NULL,
	data TEXT    NOT NULL -- JSON
) STRICT;

CREATE TABLE post (
	id          INTEGER PRIMARY KEY AUTOINCREMENT, -- order of putting
	key         TEXT    NOT NULL UNIQUE,           -- once-only key
	site        TEXT    NOT NULL,
	state       TEXT    NOT NULL,
	platform    TEXT    NOT NULL,
	channel     TEXT    NOT NULL,
	thread      TEXT    NOT NULL,
	post        TEXT    NOT NULL, -- JSON without the files' data
	files       TEXT,             -- JSON array of the files' data, until sent
	rendered    INTEGER NOT NULL,
	recipe      TEXT,
	waits       TEXT,
	created     INTEGER NOT NULL,
	not_before  INTEGER NOT NULL,
	lease_until INTEGER,
	attempts    INTEGER NOT NULL,
	last_error  TEXT    NOT NULL,
	post_id     TEXT    NOT NULL, -- the platform's, once sent
	sent_at     INTEGER,
	uncertain   INTEGER NOT NULL
) STRICT;

CREATE INDEX post_ready ON post (platform, id) WHERE state = 'ready';
CREATE INDEX post_thread ON post (platform, channel, thread, id) WHERE state IN ('waiting', 'ready') AND thread <> '';
CREATE INDEX post_state ON post (state, id);
CREATE INDEX post_sent ON post (platform, channel, post_id) WHERE post_id <> '';

CREATE TABLE post_wait (
	bank TEXT NOT NULL,
	post INTEGER NOT NULL REFERENCES post (id),
	PRIMARY KEY (bank, post)
) STRICT, WITHOUT ROWID;

CREATE INDEX post_wait_post ON post_wait (post);

CREATE TABLE firing (
	job       TEXT    NOT NULL,
	site      TEXT    NOT NULL,
	scheduled TEXT    NOT NULL, -- site-local
	at        INTEGER NOT NULL,
	late      INTEGER NOT NULL,
	PRIMARY KEY (job, site, scheduled)
) STRICT, WITHOUT ROWID;

CREATE TABLE api_key (
	id      TEXT PRIMARY KEY,
	name    TEXT    NOT NULL,
	scheme  TEXT    NOT NULL,
	hash    BLOB,
	secret  BLOB,
	sites   TEXT    NOT NULL, -- JSON array
	points  TEXT    NOT NULL, -- JSON array
	created INTEGER NOT NULL,
	revoked INTEGER,
	expires INTEGER
) STRICT;
