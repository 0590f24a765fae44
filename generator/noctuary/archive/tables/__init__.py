"""Tables that the archive's records are completed from, each made by the script beside it."""
