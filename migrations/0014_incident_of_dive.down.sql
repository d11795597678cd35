DROP INDEX incident_dive;
