"""A fit in the formats that others open: C3D, spreadsheet, Parquet, netCDF, BIDS-Motion."""
