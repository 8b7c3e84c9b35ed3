"""The ground floor: the academy home, the tables, the sample traces, and who may read what."""
