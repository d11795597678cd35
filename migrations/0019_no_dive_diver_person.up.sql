-- Every question that it answered the index dive_diver_log answers, which begins with the same columns.
DROP INDEX CONCURRENTLY dive_diver_person;
