"""The simulation: one file for each activity in the room."""
