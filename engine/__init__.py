"""Rules-as-data engine; see README.md."""
