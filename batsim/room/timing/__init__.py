"""Time in the room: its clock, calendars of people and trucks."""
