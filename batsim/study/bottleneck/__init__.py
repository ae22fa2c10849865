"""What one more of each thing would save, and when."""
