"""Statistics on plain numbers: intervals, precision, selection, designs, indices; nothing of rooms is known here."""
