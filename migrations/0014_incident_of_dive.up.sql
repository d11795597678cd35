-- Whether anything was reported on a dive, asked for many dives at once.
CREATE INDEX incident_dive ON incident (dive) WHERE dive IS NOT NULL;
