"""What people look at: tables for the terminal."""
