"""What people look at: tables for the terminal, charts for notebooks."""
