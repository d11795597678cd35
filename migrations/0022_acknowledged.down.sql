DROP TABLE acknowledgement;
