ALTER TABLE plan DROP COLUMN stops, DROP COLUMN waived_until;
