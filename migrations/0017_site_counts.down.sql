DROP TRIGGER dive_counted ON dive;
DROP TRIGGER dive_counted_anew ON dive;
DROP TRIGGER dive_diver_counted ON dive_diver;
DROP TRIGGER dive_diver_counted_anew ON dive_diver;
DROP TRIGGER incident_counted ON incident;
DROP TRIGGER incident_counted_anew ON incident;
DROP FUNCTION count_dive, count_people_dive, count_incident, move_count;
DROP TABLE site_count;
