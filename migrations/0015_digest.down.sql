DROP TABLE letter;
DROP TABLE digest;
