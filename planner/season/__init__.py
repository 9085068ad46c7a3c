"""What is known: the season's records, the schema of its sheets, and the reader."""
