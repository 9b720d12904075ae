-- The bench's one append-only journal. What is written stays: the database itself refuses UPDATE and DELETE.
CREATE TABLE journal (
    one     INTEGER PRIMARY KEY CHECK (one = 1),
    epoch   INTEGER NOT NULL,
    bench   TEXT    NOT NULL
) STRICT;

CREATE TABLE event (
    seq     INTEGER PRIMARY KEY,
    id      TEXT    NOT NULL UNIQUE,
    kind    TEXT    NOT NULL,
    at_us   INTEGER NOT NULL,
    body    TEXT    NOT NULL,           -- canonical JSON (RFC 8785)
    hash    TEXT    NOT NULL            -- SHA-256 over the previous hash (hex) and the body
) STRICT;

CREATE TABLE evidence (
    sha256  TEXT    PRIMARY KEY,
    content BLOB    NOT NULL
) STRICT;

-- Where each follower of the journal has got to. Derived: it may be lost without losing anything.
CREATE TABLE cursor (
    follower TEXT    PRIMARY KEY,
    seq      INTEGER NOT NULL,
    at_us    INTEGER NOT NULL
) STRICT;

-- Snapshots of the folded state will live in a table of their own: derived too, deleting them only costs time.

-- REPLACE deletes without asking the triggers for DELETE, so what exists already is refused before it is inserted.
CREATE TRIGGER event_is_never_replaced BEFORE INSERT ON event
WHEN EXISTS (SELECT 1 FROM event WHERE seq = NEW.seq OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the journal is append-only: this event exists already'); END;
CREATE TRIGGER evidence_is_never_replaced BEFORE INSERT ON evidence
WHEN EXISTS (SELECT 1 FROM evidence WHERE sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, 'evidence is never replaced'); END;
CREATE TRIGGER journal_is_never_replaced BEFORE INSERT ON journal
WHEN EXISTS (SELECT 1 FROM journal)
BEGIN SELECT RAISE(ABORT, 'the journal keeps its number'); END;

CREATE TRIGGER event_is_never_changed BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'the journal is append-only: write a new event instead of changing one'); END;
CREATE TRIGGER event_is_never_deleted BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'the journal is append-only: nothing is deleted'); END;
CREATE TRIGGER evidence_is_never_changed BEFORE UPDATE ON evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never changed'); END;
CREATE TRIGGER evidence_is_never_deleted BEFORE DELETE ON evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never deleted'); END;
CREATE TRIGGER journal_is_never_changed BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'the journal keeps its number'); END;
CREATE TRIGGER journal_is_never_deleted BEFORE DELETE ON journal
BEGIN SELECT RAISE(ABORT, 'the journal keeps its number'); END;
