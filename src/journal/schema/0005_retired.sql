-- Clubs whose records are in a segment that was retired, by the event that tells of it. Derived like the rest of the index.
CREATE TABLE index_retired (
    club_n  INTEGER PRIMARY KEY,
    seq     INTEGER NOT NULL
) STRICT;
