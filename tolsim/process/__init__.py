"""What a shop makes: monotone maps from one standard normal to a size."""
