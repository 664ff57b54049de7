"""The command line of leadsman."""
