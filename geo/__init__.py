"""The library behind leadsman; nothing in it knows the command line."""
