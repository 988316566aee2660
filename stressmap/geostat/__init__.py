"""Geostatistics: from point readings to a surface and zone means, each with its prediction variance.

Arrays in, arrays out: this room knows no data frames, no files and no crops. Coordinates are metres in the
working CRS; values are bar; groups (block, valve zone, tree, crop) are integer codes, -1 for none.
"""
