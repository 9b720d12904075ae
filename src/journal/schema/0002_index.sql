-- Where to find what in the journal, written with the events. All of it is derived and made again when it does not stand
-- where the chain stands: a record is always the fold of the events that these rows lead to.

-- Where the index stands.
CREATE TABLE index_tip (
    one     INTEGER PRIMARY KEY CHECK (one = 1),
    version INTEGER NOT NULL,
    seq     INTEGER NOT NULL,
    hash    TEXT    NOT NULL
) STRICT;

CREATE TABLE index_order (
    n       INTEGER PRIMARY KEY,        -- in the order of import
    number  TEXT    NOT NULL UNIQUE,
    player  TEXT
) STRICT;
CREATE INDEX index_order_player ON index_order (player) WHERE player IS NOT NULL;

-- Clubs, with what a list shows of them. State, entries and is_out are those of the record when it was folded last;
-- a club with something newer is stale.
CREATE TABLE index_club (
    n       INTEGER PRIMARY KEY,
    club    TEXT    NOT NULL UNIQUE,
    token   TEXT    NOT NULL,
    order_n INTEGER NOT NULL,
    name    TEXT    NOT NULL,
    state   TEXT    NOT NULL,
    entries INTEGER NOT NULL,
    is_out  INTEGER NOT NULL,           -- a value that counts is outside its limits
    last_us INTEGER NOT NULL,           -- wall time of its last event
    stale   INTEGER NOT NULL
) STRICT;
CREATE INDEX index_club_token ON index_club (token);
CREATE INDEX index_club_order ON index_club (order_n);
CREATE INDEX index_club_last ON index_club (last_us);
CREATE INDEX index_club_out ON index_club (last_us) WHERE is_out = 1;
CREATE INDEX index_club_open ON index_club (order_n) WHERE state NOT IN ('finished', 'dropped');
CREATE INDEX index_club_stale ON index_club (n) WHERE stale = 1;

-- Events by what they bear on: 0 an order, 1 a club, 2 a reading (by its sequence), 3 nothing: values, 4 the whole bench,
-- 5 gauge studies, 6 a reading that is one of a study's (by its sequence), 7 a club that was bent, 8 a club
-- whose parts are named, 9 the drawers.
CREATE TABLE index_event (
    what    INTEGER NOT NULL,
    n       INTEGER NOT NULL,
    seq     INTEGER NOT NULL,
    PRIMARY KEY (what, n, seq)
) STRICT, WITHOUT ROWID;

-- The club whose record holds a reading or value, by its sequence.
CREATE TABLE index_place (
    seq     INTEGER PRIMARY KEY,
    club_n  INTEGER NOT NULL
) STRICT;

-- The last event of a name.
CREATE TABLE index_latest (
    name    TEXT    PRIMARY KEY,
    seq     INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Events of the trust in an instrument.
CREATE TABLE index_trust (
    instrument TEXT NOT NULL,
    seq     INTEGER NOT NULL,
    PRIMARY KEY (instrument, seq)
) STRICT, WITHOUT ROWID;
