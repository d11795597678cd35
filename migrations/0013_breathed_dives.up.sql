-- Dives that say how much somebody breathed, so that a plan reads those of some months and never a whole log. The server
-- asks with the same words.
CREATE INDEX CONCURRENTLY dive_diver_breathed ON dive_diver (person, entered_at DESC, dive) WHERE doc ?| '{end_pressure,cylinders}';
