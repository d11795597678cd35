-- What a person owns is asked by every question about that person.
CREATE INDEX CONCURRENTLY item_owner ON item (owner) WHERE owner IS NOT NULL;
