-- What the rows of the index that every start reads whole add up to: a start must not go on from a damaged one.
CREATE TABLE index_sum (
    one     INTEGER PRIMARY KEY CHECK (one = 1),
    sum     INTEGER NOT NULL            -- exclusive or of the first 64 bits of each row's SHA-256
) STRICT;
