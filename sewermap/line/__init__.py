"""WHERE: measures, points and places. Computes over columns and reads or writes nothing."""
