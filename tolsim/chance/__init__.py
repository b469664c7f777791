"""Streams of standard normals, estimators of small shares, intervals; arrays only."""
