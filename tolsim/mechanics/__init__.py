"""The physics of the seat, arrays in and arrays out."""
