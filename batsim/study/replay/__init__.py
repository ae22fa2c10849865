"""The room over an hour, thing by thing, from the record alone."""
