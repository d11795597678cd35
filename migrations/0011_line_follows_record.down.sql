DROP TRIGGER dive_line_follows_record ON dive;
DROP FUNCTION line_follows_record();
