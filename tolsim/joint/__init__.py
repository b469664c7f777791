"""A study made runnable: standard normals in, margins out."""
