DROP INDEX CONCURRENTLY dive_diver_breathed;
