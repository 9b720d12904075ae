-- In index_event, 20 is numbered parts and 21 a reading of one of them (by its sequence).

-- Which clubs hold a part or were bonded with a batch: by its number, lot, serial number or item number as printed.
CREATE TABLE index_lot (
    lot     TEXT    NOT NULL COLLATE NOCASE,
    club_n  INTEGER NOT NULL,
    seq     INTEGER NOT NULL,           -- the event that put it into the club
    PRIMARY KEY (lot, club_n, seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX index_lot_seq ON index_lot (seq);
