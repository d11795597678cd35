-- A person's log by itself: what is asked of all its dives is answered from the index.
CREATE INDEX CONCURRENTLY dive_diver_log ON dive_diver (person, entered_at DESC, dive) INCLUDE (site, state, kind, zone, counted_as, instructor);
