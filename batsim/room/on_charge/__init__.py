"""Charging out of trucks: who waits for a charger, one charge, a power limit that chargers share."""
