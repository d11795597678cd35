CREATE INDEX CONCURRENTLY dive_diver_person ON dive_diver (person, entered_at DESC, dive);
