ALTER TABLE token DROP COLUMN lent;
DROP TRIGGER evaluation_evidence ON evaluation;
DROP FUNCTION keep_evidence();
CREATE OR REPLACE FUNCTION refuse_new_decision() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF to_jsonb(NEW) - 'decided_by' - 'plan' IS DISTINCT FROM to_jsonb(OLD) - 'decided_by' - 'plan' THEN
    RAISE EXCEPTION 'rows of % are never changed', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END $$;
CREATE OR REPLACE FUNCTION refuse_new_content() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.doc IS DISTINCT FROM OLD.doc THEN
    RAISE EXCEPTION 'the content of % is never changed', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END $$;
DROP TABLE erasure;
