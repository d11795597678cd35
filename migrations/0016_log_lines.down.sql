DROP TRIGGER dive_log_lines ON dive;
DROP FUNCTION log_lines_follow_dive;
DROP TRIGGER dive_diver_log_line ON dive_diver;
DROP FUNCTION log_line_of_dive;
ALTER TABLE dive_diver DROP COLUMN state, DROP COLUMN kind, DROP COLUMN zone;
