-- Times are nanoseconds since 1970 UTC; the lowest integer stands for "no time".
-- Texts sort by bytes, as ids and keys are compared by prefix.

-- One row: the newest Seq. Who appends holds it locked until the commit, so that
-- Seq has no gaps and becomes visible in order, on however many machines.
CREATE TABLE sequence (
	one  boolean PRIMARY KEY DEFAULT true CHECK (one),
	last bigint NOT NULL
);
INSERT INTO sequence (last) VALUES (0);

CREATE TABLE entry (
	seq      bigint PRIMARY KEY,
	source   text COLLATE "C" NOT NULL,
	kind     text COLLATE "C" NOT NULL,
	place    text COLLATE "C" NOT NULL,
	at       bigint NOT NULL,
	received bigint NOT NULL,
	reporter text NOT NULL,
	line     text NOT NULL,
	body     text NOT NULL -- JSON as written; jsonb would change numbers
);

CREATE UNIQUE INDEX entry_source ON entry (source);
CREATE INDEX entry_place ON entry (place, seq);
-- Readings are nearly everything; the rest is found without wading through them.
CREATE INDEX entry_rare ON entry (kind, place, seq) WHERE kind <> 'reading';

CREATE TABLE tally (
	kind  text COLLATE "C" PRIMARY KEY,
	count bigint NOT NULL
);

-- One row for each bank ever touched: the newest entry that concerns it, the
-- newest one its projection covers, and the first one it does not cover.
CREATE TABLE head (
	bank  text COLLATE "C" PRIMARY KEY,
	head  bigint NOT NULL,
	done  bigint NOT NULL,
	since bigint NOT NULL
) WITH (fillfactor = 70);

CREATE INDEX head_lagging ON head (since) WHERE head > done;

CREATE TABLE projection (
	bank text COLLATE "C" PRIMARY KEY,
	upto bigint NOT NULL,
	at   bigint NOT NULL,
	data text   NOT NULL
) WITH (fillfactor = 70);

CREATE TABLE post (
	id          bigserial PRIMARY KEY, -- order of putting
	key         text COLLATE "C" NOT NULL UNIQUE,
	site        text    NOT NULL,
	state       text    NOT NULL,
	platform    text    NOT NULL,
	channel     text    NOT NULL,
	thread      text    NOT NULL,
	post        text    NOT NULL, -- JSON without the files' data
	files       text,             -- JSON array of the files' data, until sent
	rendered    boolean NOT NULL,
	recipe      text,
	waits       text,
	created     bigint  NOT NULL,
	not_before  bigint  NOT NULL,
	lease_until bigint,
	attempts    bigint  NOT NULL,
	last_error  text    NOT NULL,
	post_id     text    NOT NULL, -- the platform's, once sent
	sent_at     bigint,
	uncertain   boolean NOT NULL
);

CREATE INDEX post_ready ON post (platform, id) WHERE state = 'ready';
CREATE INDEX post_thread ON post (platform, channel, thread, id) WHERE state IN ('waiting', 'ready') AND thread <> '';
CREATE INDEX post_state ON post (state, id);
CREATE INDEX post_sent ON post (platform, channel, post_id) WHERE post_id <> '';

CREATE TABLE post_wait (
	bank text COLLATE "C" NOT NULL,
	post bigint NOT NULL REFERENCES post (id),
	PRIMARY KEY (bank, post)
);

CREATE INDEX post_wait_post ON post_wait (post);

CREATE TABLE firing (
	job       text COLLATE "C" NOT NULL,
	site      text COLLATE "C" NOT NULL,
	scheduled text COLLATE "C" NOT NULL, -- site-local
	at        bigint  NOT NULL,
	late      boolean NOT NULL,
	PRIMARY KEY (job, site, scheduled)
);

CREATE TABLE api_key (
	id      text COLLATE "C" PRIMARY KEY,
	name    text   NOT NULL,
	scheme  text   NOT NULL,
	hash    bytea,
	secret  bytea,
	sites   text   NOT NULL, -- JSON array
	points  text   NOT NULL, -- JSON array
	created bigint NOT NULL,
	revoked bigint,
	expires bigint
);
