DROP TABLE data_read;
