-- What is left in the drawers after the event that is noted as the last one of 'stock' in index_latest: a start folds the
-- drawers from there on. Derived like the rest of the index, and deleted with it.
CREATE TABLE index_stock (
    item    TEXT    PRIMARY KEY,
    pieces  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
