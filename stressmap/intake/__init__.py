"""Files -> tables of one schema, one working CRS, one time zone."""
