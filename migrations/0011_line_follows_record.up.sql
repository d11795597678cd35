-- A server that knows no line changes the record alone, and the line of a list would go on saying what the dive said before.
-- Then it goes, and the reader makes it from the record; so it does where only what it does not show was changed.
CREATE FUNCTION line_follows_record() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.line IS NOT DISTINCT FROM OLD.line THEN
    NEW.line := NULL;
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER dive_line_follows_record BEFORE UPDATE OF record ON dive
  FOR EACH ROW EXECUTE FUNCTION line_follows_record();
